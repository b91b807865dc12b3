"""A round to be sent: from a JSON file in the API's shape, or from a few words of the command."""

import json
import re
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from server.client.sign_in import Unusable

# What the document calls the reasons why there is no count.
REASONS = ("lost", "wet", "chewed", "spun", "kept_out", "not_visited")
# A test holds them against the document.
REQUIRED = {"round": ("walked_on",), "readings": ("station_id",), "hung": ("station_id", "hung_on"), "notes": ("text",)}
COUNT_UNREADABLE = (
    "{said!r} isn't a count. Write STATION=61, STATION=300+ for at least so many, STATION=lost (or {reasons}), or for "
    "a leg count the flies on each animal: STATION=3,0,5,2."
)


def round_in(path: Path) -> dict[str, Any]:
    """The round in a file. Raises Unusable, with what to do, where the file holds none."""
    try:
        found = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise Unusable(f"{path} can't be read: {error.strerror}.") from error
    except ValueError as error:
        raise Unusable(f"{path} isn't JSON: {error}. Correct it and send it again.") from error
    if not isinstance(found, dict):
        raise Unusable(f"{path} holds no round. It should be one JSON object with walked_on and readings.")
    for where, part in (("the round", found), *_parts(found)):
        name = "round" if part is found else where.split("/")[0]
        missing = [each for each in REQUIRED[name] if not (isinstance(part, dict) and part.get(each))]
        if missing:
            raise Unusable(f"{path}: {where} has no {missing[0]}. Add it and send it again.")
    return found


def _parts(found: dict[str, Any]) -> Iterable[tuple[str, Any]]:
    for name in ("readings", "hung", "notes"):
        listed = found.get(name, [])
        if not isinstance(listed, list):
            yield name, None
            continue
        yield from ((f"{name}/{place}", each) for place, each in enumerate(listed))


def round_of_words(
    on: date, counts: Sequence[str], hung_on: date | None, hang: Sequence[str], stations: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """A round from words like "Card 4=61" and from the stations that were hung anew. Raises Unusable."""
    ids = {_plain(name): each["id"] for each in stations for name in (each["label"], each["id"])}

    def station(said: str) -> str:
        if _plain(said) not in ids:
            labels = ", ".join(str(each["label"]) for each in stations[:20])
            raise Unusable(f"This farm has no {said.strip()!r}. Its stations are: {labels}.")
        return str(ids[_plain(said)])

    readings = []
    for said in counts:
        name, _, value = said.rpartition("=")
        reading = {"station_id": station(name), **_count(value.strip())}
        if hung_on is not None and "animals" not in reading:
            reading["hung_on"] = hung_on.isoformat()
        readings.append(reading)
    hung = [{"station_id": station(said), "hung_on": on.isoformat()} for said in hang]
    return {"walked_on": on.isoformat(), "readings": readings, "hung": hung}


def _plain(label: str) -> str:
    return " ".join(label.lower().split())


def _count(said: str) -> dict[str, Any]:
    """What a count says: 61, 300+, lost, or 3,0,5,2 for the legs of four animals."""
    if re.fullmatch(r"\d+\+?", said, re.ASCII):
        return {"count": int(said.rstrip("+")), **({"at_least": True} if said.endswith("+") else {})}
    if said in REASONS:
        return {"reason": said}
    if re.fullmatch(r"\d+(?:[, ]+\d+)*,?", said, re.ASCII):
        return {"animals": [int(each) for each in re.findall(r"\d+", said)]}
    raise Unusable(COUNT_UNREADABLE.format(said=said, reasons=", ".join(REASONS[1:])))
