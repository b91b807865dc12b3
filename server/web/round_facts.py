"""What the round's page knows without signal: each place's last count, levels, the round before, and the words.

The scripts of the round (static/web/round/) work from these facts alone. How the end is worked out from them stands in
end.js and is held to server.web.round_end by tests/journeys/test_round_rules.py.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np
from django.utils.formats import get_format

from alerts.selectors import levels_of
from alerts.wording import places_to_look, question_text
from alerts.wording.places import facility_phrase
from monitoring.analysis.hot_station import question_on_the_spot
from monitoring.analysis.rates import DEVICE_DAYS, PER_ANIMAL, as_typed
from monitoring.methods import METHODS
from monitoring.selectors import last_counts, readings_of_round
from monitoring.selectors.results import current_of, exposure_of
from monitoring.selectors.stations import sited
from server.web.leg_verdict import words_of_legs
from server.web.round_end import means_before
from server.web.round_words import last_told, words_of_round
from server.web.words import short_day

if TYPE_CHECKING:
    from monitoring.models import Reading, Station
    from server.web.forms.count import Line

LevelOf = Callable[[str, UUID], float | None]

# When a count is asked about once: beyond four times the last one or under a quarter of it, and this far apart (specks
# or flies in 7 days, flies an animal). Our own choice, no source. A digit too many or too few changes a number about
# tenfold and is always asked about from 20 on. Flies double in a week at the most usual rise, and the same place
# scatters by itself: with a k of 3.7 (see monitoring.analysis.censored_mean.K_USUAL) two counts of one level differ by
# more than four times about once in fourteen, so a walk of twelve stations asks about once. Below 20 apart chance alone
# makes such ratios, and nothing is asked.
JUMP = {"times": 4, "apart": {"card": 20, "trap": 20, "leg": 5}}


def facts_of(farm: Any, lines: Iterable["Line"], day: date, round_id: UUID) -> dict[str, Any]:
    """The facts of a round's page, for `json_script`; a fixed number of queries, however many stations there are."""
    done = current_of(list(readings_of_round(farm, round_id)))
    stations = {line.station.id: line.station for line in lines}
    stored = {reading.station.id: reading.station for reading in done}
    sited(farm, [station for station in stored.values() if station.id not in stations])
    walked = sorted((stored | stations).values(), key=_walking)
    levels = levels_of(farm, day)
    last = {station_id: _last(reading) for station_id, reading in last_counts(farm, day).items()}
    return {
        **end_facts(walked, lambda method, facility_id: levels.of(method, facility_id).value),
        "walked_on": day.isoformat(),
        "done": [reading_fact(reading) for reading in done],
        "last": {str(station_id): told for station_id, told in last.items()},
        "before": _before(farm, day),
        "jump": JUMP,
        "words": words_of_round(),
        "legs": words_of_legs(),
    }


def end_facts(stations: Sequence["Station"], level_of: LevelOf) -> dict[str, Any]:
    """What the end is worked out from: stations in walking order with how they stand, buildings, methods, levels."""
    pairs = {(station.facility_id, station.method) for station in stations}
    levels = {_key(*pair): level_of(pair[1], pair[0]) for pair in pairs}
    return {
        "stations": [
            {"id": str(each.id), "label": each.label, "building": str(each.facility_id), "method": each.method,
             "question": question}
            for each, question in zip(stations, _questions(stations), strict=True)
        ],
        "buildings": {
            str(each.facility_id): {
                "name": each.facility.name,
                "phrase": facility_phrase(each.facility),
                "where": places_to_look(each.facility.kind),
            }
            for each in stations
        },
        "methods": {
            code: {"name": str(method.name), "unit": str(method.unit), "comparison": method.comparison,
                   "per": DEVICE_DAYS if method.hangs else PER_ANIMAL, "hangs": method.hangs}
            for code, method in METHODS.items()
        },
        # As they were typed, since the comparison is exact: 2.3 is twenty-three tenths.
        "levels": {key: str(float(value)) for key, value in levels.items() if value is not None},
        "numbers": {"decimal": get_format("DECIMAL_SEPARATOR"), "group": get_format("THOUSAND_SEPARATOR")},
    }  # fmt: skip


def reading_fact(reading: "Reading") -> dict[str, Any]:
    """A stored reading as the end takes it: the part as a fraction of whole numbers, days up or animals."""
    part = as_typed(float(reading.fraction))
    return {
        "station": str(reading.station_id),
        "count": reading.count,
        "part": [part.numerator, part.denominator],
        "at_least": reading.at_least,
        "exposure": exposure_of(reading),
        "animals": reading.animals,
        "sprayed": bool(reading.sprayed),
    }


def _last(reading: "Reading") -> dict[str, Any]:
    return reading_fact(reading) | last_told(reading)


def _before(farm: Any, day: date) -> dict[str, Any] | None:
    before, means = means_before(farm, day)
    if before is None:
        return None
    known = {_key(*pair): mean for pair, mean in means.items() if mean is not None}
    return {"walked_on": before.walked_on.isoformat(), "day": short_day(before.walked_on), "means": known}


def _questions(stations: Sequence["Station"]) -> list[str]:
    sitings = [getattr(station, "siting", None) for station in stations]
    codes = question_on_the_spot(
        np.array([siting is not None and siting.windy for siting in sitings], np.bool_),
        np.array([siting.near if siting is not None else "nothing" for siting in sitings], np.str_),
    )
    return [question_text(str(code)) for code in codes]


def _walking(station: "Station") -> tuple[int, str, int, str, int]:
    return station.facility.position, station.facility.name, station.position, station.method, station.number


def _key(facility_id: UUID, method: str) -> str:
    return f"{facility_id}.{method}"
