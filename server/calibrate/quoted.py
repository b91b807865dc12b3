"""Which few figures do the pages' help texts quote?"""

from collections.abc import Callable, Mapping
from statistics import mean
from typing import Any

from server.calibrate.cells import Row


def quoted(figures: Mapping[str, Any]) -> dict[str, float]:
    """Give the figures, as shares rounded to three digits behind the point; those of parts not measured are left out.

    `own_test_*` are of nine stations with a shock of 0.3 and eight weeks where weeks are not correlated; "level" is
    the share of level farms called rising in one check, or within three. `forecast_*` are the means of all cells.
    `list_*` are the largest mean shares of false names, by the group's size, where weeks are not correlated and where
    they are. `weather_*` come from seasons that weather drives.
    """
    found: dict[str, float] = {}
    for part, pick in PICKED.items():
        if part in figures:
            found |= {name: round(value, 3) for name, value in pick(figures[part]).items()}
    return found


def _trend(run: Mapping[str, Any]) -> dict[str, float]:
    rows = run["coverage"]
    return {f"trend_covers_{name}": _mean(rows, name) for name in ("large_network", "of_100", "of_30", "no_network")}


def _rise(run: Mapping[str, Any]) -> dict[str, float]:
    usual = [row for row in run["power"] if _is(row, stations=9, shock=0.3, correlation=0.0, weeks=8, missing=0.0)]
    found = {"own_test_level_in_a_check": _mean(run["false_alarms"], "network")}
    if usual:
        found["own_test_level_within_three_checks"] = usual[0]["level_network"]
        found["own_test_rising_within_three_checks"] = usual[0]["network"]
        found["own_test_rising_within_three_checks_without_network"] = usual[0]["printed"]
    return found


def _forecast(run: Mapping[str, Any]) -> dict[str, float]:
    rows = run["two_weeks"]
    shares = {"forecast_covers": "covers", "forecast_covers_rising": "rising", "forecast_better_than_carrying": "gain"}
    return {name: _mean(rows, column) for name, column in shares.items()}


def _group_list(run: Mapping[str, Any]) -> dict[str, float]:
    found = {}
    for lasts, words in ((0.0, "uncorrelated"), (0.5, "correlated")):
        for size in sorted({row["farms"] for row in run["lists"]}):
            rows = [row for row in run["lists"] if _is(row, farms=size, correlation=lasts)]
            if rows:
                found[f"list_false_of_{size}_{words}"] = max(row["false_share"] for row in rows)
    return found


def _weather(run: Mapping[str, Any]) -> dict[str, float]:
    held = sum(row["share"] * row["of"] for row in run["forecast"])
    return {"weather_forecast_covers": held / sum(row["of"] for row in run["forecast"])}


def _mean(rows: list[Row], column: str) -> float:
    return float(mean(row[column] for row in rows))


def _is(row: Row, **wanted: float) -> bool:
    return all(row[column] == value for column, value in wanted.items())


PICKED: Mapping[str, Callable[[Mapping[str, Any]], dict[str, float]]] = {
    "trend": _trend,
    "rise": _rise,
    "forecast": _forecast,
    "group_list": _group_list,
    "weather": _weather,
}
