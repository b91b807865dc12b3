"""What is stored of a farm's weeks ahead: rounded, so that the same readings give the same row on every machine."""

import json
import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from alerts.checks.outlook import Outlook
from monitoring.analysis.forecast import IN_SIGHT, WEEKS_AHEAD
from monitoring.analysis.shapes import Floats

DIGITS = 4
FAR, TIE = 1e15, 1e-6
NAMES = ("median", "low", "high", "over")
NULL = "null"
# JSON by template: some ten thousand rows a Monday have the same form.
NUMBERS = ", ".join(f'"{name}": %s' for name in NAMES)
ALL_AHEAD = ", ".join(f'{{"weeks": {weeks}, {NUMBERS}}}' for weeks in WEEKS_AHEAD)
TOLD = f'{{"ahead": [{ALL_AHEAD}], "crossing": %s}}'
CROSSING, NO_CROSSING = '{"word": "%s", "weeks": %s, "soonest": %s, "latest": %s}', '{"word": "%s"}'


def outlooks_json(outlook: Outlook) -> list[str]:
    """Each farm's weeks ahead, and the week in which its level is likely crossed; empty where nothing can be said.

    {"ahead": [{"weeks": 1, "median": 120.0, "low": 85.0, "high": 170.0, "over": 0.71}, ...],
     "crossing": {"word": "in_sight", "weeks": 2, "soonest": 1, "latest": None}}
    """
    # (n_owners, three weeks, four numbers)
    numbers = np.stack([_rounded(getattr(outlook, f"ahead_{name}")) for name in NAMES], axis=2)
    ahead = numbers.reshape(-1, len(WEEKS_AHEAD) * len(NAMES)).tolist()
    weeks = np.stack([outlook.crossing_weeks, outlook.crossing_soonest, outlook.crossing_latest], axis=1)
    told = ~np.isnan(outlook.ahead_median[:, 0])
    whole = np.where(np.isfinite(weeks), weeks, 0.0).astype(np.int64)
    rows = zip(told.tolist(), ahead, outlook.crossing.tolist(), whole.tolist(), strict=True)
    return [TOLD % (*row, _crossing(word, *crossing)) if some else "{}" for some, row, word, crossing in rows]


def outlook_json(outlook: Outlook, owner: int) -> dict[str, Any]:
    """One farm's, see `outlooks_json`, as values."""
    told: dict[str, Any] = json.loads(outlooks_json(outlook)[owner])
    return told


@lru_cache(maxsize=1024)
def _crossing(word: str, *weeks: int) -> str:
    if word != IN_SIGHT:
        return NO_CROSSING % word
    # Null for 0, a week that is not within those that are looked at.
    return CROSSING % (word, *(week or NULL for week in weeks))


def short(value: float) -> float | None:
    """A number with four significant digits; None for none."""
    return None if math.isnan(value) else float(f"{value:.{DIGITS}g}")


def _rounded(values: Floats) -> NDArray[np.object_]:
    """As `short`, for many; NULL for none. Where decimals and binary fractions may differ (ties, far powers), by it."""
    size = np.abs(values)
    usual = (size > FAR**-1) & (size < FAR)
    places = DIGITS - 1 - np.floor(np.log10(np.where(usual, size, 1.0)))
    # Powers of ten are exact, their inverses aren't.
    times, over = 10.0 ** np.maximum(places, 0), 10.0 ** np.maximum(-places, 0)
    whole = np.where(usual, values, 1.0) * times / over
    usual &= np.abs(whole - np.floor(whole) - 0.5) > TIE
    rounded = (np.rint(whole) * over / times).astype(np.object_)
    rounded[~usual] = [short(value) for value in values[~usual].tolist()]
    rounded[np.isnan(values)] = NULL
    return np.asarray(rounded)
