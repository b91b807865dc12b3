"""The rules as pure functions: when each opens and what ends it."""

from datetime import date, timedelta

import numpy as np
import pytest

from alerts.checks.rules import over, overdue, rising
from alerts.checks.rules.over import Week
from alerts.rounds import Season, Walks, days_without, due_on


def weeks(*shares: float | None, at_least: bool = False) -> list[Week]:
    words = ["none" if share is None else "over" if share > 1 else "below" for share in shares]
    return [Week(word, share, at_least) for word, share in zip(words, shares, strict=True)]


class TestOver:
    def test_opens_when_the_word_says_over_and_not_when_near(self):
        assert over.opens(Week("over", 1.01))
        assert not over.opens(Week("near", 1.0))
        assert not over.opens(Week("none", None))

    def test_one_low_week_does_not_close_it_and_two_running_do(self):
        assert not over.closes(weeks(0.5))
        assert over.closes(weeks(0.5, 0.79))

    def test_exactly_four_fifths_of_the_level_is_not_below_it(self):
        assert not over.closes(weeks(0.8, 0.5))
        assert not over.closes(weeks(0.5, 0.8))

    def test_a_week_between_breaks_the_run(self):
        assert not over.closes(weeks(0.5, 0.9, 0.5))
        assert over.closes(weeks(0.5, 0.9, 0.5, 0.5))

    def test_a_week_without_a_count_is_no_week(self):
        assert over.closes(weeks(0.5, None, None, 0.5))
        assert not over.closes(weeks(None, None, 0.5))
        assert not over.closes(weeks(0.5, 0.5, None)), "nothing counted this week ends nothing this week"

    def test_a_lower_bound_does_not_show_a_low_week(self):
        assert not over.closes([*weeks(0.5), *weeks(0.5, at_least=True)])


class TestRising:
    @pytest.mark.parametrize(
        ("p_rise", "p_fall", "seen", "word"),
        [
            (0.049, 0.99, 5, "rising"),
            (0.05, 0.97, 8, "level"),
            (0.2, 0.8, 8, "level"),
            (0.99, 0.01, 8, "falling"),
            (0.001, 0.99, 4, "too_early"),
            (1.0, 1.0, 8, "level"),
            (np.nan, np.nan, 8, "too_early"),
            # A peak three weeks ago and a fall since can show both: the likelier one is told.
            (0.04, 0.01, 8, "falling"),
            (0.01, 0.04, 8, "rising"),
        ],
    )
    def test_words(self, p_rise: float, p_fall: float, seen: int, word: str):
        assert list(rising.trend_words(np.array([p_rise]), np.array([p_fall]), np.array([seen]))) == [word]

    def test_closes_after_two_counted_weeks_no_longer_rising(self):
        assert not rising.closes(["level"])
        assert rising.closes(["level", "falling"])
        assert not rising.closes(["level", "rising", "level"])

    def test_a_week_too_early_to_tell_shows_nothing(self):
        assert rising.closes(["level", "too_early", "level"])
        assert not rising.closes(["too_early", "too_early", "level"])


OPENS = date(2026, 4, 6)
SEASON = (Season(OPENS),)
ROUND = date(2026, 6, 1)


def after(days: int, since: date = ROUND) -> date:
    return since + timedelta(days=days)


class TestOverdue:
    def test_due_after_seven_days_and_overdue_after_ten(self):
        walks = Walks(SEASON, ROUND)
        assert due_on(walks, ROUND) == after(7)
        assert not overdue.opens(walks, after(9))
        assert overdue.opens(walks, after(10))
        assert days_without(walks, after(16)) == 16

    def test_the_first_hanging_visit_is_a_round_that_makes_the_next_due_in_seven_days(self):
        walks = Walks(SEASON, last_round=OPENS)
        assert not overdue.opens(walks, after(9, OPENS))
        assert overdue.opens(walks, after(10, OPENS))

    def test_a_farm_that_never_began_is_overdue_ten_days_after_its_season_opened(self):
        assert not overdue.opens(Walks(SEASON, None), after(9, OPENS))
        assert overdue.opens(Walks(SEASON, None), after(10, OPENS))

    def test_last_seasons_round_does_not_make_the_new_season_overdue_at_once(self):
        assert not overdue.opens(Walks(SEASON, date(2025, 9, 30)), after(9, OPENS))

    def test_nothing_is_overdue_before_the_day_named_when_a_round_was_skipped(self):
        walks = Walks(SEASON, ROUND, skipped_to=after(21))
        assert due_on(walks, after(10)) == after(21)
        assert not overdue.opens(walks, after(23))
        assert overdue.opens(walks, after(24))

    def test_out_of_season_nothing_is_due(self):
        closed = (Season(OPENS, closes_on=after(3)),)
        assert overdue.opens(Walks(closed, OPENS), after(3))
        assert not overdue.opens(Walks(closed, OPENS), after(4))
        assert due_on(Walks(closed, ROUND), after(30)) is None
