"""Each card, trap and leg count of a farm with its weeks, in walking order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from alerts.selectors.farm_counts import FarmCounts
    from monitoring.models import Station


@dataclass(frozen=True)
class StationSeason:
    """One station's weeks, the last one last: its rate in the method's unit, None = not counted.

    `at_least` marks the weeks in which there were too many to count.
    """

    station: "Station"
    rates: tuple[float | None, ...]
    at_least: tuple[bool, ...]


def seasons_of_stations(
    stations: "Sequence[Station]", seen: "FarmCounts", shown: int
) -> tuple[list[date], list[StationSeason]]:
    """The last weeks (their Mondays) and these stations' counts in them, in the order given; no query."""
    place = {station_id: at for at, station_id in enumerate(seen.arrays.station_id)}
    rate, bound = seen.weeks.rate[:, -shown:], seen.weeks.at_least[:, -shown:]
    nothing = np.full(rate.shape[1], np.nan)
    found = []
    for station in stations:
        at = place.get(station.id)
        row = nothing if at is None else rate[at]
        rates = tuple(None if missing else value for value, missing in zip(row.tolist(), np.isnan(row), strict=True))
        marked = (False,) * len(rates) if at is None else tuple(bound[at].tolist())
        found.append(StationSeason(station, rates, marked))
    return seen.mondays[-shown:], found
