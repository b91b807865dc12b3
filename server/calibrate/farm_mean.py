"""How often does the interval of a farm's mean hold the true mean? Measured on simulated farms."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from monitoring.analysis.censored_mean import CUP_ERROR, K_USUAL, LOG_K_SD
from monitoring.analysis.farm_mean import CUP, Interval, weekly_means
from monitoring.analysis.rates import DEVICE_DAYS, Readings, station_weeks
from monitoring.analysis.shapes import Bools, Floats, Words
from monitoring.analysis.simulated_counts import K_OF_COUNTS, STATION_SCATTER, as_counted
from server.calibrate.cells import PROCESSES, Row, over_cells, share

DEVICES = (5, 40)
KS = (0.8, 1.2, 1.5, 2.5, 4.0)
UNEVEN_K = 0.8
# How the counts are got: all of each card, a quarter of each, a quarter of those with 150 and more, and traps with a
# cupful (250 flies, common practice) and more by the cup.
ALL, QUARTER, QUARTER_OF_MANY, BY_CUP = "all", "quarter", "quarter_of_many", "cup"
MEANS = {
    ALL: (2.0, 5.0, 10.0, 30.0, 100.0, 300.0),
    QUARTER: (30.0, 100.0, 300.0),
    QUARTER_OF_MANY: (100.0, 300.0),
    BY_CUP: (100.0, 300.0),
}
MANY, CUPFUL = 150.0, 250.0
NO_CAP = float("inf")
A_DAY = np.datetime64("2026-06-03", "D")


@dataclass(frozen=True)
class Cell:
    """What is simulated.

    `devices` on a farm of true `mean`, counted in this `way`; `cap`: from so many on "at least" so many is noted.
    Counts scatter with `k`, whose log differs between farms with `k_sd`; places differ with log standard deviation
    `place_sd`.
    """

    devices: int
    way: str
    mean: float
    k: float = K_USUAL
    cap: float = NO_CAP
    k_sd: float = 0.0
    place_sd: float = 0.0


# Mean, cap and way: nearly all, few, half, most and small at-least counts, and among parts and cups.
CAPS = [
    (1000.0, 300.0, ALL),
    (100.0, 300.0, ALL),
    (250.0, 400.0, ALL),
    (250.0, 300.0, ALL),
    (400.0, 300.0, ALL),
    (20.0, 50.0, ALL),
    (250.0, 500.0, QUARTER_OF_MANY),
    (300.0, 500.0, BY_CUP),
]
PLACES = [(10.0, NO_CAP), (100.0, NO_CAP), (250.0, 400.0)]
QUICK_MEANS = {ALL: (2.0, 10.0, 100.0), QUARTER: (100.0,), BY_CUP: (300.0,)}
QUICK_CAPS = [(250.0, 300.0, ALL)]


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Measure so many farms a cell, each with its own counts on new places; `quick` takes fewer cells.

    Each cell has the shares `covers` (95 % intervals that hold the true mean), `too_high` (lower end above it),
    `too_low` (upper end below it), `with_at_least` and `only_at_least` (farms with such counts; the latter have no
    upper end, and cover where the lower end does), each with its standard error, and `factor` (upper over lower end,
    the median of those that have both). "counted" has no at-least counts, "averages" what it covers averaged over k,
    "at_least" farms whose k varies as the network's, "at_least_uneven" farms with a k of 0.8, "places" farms whose k
    is 1.5 on places that differ.
    """

    def over(cells: list[Cell]) -> list[Row]:
        return over_cells(measure, cells, farms, seed, processes)

    means, caps, places = (QUICK_MEANS, QUICK_CAPS, PLACES[:1]) if quick else (MEANS, CAPS, PLACES)
    counted = over([Cell(n, way, mean, k) for n in DEVICES for way in means for mean in means[way] for k in KS])
    return {
        "farms": farms,
        "seed": seed,
        "counted": counted,
        "averages": averages(counted),
        "at_least": over([Cell(n, way, mean, K_USUAL, cap, LOG_K_SD) for n in DEVICES for mean, cap, way in caps]),
        "at_least_uneven": over([Cell(n, way, mean, UNEVEN_K, cap) for n in DEVICES for mean, cap, way in caps]),
        "places": over([
            Cell(n, ALL, mean, K_OF_COUNTS, cap, place_sd=STATION_SCATTER) for n in DEVICES for mean, cap in places
        ]),
    }  # fmt: skip


def averages(counted: list[Row]) -> list[Row]:
    """Average what is covered over k, for each number of devices, way of counting and mean."""
    groups: dict[tuple[Any, ...], list[float]] = {}
    for row in counted:
        groups.setdefault((row["devices"], row["way"], row["mean"]), []).append(row["covers"])
    return [
        {"devices": devices, "way": way, "mean": mean, "covers": float(np.mean(covers))}
        for (devices, way, mean), covers in groups.items()
    ]


def measure(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Simulate the farms of one cell and look where the true mean lies."""
    interval, at_least = _intervals(rng, cell, farms)
    low, high, only = interval.low[:, 0], interval.high[:, 0], interval.why_none[:, 0] == "at_least"
    too_high, too_low = low > cell.mean, ~only & (high < cell.mean)
    both = ~only & (low > 0)
    shares = {"covers": ~(too_high | too_low), "too_high": too_high, "too_low": too_low}
    shares |= {"with_at_least": at_least, "only_at_least": only}
    row: Row = asdict(cell) | {"cap": cell.cap if np.isfinite(cell.cap) else None}
    for name, marks in shares.items():
        row |= share(name, marks)
    return row | {"factor": float(np.median(high[both] / low[both]))}


def _intervals(rng: np.random.Generator, cell: Cell, farms: int) -> tuple[Interval, Bools]:
    """The interval of each farm, and whether at-least counts are among its counts."""
    size = farms * cell.devices
    place = np.exp(cell.place_sd * rng.standard_normal(size) - cell.place_sd**2 / 2)
    k = cell.k * np.exp(cell.k_sd * rng.standard_normal((farms, 1)))
    counts = rng.poisson(rng.gamma(k, (cell.mean * place).reshape(farms, -1) / k)).astype(np.float64).ravel()
    at_least = counts >= cell.cap
    noted, part, how = _noted(rng, cell.way, counts)
    readings = Readings(
        station=np.arange(size),
        week=np.zeros(size, np.int64),
        middle=np.full(size, A_DAY),
        count=np.where(at_least, cell.cap, noted),
        part=np.where(at_least, 1.0, part),
        exposure=np.full(size, DEVICE_DAYS),
        at_least=at_least,
        how=np.where(at_least, "counted", how),
    )
    weeks = station_weeks(readings, n_stations=size, n_weeks=1)
    means = weekly_means(weeks, np.repeat(np.arange(farms), cell.devices), farms)
    return means.interval(week=0), means.at_least[:, 0]


def _noted(rng: np.random.Generator, way: str, counts: Floats) -> tuple[Floats, Floats, Words]:
    """What is written down of each device: count, part and how."""
    if way in (QUARTER, QUARTER_OF_MANY):
        noted, part = as_counted(rng, counts, too_many=MANY if way == QUARTER_OF_MANY else 0.0)
        return noted, part, np.where(part < 1, "part", "counted")
    cups = (counts >= CUPFUL) & (way == BY_CUP)
    sd = np.sqrt(np.log1p(CUP_ERROR))
    measured = np.round(counts * np.exp(sd * rng.standard_normal(counts.shape) - sd**2 / 2))
    return np.where(cups, measured, counts), np.ones(counts.shape), np.where(cups, CUP, "counted")
