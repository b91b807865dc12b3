"""How good were predictive distributions, and how honest were probabilities, beside what then came?"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.shapes import Bools, Floats

BINS = 10


def crps_of_t(middle: Floats, spread: Floats, degrees: Floats, came: Floats) -> Floats:
    """Give the continuous ranked probability score of t distributions; less is better.

    Parameters
    ----------
    middle, spread : (n,) float -- centre and scale, the scale above 0.
    degrees : (n,) float -- above 1.
    came : (n,) float -- what was to be foretold.

    Returns
    -------
    (n,) float -- the integral of the squared difference between the distribution and the step at what came.

    References
    ----------
    Jordan, Krueger and Lerch 2019, Evaluating probabilistic forecasts with scoringRules, J Stat Softw 90(12), appendix
    A (from memory; the test integrates it by scipy).

    Examples
    --------
    >>> one = np.ones(1)
    >>> normal = crps_of_t(0 * one, one, 1e6 * one, 0 * one)[0]
    >>> bool(abs(normal - (np.sqrt(2) - 1) / np.sqrt(np.pi)) < 1e-5)
    True
    """
    z = (came - middle) / spread
    below, density = special.stdtr(degrees, z), _density(z, degrees)
    # z (2 F - 1) + 2 f (nu + z^2)/(nu - 1) - 2 sqrt(nu)/(nu - 1) B(1/2, nu - 1/2) / B(1/2, nu/2)^2
    apart = np.exp(special.betaln(0.5, degrees - 0.5) - 2 * special.betaln(0.5, degrees / 2))
    rest = 2 * density * (degrees + z**2) - 2 * np.sqrt(degrees) * apart
    return np.asarray(spread * (z * (2 * below - 1) + rest / (degrees - 1)))


def _density(z: Floats, degrees: Floats) -> Floats:
    log = -special.betaln(0.5, degrees / 2) - 0.5 * np.log(degrees) - (degrees + 1) / 2 * np.log1p(z**2 / degrees)
    return np.asarray(np.exp(log))


@dataclass(frozen=True)
class Reliability:
    """Probabilities in ten steps beside how often it came; arrays are (10,): `number` in the step, of these the mean
    `told` and the share that `came` (both 0 where there is none).
    """

    number: Floats
    told: Floats
    came: Floats

    @classmethod
    def of(cls, probability: Floats, came: Bools) -> "Reliability":
        """Sort (n,) probabilities and what came, both without NaN, into steps of a tenth."""
        step = np.minimum((probability * BINS).astype(np.int64), BINS - 1)
        number = np.bincount(step, minlength=BINS).astype(np.float64)
        some = np.maximum(number, 1.0)
        told, share = (np.bincount(step, weights=each, minlength=BINS) / some for each in (probability, came))
        return cls(number, np.asarray(told), np.asarray(share))

    @classmethod
    def together(cls, each: "list[Reliability]") -> "Reliability":
        """Give that of all farms of several."""
        number = np.sum([one.number for one in each], axis=0)
        some = np.maximum(number, 1.0)
        told = np.sum([one.number * one.told for one in each], axis=0) / some
        return cls(number, told, np.sum([one.number * one.came for one in each], axis=0) / some)

    @property
    def error(self) -> float:
        """The expected calibration error: the mean distance of what was told from what came."""
        return float((self.number * np.abs(self.told - self.came)).sum() / self.number.sum())

    @property
    def chance(self) -> float:
        """What so few farms would make of it by chance, about, if every probability were right."""
        scatter = np.sqrt(self.told * (1 - self.told) * self.number)
        return float(scatter.sum() / self.number.sum())
