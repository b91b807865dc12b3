"""Which farms of a group rise beyond what chance and the week that all of them share would bring?"""

from dataclasses import dataclass, replace

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter, covariance_of_weeks, since
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.rise import find_rises_for_list
from monitoring.analysis.rise_statistic import STARTS
from monitoring.analysis.shapes import Bools, Floats, refuse

FALSE_NAMES = 0.1
# Farms that change do so by about a third a week, up or down, with this scatter; most farms are level. Beliefs that the
# farms themselves correct; the counts of belief are worth so many farms.
GROWTH, GROWTH_SD = 0.35, 0.15
LEVEL_SHARE, FARMS_OF_BELIEF = 0.8, 10.0
ROUNDS = 15
# With fewer farms a week effect cannot be told from two farms that rise.
FEWEST = 10


@dataclass(frozen=True)
class GroupList:
    """What a group's list of a week says; arrays are (n_farms,).

    `p_value` of each farm's rise beyond the shared week effect, NaN where nothing can be said of it (`reason`);
    `named` marks the farms on the list. `shared` (n_weeks,) is the week effect that all farms share, mean zero;
    `level_share` the share of farms that neither rise nor fall. Where fewer than ten farms can be judged nothing is
    shared out and `shared` is zero.
    """

    p_value: Floats
    named: Bools
    shared: Floats
    level_share: float


def group_list(
    weeks: FarmWeeks,
    scatter: WeekScatter | None = None,
    beside: WeekScatter | None = None,
    *,
    false_names: float = FALSE_NAMES,
) -> GroupList:
    """Name the farms of a group that rise, so that on average one name in ten is false.

    Parameters
    ----------
    weeks : FarmWeeks -- one row a farm of the group, all by one method and over the same weeks.
    scatter : WeekScatter -- of the network, from earlier weeks; None for the printed one.
    beside : WeekScatter -- the same, fitted beside the week that all farms share (`beside_shared_week`): what farms
        scatter by once that is taken out; None for `scatter`, which is wider and names fewer.
    false_names : float -- the share of false names that is allowed on average over weeks, above 0 and below 1.

    Returns
    -------
    GroupList

    Notes
    -----
    Weather moves all farms of a group: a warm week raises everybody and says nothing about one. The shared effect of
    each week is estimated by farms of three kinds, level, rising and falling (with starts one to three weeks back), by
    expectation and maximisation; the median alone fails when many rise. It is taken out before the test of `rise.py`,
    with all that the network's scale is worth. Names are cut by Benjamini and Hochberg's rule. Its promise is an
    average over weeks: in a group of 20 in which none rises, all names of a week are false.

    It reads other farms' weeks: for the list only, never for a farm's page or mail.

    References
    ----------
    Benjamini and Hochberg 1995, Controlling the false discovery rate, J R Stat Soc B 57:289-300. Dempster, Laird and
    Rubin 1977, J R Stat Soc B 39:1-38, for the shared effect (both from memory). docs/calibration has the false shares.

    Examples
    --------
    >>> names_by_benjamini_hochberg(np.array([0.001, 0.03, 0.2, 0.9]), 0.1).tolist()
    [True, True, False, False]
    """
    told = weeks.told & weeks.newest_counted
    shared, level_share = np.zeros(weeks.effects.shape[1]), 1.0
    usable = _lent(scatter)
    if told.sum() >= FEWEST:
        usable = _lent(beside or scatter)
        shared, level_share = shared_effect(weeks.only(told), usable)
    p_value = find_rises_for_list(replace(weeks, effects=weeks.effects - shared), usable).p_rise
    named = np.zeros(len(weeks), np.bool_)
    known = ~np.isnan(p_value)
    named[known] = names_by_benjamini_hochberg(p_value[known], false_names)
    return GroupList(p_value, named, shared, level_share)


def _lent(scatter: WeekScatter | None) -> WeekScatter:
    return scatter if scatter is not None and scatter.borrowed else PRINTED


def beside_shared_week(weeks: FarmWeeks) -> FarmWeeks:
    """Take out what all farms share in each week, the median of their effects, mean zero over the weeks.

    For fitting what farms scatter by beside it (`week_scatter.fit_week_scatter`), from a quarter in which farms rose
    in one week and another; the list's own weeks, in which many may rise at once, need `shared_effect`.
    """
    return replace(weeks, effects=weeks.effects - _middle(weeks))


def names_by_benjamini_hochberg(p_value: Floats, false_names: float) -> Bools:
    """Mark the p-values that Benjamini and Hochberg's rule names.

    Parameters
    ----------
    p_value : (n,) float from 0 to 1; NaN is refused.
    false_names : float -- the false share allowed.

    Returns
    -------
    (n,) bool -- the k smallest, k the largest number for which the k-th smallest is at most false_names k / n.
    """
    if not 0 < false_names < 1:
        raise ValueError("false_names must be above 0 and below 1.")
    refuse(~((p_value >= 0) & (p_value <= 1)), "p_value", "must lie from 0 to 1")
    number = len(p_value)
    order = np.argsort(p_value, kind="stable")
    below = p_value[order] <= false_names * np.arange(1, number + 1) / max(number, 1)
    many = int(np.flatnonzero(below).max()) + 1 if below.any() else 0
    named = np.zeros(number, np.bool_)
    named[order[:many]] = True
    return named


def shared_effect(weeks: FarmWeeks, scatter: WeekScatter) -> tuple[Floats, float]:
    """Give the log week effect that all farms share (n_weeks,), mean zero, and the share of farms that are level."""
    mixture = _Mixture.of(weeks, scatter)
    shared = _middle(weeks)
    for _ in range(ROUNDS):
        shared = mixture.turn(shared)
    return shared, float(mixture.shares[0])


def _middle(weeks: FarmWeeks) -> Floats:
    """Start from the median of each week; zero where no farm was counted."""
    counted = weeks.used.any(axis=0)
    middle: Floats = np.zeros(counted.size)
    middle[counted] = np.nanmedian(weeks.effects[:, counted], axis=0)
    return np.asarray(middle - middle.mean(), np.float64)


@dataclass
class _Mixture:
    """Farms of seven kinds: level, and rising or falling from each start.

    `precision` (n_weeks, n_weeks) is the sum of the farms' precisions P with their levels taken out, `weighed`
    (n_weeks,) the sum of P effects; `directions` (n_weeks, n_farms, n_kinds) are P changes, `along` (n_farms, n_kinds)
    is effects' P changes, `own` changes' P changes; `growth` (n_kinds,) and `shares` (n_kinds + 1,).
    """

    precision: Floats
    weighed: Floats
    directions: Floats
    along: Floats
    own: Floats
    growth: Floats
    shares: Floats

    @classmethod
    def of(cls, weeks: FarmWeeks, scatter: WeekScatter) -> "_Mixture":
        used = weeks.used
        inverse = np.linalg.inv(covariance_of_weeks(weeks, scatter)) * (used[:, :, None] & used[:, None, :])
        rows = inverse.sum(axis=2)
        # Precision with the farm's level taken out: P = V^-1 - V^-1 1 1' V^-1 / 1' V^-1 1
        precision = inverse - rows[:, :, None] * rows[:, None, :] / rows.sum(axis=1)[:, None, None]
        when, effects = np.where(used, weeks.when, 0.0), np.where(used, weeks.effects, 0.0)
        changes = np.stack([np.where(used, since(when, start), 0.0) for start in STARTS for _ in range(2)], axis=2)
        directions = np.matmul(precision, changes)
        growth = np.array([sign * GROWTH for _ in STARTS for sign in (1, -1)])
        return cls(
            precision=precision.sum(axis=0),
            weighed=np.matmul(precision, effects[:, :, None]).sum(axis=0)[:, 0],
            directions=np.ascontiguousarray(directions.transpose(1, 0, 2)),
            along=np.matmul(effects[:, None, :], directions)[:, 0, :],
            own=(changes * directions).sum(axis=1),
            growth=growth,
            shares=np.append(LEVEL_SHARE, np.full(growth.size, (1 - LEVEL_SHARE) / growth.size)),
        )

    def turn(self, shared: Floats) -> Floats:
        """Tell the farms' kinds by the shared effect, then the shared effect by the farms' kinds."""
        along = self.along - np.tensordot(shared, self.directions, axes=1)
        # A growth of mean m and variance s^2 beside what the weeks say: posterior precision a + 1/s^2.
        total = self.own + GROWTH_SD**-2
        growth = (along + self.growth / GROWTH_SD**2) / total
        gain = 0.5 * (growth**2 * total - self.growth**2 / GROWTH_SD**2 - np.log(total * GROWTH_SD**2))
        log_weight = np.log(self.shares) + np.concatenate([np.zeros((len(gain), 1)), gain], axis=1)
        weight = np.exp(np.maximum(log_weight - log_weight.max(axis=1, keepdims=True), -700.0))
        weight /= weight.sum(axis=1, keepdims=True)
        belief = np.append(LEVEL_SHARE, np.full(self.growth.size, (1 - LEVEL_SHARE) / self.growth.size))
        self.shares = (weight.sum(axis=0) + FARMS_OF_BELIEF * belief) / (len(weight) + FARMS_OF_BELIEF)
        # sum P (effects - changes growth), what the kinds explain taken out of the sum of P effects
        return self._mean_of(self.weighed - np.tensordot(self.directions, weight[:, 1:] * growth, axes=2))

    def _mean_of(self, weighed: Floats) -> Floats:
        """Give the precision-weighted mean over farms, mean zero over weeks."""
        total = self.precision
        scale = max(float(np.trace(total)) / len(total), 1e-12)
        # Weeks that nobody counted, and the common level, are left at zero.
        shared = np.linalg.solve(total + scale * np.ones_like(total) + 1e-9 * scale * np.eye(len(total)), weighed)
        return np.asarray(shared - shared.mean())
