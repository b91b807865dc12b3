"""The audit against an attacker written without it, who tries everything that they are not told (`attacker`).

Both ask the same of HiGHS, but not the same programs: one variable a block here, one a contributor there.
"""

from itertools import combinations

import numpy as np
import pytest

from monitoring.analysis import disclosure
from monitoring.analysis.disclosure import middle_mean, release, rounded
from monitoring.analysis.disclosure_audit import LOG_RATIOS, Statement, Week
from tests.monitoring.analysis.attacker import Attacker
from tests.monitoring.analysis.published import in_log_range, in_range, week_of

LEVEL = 100.0
NEAR = 1e-5  # of the largest value


def values_of(rng, size, *, ties=False):
    values = np.exp(np.log(rng.choice([30, 60, 100, 200])) + rng.choice([0.4, 0.6, 0.8]) * rng.standard_normal(size))
    return np.round(values / 10) * 10 if ties else values


def known_to(rng, values, few):
    """One to `few` contributors; two times in three a pair, and where two are over the level or not, those."""
    for side in (np.flatnonzero(values > LEVEL), np.flatnonzero(values <= LEVEL)):
        if side.size == 2:
            return tuple(side.tolist())
    count = 2 if rng.random() < 0.67 else int(rng.integers(0, few + 1))
    return tuple(rng.choice(values.size, count, replace=False).tolist())


def leaks(interval, values, known):
    """Whether an end is within 15 % of the value, or five counts, of anybody it holds for; 0 apart."""
    low, high = interval
    unknown = np.delete(values, known)
    margin = np.maximum(0.15 * unknown, 5.0) - NEAR * values.max()
    return bool((high - unknown < margin).any() or (low > NEAR * values.max() and (unknown - low < margin).any()))


@pytest.mark.parametrize("cases", [60, pytest.param(10_000, marks=pytest.mark.full)])
def test_the_audits_bounds_lie_within_what_an_attacker_can_work_out(cases):
    rng, tried = np.random.default_rng(20), 0
    while tried < cases:
        values = values_of(rng, int(rng.integers(10, 15)))
        cell = release(values, LEVEL, at_least=False)
        if cell.disclosure == "nothing":
            continue
        known = known_to(rng, values, 6)
        [(_whom, low, high)] = week_of(cell, values, LEVEL).intervals(known)
        truly_low, truly_high = Attacker(values, cell, LEVEL, known, of_share=False).interval()
        near = NEAR * values.max()
        assert truly_low <= low + near and high <= truly_high + near, (values, cell, known)
        tried += 1


def leaking(rng, cases):
    """How many of so many releases leak to a pair who know by which rule a share is left out."""
    found = 0
    for _ in range(cases):
        values = values_of(rng, int(rng.integers(10, 15)))
        cell = release(values, LEVEL, at_least=False)
        if cell.disclosure == "nothing":
            continue
        pair = known_to(rng, values, 2)
        found += leaks(Attacker(values, cell, LEVEL, pair).interval(), values, list(pair))
    return found


@pytest.mark.parametrize("cases", [25, pytest.param(1_500, marks=pytest.mark.full)])
def test_a_share_that_is_left_out_tells_nothing_to_two_who_know_why(cases):
    assert leaking(np.random.default_rng(21), cases) == 0


def test_with_three_on_each_side_it_did(monkeypatch):
    """Two over the level and no share told: nobody else is over it. So four have to be."""
    monkeypatch.setattr(disclosure, "EACH_SIDE", 3)
    assert leaking(np.random.default_rng(21), 25) > 0


def one_statement(rng, values, members):
    own = np.sort(values[members])
    told = rng.random(3) < [0.7, 0.8, 0.6]
    middle = in_range(rounded(middle_mean(own))) if told[0] else None
    over = (values > LEVEL) & members if told[2] else None
    return Statement(
        members, in_range(rounded(float(own.mean()))), middle, bool(told[1]), LEVEL if told[2] else None, over
    )


def nested_week(rng, values):
    """A group and a part of it, or a group's mean and both its parts: not asked whether they may be published."""
    everybody, part = np.ones(values.size, bool), rng.random(values.size) < 0.7
    if not 2 < part.sum() < values.size:
        return Week(values, [one_statement(rng, values, everybody)])
    if rng.random() < 0.5:
        return Week(values, [one_statement(rng, values, everybody), one_statement(rng, values, part)])
    whole = Statement(everybody, mean=in_range(rounded(float(values.mean()))))
    return Week(values, [whole, one_statement(rng, values, part), one_statement(rng, values, ~part)])


def normal_week(rng, values):
    ratios = np.log(values / LEVEL + 0.01)
    told = rng.random(3) < 0.6
    mean, middle = np.exp(ratios.mean()), np.exp(middle_mean(np.sort(ratios)))
    of = Statement(
        np.ones(ratios.size, bool), in_log_range(rounded(float(mean))),
        in_log_range(rounded(float(middle))) if told[0] else None, bool(told[1]),
        0.0 if told[2] else None, ratios > 0 if told[2] else None,
    )  # fmt: skip
    return Week(ratios, [of], scale=LOG_RATIOS)


def single_week(rng, values):
    return Week(values, [one_statement(rng, values, np.ones(values.size, bool))])


@pytest.mark.parametrize("cases", [2, pytest.param(150, marks=pytest.mark.full)])
@pytest.mark.parametrize("size", [10, 14])
@pytest.mark.parametrize("week_by", [single_week, nested_week, normal_week])
def test_no_pair_is_stronger_than_the_strongest_pairs(week_by, size, cases):
    rng = np.random.default_rng([size, cases])
    for case in range(cases):
        week = week_by(rng, values_of(rng, size, ties=case % 2 == 1))
        slack = {pair: week.slack(pair) for pair in combinations(range(size), 2)}
        strongest = min(slack[pair] for pair in week.strongest_pairs())
        near = NEAR * max(1.0, np.abs(week.values).max())
        weaker = [pair for pair, left in slack.items() if left < strongest - near]
        assert weaker == [], (week.values, week.statements)


@pytest.mark.parametrize("cases", [10, pytest.param(400, marks=pytest.mark.full)])
def test_what_the_gate_lets_out_survives_every_pair(cases):
    rng = np.random.default_rng(22)
    for case in range(cases):
        values = values_of(rng, int(rng.integers(5, 15)), ties=case % 2 == 1)
        cell = release(values, LEVEL, at_least=bool(case % 3))
        week = week_of(cell, values, LEVEL, at_least=bool(case % 3))
        assert week.breaches(list(combinations(range(values.size), 2))) == []


@pytest.mark.parametrize("cases", [30, pytest.param(2_000, marks=pytest.mark.full)])
def test_what_the_gate_lets_out_survives_those_who_see_several(cases):
    rng = np.random.default_rng(23)
    for case in range(cases):
        values = values_of(rng, int(rng.integers(5, 31)), ties=case % 2 == 1)
        watchers = [rng.random(values.size) < share for share in (0.3, 0.7, 0.9)]
        cell = release(values, LEVEL, at_least=False, watchers=watchers)
        assert week_of(cell, values, LEVEL, watchers=watchers).breaches() == []


def test_equal_values_at_a_border_take_the_room_of_those_not_seen():
    """Somebody sees ten of twelve, among them one 60 that was told "upper third": so neither of the others is above it.

    The gate once counted the other 60 as free to be anywhere in that third.
    """
    values = np.array([20.0, 20, 30, 40, 40, 50, 50, 60, 60, 100, 100, 170])
    sees = np.ones(12, bool)
    sees[[3, 8]] = False
    told = release(values, LEVEL, at_least=False)
    assert told.disclosure == "numbers"
    [(_whom, _low, high)] = week_of(told, values, LEVEL).intervals(np.flatnonzero(sees).tolist())
    assert high == pytest.approx(60)
    assert release(values, LEVEL, at_least=False, watchers=[sees]).disclosure == "word"
