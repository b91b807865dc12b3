"""How well a mean is known, what more counting would help and what is borrowed: in the farm's own words."""

import math
import re
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.models import Assessment, BorrowedFigures
from alerts.selectors.borrowed import Lent
from alerts.selectors.precision import Precision, Unevenness
from server.web.precision import (
    called_rising,
    counted,
    known_sentence,
    more_sentence,
    own_test_sentences,
    unevenly_sentence,
    weeks_sentences,
)
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, as_factory
from tests.server.web.pages import at, words

WEEK = monday(5)
# What the office says and a farm's page never does (the voice's own list, and k and Taylor).
OFFICE_WORDS = re.compile(r"[Dd]ispersion|[Ee]xposure|[Cc]ohort|Taylor|\bk\b|[Vv]ariance|[Ss]tandard error|NaN|None")
QUARTER_FROM_JULY = "42 farms of the group, rounded and fixed for the quarter from July 1."
FIXED = "rounded and fixed for a quarter."
PRINTED_WEEKS = (
    "How much weeks scatter is taken from printed figures, since fewer than 30 holdings have counted long enough "
    "(farms of one owner are one holding)."
)
A_THIRD = "With 2 cards the mean is known to about a third; for a quarter about 5 would be needed, for 15 % about 12."


def precision(**values: Any) -> Precision:
    usual = {
        "method": "card", "devices": 5, "mean": 80.0, "mean_per_leg": None, "relative_variance": 0.27,
        "source": "published", "reached": 0.232, "for_a_quarter": 5, "for_15_percent": 12, "reason": "",
        "unevenness": Unevenness(),
    }  # fmt: skip
    return Precision(**(usual | values))


def figures(**values: Any) -> BorrowedFigures:
    return BorrowedFigures(**({"quarter": date(2026, 7, 1), "farms": 42, "holdings": 40} | values))


LENT = Lent("card", "2026-07-01/1", figures())
PRINTED = Lent("card", "printed", None)


class TestSentences:
    # 12 cards for 15 % and s^2/m^2 0.27: Gerry et al. 2011, J Econ Entomol 104(3).
    @pytest.mark.parametrize(
        ("values", "told"),
        [
            ({}, "With 5 cards the mean is known to about a quarter; for 15 % about 12 would be needed."),
            ({"devices": 2, "reached": 0.367, "for_a_quarter": 5}, A_THIRD),
            (
                {"devices": 4, "reached": 0.26},
                "With 4 cards the mean is known to about a quarter; for 15 % about 12 would be needed.",
            ),
            ({"devices": 12, "reached": 0.15}, "With 12 cards the mean is known to about a fifth."),
            ({"devices": 40, "reached": 0.08}, "With 40 cards the mean is known to about a tenth."),
            ({"devices": 40, "reached": 0.0}, "With 40 cards the mean is known to about a twentieth."),
            (
                {"method": "trap", "devices": 1, "reached": 0.9, "for_a_quarter": 13, "for_15_percent": 36},
                "With 1 trap the mean is hardly known; for a quarter about 13 would be needed, for 15 % about 36.",
            ),
            ({"reached": None, "reason": "at_least"}, ""),
            ({"for_a_quarter": None}, ""),
        ],
    )
    def test_how_well_the_mean_is_known(self, values: dict[str, Any], told: str):
        assert known_sentence(precision(**values)) == told

    @given(st.floats(0, 2), st.integers(1, 60))
    def test_what_is_reached_is_never_said_to_need_more(self, reached: float, devices: int):
        def enough(share: float) -> int:
            return max(1, math.ceil(round(devices * (reached / share) ** 2, 9)))

        row = precision(
            devices=devices, reached=reached, for_a_quarter=enough(0.25), for_15_percent=enough(0.15)
        )  # fmt: skip
        said = known_sentence(row)
        if "for 15 %" in said:
            assert row.for_15_percent >= devices and reached > 0.15
        if "for a quarter" in said:
            assert row.for_a_quarter > devices and "about a quarter;" not in said

    @pytest.mark.parametrize(
        ("method", "number", "told"),
        [("card", 1, "1 card"), ("card", 5, "5 cards"), ("trap", 2, "2 traps"), ("leg", 12, "12 animals")],
    )
    def test_what_was_counted(self, method: str, number: int, told: str):
        assert counted(method, number) == told

    @pytest.mark.parametrize(
        ("values", "told"),
        [
            ({"source": "own"}, "How unevenly cards catch is taken from this farm's own last twelve weeks."),
            (
                {"source": "taylor"},
                f"How unevenly cards catch is taken from farms of the group, {FIXED}",
            ),
            ({}, "How unevenly cards catch is taken from what is published of large dairies."),
            (
                {"method": "leg", "source": "inferred"},
                "How unevenly flies sit on animals is our own inference, since no published figure is known to us.",
            ),
            (
                {"method": "leg", "source": "group"},
                f"How unevenly flies sit on animals is taken from the leg counts of the group, {FIXED}",
            ),
            ({"reached": None}, ""),
            ({"source": "none"}, ""),
        ],
    )
    def test_where_the_unevenness_is_from(self, values: dict[str, Any], told: str):
        assert unevenly_sentence(precision(**values)) == told

    def test_what_all_methods_borrow_is_said_once(self):
        once = f"How much weeks scatter is taken from {QUARTER_FROM_JULY}"
        assert weeks_sentences([LENT, Lent("trap", LENT.name, LENT.figures)]) == [once]
        assert weeks_sentences([PRINTED]) == [PRINTED_WEEKS]
        assert weeks_sentences([]) == []

    def test_where_they_differ_each_is_named(self):
        said = weeks_sentences([LENT, Lent("trap", "printed", None), Lent("leg", "printed", None)])
        assert said == [
            f"Cards: How much weeks scatter is taken from {QUARTER_FROM_JULY}",
            f"Traps and legs: {PRINTED_WEEKS}",
        ]

    @pytest.mark.parametrize(
        ("values", "told"),
        [
            (
                {"devices": 3, "reached": 0.3, "for_a_quarter": 5},
                "With 3 cards the mean of a week is not known to a quarter yet: about 2 more would do.",
            ),
            ({"reached": 0.25}, ""),
            ({"reached": None}, ""),
        ],
    )
    def test_what_more_would_help(self, values: dict[str, Any], told: str):
        assert more_sentence(precision(**values)) == told

    def test_the_farms_own_test_and_how_often_it_errs(self):
        told = " ".join(own_test_sentences())
        assert "went up more than those of 19 in 20 level farms would by chance" in told
        assert re.search(r"Of a hundred level farms (11 to 13|about 1\d) are called rising at least once", told)

    def test_the_share_is_the_calibrations_where_it_is_kept(self):
        assert called_rising({}) == "11 to 13"
        assert called_rising({"own_test_level_within_three_checks": 0.124}) == "about 12"


@pytest.mark.django_db
class TestPages:
    @pytest.fixture
    def season(self, group, northfield, cards, traps, leg_station):
        """Six weeks, the last of May 11: uneven cards, two traps, leg counts; two cards with nothing."""
        for number in range(6):
            count_week(cards, monday(number), [0, 0, 20, 40, 120 + number])
            count_week(traps, monday(number), [100 + number, 160])
            count_week([leg_station], monday(number), [[0, 3, 12, 5, 0, 8, 21, 2, 7, 0, 4, 10]])
        check(group, WEEK)
        return northfield

    def details(self, page: Any) -> str:
        told = words(page)
        return told[told.index("How these numbers were got") : told.index("Compare a number with this farm's own")]

    def test_the_farms_page_says_how_well_each_mean_is_known(self, browser, anna, season):
        told = self.details(browser(anna).get(at("farm", season)))
        assert re.search(r"Cards: .*With 5 cards the mean is (known to about half|hardly known)", told)
        assert "Of 5 cards 2 had none at all; with counts as uneven as these about 2 would be expected." in told
        assert re.search(r"Traps: .*With 2 traps the mean is known to about", told)
        assert re.search(r"Legs: .*6 flies an animal are 1\.5 a leg\. With 12 animals the mean is known", told)
        assert "since fewer than 30 holdings have counted long enough" in told
        assert "Of a hundred level farms" in told

    def test_no_word_of_the_office_is_on_it(self, browser, anna, season):
        assert OFFICE_WORDS.findall(self.details(browser(anna).get(at("farm", season)))) == []

    def test_what_a_result_borrows_of_the_group_is_named_with_its_quarter(self, browser, anna, season, group):
        with as_factory():
            BorrowedFigures.objects.create(
                group=group, method="trap", quarter=date(2026, 4, 1), version=2, farms=45, holdings=42, shock=0.2,
                stays=0.3, counting=1.0, growth=0.1, degrees=9.0, weight_k=1.4, fitted_at=NOW, code_version="test",
            )  # fmt: skip
            row = Assessment.objects.get(farm=season, week=WEEK, method="trap", facility_id=None)
            Assessment.objects.filter(pk=row.pk).update(borrowed="2026-04-01/2")
        told = self.details(browser(anna).get(at("farm", season)))
        assert "taken from 45 farms of the group, rounded and fixed for the quarter from April 1." in told

    def test_a_farm_that_was_never_judged_has_its_page(self, browser, carla, southmead):
        page = words(browser(carla).get(at("farm", southmead)))
        assert "No week has been judged yet." in page and "level farms" not in page

    def test_where_stations_are_added_it_says_how_many_more_would_help(self, browser, dana, season):
        page = words(browser(dana).get(at("stations", season)))
        assert re.search(
            r"With 5 cards the mean of a week is not known to a quarter yet: about \d+ more would do\.", page
        )
        assert OFFICE_WORDS.findall(page) == []

    def test_where_enough_hang_it_says_nothing(self, browser, dana, group, northfield, cards):
        count_week(cards, WEEK, [80, 90, 100, 110, 120])
        check(group, WEEK)
        assert "not known to a quarter" not in words(browser(dana).get(at("stations", northfield)))

    def test_before_the_first_week_is_judged_it_says_nothing(self, browser, dana, northfield):
        assert "not known to a quarter" not in words(browser(dana).get(at("stations", northfield)))
