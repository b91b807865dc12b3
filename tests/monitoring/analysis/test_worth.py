"""When acting pays: the user's own numbers, stable flies on legs only."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.worth import MEDIAN_LOSS, Stake, against_break_even, break_even, economic_injury_level
from monitoring.methods import METHODS

NONE = float("nan")
STAKE = Stake(price=0.5, loss_per_fly=0.1, animals=100, days=30, share_gone=0.5)
AMOUNT = st.floats(0.01, 1e4)


def test_what_the_work_costs_over_what_one_fly_an_animal_takes():
    # 300 of money over 0.5 x 0.1 x 100 x 30 x 0.5 = 75
    assert break_even("leg", 300, STAKE).flies == 4


@pytest.mark.parametrize("method", ["card", "trap", "legs", ""])
def test_a_stable_flys_loss_is_never_put_on_house_flies(method):
    with pytest.raises(ValueError, match=r"^method must be \"leg\": cards and jug traps count house flies"):
        break_even(method, 300, STAKE)


def test_the_only_method_with_a_loss_is_the_one_that_counts_stable_flies():
    assert [code for code, method in METHODS.items() if method.fly == "stable fly"] == ["leg"]


def test_there_is_no_loss_by_default():
    with pytest.raises(TypeError):
        Stake(price=0.5, animals=100, days=30, share_gone=0.5)


def test_a_published_figure_says_what_it_is_worth():
    assert MEDIAN_LOSS.value == 139
    assert "J Med Entomol 49" in MEDIAN_LOSS.source and "does not say what one fly costs" in MEDIAN_LOSS.quality


def test_what_costs_nothing_pays_from_the_first_fly():
    assert break_even("leg", 0, STAKE).flies == 0


def test_what_is_not_known_stays_unknown():
    found = break_even("leg", [300, NONE], STAKE)
    assert found.reason.tolist() == ["", "not_known"]
    assert np.isnan(found.flies).tolist() == [False, True]


@pytest.mark.parametrize("name", ["price", "loss_per_fly", "animals", "days"])
@pytest.mark.parametrize("wrong", [0.0, -1.0, np.inf])
def test_what_is_not_above_zero_is_refused_by_its_name(name, wrong):
    stake = Stake(
        **({"price": 0.5, "loss_per_fly": 0.1, "animals": 100, "days": 30, "share_gone": 0.5} | {name: wrong})
    )
    with pytest.raises(ValueError, match=rf"^{name} must be above zero"):
        break_even("leg", 300, stake)


@pytest.mark.parametrize("wrong", [0.0, -0.1, 1.1])
def test_a_share_outside_its_range_is_refused(wrong):
    with pytest.raises(ValueError, match=r"^share_gone must be above 0 and at most 1"):
        break_even("leg", 300, Stake(0.5, 0.1, 100, 30, wrong))
    with pytest.raises(ValueError, match=r"^cost must be a number from 0"):
        break_even("leg", -1, STAKE)


@given(AMOUNT, AMOUNT, st.floats(1, 10))
def test_dearer_milk_or_a_cheaper_work_pays_sooner(cost, price, times):
    one = economic_injury_level(cost, price, 0.01, 0.1)
    assert economic_injury_level(cost, price * times, 0.01, 0.1) <= one * (1 + 1e-12)
    assert economic_injury_level(cost * times, price, 0.01, 0.1) >= one * (1 - 1e-12)


@pytest.mark.parametrize(
    ("flies", "mean", "low", "high", "word"),
    [
        (4, 9, 6, 12, "over"),
        (4, 2, 1, 3, "below"),
        (4, 5, 3, 8, "either"),
        (4, 4, NONE, NONE, "over_roughly"),
        (4, 3, NONE, NONE, "below_roughly"),
        (4, 9, 6, NONE, "over"),
        (4, 5, 3, NONE, "either"),
        (NONE, 5, 3, 8, "not_known"),
        (4, NONE, NONE, NONE, "not_known"),
        (0, 0, 0, 1, "over"),
    ],
)
def test_how_the_week_stands_to_the_break_even(flies, mean, low, high, word):
    assert against_break_even(flies, mean, low, high) == word
