"""What is stored of a farm's weeks ahead: rounded, so that the same readings give the same row on every machine."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from alerts.checks.outlook import Outlook
from monitoring.analysis.forecast import IN_SIGHT, WEEKS_AHEAD
from monitoring.analysis.shapes import Floats

DIGITS = 4
FAR, TIE = 1e15, 1e-6
NAMES = ("median", "low", "high", "over")


def outlooks_json(outlook: Outlook) -> list[dict[str, Any]]:
    """Each farm's weeks ahead, and the week in which its level is likely crossed; empty where nothing can be said.

    {"ahead": [{"weeks": 1, "median": 120.0, "low": 85.0, "high": 170.0, "over": 0.71}, ...],
     "crossing": {"word": "in_sight", "weeks": 2, "soonest": 1, "latest": None}}
    """
    # (n_owners, three weeks, four numbers)
    ahead = np.stack([_rounded(getattr(outlook, f"ahead_{name}")) for name in NAMES], axis=2)
    weeks = np.stack([outlook.crossing_weeks, outlook.crossing_soonest, outlook.crossing_latest], axis=1)
    told = ~np.isnan(outlook.ahead_median[:, 0])
    rows = zip(told.tolist(), ahead.tolist(), outlook.crossing.tolist(), weeks.tolist(), strict=True)
    return [
        {"ahead": [_ahead(*each) for each in zip(WEEKS_AHEAD, row, strict=True)], "crossing": _crossing(word, crossing)}
        if some
        else {}
        for some, row, word, crossing in rows
    ]


def outlook_json(outlook: Outlook, owner: int) -> dict[str, Any]:
    """One farm's, see `outlooks_json`."""
    return outlooks_json(outlook)[owner]


def _ahead(weeks: int, numbers: list[float | None]) -> dict[str, Any]:
    return {"weeks": weeks, **dict(zip(NAMES, numbers, strict=True))}


def _crossing(word: str, weeks: list[float]) -> dict[str, Any]:
    if word != IN_SIGHT:
        return {"word": word}
    # A number of weeks; None where it is not within those that are looked at.
    names = ("weeks", "soonest", "latest")
    return {"word": word} | {
        name: int(week) if math.isfinite(week) else None for name, week in zip(names, weeks, strict=True)
    }


def short(value: float) -> float | None:
    """A number with four significant digits; None for none."""
    return None if math.isnan(value) else float(f"{value:.{DIGITS}g}")


def _rounded(values: Floats) -> NDArray[np.object_]:
    """As `short`, for many. What decimals could tell apart from binary fractions is left to it: ties, far powers."""
    size = np.abs(values)
    usual = (size > FAR**-1) & (size < FAR)
    places = DIGITS - 1 - np.floor(np.log10(np.where(usual, size, 1.0)))
    # Powers of ten are exact, their inverses aren't.
    times, over = 10.0 ** np.maximum(places, 0), 10.0 ** np.maximum(-places, 0)
    whole = np.where(usual, values, 1.0) * times / over
    usual &= np.abs(whole - np.floor(whole) - 0.5) > TIE
    rounded = (np.rint(whole) * over / times).astype(np.object_)
    rounded[~usual] = [short(value) for value in values[~usual].tolist()]
    return np.asarray(rounded)
