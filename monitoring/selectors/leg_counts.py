"""What is known of how unevenly flies sit from animal to animal."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from monitoring.analysis.leg_scatter import INFERRED, K_OF_LEGS

if TYPE_CHECKING:
    from farms.models import Group


@dataclass(frozen=True)
class KOfLegs:
    """`k` of the flies on an animal's legs (variance m + m^2/k), and where it comes from: "own" or "inferred"."""

    k: float
    source: str


def k_of_legs(group: "Group") -> KOfLegs:
    """The k that the group's leg counts are planned with.

    Always the inferred one: a farm's page may not be computed from other farms' readings while it is asked for. Figures
    that are fixed for a quarter and stored will be read here (monitoring.analysis.leg_scatter makes them).
    """
    return KOfLegs(K_OF_LEGS, INFERRED)
