"""Where a farm's counts are going: what the check stores of it and what is said, with a reason where nothing can be."""

import json
import math
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.checks.borrowed import NOTHING
from alerts.checks.grid import Owners
from alerts.checks.outlook import Outlook, outlook_of
from alerts.checks.outlook_json import outlook_json, short
from alerts.models import Assessment
from alerts.wording.outlook import (
    back_below_phrase,
    chances_phrase,
    crossing_in_words,
    crossing_phrase,
    list_promise,
    over_chance_phrase,
    trend_text,
    weeks_ahead,
    weeks_to_crossing,
)
from farms.models import Farm, Group
from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.models import Station
from tests.alerts.scene import check, count_week, monday, result
from tests.cast import as_factory

WEEKS = 8
# How five cards differ; their mean is 1.
PLACES = (0.5, 0.8, 1.0, 1.2, 1.5)


def season(group: Group, stations: list[Station], means: list[float | None], **fields: Any) -> Any:
    """Weeks of counts with these means (None: nobody counted), the last of them judged."""
    for number, mean in enumerate(means):
        if mean is not None:
            counts = [round(mean * place) for place in PLACES[: len(stations)]]
            count_week(stations, monday(number), counts, **fields)
    week = monday(len(means) - 1)
    check(group, week)
    return week


@pytest.mark.django_db
class TestWhatIsStored:
    def test_a_farm_that_doubles_every_two_weeks(self, group: Group, northfield: Farm, cards: list[Station]):
        week = season(group, cards, [10 * 2 ** (number / 2) for number in range(WEEKS)])
        row = result(northfield, week)
        # Counts are rounded to whole specks: ln 2 / 2 a week.
        assert row.growth == pytest.approx(math.log(2) / 2, rel=0.02)
        assert row.growth_low < row.growth < row.growth_high
        assert row.p_rise < 0.01
        assert row.p_fall > 0.5
        assert [each["weeks"] for each in row.outlook["ahead"]] == [1, 2, 3]
        for each in row.outlook["ahead"]:
            assert each["low"] < each["median"] < each["high"]
            assert 0 < each["over"] < 1
        medians = [each["median"] for each in row.outlook["ahead"]]
        # Expected to go on, by less than its last weeks show.
        assert medians[0] < medians[1] < medians[2] < row.mean * 2**1.5
        assert medians[2] > row.mean
        assert row.outlook["crossing"] == {"word": "over_now"}

    def test_below_its_level_and_rising_the_crossing_is_in_sight(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        week = season(group, cards, [10, 11, 9, 10, 14, 25, 46, 82])
        crossing = result(northfield, week).outlook["crossing"]
        assert crossing["word"] == "in_sight"
        assert crossing["soonest"] <= crossing["weeks"] <= 6
        assert crossing["latest"] is None or crossing["latest"] >= crossing["weeks"]

    def test_low_and_level_it_is_not_in_sight(self, group: Group, northfield: Farm, cards: list[Station]):
        week = season(group, cards, [10, 11, 9, 10, 11, 10, 9, 10])
        row = result(northfield, week)
        assert (row.trend, row.outlook["crossing"]) == ("level", {"word": "not_in_sight"})
        assert row.over_probability < 0.01

    def test_whatever_is_stored_has_four_digits_and_is_json_without_nan(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        outlook = result(northfield, season(group, cards, [33, 47, 29, 51, 44, 38, 61, 57])).outlook
        numbers = [value for each in outlook["ahead"] for value in each.values()]
        assert numbers == [float(f"{value:.4g}") for value in numbers]
        assert "NaN" not in json.dumps(outlook, allow_nan=False)

    # The words of FarmWeeks.reason (monitoring.analysis.farm_weeks), for counts that can say nothing.
    @pytest.mark.parametrize(
        ("means", "reason", "told"),
        [
            ([40, 41, 39], "too_few_weeks", "Trend: too early, 3 of 5 weeks."),
            ([40, 41, 39, 40], "", "Trend: too early, 4 of 5 weeks."),
            ([1, 0, 1, 0, 0, 1, 0, 1], "too_few_counts", "Trend: can't tell, too few were caught."),
        ],
    )
    def test_too_few_is_a_result_with_its_reason(
        self, group: Group, northfield: Farm, cards: list[Station], means: list[int], reason: str, told: str
    ):
        row = result(northfield, season(group, cards, means))
        assert (row.trend, row.evidence["trend"], trend_text(row)) == ("too_early", reason, told)
        assert (row.outlook == {}) == bool(reason)
        assert (row.p_rise is None) == (row.growth is None) == bool(reason)

    def test_a_farm_of_which_only_stations_of_one_week_are_known(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        for number in range(5):
            count_week(cards[number : number + 1], monday(number), [50])
        check(group, monday(4))
        row = result(northfield, monday(4))
        assert (row.trend, row.evidence["trend"], row.outlook) == ("too_early", "not_comparable", {})
        assert trend_text(row) == "Trend: can't tell, too few cards or traps were counted in more than one week."

    def test_nothing_caught_all_along_is_level_and_has_no_forecast(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        row = result(northfield, season(group, cards, [0] * WEEKS))
        assert (row.trend, row.evidence["trend"], row.outlook) == ("level", "all_zero", {})
        assert trend_text(row) == "No clear trend over the last eight weeks."

    def test_a_week_that_nobody_counted_says_nothing_of_itself(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        row = result(northfield, season(group, cards, [20, 28, 40, 56, 80, 112, 160, None]))
        assert (row.mean, row.trend, row.evidence["trend"]) == (None, "too_early", "not_this_week")
        assert (row.p_rise, row.p_fall, row.over_probability) == (None, None, None)

    def test_a_part_and_an_at_least_count_are_judged_without_a_nan(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        for number in range(WEEKS):
            count_week(cards, monday(number), [200 + number, 300, 280, 250, 260], at_least=number % 2 == 0)
        check(group, monday(WEEKS - 1))
        row = result(northfield, monday(WEEKS - 1))
        assert json.dumps([row.outlook, row.evidence, row.growth, row.p_rise], allow_nan=False)

    def test_facilities_have_no_trend_of_their_own(self, group: Group, northfield: Farm, cards: list[Station]):
        week = season(group, cards, [40] * WEEKS)
        with as_factory():
            (row,) = Assessment.objects.filter(farm=northfield, week=week, method="card").exclude(facility_id=None)
        assert (row.trend, row.outlook, row.p_rise, row.borrowed) == ("", {}, None, "")


def untold(**values: Any) -> Outlook:
    """One farm of which nothing is known but these."""
    words = {"word", "crossing", "reason"}
    columns = {
        each.name: np.array([""]) if each.name in words else np.full((1, 3) if "ahead" in each.name else 1, np.nan)
        for each in fields(Outlook)
    }
    return replace(Outlook(**columns), **{name: np.asarray(value) for name, value in values.items()})


AHEAD = {
    "ahead_median": [[100.0, 123.456, 150.0]],
    "ahead_low": [[80.0, 90.0, 95.0]],
    "ahead_high": [[130.0, 170.0, 240.0]],
    "ahead_over": [[0.5, 0.71239, 0.9]],
}


COUNTS = st.lists(
    st.lists(st.one_of(st.none(), st.integers(0, 3000)), min_size=12, max_size=12), min_size=1, max_size=6
)


@settings(max_examples=25, deadline=None)
@given(COUNTS, st.sampled_from([math.nan, 0.5, 100.0]))
def test_no_counts_whatever_lead_to_a_nan_or_to_ends_that_cross(counts: list[list[int | None]], level: float):
    found = np.array([[math.nan if each is None else each for each in row] for row in counts], np.float64)[None]
    weeks = farm_weeks_from(found, np.full(found.shape, 7.0), np.arange(12) * 7.0, 1.5)
    owners = Owners(np.array([0]), (None,), np.array(["card"]), np.zeros(len(counts), np.int64), np.array([True]))
    no = {"sprayed": np.array([False]), "cold": np.array([False])}
    seen = outlook_of(
        owners, {"card": (np.array([0]), weeks)}, NOTHING, level=np.array([level]), is_over=np.array([False]), flags=no
    )
    stored = outlook_json(seen, 0)
    json.dumps(stored, allow_nan=False)
    assert (stored == {}) == (seen.reason[0] != "")
    for each in stored.get("ahead", ()):
        assert 0 <= each["low"] <= each["median"] <= each["high"]
        assert (each["over"] is None) == math.isnan(level)


class TestTheStoredForm:
    def test_without_a_forecast_it_is_empty(self):
        assert outlook_json(untold(crossing=["too_few_weeks"]), 0) == {}

    def test_a_crossing_has_its_weeks_and_none_for_what_is_not_in_sight(self):
        found = outlook_json(
            untold(
                crossing=["in_sight"], crossing_weeks=[2.0], crossing_soonest=[1.0], crossing_latest=[np.inf], **AHEAD
            ),
            0,
        )
        assert found["ahead"][1] == {"weeks": 2, "median": 123.5, "low": 90.0, "high": 170.0, "over": 0.7124}
        assert found["crossing"] == {"word": "in_sight", "weeks": 2, "soonest": 1, "latest": None}

    def test_without_a_level_there_is_a_forecast_and_no_probability(self):
        found = outlook_json(untold(crossing=["no_level"], **(AHEAD | {"ahead_over": [[np.nan] * 3]})), 0)
        assert [each["over"] for each in found["ahead"]] == [None] * 3
        assert found["crossing"] == {"word": "no_level"}

    @pytest.mark.parametrize(
        ("value", "told"), [(0.0, 0.0), (123456.0, 123500.0), (1.23456e-5, 1.235e-5), (math.nan, None)]
    )
    def test_four_digits_and_none_for_none(self, value: float, told: float | None):
        assert short(value) == told


def row_of(**values: Any) -> Assessment:
    usual = {"method": "card", "mean": 80.0, "level": 100.0, "result": "near", "weeks_observed": 8, "trend": "level"}
    return Assessment(**(usual | {"evidence": {}, "outlook": {}} | values))


def ahead(word: str, over: float | None = 0.4, **crossing: Any) -> dict[str, Any]:
    weeks = [{"weeks": number, "median": 90.0, "low": 60.0, "high": 140.0, "over": over} for number in (1, 2, 3)]
    return {"ahead": weeks, "crossing": {"word": word} | crossing}


class TestWhatIsSaid:
    @pytest.mark.parametrize(
        ("values", "told"),
        [
            (
                {"trend": "rising", "growth": math.log(4 / 3), "growth_low": 0.1, "growth_high": 0.5},
                "Rising: about a third more each week, over the last eight weeks.",
            ),
            (
                {"trend": "rising", "growth": 0.2, "growth_low": -0.1, "growth_high": 0.5},
                "Rising, more than this farm's own weeks explain; how fast is too early to say.",
            ),
            (
                {"trend": "rising"},
                "Rising, more than this farm's own weeks explain; how fast is too early to say.",
            ),
            (
                {"trend": "falling", "growth": math.log(3 / 4), "growth_low": -0.5, "growth_high": -0.1},
                "Falling: about a quarter less each week, over the last eight weeks.",
            ),
            (
                {"trend": "falling", "growth": -0.2, "growth_low": -0.5, "growth_high": 0.1},
                "Falling, more than this farm's own weeks explain; how fast is too early to say.",
            ),
            (
                {"growth": 0.1, "growth_low": 0.05, "growth_high": 0.15},
                "Slowly, but steadily: about a tenth more each week, over the last eight weeks.",
            ),
            ({"growth": 0.1, "growth_low": -0.05, "growth_high": 0.25}, "No clear trend over the last eight weeks."),
            ({"trend": ""}, ""),
        ],
    )
    def test_the_trend(self, values: dict[str, Any], told: str):
        assert trend_text(row_of(**values)) == told

    @pytest.mark.parametrize(
        ("share", "told"),
        [
            (0.04, "less than 1 chance in 10"),
            (0.06, "1 chance in 10"),
            (0.71, "7 chances in 10"),
            (0.94, "9 chances in 10"),
            (0.97, "more than 9 chances in 10"),
        ],
    )
    def test_a_chance_is_told_in_tenths(self, share: float, told: str):
        assert chances_phrase(share) == told

    @pytest.mark.parametrize("share", [None, 0.01, 0.99])
    def test_what_is_as_good_as_certain_is_no_doubt(self, share: float | None):
        assert over_chance_phrase(row_of(over_probability=share)) == ""

    def test_doubt_is_told(self):
        assert (
            over_chance_phrase(row_of(over_probability=0.31)) == "About 3 chances in 10 that the true mean is over it."
        )

    @pytest.mark.parametrize(
        ("weeks", "told"),
        [
            (1, "If it goes on like this, it is likely over your action level of 100 in a week."),
            (3, "If it goes on like this, it is likely over your action level of 100 in 3 weeks."),
        ],
    )
    def test_a_crossing_in_sight(self, weeks: int, told: str):
        row = row_of(outlook=ahead("in_sight", weeks=weeks, soonest=1, latest=None))
        assert (crossing_phrase(row), weeks_to_crossing(row)) == (told, weeks)

    @pytest.mark.parametrize("word", ["over_now", "not_in_sight", "no_level"])
    def test_no_crossing_is_told_where_none_is_in_sight(self, word: str):
        row = row_of(outlook=ahead(word))
        assert (crossing_phrase(row), weeks_to_crossing(row)) == ("", None)

    @pytest.mark.parametrize(
        ("outlook", "told"),
        [
            (
                ahead("in_sight", weeks=1, soonest=1, latest=1),
                "Likely over the level of 100 in 1 week (1 to 1).",
            ),
            (
                ahead("in_sight", weeks=2, soonest=1, latest=None),
                "Likely over the level of 100 in 2 weeks (1 to more than 6).",
            ),
            (ahead("over_now", 0.71), "Over the level of 100 now; 7 chances in 10 in three weeks."),
            (
                ahead("not_in_sight", 0.01),
                "Not likely over the level of 100 within six weeks; less than 1 chance in 10 in three weeks.",
            ),
        ],
    )
    def test_a_crossing_with_its_range(self, outlook: dict[str, Any], told: str):
        assert crossing_in_words(row_of(outlook=outlook)) == told

    def test_without_a_level_or_a_forecast_there_is_no_crossing_to_tell(self):
        assert crossing_in_words(row_of(level=None, outlook=ahead("no_level", None))) == ""
        assert crossing_in_words(row_of()) == ""

    @pytest.mark.parametrize(
        ("word", "over", "told"),
        [
            ("over_now", 0.3, "In two weeks it is likelier below than over."),
            ("over_now", 0.7, ""),
            ("over_now", None, ""),
            ("in_sight", 0.3, ""),
        ],
    )
    def test_a_fall_below_the_level_is_told_only_where_it_is_over_now(self, word: str, over: float | None, told: str):
        assert back_below_phrase(row_of(outlook=ahead(word, over))) == told

    def test_of_nothing_nothing_is_said(self):
        row = row_of()
        assert (weeks_ahead(row, 2), crossing_phrase(row), back_below_phrase(row), crossing_in_words(row)) == (
            None, "", "", "",
        )  # fmt: skip

    def test_the_lists_promise_is_one_over_many_weeks(self):
        assert "about one such name in ten is false" in list_promise()
        assert "in a week in which no farm rises, every name is" in list_promise()
