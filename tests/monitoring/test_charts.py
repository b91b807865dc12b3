"""The pictures of what was seen: read back as XML and checked against the data they were drawn from."""

import math
import time
from datetime import date, timedelta
from io import BytesIO
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from monitoring.charts import (
    LIGHT,
    ChartWords,
    SeasonSeries,
    WorkMark,
    level_mark,
    own_past_chart,
    season_chart,
    to_png,
    weeks_line,
)
from monitoring.charts.scale import value_axis
from monitoring.charts.series import plain_number

SVG = "{http://www.w3.org/2000/svg}"
APRIL = date(2026, 4, 6)
WORDS = ChartWords(
    title="Spot cards",
    description="118 specks a card in the week of June 29.",
    unit="specks a card",
    action_level="action level",
    no_counts="No counts yet.",
    date_label=lambda day: f"{day:%b} {day.day}",
)


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def drawn(series: SeasonSeries, shape="wide", words=WORDS) -> ET.Element:
    return parsed(season_chart(series, words=words, shape=shape))


def of_class(picture: ET.Element, name: str) -> list[ET.Element]:
    return [node for node in picture.iter() if name in node.get("class", "").split()]


def texts(picture: ET.Element) -> list[str]:
    return [node.text or "" for node in picture.iter(f"{SVG}text")]


def rings(picture: ET.Element) -> list[ET.Element]:
    return of_class(picture, "ring") + of_class(picture, "dot")


def test_a_week_without_a_count_has_no_point_and_no_line_or_band_crosses_it():
    means = [10.0, 20.0, None, 30.0, float("nan"), 50.0, 60.0]
    ends = [None if mean is None else mean + 1 for mean in means]
    picture = drawn(SeasonSeries("card", APRIL, means, lows=means, highs=ends))
    assert len(rings(picture)) == 5
    assert [len(line.get("points").split()) for line in of_class(picture, "mean")] == [2, 2]
    bands = of_class(picture, "band")
    assert sorted(band.tag.removeprefix(SVG) for band in bands) == ["polygon", "polygon", "rect"]


def test_the_base_line_is_open_under_a_week_without_a_count():
    picture = drawn(SeasonSeries("card", APRIL, [1, None, 3, 4, None, 6]))
    ends = [(float(line.get("x1")), float(line.get("x2"))) for line in of_class(picture, "base")]
    assert len(ends) == 3
    assert all(right < next_left for (_, right), (next_left, _) in pairwise(ends))


def test_zero_is_drawn_on_the_base_line_and_is_not_a_gap():
    picture = drawn(SeasonSeries("card", APRIL, [0, 0, 0, 0, 0, 0]))
    bottom = {line.get("y1") for line in of_class(picture, "base")}
    assert {dot.get("cy") for dot in rings(picture)} == bottom
    assert texts(picture).count("0") == 2  # the axis, and the last week's value


def test_heights_are_in_proportion_to_the_counts():
    picture = drawn(SeasonSeries("card", APRIL, [0, 25, 50, 100]))
    heights = [float(dot.get("cy")) for dot in rings(picture)]
    rises = [heights[0] - height for height in heights]
    assert rises[1] / rises[3] == pytest.approx(0.25, abs=1e-3)
    assert rises[2] / rises[3] == pytest.approx(0.5, abs=1e-3)


def test_weeks_are_equally_spaced_whatever_is_missing():
    picture = drawn(SeasonSeries("card", APRIL, [1, None, None, 4, 5, 6, 7]))
    across = [float(dot.get("cx")) for dot in rings(picture)]
    assert across[1] - across[0] == pytest.approx(3 * (across[2] - across[1]), abs=0.05)


def test_each_ring_tells_the_week_s_word_and_only_the_filled_one_is_in_the_accent():
    picture = drawn(SeasonSeries("card", APRIL, [10, 70, 101], levels=["below", "near", "over"], action_level=100))
    below, near, over = rings(picture)
    assert [ring.get("class") for ring in (below, near, over)] == ["ring below", "ring near", "ring over"]
    assert below.get("fill") == LIGHT.paper
    assert over.get("fill") == LIGHT.accent
    assert len(of_class(picture, "half")) == 1


def test_the_chart_does_not_judge_a_week_without_a_word_is_a_plain_dot():
    picture = drawn(SeasonSeries("card", APRIL, [500, 600], action_level=100))
    assert not of_class(picture, "ring")
    assert len(of_class(picture, "dot")) == 2


def test_the_action_level_is_a_labelled_rule_at_its_height():
    picture = drawn(SeasonSeries("card", APRIL, [100, 50], action_level=100))
    (rule,) = of_class(picture, "rule")
    assert float(rule.get("y1")) == pytest.approx(float(rings(picture)[0].get("cy")), abs=0.6)
    assert "action level 100" in texts(picture)


def test_an_action_level_that_changed_is_two_rules_and_the_newest_is_named():
    levels = [100.0, 100.0, 60.0, 60.0, 60.0, 60.0]
    picture = drawn(SeasonSeries("card", APRIL, [10, 20, 30, 20, 10, 5], action_level=levels))
    first, second = of_class(picture, "rule")
    assert float(first.get("x2")) == pytest.approx(float(second.get("x1")))
    assert "action level 60" in texts(picture)
    assert "100" in texts(picture)


def test_without_an_action_level_there_is_no_rule():
    picture = drawn(SeasonSeries("trap", APRIL, [10, 20]))
    assert not of_class(picture, "rule")
    assert not any("action level" in label for label in texts(picture))


def test_a_season_without_any_count_says_so():
    picture = drawn(SeasonSeries("card", APRIL, [None] * 8, action_level=100))
    assert "No counts yet." in texts(picture)
    assert not rings(picture)
    assert not of_class(picture, "base")


def test_one_far_end_of_an_interval_does_not_flatten_the_season_and_is_shown_as_going_on():
    picture = drawn(SeasonSeries("card", APRIL, [30, 40, 50], lows=[1, 1, 1], highs=[60, 5000, 70], action_level=100))
    assert "150" in texts(picture)
    assert "5,000" not in texts(picture)
    assert len(of_class(picture, "arrow")) == 1


def test_a_mean_that_is_a_lower_bound_carries_an_arrow():
    picture = drawn(SeasonSeries("card", APRIL, [30, 40, 50], at_least=[False, True, False]))
    assert len(of_class(picture, "arrow")) == 1


def test_the_last_week_s_value_is_written_beside_it_in_the_reader_s_number():
    words = ChartWords(
        "t", "d", "manchitas", "nivel", "nada", lambda day: "29 jun", lambda value: f"{value:.1f}".replace(".", ",")
    )
    picture = drawn(SeasonSeries("card", APRIL, [1.5, 2.5]), words=words)
    (last,) = of_class(picture, "last")
    assert last.text == "2,5"
    assert not of_class(drawn(SeasonSeries("card", APRIL, [1.5, None])), "last")


def test_work_is_a_letter_over_its_day_and_neighbours_share_one_word():
    work = (WorkMark(date(2026, 4, 20), "C"), WorkMark(date(2026, 4, 21), "S"), WorkMark(date(2026, 4, 22), "C"))
    picture = drawn(SeasonSeries("card", APRIL, [1] * 26, work=work))
    assert [label.text for label in of_class(picture, "work-text")] == ["CS"]
    assert len(of_class(picture, "work")) == 3


def test_work_outside_the_weeks_shown_is_left_out():
    work = (WorkMark(APRIL - timedelta(days=1), "C"), WorkMark(APRIL + timedelta(weeks=2), "C"))
    assert not of_class(drawn(SeasonSeries("card", APRIL, [1, 2], work=work)), "work")


def test_a_programme_is_one_letter_and_a_band_to_its_last_day():
    work = (WorkMark(APRIL + timedelta(weeks=2), "P", APRIL + timedelta(weeks=6)),)
    picture = drawn(SeasonSeries("card", APRIL, [1] * 26, work=work))
    (band,), (letter,), (line,) = (of_class(picture, name) for name in ("work-band", "work-text", "work"))
    assert letter.text == "P" and float(band.get("x")) == pytest.approx(float(line.get("x1")), abs=1)
    slots = float(band.get("width")) / float(band.get("x"))
    assert slots > 0 and float(band.get("y")) > float(letter.get("y"))


@pytest.mark.parametrize(
    ("first", "last", "is_drawn"), [(-9, -8, False), (-9, 2, True), (20, 40, True), (26, 40, False)]
)
def test_a_band_is_drawn_as_far_as_it_lies_in_the_weeks_shown(first, last, is_drawn):
    work = (WorkMark(APRIL + timedelta(weeks=first), "P", APRIL + timedelta(weeks=last)),)
    picture = drawn(SeasonSeries("card", APRIL, [1] * 26, work=work))
    bands = of_class(picture, "work-band")
    assert bool(bands) == is_drawn == bool(of_class(picture, "work-text"))
    for band in bands:
        begins, ends = float(band.get("x")), float(band.get("x")) + float(band.get("width"))
        assert 0 < begins < ends <= 720


def test_a_band_that_ends_before_it_begins_is_refused():
    with pytest.raises(ValueError, match="can't end on"):
        WorkMark(APRIL, "P", APRIL - timedelta(days=1))


@pytest.mark.parametrize("shape", ["wide", "narrow"])
@pytest.mark.parametrize("n_weeks", [1, 5, 26, 53])
def test_week_labels_stay_on_the_sheet_and_apart(shape, n_weeks):
    picture = drawn(SeasonSeries("card", APRIL, [100_000.0] * n_weeks), shape=shape)
    labels = [node for node in picture.iter(f"{SVG}text") if node.get("text-anchor") == "middle"]
    middles = [float(label.get("x")) for label in labels]
    assert labels[-1].text == WORDS.date_label(APRIL + timedelta(weeks=n_weeks - 1))
    assert all(right - left > 44 for left, right in pairwise(middles))
    assert middles[-1] < float(picture.get("width")) - 15


@pytest.mark.parametrize("highest", [0.4, 1, 7, 10, 118, 999, 1000, 1001, 123_456, 9_999_999])
def test_an_axis_holds_its_highest_value_with_four_to_six_round_ticks(highest):
    axis = value_axis(highest, top=0, bottom=100)
    ticks = axis.ticks()
    assert ticks[0] == 0
    assert ticks[-1] >= highest * 0.999
    assert 3 <= len(ticks) <= 6
    assert f"{axis.step:e}"[0:3] in ("1.0", "2.0", "2.5", "5.0")


@pytest.mark.parametrize(
    ("value", "written"), [(0, "0"), (2.5, "2.5"), (9.96, "10"), (1200, "1,200"), (118.4, "118.4")]
)
def test_numbers_are_written_short(value, written):
    assert plain_number(value) == written


def test_every_word_is_escaped():
    evil = '<script>alert(1)</script> & "it\'s"'
    words = ChartWords(evil, evil, evil, evil, evil, lambda day: evil, lambda value: evil)
    work = (WorkMark(APRIL, "<"),)
    svg = season_chart(SeasonSeries("card", APRIL, [1, 2], action_level=1, work=work), words=words)
    assert "<script" not in svg
    assert parsed(svg).find(f"{SVG}title").text == evil
    assert "<script" not in weeks_line([1, 2], title=evil)


def test_a_screen_reader_hears_title_and_description_and_ids_differ_between_shapes():
    wide, narrow = (drawn(SeasonSeries("calf-card", APRIL, [1, 2]), shape=shape) for shape in ("wide", "narrow"))
    assert wide.get("role") == "img"
    title, words = wide.get("aria-labelledby").split()
    assert wide.find(f"{SVG}title[@id='{title}']").text == "Spot cards"
    assert wide.find(f"{SVG}desc[@id='{words}']").text == WORDS.description
    assert set(wide.get("aria-labelledby").split()).isdisjoint(narrow.get("aria-labelledby").split())


def test_no_picture_carries_a_style_or_a_script_that_the_security_policy_refuses():
    series = SeasonSeries("card", APRIL, [1, None, 2], lows=[0, None, 1], highs=[2, None, 9], action_level=1.5)
    for svg in (season_chart(series, words=WORDS), weeks_line([1, None, 2]), level_mark("near")):
        assert not any(part in svg for part in ("style=", "<style", "<script", "href", " on"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"first_week": date(2026, 4, 7)}, "not a Monday"),
        ({"means": []}, "no week to show"),
        ({"key": "a b"}, "letters, digits and hyphens"),
        ({"lows": [1.0]}, "2 weeks but 1 lows"),
        ({"lows": [1, 1], "highs": ()}, "two ends"),
        ({"lows": [5, 1], "highs": [4, 2]}, "Week 1 has an interval from 5.0 to 4.0"),
        ({"lows": [None, 1], "highs": [4, 2]}, "Week 1 has one end"),
        ({"means": [1, -2]}, "Week 2 of means is -2"),
        ({"means": [1, math.inf]}, "Week 2 of means is inf"),
        ({"levels": ["below", "high"]}, "Week 2 has the level 'high'"),
        ({"action_level": 0}, "above zero"),
    ],
)
def test_data_that_cannot_be_drawn_is_refused_in_a_sentence(arguments, said):
    with pytest.raises(ValueError, match=said) as refused:
        SeasonSeries(**({"key": "card", "first_week": APRIL, "means": [1, 2]} | arguments))
    assert str(refused.value).endswith(".")


def test_an_unknown_shape_and_a_mark_of_two_letters_are_refused():
    with pytest.raises(ValueError, match="wide or narrow"):
        season_chart(SeasonSeries("card", APRIL, [1]), words=WORDS, shape="square")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="one letter"):
        WorkMark(APRIL, "CO")


a_week = st.one_of(st.none(), st.just(math.nan), st.floats(0, 1e9, allow_subnormal=False))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(a_week, min_size=1, max_size=60),
    st.sampled_from(["wide", "narrow"]),
    st.one_of(st.none(), st.floats(0.1, 1e6)),
)
def test_any_season_gives_a_well_formed_picture_with_a_point_a_count(means, shape, level):
    svg = season_chart(SeasonSeries("card", APRIL, means, action_level=level), words=WORDS, shape=shape)
    assert "nan" not in svg.lower().replace("means", "")
    picture = parsed(svg)
    counted = sum(mean is not None and not math.isnan(mean) for mean in means)
    assert len(rings(picture)) <= counted
    if len(means) <= 40:
        assert len(rings(picture)) == counted


@given(st.lists(a_week, min_size=1, max_size=30))
def test_a_line_of_weeks_breaks_at_gaps_and_ends_in_a_ring_only_where_the_last_week_was_counted(values):
    picture = parsed(weeks_line(values, level="over"))
    last = values[-1]
    assert bool(of_class(picture, "over")) == (last is not None and not math.isnan(last))


def test_a_line_of_weeks_is_read_aloud_only_where_it_has_a_title():
    assert 'aria-hidden="true"' in weeks_line([1, 2])
    assert 'aria-label="Eight weeks"' in weeks_line([1, 2], title="Eight weeks")
    with pytest.raises(ValueError, match="no week to show"):
        weeks_line([])


def test_level_marks_differ_in_shape_and_not_in_colour_alone():
    ink = [dark_pixels(level_mark(level)) for level in ("none", "below", "near", "over")]
    assert ink == sorted(ink)
    assert all(less * 1.2 < more for less, more in pairwise(ink))


def dark_pixels(svg: str) -> int:
    grey = Image.open(BytesIO(to_png(svg, width=32))).convert("L")
    return sum(grey.histogram()[:128])


def test_a_png_is_opaque_of_the_width_asked_for_and_alike_every_time():
    svg = season_chart(SeasonSeries("card", APRIL, [10, 20, None, 40], action_level=30), words=WORDS)
    first = to_png(svg, width=560)
    assert first == to_png(svg, width=560)
    image = Image.open(BytesIO(first))
    assert image.width == 560
    assert image.convert("RGB").getpixel((1, image.height - 1)) == (0xFA, 0xF7, 0xF0)
    assert image.convert("RGBA").getextrema()[3] == (255, 255)


def test_a_png_shows_its_letters_from_the_shipped_fonts():
    with_words = to_png(season_chart(SeasonSeries("card", APRIL, [10]), words=WORDS))
    silent = ChartWords("t", "d", "", "", "", lambda day: "", lambda value: "")
    assert len(with_words) > 1.2 * len(to_png(season_chart(SeasonSeries("card", APRIL, [10]), words=silent)))
    with pytest.raises(ValueError, match="unknown token"):
        to_png("no picture")


def test_a_picture_is_drawn_without_looking_for_the_systems_fonts():
    series = SeasonSeries("card", APRIL, [10.0 + week for week in range(26)], action_level=30)
    started = time.thread_time()
    for _ in range(5):
        to_png(season_chart(series, words=WORDS, shape="narrow"), width=560)
    # About 10 ms each; the bound only catches a fall by an order of magnitude, such as scanning the system's fonts.
    assert (time.thread_time() - started) / 5 < 0.15


class TestTheOwnPast:
    MEANS = (10.0, 20.0, None, 30.0, 60.0, 5.0)
    ENDS = ((5.0, 15.0), (8.0, 25.0), (None, None), (10.0, 40.0), (12.0, 45.0), (12.0, 45.0))

    def drawn(self, unlike, shape="wide"):
        lows, highs = zip(*self.ENDS, strict=True)
        series = SeasonSeries("card-own-past", APRIL, self.MEANS, lows=lows, highs=highs)
        return parsed(own_past_chart(series, unlike, words=WORDS, shape=shape))

    @pytest.mark.parametrize("shape", ["wide", "narrow"])
    def test_weeks_outside_are_squares_and_the_others_dots(self, shape):
        picture = self.drawn(["", "", "", "", "above", "below"], shape)
        assert [node.get("class") for node in of_class(picture, "unlike")] == ["unlike above", "unlike below"]
        assert [node.get("fill") for node in of_class(picture, "unlike")] == [LIGHT.accent, LIGHT.ink]
        assert len(of_class(picture, "dot")) == 3
        # No ring: that is the action level's mark.
        assert of_class(picture, "ring") == []

    def test_neither_line_nor_band_crosses_a_gap(self):
        picture = self.drawn([""] * 6)
        assert [len(line.get("points").split()) for line in of_class(picture, "mean")] == [2, 3]
        assert len(of_class(picture, "band")) == 2

    def test_a_week_without_its_mark_is_refused(self):
        with pytest.raises(ValueError, match="6 weeks but 2 marks"):
            self.drawn(["", "above"])
