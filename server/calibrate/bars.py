"""What was asked of the statistics, bar by bar, and which figure has to keep it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from server.calibrate.cells import Row

Condition = Mapping[str, tuple[Any, ...]]


@dataclass(frozen=True)
class Bar:
    """A figure's bounds: `figure` of every row of a part's `table` in which each column has one of the values of
    `where`; of their mean if `averaged`. No bound on a side is infinite.
    """

    says: str
    part: str
    table: str
    figure: str
    low: float = -np.inf
    high: float = np.inf
    where: Condition = field(default_factory=dict)
    averaged: bool = False

    @property
    def asked(self) -> str:
        """The bounds in words, as in "93 to 97 %"."""
        low, high = (f"{100 * end:.3g}" for end in (self.low, self.high))
        if np.isinf(self.low):
            return f"at most {high} %"
        return f"at least {low} %" if np.isinf(self.high) else f"{low} to {high} %"


@dataclass(frozen=True)
class Judged:
    """A bar beside what was measured: the worst of its cells, or their mean."""

    bar: Bar
    value: float
    error: float
    cell: str
    cells: int

    @property
    def missed_by(self) -> float:
        """How far it lies outside; zero or less where it is kept."""
        return max(self.bar.low - self.value, self.value - self.bar.high)

    def kept(self, errors: float = 0.0) -> bool:
        """Whether it is kept; of few farms, by so many standard errors."""
        return self.missed_by <= errors * self.error

    def as_data(self) -> dict[str, Any]:
        """The same as plain data."""
        told = {"says": self.bar.says, "part": self.bar.part, "asked": self.bar.asked, "value": self.value}
        return told | {"error": round(self.error, 5), "cell": self.cell, "cells": self.cells, "kept": self.kept()}


# Columns that tell the cells of a part apart, in the order in which a cell is named.
GRID_COLUMNS = ("stations", "shock", "correlation", "weeks", "missing")
COLUMNS = {
    "group_list": ("farms", "rising", "window", "correlation", "shared"),
    "farm_mean": ("devices", "way", "mean", "cap", "k"),
    "leg_verdict": ("k", "planned_k", "level", "share", "day_sd"),
    "work_effect": ("stations", "others", "places", "before", "after", "k", "own", "own_correlation", "left"),
}


def judged(bar: Bar, figures: Mapping[str, Any]) -> Judged | None:
    """Look the bar's figures up in those of all parts; None where its cells were not measured."""
    run: Mapping[str, Any] = figures.get(bar.part, {})
    rows = [row for row in run.get(bar.table, []) if _meets(row, bar.where)]
    if not rows:
        return None
    each = [
        Judged(bar, row[bar.figure], error_of(row, bar.figure, run), cell_of(bar.part, row), len(rows)) for row in rows
    ]
    if not bar.averaged:
        return max(each, key=lambda one: one.missed_by)
    error = float(np.sqrt(np.mean([one.error**2 for one in each]) / len(each)))
    return Judged(bar, float(np.mean([one.value for one in each])), error, "mean of all", len(rows))


def error_of(row: Row, figure: str, run: Mapping[str, Any]) -> float:
    """The standard error of a figure: its own, else that of a share of so many farms or sessions."""
    if f"{figure}_error" in row:
        return float(row[f"{figure}_error"])
    share = min(max(row[figure], 0.0), 1.0)
    return float(np.sqrt(share * (1 - share) / run.get("farms", run.get("sessions"))))


def cell_of(part: str, row: Row) -> str:
    """Name a cell by its columns: "stations 9, shock 0.3"."""
    columns = COLUMNS.get(part, GRID_COLUMNS)
    named = [(name, row[name]) for name in columns if row.get(name) is not None]
    return ", ".join(
        f"{name.replace('_', ' ')} {value:g}" if not isinstance(value, str) else value for name, value in named
    )


def _meets(row: Row, where: Condition) -> bool:
    return all(row[column] in values for column, values in where.items())


UNCORRELATED, CORRELATED = {"correlation": (0.0,)}, {"correlation": (0.5,)}
SIZES = {20: "20 farms", 300: "300 farms", 20_000: "20,000 farms"}


def _trend() -> list[Bar]:
    nets = {"large_network": "a large network", "of_100": "networks of 100 farms", "of_30": "networks of 30 farms"}
    bars = []
    for figure, who in nets.items():
        says = f"95 % trend intervals hold the true growth, {who}"
        bars.append(Bar(f"{says}, correlation 0", "trend", "coverage", figure, 0.93, 0.97, UNCORRELATED))
        bars.append(Bar(f"{says}, correlation 0.5", "trend", "coverage", figure, 0.92, 0.98, CORRELATED))
    alone = "95 % trend intervals hold the true growth, a farm without a network"
    return [*bars, Bar(alone, "trend", "coverage", "no_network", 0.92, 0.99)]


def _rise() -> list[Bar]:
    alarms, power = (
        "level farms called rising by their own test in a check",
        "farms that begin to rise, named within three checks",
    )
    bars = [
        Bar(alarms, "rise", "false_alarms", "network", 0.04, 0.06),
        Bar(f"{alarms}, printed figures", "rise", "false_alarms", "printed", high=0.06),
    ]
    kinds = ((9, 0.3), (25, 0.3), (9, 0.15))
    asked = {
        ("network", 8): (0.78, 0.88, 0.91),
        ("network", 12): (0.84, 0.92, 0.94),
        ("printed", 8): (0.74, 0.85, 0.82),
    }
    for (figure, weeks), lows in asked.items():
        for (stations, shock), low in zip(kinds, lows, strict=True):
            where: Condition = UNCORRELATED | {
                "stations": (stations,),
                "shock": (shock,),
                "weeks": (weeks,),
                "missing": (0.0,),
            }
            by = ", printed figures" if figure == "printed" else ""
            says = f"{power}, {stations} stations, shock {shock:g}, {weeks} weeks{by}"
            bars.append(Bar(says, "rise", "power", figure, low, where=where))
    bars.append(
        Bar(f"{power}, correlation 0.5", "rise", "power", "network", 0.74, where=CORRELATED | {"missing": (0.0,)})
    )
    for figure in ("quietest", "noisiest"):
        says = f"false alarms in the {figure} third where shocks differ"
        bars.append(Bar(says, "rise", "unlike", figure, 0.03, 0.08, UNCORRELATED))
    return bars


def _forecast() -> list[Bar]:
    here = ("forecast", "two_weeks")
    gain = "CRPS less than this week's level carried forward"
    bars = [
        Bar("80 % forecasts two weeks ahead hold what is counted", *here, "covers", 0.75, 0.85),
        Bar("the same, rising farms alone", *here, "rising", 0.6),
        Bar(f"{gain}, mean of the uncorrelated cells", *here, "gain", 0.1, where=UNCORRELATED, averaged=True),
        Bar(f"{gain}, each uncorrelated cell", *here, "gain", 0.07, where=UNCORRELATED),
        Bar(f"{gain}, each correlated cell", *here, "gain", 0.03, where=CORRELATED),
    ]
    for figure, what in (("over_now", "over now"), ("over_in_two_weeks", "over in two weeks")):
        says = f"calibration error of the probability of being {what}"
        bars.append(Bar(f"{says}, 6 weeks", *here, figure, high=0.07, where={"weeks": (6,)}))
        bars.append(Bar(f"{says}, 8 and 12 weeks", *here, figure, high=0.05, where={"weeks": (8, 12)}))
    return bars


def _group_list() -> list[Bar]:
    here, bars = ("group_list", "lists"), []
    for size, farms in SIZES.items():
        says, of = f"false names on the list of {farms}", {"farms": (size,)}
        bars.append(Bar(f"{says}, correlation 0", *here, "false_share", high=0.12, where={**of, **UNCORRELATED}))
        bars.append(Bar(f"{says}, correlation 0.5", *here, "false_share", high=0.18, where={**of, **CORRELATED}))
    asked = {(8, 0.05): 0.3, (8, 0.2): 0.5, (12, 0.05): 0.4, (12, 0.2): 0.62}
    for (window, rising), low in asked.items():
        says = f"risers on the list of 300 farms of which {100 * rising:.0f} % rise, {window} weeks"
        where: Condition = UNCORRELATED | {"farms": (300,), "window": (window,), "rising": (rising,)}
        bars.append(Bar(says, *here, "power", low, where=where))
    return bars


def _farm_mean() -> list[Bar]:
    says = "95 % intervals of the farm's mean hold it"
    uneven = {"devices": (5,)}
    return [
        Bar(f"{says}, averaged over k", "farm_mean", "averages", "covers", 0.93, 0.97),
        Bar(f"{says}, each k", "farm_mean", "counted", "covers", 0.91, 0.98),
        Bar(f"{says}, with at-least counts", "farm_mean", "at_least", "covers", 0.93, 0.97),
        Bar(
            f"{says}, with at-least counts, k 0.8, 5 devices",
            "farm_mean",
            "at_least_uneven",
            "covers",
            0.89,
            where=uneven,
        ),
    ]


def _leg_verdict() -> list[Bar]:
    def bar(says: str, table: str, high: float, **where: tuple[float, ...]) -> Bar:
        return Bar(
            says, "leg_verdict", table, "wrong", high=high, where={"day_sd": (0.0,), "share": (0.7, 1.3)} | where
        )

    right = "wrong verdicts on legs at 0.7 and 1.3 times the level"
    bars = []
    for k in (1.4, 0.8):
        own = {"k": (k,), "planned_k": (k,)}
        bars.append(bar(f"{right}, without truncation, k {k:g}", "without_truncation", 0.1, **own))
        bars.append(bar(f"{right}, 10 to 15 animals, k {k:g}", "as_used", 0.06, **own))
    uneven = bar(f"{right}, 10 to 15 animals, k 0.8 planned as 1.4", "as_used", 0.13, k=(0.8,), planned_k=(1.4,))
    return [*bars, uneven]


def _work_effect() -> list[Bar]:
    says, shown = "95 % intervals of a work's effect hold it", "a work that does nothing is shown"
    quiet = {"own": (0.0,)}
    return [
        Bar(f"{says}, two places, 3 and 4 weeks", "work_effect", "asked", "covers", 0.93, 0.97),
        Bar(f"{says}, 2 to 5 places, mean of all", "work_effect", "places", "covers", 0.94, 0.965, averaged=True),
        Bar(f"{says}, 2 to 5 places, each", "work_effect", "places", "covers", 0.93, 0.975),
        Bar(f"{shown} as fewer flies", "work_effect", "nothing", "shown", high=0.03, where=quiet),
        Bar(f"{shown} as more flies", "work_effect", "nothing", "shown_more", high=0.03, where=quiet),
        Bar(f"{shown} as fewer flies, whatever moves one barn", "work_effect", "nothing", "shown", high=0.04),
    ]


BARS = (*_trend(), *_rise(), *_forecast(), *_group_list(), *_farm_mean(), *_leg_verdict(), *_work_effect())


def judge(figures: Mapping[str, Any]) -> list[Judged]:
    """Judge every bar whose cells were measured."""
    return [found for bar in BARS if (found := judged(bar, figures))]
