"""When does acting pay? Only for stable flies, and only with prices, costs and losses that the user names."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Bools, Floats, Words, refuse

STABLE_FLIES_ON_LEGS = "leg"


@dataclass(frozen=True)
class PublishedLoss:
    """A figure from a publication, with what it is worth."""

    value: float
    unit: str
    source: str
    quality: str


# Shown beside what the user types, never put in its place: it belongs to a cow and a year, not to a fly.
MEDIAN_LOSS = PublishedLoss(
    value=139.0,
    unit="kg of milk a cow and year",
    source="Taylor, Moon and Mark 2012, Economic impact of stable flies (Diptera: Muscidae) on dairy and beef cattle "
    "production, J Med Entomol 49:198-209",
    quality="Published: a median for the United States from a model of many herds. A single herd may be far from it, "
    "and it does not say what one fly costs.",
)


@dataclass(frozen=True)
class Stake:
    """What is at stake, in the user's own numbers; numbers or arrays of one shape.

    `price` of a unit of milk, above zero [money]; `loss_per_fly` of milk that one more stable fly an animal takes from
    it a day, above zero [units of milk]; `animals` that the work protects, above zero; `days` for which it does so,
    above zero; `share_gone` of the flies that it takes away, above 0, at most 1. NaN = not known.
    """

    price: ArrayLike
    loss_per_fly: ArrayLike
    animals: ArrayLike
    days: ArrayLike
    share_gone: ArrayLike


@dataclass(frozen=True)
class BreakEven:
    """Flies an animal at which the work costs as much as it saves; NaN where `reason` is "not_known"."""

    flies: Floats
    reason: Words


def economic_injury_level(
    cost: ArrayLike, value: ArrayLike, injury: ArrayLike, damage: ArrayLike, share_gone: ArrayLike = 1.0
) -> Floats:
    """Give the number of insects at which acting costs as much as it saves: C / (V I D K).

    Parameters
    ----------
    cost : number or array, zero or more -- C, of acting on one unit of production. [money]
    value : number or array, above zero -- V, of one unit of production. [money]
    injury : number or array, above zero -- I, injury by one insect.
    damage : number or array, above zero -- D, share of the value lost by one unit of injury.
    share_gone : number or array, above 0, at most 1 -- K, the share of the injury that acting prevents.

    Returns
    -------
    array of that shape -- insects for a unit of production; NaN where something is not known (NaN).

    Raises ValueError, naming the argument, for what lies outside its range or is infinite.

    Notes
    -----
    A cost of zero gives 0: acting for nothing pays from the first insect on. A loss of zero is refused, since nothing
    would ever pay.

    References
    ----------
    Pedigo, Hutchins and Higley 1986, Economic injury levels in theory and practice, Annu Rev Entomol 31:341-368.

    Examples
    --------
    >>> float(economic_injury_level(20, 500, 1 / 800, 0.10))  # 800 insects take 10 %
    320.0
    """
    c, v, i, d, k = np.broadcast_arrays(*(np.asarray(x, np.float64) for x in (cost, value, injury, damage, share_gone)))
    refuse(np.atleast_1d((c < 0) | np.isinf(c)), "cost", "must be a number from 0, or NaN for not known")
    for name, each in (("value", v), ("injury", i), ("damage", d)):
        _refuse_not_above_zero(each, name)
    refuse(np.atleast_1d((k <= 0) | (k > 1)), "share_gone", "must be above 0 and at most 1, or NaN for not known")
    # C / (V I D K)
    return np.asarray(c / (v * i * d * k), np.float64)


def break_even(method: str, cost: ArrayLike, stake: Stake) -> BreakEven:
    """Give the stable flies an animal at which a work costs as much as the milk that it saves.

    Parameters
    ----------
    method : str -- how flies were counted; only "leg" (stable flies on legs) has a loss to speak of.
    cost : number or array, zero or more -- of the work, all of it. [money]
    stake : Stake

    Returns
    -------
    BreakEven -- in flies an animal, as leg counts give them.

    Raises ValueError for any other method, and, naming the argument, for what lies outside its range.

    Notes
    -----
    It takes milk loss to grow evenly with the flies, which no trial has shown over the whole range, and it counts milk
    only: bunching, growth of calves, neighbours and the people in the barn have no price here.

    References
    ----------
    `economic_injury_level` with V the price, I D the loss of a fly times animals times days, K the share that goes.

    Examples
    --------
    >>> float(break_even("leg", 300.0, Stake(0.5, 0.1, 100, 30, 0.5)).flies)
    4.0
    """
    _refuse_house_flies(method)
    animals, days = np.asarray(stake.animals, np.float64), np.asarray(stake.days, np.float64)
    _refuse_not_above_zero(animals, "animals")
    _refuse_not_above_zero(days, "days")
    _refuse_not_above_zero(np.asarray(stake.price, np.float64), "price")
    _refuse_not_above_zero(np.asarray(stake.loss_per_fly, np.float64), "loss_per_fly")
    flies = economic_injury_level(cost, stake.price, animals * days, stake.loss_per_fly, stake.share_gone)
    return BreakEven(flies, np.where(np.isnan(flies), "not_known", ""))


def against_break_even(flies: ArrayLike, mean: ArrayLike, low: ArrayLike, high: ArrayLike) -> Words:
    """Say how this week's flies stand to the break-even.

    Parameters
    ----------
    flies : number or array, zero or more -- break-even, in flies an animal; NaN = not known.
    mean, low, high : numbers or arrays of one shape -- the week's mean and its interval; NaN = none.

    Returns
    -------
    array of str -- "not_known", "below" or "over" (the whole interval is), "either" (the interval holds it), or
    "below_roughly" and "over_roughly" where the mean has no interval.

    Notes
    -----
    With one end of the interval missing it is taken as reaching there without end. A mean at the break-even is over it.

    Examples
    --------
    >>> against_break_even(4.0, [9.0, 3.0, 5.0], [6.0, 2.0, np.nan], [12.0, 7.0, np.nan]).tolist()
    ['over', 'either', 'over_roughly']
    """
    f, m, lower, upper = np.broadcast_arrays(*(np.asarray(x, np.float64) for x in (flies, mean, low, high)))
    none = np.isnan(lower) & np.isnan(upper)
    reaches_below, reaches_over = np.isnan(lower) | (lower < f), np.isnan(upper) | (upper >= f)
    cases: list[Bools] = [
        np.isnan(f) | np.isnan(m),
        none & (m < f),
        none,
        reaches_below & reaches_over,
        reaches_below,
    ]
    return np.select(cases, ["not_known", "below_roughly", "over_roughly", "either", "below"], default="over")


def _refuse_house_flies(method: str) -> None:
    if method != STABLE_FLIES_ON_LEGS:
        raise ValueError(
            'method must be "leg": cards and jug traps count house flies, of which no loss of milk has been shown, and '
            "a stable fly's loss must not be put on them."
        )


def _refuse_not_above_zero(values: Floats, name: str) -> None:
    refuse(np.atleast_1d((values <= 0) | np.isinf(values)), name, "must be above zero, or NaN for not known")
