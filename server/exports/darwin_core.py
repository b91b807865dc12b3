"""A Darwin Core Archive of a farm's readings: for research with one's own data.

Darwin Core and its text guide (TDWG standard 450, https://dwc.tdwg.org/text/): meta.xml says which column is which
term. The core is dwc:Event: a reading's exposure, and each round as the event that it is part of; the extension is
dwc:MeasurementOrFact. What has no count has no measurement: missing is not zero. No names, and places on the earth
only where they were asked for.
"""

import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Any
from xml.etree import ElementTree as ET
from zipfile import ZIP_DEFLATED, ZipFile

from django.db.models import F

from farms.models import Farm
from monitoring.models.reading import How
from monitoring.selectors import readings_of, rounds_of
from server.exports.streams import gathered

DWC = "http://rs.tdwg.org/dwc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
EVENT = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit",
    "samplingEffort", "eventRemarks", "locationID", "locality",
)  # fmt: skip
ON_EARTH = ("decimalLatitude", "decimalLongitude", "geodeticDatum")
# The first column is the event's id, which ties the two tables together.
FACT = ("measurementID", "measurementType", "measurementValue", "measurementUnit", "measurementMethod")
READ = {
    "id": "id", "round": "round_id", "method": "method", "how": "how", "count": "count", "fraction": "fraction",
    "at_least": "at_least", "reason": "reason", "hung_on": "hung_on", "taken_on": "taken_on", "animals": "animals",
    "station": "station_id", "kind": "station__facility__kind", "latitude": "station__facility__latitude",
    "longitude": "station__facility__longitude",
}  # fmt: skip


@dataclass(frozen=True)
class Protocol:
    """What a method is called in the archive: in English, for whoever reads it where."""

    protocol: str
    event_type: str
    device: str
    counted: str


PROTOCOLS = {
    "card": Protocol("spot card, fly specks counted", "Sample", "card", "fly specks"),
    "trap": Protocol("baited jug trap, flies counted", "Sample", "trap", "flies"),
    "leg": Protocol("stable flies counted on all four legs of animals", "Observation", "animal", "stable flies"),
}
WAYS = {
    How.COUNTED.value: "counted",
    How.PART.value: "a part of the card counted, see the fraction",
    How.CUP.value: "estimated by the cup, about 250 flies each",
}


def write_archive(farm: Farm, asked: Mapping[str, Any], file: IO[bytes], *, located: bool) -> None:
    """Write the zip: one pass over the readings fills both tables, so that they tell of the same readings."""
    events = EVENT + (ON_EARTH if located else ())
    with ZipFile(file, "w", ZIP_DEFLATED) as archive, tempfile.TemporaryFile() as facts:
        archive.writestr("meta.xml", _meta(events))
        facts.write(_line(("eventID", *FACT)))
        with archive.open("event.txt", "w") as table:
            table.write(_line(events))
            for piece in gathered(_event_lines(farm, asked, facts, located=located)):
                table.write(piece)
        facts.seek(0)
        with archive.open("measurementorfact.txt", "w") as table:
            while piece := facts.read(1024 * 1024):
                table.write(piece)


def _event_lines(farm: Farm, asked: Mapping[str, Any], facts: IO[bytes], *, located: bool) -> Iterator[bytes]:
    """The readings' events, their measurements written beside; then the rounds that they are part of."""
    names = {"since": "taken_on__gte", "until": "taken_on__lte", "method": "method"}
    conditions = {names[name]: value for name, value in asked.items()}
    found = readings_of(farm).filter(**conditions).order_by("taken_on", "id")
    for values in found.values_list(*READ.values()).iterator(chunk_size=2000):
        reading = dict(zip(READ, values, strict=True))
        for fact in _facts(reading):
            facts.write(_line(fact))
        yield _line((*_event(reading), *(_on_earth(reading) if located else ())))
    # After the readings: a round that came in meanwhile is without readings, and no reading is without its round.
    walked = rounds_of(farm).order_by("walked_on", "id")
    if asked:
        walked = walked.filter(id__in=found.values("round_id"))
    blank = ("",) * (len(EVENT) - 4 + (len(ON_EARTH) if located else 0))
    for id_, day in walked.values_list(F("id"), F("walked_on")).iterator(chunk_size=2000):
        yield _line((id_, "", "Site Visit", day.isoformat(), *blank))


def _event(reading: Mapping[str, Any]) -> tuple[Any, ...]:
    """The exposure of one reading: from the day hung to the day taken, or the day that legs were looked at."""
    told, hung, taken = PROTOCOLS[reading["method"]], reading["hung_on"], reading["taken_on"]
    animals = reading["animals"]
    size = "" if reading["count"] is None else len(animals) if animals else float(reading["fraction"])
    effort = f"{len(animals)} animals" if animals else f"{(taken - hung).days} {told.device}-days" if hung else ""
    return (
        reading["id"],
        reading["round"],
        told.event_type,
        f"{hung}/{taken}" if hung else str(taken),
        told.protocol,
        size,
        "" if size == "" else told.device,
        effort,
        f"no count: {reading['reason'].replace('_', ' ')}" if reading["reason"] else "",
        reading["station"],
        reading["kind"].replace("_", " "),
    )


def _on_earth(reading: Mapping[str, Any]) -> tuple[Any, ...]:
    if reading["latitude"] is None:
        return "", "", ""
    return reading["latitude"], reading["longitude"], "WGS84"


def _facts(reading: Mapping[str, Any]) -> Iterator[tuple[Any, ...]]:
    """What was found, a line a fact; nothing where there is no count."""
    if reading["count"] is None:
        return
    told, event = PROTOCOLS[reading["method"]], reading["id"]
    yield event, f"{event}:count", "count", reading["count"], told.counted, WAYS[reading["how"]]
    yield event, f"{event}:fraction", "fraction counted", float(reading["fraction"]), "", ""
    yield event, f"{event}:at-least", "count is a lower bound", str(reading["at_least"]).lower(), "", ""
    if reading["animals"]:
        yield event, f"{event}:animals", "animals looked at", len(reading["animals"]), "animals", ""


def _line(values: tuple[Any, ...]) -> bytes:
    """Tabs between; ids, days, numbers and words of ours only, so nothing has to be enclosed."""
    return ("\t".join(map(str, values)) + "\n").encode()


def _meta(events: tuple[str, ...]) -> bytes:
    archive = ET.Element("archive", {"xmlns": TEXT})
    _described(archive, "core", "Event", "event.txt", "id").extend(_fields(events))
    # The extension's own first column is the core's id, and no term of its own.
    _described(archive, "extension", "MeasurementOrFact", "measurementorfact.txt", "coreid").extend(
        _fields(FACT, start=1)
    )
    ET.indent(archive)
    return ET.tostring(archive, encoding="UTF-8", xml_declaration=True)


def _described(archive: ET.Element, what: str, row: str, file: str, key: str) -> ET.Element:
    form = {
        "encoding": "UTF-8", "fieldsTerminatedBy": "\\t", "linesTerminatedBy": "\\n", "fieldsEnclosedBy": "",
        "ignoreHeaderLines": "1", "rowType": DWC + row,
    }  # fmt: skip
    described = ET.SubElement(archive, what, form)
    ET.SubElement(ET.SubElement(described, "files"), "location").text = file
    ET.SubElement(described, key, {"index": "0"})
    return described


def _fields(terms: tuple[str, ...], start: int = 0) -> list[ET.Element]:
    return [ET.Element("field", {"index": str(place), "term": DWC + term}) for place, term in enumerate(terms, start)]
