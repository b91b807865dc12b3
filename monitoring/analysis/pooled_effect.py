"""What did a kind of work do over a season? Several effects taken together, each with its own error."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from monitoring.analysis.shapes import Floats, refuse, refuse_unlike

MOST_VARIANCE = 1e4


@dataclass(frozen=True)
class PooledEffect:
    """The mean of some effects on the log scale, with what it rests on.

    `log_ratio` and its `standard_error`, NaN where there are fewer than two effects; `between` is the standard
    deviation of the true effects from one work to the next; `number` of effects, with t on number - 1.
    """

    log_ratio: float
    standard_error: float
    between: float
    number: int

    @property
    def ratio(self) -> float:
        return float(np.exp(self.log_ratio))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Give the ends of the ratio's interval; NaN where there is none."""
        if not 0 < level < 1:
            raise ValueError("level must be above 0 and below 1.")
        t = special.stdtrit(max(self.number - 1, 1), (1 + level) / 2)
        reach = min(float(t) * self.standard_error, 100.0)
        return float(np.exp(self.log_ratio - reach)), float(np.exp(self.log_ratio + reach))


def pooled_effect(log_ratio: Floats, standard_error: Floats) -> PooledEffect:
    """Pool effects that differ from one another by more than their own errors.

    Parameters
    ----------
    log_ratio : (n,) float -- effects as log ratios, 0 = no change; NaN = not known, and left out.
    standard_error : (n,) float, above zero -- of each.

    Returns
    -------
    PooledEffect

    Raises ValueError, naming the argument, for an error that is not above zero beside an effect.

    Notes
    -----
    Random effects: the variance between works is Paule and Mandel's, at which the weighted squares about the mean are
    as many as their degrees of freedom, and zero where they are fewer. The interval is that of Hartung and Knapp (and
    Sidik and Jonkman), t on n - 1, never narrower than the plain one: their factor is not taken below 1 (Roever, Knapp
    and Friede 2015). With two effects it is wide, as it must be. Works of one season share weather and the places that
    they are compared with, which this does not know.

    References
    ----------
    Paule and Mandel 1982, J Res Natl Bur Stand 87:377-385, doi 10.6028/jres.087.022; Hartung and Knapp 2001, Stat Med
    20:3875-3889, doi 10.1002/sim.1009; Roever, Knapp and Friede 2015, BMC Med Res Methodol 15:99, doi
    10.1186/s12874-015-0091-1 (all from memory).

    Examples
    --------
    >>> found = pooled_effect(np.log([0.5, 0.6, 0.4]), np.array([0.2, 0.3, 0.25]))
    >>> round(found.ratio, 2), [round(end, 2) for end in found.interval()], found.between
    (0.49, [0.27, 0.88], 0.0)
    """
    refuse_unlike(standard_error, log_ratio.shape, "standard_error")
    known = ~np.isnan(log_ratio)
    refuse(known & ~(standard_error > 0), "standard_error", "must be above zero beside an effect")
    effects, variances = log_ratio[known], standard_error[known] ** 2
    if effects.size < 2:
        return PooledEffect(np.nan, np.nan, np.nan, int(effects.size))
    between = _between(effects, variances)
    weights = 1 / (variances + between)
    mean = float((weights * effects).sum() / weights.sum())
    # q = sum w (y - mean)^2 / (n - 1), and its square root times the plain error
    scatter = float((weights * (effects - mean) ** 2).sum() / (effects.size - 1))
    error = np.sqrt(max(scatter, 1.0) / weights.sum())
    return PooledEffect(mean, float(error), float(np.sqrt(between)), int(effects.size))


def _between(effects: Floats, variances: Floats) -> float:
    """Paule and Mandel's variance: the root of sum w (y - mean)^2 - (n - 1), which falls in it."""

    def beyond(between: float) -> float:
        weights = 1 / (variances + between)
        mean = (weights * effects).sum() / weights.sum()
        return float((weights * (effects - mean) ** 2).sum() - (effects.size - 1))

    if beyond(0.0) <= 0:
        return 0.0
    return float(optimize.brentq(beyond, 0.0, MOST_VARIANCE, xtol=1e-14, rtol=1e-13))
