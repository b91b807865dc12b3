"""What a farm's page adds to its charts: a forecast, the year before, matters, each station, the weather."""

from dataclasses import replace
from datetime import timedelta

import pytest

from monitoring.charts import (
    SeasonSeries,
    StationAxis,
    WarmthSeries,
    WarmthWords,
    WeekAhead,
    station_chart,
    warmth_chart,
)
from tests.monitoring.test_charts import APRIL, SVG, WORDS, drawn, of_class, parsed, rings, texts


def test_a_forecast_lies_beyond_the_counted_weeks_with_its_bands_within_each_other():
    ahead = tuple(WeekAhead(20.0 + at, ((8.0, 60.0), (14.0, 30.0 + at))) for at in range(3))
    picture = drawn(
        SeasonSeries("card", APRIL, [10, 20, None, 30], ahead=ahead), words=replace(WORDS, to_come="to come")
    )
    wide, narrow = (
        [tuple(float(each) for each in pair.split(",")) for pair in node.get("points").split()]
        for node in of_class(picture, "fan")
    )
    last = max(float(ring.get("cx")) for ring in rings(picture))
    assert min(x for x, _y in wide) > last
    assert min(y for _x, y in wide) < min(y for _x, y in narrow) and max(y for _x, y in narrow) < max(
        y for _x, y in wide
    )
    assert "to come" in texts(picture)
    assert not of_class(drawn(SeasonSeries("card", APRIL, [10, 20, None, 30])), "fan")


@pytest.mark.parametrize("bands", [((5.0, 30.0), (4.0, 20.0)), ((12.0, 30.0),), ((-1.0, 30.0),)])
def test_bands_that_do_not_lie_around_their_median_are_refused(bands):
    with pytest.raises(ValueError, match="within each other around its median"):
        WeekAhead(10.0, bands)


def test_the_year_before_is_a_line_with_its_gaps_and_its_name():
    before = [5.0, 6.0, None, 7.0]
    picture = drawn(SeasonSeries("card", APRIL, [10, 20, 25, 30], before=before, before_name="2025"))
    assert [len(line.get("points").split()) for line in of_class(picture, "before")] == [2]
    assert len(of_class(picture, "before-dot")) == 1 and "2025" in texts(picture)


def test_matters_are_marked_in_the_weeks_shown_only_and_once_a_week():
    began = (APRIL, APRIL, APRIL + timedelta(weeks=2), APRIL + timedelta(weeks=9))
    assert len(of_class(drawn(SeasonSeries("card", APRIL, [1, 2, 3], began=began)), "began")) == 2


def test_stations_of_a_method_share_a_scale_and_leave_gaps():
    rates = [[10.0, 20.0, None, 40.0], [400.0, None, None, None]]
    axis = StationAxis.of(rates, 100.0)
    assert axis.top >= 400
    first, second = (parsed(station_chart(row, axis)) for row in rates)
    (line,) = of_class(first, "mean")
    # Two weeks on a line, a gap, and a week alone as a dot.
    assert line.get("d").count("M") == 2 and line.get("d").endswith("h0")
    (alone,) = of_class(second, "mean")
    assert alone.get("d").count("M") == 1
    assert [node.get("d") for node in of_class(first, "rule")] == [node.get("d") for node in of_class(second, "rule")]
    assert not of_class(parsed(station_chart([None] * 4, axis)), "mean")


def test_warmth_is_drawn_day_by_day_with_a_stroke_for_each_egg_that_became_a_fly():
    words = WarmthWords("Temperatures", "Warm.", "°C", "degree-days (°C)", lambda day: f"{day:%b} {day.day}")
    sums = [100.0, None, 210.0, 300.0, 420.0]
    series = WarmthSeries(
        APRIL, [5, None, 6, 7, 8], [20, None, 21, 22, 23], [("house flies", 11.1)], [("house flies", sums, 210.0)]
    )
    for shape in ("wide", "narrow"):
        picture = parsed(warmth_chart(series, words=words, shape=shape))
        (days,) = of_class(picture, "days")
        assert days.get("d").count("M") == 4  # one day is not known
        strokes = [node for node in of_class(picture, "mean") if node.tag == f"{SVG}path"]
        assert strokes[0].get("d").count("M") == 2
    with pytest.raises(ValueError, match="one value a day"):
        WarmthSeries(APRIL, [1.0], [2.0, 3.0], [], [])
