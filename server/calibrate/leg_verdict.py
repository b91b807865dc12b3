"""How often is the verdict on leg counts wrong, and how often not clear? Measured on simulated animals."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.leg_verdict import (
    CLEARLY_BELOW,
    CLEARLY_OVER,
    ENOUGH_BELOW,
    ENOUGH_OVER,
    MOST,
    NOT_CLEAR,
    leg_verdicts,
    stop_lines,
)
from monitoring.analysis.shapes import Floats, Words
from monitoring.analysis.simulated_counts import draw_counts

LEVEL = 10.0
# Flies an animal, where bulletins give 1, 2.5 and 5 a leg.
LEVELS = (4.0, LEVEL, 20.0)
# Animals that are more uneven than the 1.4 that is planned with.
UNEVEN_K = 0.8
DAY_SD = 0.3
# The true mean of the herd as a share of the action level.
SHARES = (0.5, CLEARLY_BELOW, 1.0, CLEARLY_OVER, 2.0)
# Without truncation every session ends long before.
MOST_WITHOUT_TRUNCATION = 5000


@dataclass(frozen=True)
class Cell:
    """What is simulated: the animals' true k, the k planned with, the level, the true mean's share of it, the day."""

    k: float
    planned_k: float
    level: float
    share: float
    day_sd: float


def figures(sessions: int, seed: int) -> dict[str, Any]:
    """Measure both tests on so many sessions a cell.

    "without_truncation": Wald's test from the first animal until a line is crossed, with `wrong` (share of sessions),
    `unended` and `animals` (mean number). "as_used": ten to 15 animals, with `wrong`, `not_clear` and `animals`, and
    `wrong_today`, where the verdict's side is not that of the day's own mean. A mean at the level has no wrong side.
    """
    rng = np.random.default_rng(seed)
    sided = [cell for cell in _cells() if cell.share != 1]
    return {
        "sessions": sessions,
        "seed": seed,
        "without_truncation": [asdict(cell) | _without_truncation(rng, cell, sessions) for cell in sided],
        "as_used": [asdict(cell) | _as_used(rng, cell, sessions) for cell in _cells()],
    }


def _cells() -> list[Cell]:
    """The right k at three levels, a k of 0.8 planned right and as 1.4; each also with a day effect."""
    plans = [(K_OF_LEGS, K_OF_LEGS, level) for level in LEVELS]
    plans += [(UNEVEN_K, planned, LEVEL) for planned in (UNEVEN_K, K_OF_LEGS)]
    days = (0.0, DAY_SD)
    return [Cell(k, planned, level, share, day) for k, planned, level in plans for day in days for share in SHARES]


def _means(rng: np.random.Generator, cell: Cell, sessions: int) -> Floats:
    """Each session's own mean: the day's effect, common to all its animals, has a median of 1."""
    return np.asarray(cell.share * cell.level * np.exp(cell.day_sd * rng.standard_normal(sessions)), np.float64)


def _wrong(mean: Floats, level: float) -> Words:
    """The verdict that is wrong of each mean."""
    return np.select([mean < level, mean > level], [ENOUGH_OVER, ENOUGH_BELOW], "")


def _as_used(rng: np.random.Generator, cell: Cell, sessions: int) -> dict[str, float]:
    mean, level = _means(rng, cell, sessions), np.full(sessions, cell.level)
    flies = draw_counts(rng, np.repeat(mean[:, None], MOST, axis=1), k=cell.k)
    stopped_at = leg_verdicts(flies, level, k=cell.planned_k).stopped_at
    # Counting ends at the first stop: what the animals after it would have said was never seen.
    animals = np.where(stopped_at > 0, stopped_at, MOST)
    seen = np.where(np.arange(1, MOST + 1) <= animals[:, None], flies, np.nan)
    told = leg_verdicts(seen, level, k=cell.planned_k).verdict
    return {
        "wrong": float(np.mean(told == _wrong(cell.share * level, cell.level))),
        "wrong_today": float(np.mean(told == _wrong(mean, cell.level))),
        "not_clear": float(np.mean(told == NOT_CLEAR)),
        "animals": float(animals.mean()),
    }


def _without_truncation(rng: np.random.Generator, cell: Cell, sessions: int) -> dict[str, float]:
    lines = stop_lines(CLEARLY_BELOW * cell.level, CLEARLY_OVER * cell.level, cell.planned_k)
    mean, total = _means(rng, cell, sessions), np.zeros(sessions)
    wrong = animals = 0
    for number in range(1, MOST_WITHOUT_TRUNCATION + 1):
        total = total + draw_counts(rng, mean, k=cell.k)
        below, over = total <= lines.slope * number + lines.below, total >= lines.slope * number + lines.over
        wrong += int((over if cell.share < 1 else below).sum())
        animals += number * int((below | over).sum())
        total, mean = total[~(below | over)], mean[~(below | over)]
        if not len(total):
            break
    return {"wrong": wrong / sessions, "unended": len(total) / sessions, "animals": animals / sessions}
