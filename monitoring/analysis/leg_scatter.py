"""How unevenly do stable flies sit on the animals?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.negative_binomial import checked_counts, sizes
from monitoring.analysis.rates import LEGS_PER_ANIMAL
from monitoring.analysis.scatter import FittedK, shared_k_adjusted
from monitoring.analysis.shapes import Floats, Ints, Words

# Under so many leg counts a group's own k is not used.
SESSIONS_NEEDED = 30
# Our own inference: 47 % of legs carry no stable fly at a mean of 1 a leg (Lysyk and Schaalje 1992, J Econ Entomol 85),
# and (1 + 1/k)^-k = 0.47 gives 1.4. That is of flies on legs; taking it for flies on animals is our own choice too.
K_OF_LEGS = 1.4
OWN, INFERRED = "own", "inferred"


@dataclass(frozen=True)
class LegScatter:
    """How unevenly leg counts scatter.

    (n_sessions,) arrays: `mean_per_animal` and `mean_per_leg` (NaN without animals) and `animals`. (n_owners,) arrays:
    `k` to work with, `source` "own" or "inferred" (then k is 1.4), `sessions` that can tell about k (two animals or
    more and at least a fly), and `fitted`, the owner's own k whatever the number of sessions.
    """

    mean_per_animal: Floats
    mean_per_leg: Floats
    animals: Ints
    k: Floats
    source: Words
    sessions: Ints
    fitted: FittedK


def leg_scatter(flies: ArrayLike, owner: ArrayLike, n_owners: int) -> LegScatter:
    """Say how unevenly stable flies sit on animals, from all leg counts of a group of farms.

    Parameters
    ----------
    flies : (n_sessions, n_animals) float -- flies on all four legs of each animal of one leg count: whole numbers; NaN
        = no such animal. [flies an animal]
    owner : (n_sessions,) int -- whose session it is (a group of farms), from 0.
    n_owners : int

    Returns
    -------
    LegScatter

    Raises ValueError as `shared_k` does.

    Notes
    -----
    Each session has its own mean, k is one for all of an owner's: `shared_k_adjusted`. Used is the owner's own k from
    thirty sessions on that can tell (two or more animals, a fly at least), else 1.4, which is our own inference (see
    `K_OF_LEGS`). An animal without flies is a zero; one that was not looked at is missing.

    Examples
    --------
    >>> legs = leg_scatter([[4, 0, 12, 8]], [0], 1)
    >>> legs.mean_per_animal, legs.mean_per_leg, legs.k, str(legs.source[0])
    (array([6.]), array([1.5]), array([1.4]), 'inferred')
    """
    y, whose = checked_counts(flies, whole=True, name="flies"), np.asarray(owner, np.int64)
    fitted = shared_k_adjusted(y, whose, n_owners)
    animals, total = sizes(y)
    mean = np.where(animals > 0, total / np.maximum(animals, 1), np.nan)
    sessions = np.bincount(whose[(animals > 1) & (total > 0)], minlength=n_owners)
    own = (sessions >= SESSIONS_NEEDED) & (fitted.k > 0)
    return LegScatter(
        mean_per_animal=mean,
        mean_per_leg=mean / LEGS_PER_ANIMAL,
        animals=animals,
        k=np.where(own, fitted.k, K_OF_LEGS),
        source=np.where(own, OWN, INFERRED),
        sessions=sessions,
        fitted=fitted,
    )
