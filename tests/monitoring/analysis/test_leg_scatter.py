"""Flies on legs: means, and whose k is used."""

import numpy as np
import pytest

from monitoring.analysis.leg_scatter import K_OF_LEGS, leg_scatter
from monitoring.analysis.scatter import shared_k_adjusted

NONE = float("nan")


def sessions(number, *, animals=12, k=0.8, seed=20260601):
    """Invented leg counts (number, animals), means about 10 that differ from day to day."""
    rng = np.random.default_rng(seed)
    mean = 10 * np.exp(0.5 * rng.standard_normal((number, 1)))
    with np.errstate(under="ignore"):
        return rng.poisson(rng.gamma(k, mean / k, (number, animals))).astype(float)


def test_means_are_per_animal_and_per_leg_of_the_animals_looked_at():
    legs = leg_scatter([[4, 0, 12, 8, NONE], [NONE] * 5, [0, 0, 0, 0, 0]], [0, 0, 0], 1)
    np.testing.assert_array_equal(legs.mean_per_animal, [6, NONE, 0])
    np.testing.assert_array_equal(legs.mean_per_leg, [1.5, NONE, 0])
    assert legs.animals.tolist() == [4, 0, 5]


def test_below_thirty_leg_counts_k_is_inferred_and_says_so():
    legs = leg_scatter(sessions(29), np.zeros(29, int), 1)
    assert (legs.k[0], legs.source[0], legs.sessions[0]) == (K_OF_LEGS, "inferred", 29)
    assert legs.fitted.k[0] == pytest.approx(0.8, rel=0.3)


def test_from_thirty_on_it_is_the_groups_own_each_session_with_its_own_mean():
    flies = sessions(30)
    legs = leg_scatter(flies, np.zeros(30, int), 1)
    assert (legs.source[0], legs.sessions[0]) == ("own", 30)
    assert legs.k[0] == shared_k_adjusted(flies, np.zeros(30, int), 1).k[0] == pytest.approx(0.8, rel=0.25)


def test_leg_counts_that_cannot_tell_are_not_among_the_thirty():
    flies = sessions(31)
    flies[0, 1:] = NONE
    flies[1] = 0.0
    assert leg_scatter(flies, np.zeros(31, int), 1).source[0] == "inferred"


def test_each_group_has_its_own():
    flies = np.concatenate([sessions(60, k=0.8), sessions(60, k=3.0, seed=1), sessions(3)])
    legs = leg_scatter(flies, np.repeat([2, 0, 1], [60, 60, 3]), 4)
    assert legs.source.tolist() == ["own", "inferred", "own", "inferred"]
    assert legs.sessions.tolist() == [60, 3, 60, 0]
    assert legs.k[0] > 2 and legs.k[2] < 1.2
    assert (legs.k[[1, 3]] == K_OF_LEGS).all()


def test_animals_as_even_as_chance_have_an_infinite_k_of_their_own():
    legs = leg_scatter(np.full((30, 10), 5.0), np.zeros(30, int), 1)
    assert (legs.k[0], legs.source[0], legs.fitted.reason[0]) == (np.inf, "own", "no_overdispersion")


def test_no_leg_counts_at_all():
    legs = leg_scatter(np.zeros((0, 15)), np.zeros(0, int), 1)
    assert (legs.k[0], legs.source[0], legs.sessions[0]) == (K_OF_LEGS, "inferred", 0)


@pytest.mark.parametrize("bad", [-1.0, np.inf, 2.5])
def test_bad_counts_are_refused_by_name(bad):
    with pytest.raises(ValueError, match=r"^flies must be"):
        leg_scatter([[1.0, bad]], [0], 1)
    with pytest.raises(ValueError, match=r"^owner must lie"):
        leg_scatter([[1.0, 2.0]], [1], 1)
