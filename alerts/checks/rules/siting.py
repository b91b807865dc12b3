"""How they hang: fewer than five devices in a housing unit, traps not known to be out of reach, cards in wind.

Five devices of a method in each housing unit: a Spanish-language state fly guide, and common practice. That a trap
hangs out of reach of animals and children has to be confirmed, since the usual one holds insecticide bait: the label
and local rules decide where it may hang. A card within reach shows it by itself, chewed or lost.
"""

import numpy as np

from monitoring.analysis.shapes import Bools, Ints, Words

COUNTED_WEEKS_QUIET = 1
BAITED = ("trap",)


def too_few(devices: Ints, is_housing: Bools, hangs: Bools, least: float) -> Bools:
    """Mark the facilities and methods, (n,), that hang fewer devices than a housing unit should have."""
    return np.asarray(is_housing & hangs & (devices > 0) & (devices < least), np.bool_)


def not_out_of_reach(method: Words, confirmed: Bools, in_use: Bools) -> Bools:
    """Mark the baited traps, (n_stations,), of which nobody confirmed that they hang out of reach."""
    return np.asarray(in_use & np.isin(method, BAITED) & ~confirmed, np.bool_)


def in_wind(windy: Bools, hangs: Bools, in_use: Bools) -> Bools:
    """Mark the stations, (n_stations,), where what hangs is in wind or draught."""
    return np.asarray(in_use & hangs & windy, np.bool_)
