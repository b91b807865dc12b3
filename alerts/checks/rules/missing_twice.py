"""Without a count twice running: a station that was looked for in two weeks, one after the other, and gave none."""

import numpy as np

from monitoring.analysis.shapes import Bools, Ints

COUNTED_WEEKS_QUIET = 1


def met(devices: Ints, missing: Ints) -> Bools:
    """Mark the stations.

    Parameters
    ----------
    devices, missing : (n_stations, n_weeks) int -- readings with a count, and those without; the last week is judged.

    Returns
    -------
    (n_stations,) bool -- no count in the last week, though there is a reading that says why, and likewise in the newest
    of the weeks before in which the station has any reading. A week in which nobody came is no week.
    """
    looked_for, nothing = devices + missing > 0, (devices == 0) & (missing > 0)
    before, weeks = looked_for[:, :-1], devices.shape[1] - 1
    if weeks == 0:
        return np.zeros(len(devices), np.bool_)
    newest = weeks - 1 - np.argmax(before[:, ::-1], axis=1)
    earlier = nothing[np.arange(len(devices)), newest] & before.any(axis=1)
    return np.asarray(nothing[:, -1] & earlier, np.bool_)
