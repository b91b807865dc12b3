"""How large is a change beside the scatter of a farm's own weeks?"""

import numpy as np

from monitoring.analysis.correlated_weeks import WeekScatter, covariance_of_weeks, since, whitened
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Floats

# A rise may have begun one, two or three weeks before the newest; which of them is searched for.
STARTS = (1, 2, 3)


def changes_of(weeks: FarmWeeks, scatter: WeekScatter, worth: float) -> Floats:
    """Give t of a change from each start.

    Parameters
    ----------
    weeks : FarmWeeks
    scatter : WeekScatter
    worth : float -- degrees of freedom that the network's scale of 1 counts beside the farm's own.

    Returns
    -------
    (n_farms, n_starts) float; zero where a change from that start cannot be told from the level.
    """
    used = weeks.used
    when = np.where(used, weeks.when, 0.0)
    changes = [np.where(used, since(when, start), 0.0) for start in STARTS]
    columns = np.stack([np.ones(used.shape), np.where(used, weeks.effects, 0.0), *changes], axis=2)
    return t_of_changes(whitened(covariance_of_weeks(weeks, scatter), used, columns), used.sum(axis=1) - 2.0, worth)


def t_of_changes(columns: Floats, degrees: Floats, worth: float) -> Floats:
    """Give t of each change beside a level, from whitened columns (n, n_weeks, level | effects | changes)."""
    level, effects, changes = columns[:, :, 0], columns[:, :, 1], columns[:, :, 2:]
    own = (level**2).sum(axis=1)
    effects = effects - level * ((level * effects).sum(axis=1) / own)[:, None]
    off = np.matmul(level[:, None, :], changes)[:, 0, :] / own[:, None]
    changes = changes - level[:, :, None] * off[:, None, :]
    spread = (changes**2).sum(axis=1)
    along = np.matmul(effects[:, None, :], changes)[:, 0, :]
    tellable = spread > 1e-9
    explained = np.where(tellable, along**2 / np.where(tellable, spread, 1.0), 0.0)
    rest = np.maximum((effects**2).sum(axis=1)[:, None] - explained, 0.0)
    # Weeks that lie on the change to the last digit leave no scatter; a hair keeps t finite.
    scale = (worth + rest) / (worth + degrees[:, None]) + 1e-12
    return np.where(tellable, along / np.sqrt(np.where(tellable, spread, 1.0) * scale), 0.0)
