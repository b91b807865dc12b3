"""Are the flies of a whole region on the way up, how fast, and how sure is that?"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Bools, Floats, refuse_unlike
from monitoring.analysis.trend import TREND_WEEKS, fit_trends

WEEKS_NEEDED = 4
CONTRIBUTORS_NEEDED = 10
# A farm is called rising where a level one would look as steep once in ten times. Our own choice.
RISING_AT = 0.1
# What is published is rounded to steps of five per cent a week, and the interval outwards.
STEP = 0.05


@dataclass(frozen=True)
class RegionalGrowth:
    """The mean growth of a region's contributors, log per 7 days, with its interval; NaN where there are too few.

    `own` (n,) is each contributor's own growth (NaN: fewer than four weeks, or not counted in the newest), `rising`
    (n,) whether it is called rising; `contributors` how many of them the mean is of.
    """

    slope: float
    low: float
    high: float
    contributors: int
    own: Floats
    rising: Bools

    def rounded(self) -> tuple[float | None, float | None, float | None]:
        """The growth a week (0.2: by a fifth) and the ends of its interval in steps of 0.05; None where not known."""
        if np.isnan(self.slope):
            return None, None, None
        growth, low, high = np.expm1([self.slope, self.low, self.high]) / STEP
        steps = np.round(growth), np.floor(low + 1e-9), np.ceil(high - 1e-9)
        return tuple(round(float(step) * STEP, 2) + 0.0 for step in steps)  # type: ignore[return-value]


def regional_growth(logs: Floats, dates: Floats, level: float = 0.95) -> RegionalGrowth:
    """Estimate how fast a region's farms grow on average.

    Parameters
    ----------
    logs : (n, n_weeks) float -- the log of each contributor's weekly mean, the newest week last; NaN = not counted.
    dates : (n_weeks,) float -- the weeks' dates, in days.
    level : float -- of the interval.

    Returns
    -------
    RegionalGrowth -- of the last eight weeks; of contributors counted in the newest week and in four of the eight.

    Notes
    -----
    Two things make the mean uncertain, and neither shrinks with the other. Farms differ in their growth: between-farm
    variance over their number, as in a random-effects meta-analysis with equal weights, where a large dairy counts like
    a small one. And one week's weather moves all farms of a region together: so the weeks' effects, farms taken out,
    are one series, and a line is put through it as through one farm's weeks without a network (`trend.fit_trends`),
    with its own scale, a printed correlation and t on weeks - 2. The two variances add, their degrees of freedom by
    Satterthwaite.
    A fit that took farms for independent would be the surer the more farms there are, and wrong.

    References
    ----------
    DerSimonian and Laird 1986, Meta-analysis in clinical trials, Control Clin Trials 7:177-188; Satterthwaite 1946,
    An approximate distribution of estimates of variance components, Biometrics Bull 2:110-114 (both from memory).
    Simulated coverage: tests/monitoring/analysis/test_regional_growth.py.
    """
    refuse_unlike(dates, logs.shape[1:], "dates")
    logs, dates = logs[:, -TREND_WEEKS:], dates[-TREND_WEEKS:]
    own, rising = own_growth(logs, dates)
    counted = ~np.isnan(own)
    logs = logs[counted]
    used = (~np.isnan(logs)).sum(axis=0) >= 2
    if counted.sum() < CONTRIBUTORS_NEEDED or used.sum() < WEEKS_NEEDED:
        return RegionalGrowth(np.nan, np.nan, np.nan, int(counted.sum()), own, rising)
    effects, spread = _week_effects(logs[:, used])
    trend = fit_trends(_as_one_farm(effects, spread / (~np.isnan(logs[:, used])).sum(axis=0), dates[used]))
    slope = float(trend.slope[0])
    of_weeks = float(trend.standard_error[0]) ** 2
    of_farms = _between(own[counted], logs, dates, spread) / counted.sum()
    variance = of_weeks + of_farms
    shares = of_weeks**2 / trend.degrees[0] + of_farms**2 / (counted.sum() - 1)
    degrees = variance**2 / shares if shares > 0 else np.inf
    reach = float(special.stdtrit(degrees, (1 + level) / 2)) * np.sqrt(variance)
    return RegionalGrowth(slope, slope - reach, slope + reach, int(counted.sum()), own, rising)


def own_growth(logs: Floats, dates: Floats) -> tuple[Floats, Bools]:
    """Each contributor's slope by least squares over its own weeks, and whether it is called rising.

    Parameters as in `regional_growth`. The slope (n,) is log growth per 7 days, NaN where the contributor was counted
    in fewer than four weeks or not in the newest; then it isn't called rising either.
    """
    there = ~np.isnan(logs)
    number = there.sum(axis=1)
    enough = (number >= WEEKS_NEEDED) & there[:, -1]
    when = np.where(there, dates / 7, np.nan)
    apart = np.where(there, when - _mean(when, number)[:, None], 0.0)
    deviation = np.where(there, logs - _mean(logs, number)[:, None], 0.0)
    spread = np.maximum((apart**2).sum(axis=1), 1e-12)
    slope = (apart * deviation).sum(axis=1) / spread
    rest = ((deviation - slope[:, None] * apart) ** 2).sum(axis=1)
    degrees = np.maximum(number - 2, 1)
    error = np.sqrt(np.maximum(rest, 1e-18) / degrees / spread)
    p = special.stdtr(degrees, -slope / error)
    return np.where(enough, slope, np.nan), enough & (p < RISING_AT)


def _mean(values: Floats, number: Floats) -> Floats:
    return np.asarray(np.nansum(values, axis=1) / np.maximum(number, 1), np.float64)


def _week_effects(logs: Floats) -> tuple[Floats, float]:
    """Week effects of the two-way layout farm + week by least squares, mean zero; and the variance that is left."""
    there = ~np.isnan(logs)
    number = there.sum(axis=1)
    filled = np.where(there, logs, 0.0)
    # Farms profile out: (diag(n_t) - N' diag(1/n_i) N) b = sum_i (y_it - mean_i).
    matrix = np.diag(there.sum(axis=0).astype(float)) - (there / number[:, None]).T @ there
    right = filled.sum(axis=0) - (there * (filled.sum(axis=1) / number)[:, None]).sum(axis=0)
    effects = np.linalg.lstsq(matrix, right, rcond=None)[0]
    effects = effects - effects.mean()
    rest = np.where(there, logs - effects, np.nan)
    rest = np.where(there, rest - _mean(rest, number)[:, None], 0.0)
    degrees = there.sum() - len(logs) - logs.shape[1] + 1
    return effects, float((rest**2).sum() / max(degrees, 1))


def _between(own: Floats, logs: Floats, dates: Floats, spread: float) -> float:
    """The variance of growth between farms, beyond what their weeks' own scatter makes of it."""
    there = ~np.isnan(logs)
    when = np.where(there, dates / 7, np.nan)
    apart = np.where(there, when - _mean(when, there.sum(axis=1))[:, None], 0.0)
    expected = float((spread / (apart**2).sum(axis=1)).mean())
    return max(float(own.var(ddof=1)) - expected, 0.0)


def _as_one_farm(effects: Floats, noise: Floats, dates: Floats) -> FarmWeeks:
    return FarmWeeks(
        effects=effects[None],
        noise=np.diag(noise)[None],
        when=(dates - dates[-1])[None] / 7,
        base=np.zeros(1),
        reason=np.array([""]),
        weeks_observed=np.array([effects.size]),
        newest_counted=np.array([True]),
        at_least=np.array([False]),
        dates=dates[None],
    )
