"""What is measured, how large, and in which order?"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from server.calibrate import (
    alert_season,
    farm_mean,
    forecast,
    group_list,
    leg_verdict,
    own_past,
    rise,
    trend,
    weather,
    work_effect,
)
from server.calibrate.cells import PROCESSES

SEED = 20260817


@dataclass(frozen=True)
class Part:
    """A claim's figures: how many farms a cell (simulated weeks, sessions), and how many in a quick run; `in_cells`
    where it can take fewer cells and several processes.
    """

    figures: Callable[..., dict[str, Any]]
    size: int
    quick_size: int
    in_cells: bool = True

    def measure(self, *, seed: int = SEED, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
        """Give the figures as plain data, rounded to five digits behind the point."""
        size = self.quick_size if quick else self.size
        more = {"quick": quick, "processes": processes} if self.in_cells else {}
        found: dict[str, Any] = plain(self.figures(size, seed, **more))
        return found


PARTS: Mapping[str, Part] = {
    "trend": Part(trend.figures, 10_000, 1_000),
    "rise": Part(rise.figures, 10_000, 1_000),
    "forecast": Part(forecast.figures, 10_000, 1_000),
    "group_list": Part(group_list.figures, 2_000, 50),
    "own_past": Part(own_past.figures, 1_000, 100),
    "weather": Part(weather.figures, 2_400, 100),
    "alerts": Part(alert_season.figures, 500, 40),
    "farm_mean": Part(farm_mean.figures, 10_000, 400),
    "leg_verdict": Part(leg_verdict.figures, 10_000, 1_000, in_cells=False),
    "work_effect": Part(work_effect.figures, 4_000, 300, in_cells=False),
}


def plain(value: Any) -> Any:
    """Round numbers, so that a report does not hang on a last digit; dictionaries and lists inside out."""
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return round(value, 5) if isinstance(value, float) else value
