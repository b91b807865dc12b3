"""How long to wait before the same is tried again: pauses that grow, with jitter, so that not all come back at once."""

import os
import random
from dataclasses import dataclass, field

PAUSES = (1.0, 2.0, 4.0)  # seconds
LONGEST_WAIT = 60.0  # a Retry-After beyond it isn't waited for while somebody looks on
LONGEST_PAUSE = 3600.0  # between two tries of what waits
PACE = "FLYROUND_PACE"


@dataclass
class Patience:
    """`pace` stretches every pause of our own, never one that the service asked for."""

    pace: float = 1.0
    pauses: tuple[float, ...] = PAUSES
    # Jitter is no secret.
    chance: random.Random = field(default_factory=random.Random)

    @classmethod
    def of_environment(cls) -> "Patience":
        """As FLYROUND_PACE says: 0 to 100, 1 unless it is set."""
        try:
            return cls(min(100.0, max(0.0, float(os.environ.get(PACE, "1")))))
        except ValueError:
            return cls()

    def pause(self, tried: int, after: float) -> float | None:
        """Seconds until the next try within one command, after `tried` of them; None where there should be none."""
        if tried >= len(self.pauses) or after > LONGEST_WAIT:
            return None
        return max(after, self._jittered(self.pauses[tried]))

    def until_next(self, tries: int) -> float:
        """Seconds until what waits is tried by another command, after so many commands failed."""
        return self._jittered(min(LONGEST_PAUSE, 15.0 * 2.0 ** min(tries, 20)))

    def _jittered(self, seconds: float) -> float:
        """Between a half and one and a half times as long."""
        return self.pace * seconds * (0.5 + self.chance.random())
