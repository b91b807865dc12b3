"""Too few animals looked at: a leg count of fewer than ten (common practice, printed in extension guides)."""

import numpy as np

from monitoring.analysis.shapes import Bools, Floats

COUNTED_WEEKS_QUIET = 1


def met(animals: Floats, hangs: Bools, least: float) -> Bools:
    """Mark the owners, (n_owners,), whose legs were counted this week on fewer animals; none counted is not few."""
    return np.asarray(~hangs & (animals > 0) & (animals < least), np.bool_)
