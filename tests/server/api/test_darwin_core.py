"""The archive for research, read by nothing but XML and CSV readers, as its meta.xml says.

Checked against TDWG's Darwin Core: the text guide (https://dwc.tdwg.org/text/) and, for the terms of each row type,
build/xml/event_core_list.csv and build/xml/measurements_or_facts_list.csv of https://github.com/tdwg/dwc, of which
those names are written out here that this archive may use.
"""

import csv
import io
import re
from typing import Any
from xml.etree import ElementTree as ET
from zipfile import ZipFile

import pytest

from farms.models import Facility, Farm, User
from monitoring.models import Station
from tests.cast import as_factory
from tests.server.api.exporting import taken
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_exports import EMOJI, FORMULA, season
from tests.server.api.test_places import LATITUDE, LONGITUDE, placed

__all__ = ["placed", "season"]
pytestmark = pytest.mark.django_db
NAMESPACE = "{http://rs.tdwg.org/dwc/text/}"
DWC = "http://rs.tdwg.org/dwc/terms/"
EVENT_TERMS = {
    "eventID", "parentEventID", "eventType", "fieldNumber", "eventDate", "eventTime", "habitat", "samplingProtocol",
    "sampleSizeValue", "sampleSizeUnit", "samplingEffort", "fieldNotes", "eventRemarks", "locationID", "locality",
    "decimalLatitude", "decimalLongitude", "geodeticDatum",
}  # fmt: skip
FACT_TERMS = {
    "measurementID", "parentMeasurementID", "measurementType", "measurementValue", "measurementAccuracy",
    "measurementUnit", "measurementDeterminedBy", "measurementDeterminedDate", "measurementMethod",
    "measurementRemarks",
}  # fmt: skip
# ISO 8601-1: a day, or two with a slash between.
INTERVAL = re.compile(r"\d{4}-\d\d-\d\d(/\d{4}-\d\d-\d\d)?")

Rows = list[dict[str, str]]


def read_archive(body: bytes) -> dict[str, tuple[str, Rows]]:
    """Each table of the archive by its file: its row type, and its rows by term; "key" is the id or core id."""
    with ZipFile(io.BytesIO(body)) as archive:
        assert archive.testzip() is None
        meta = ET.fromstring(archive.read("meta.xml"))
        assert meta.tag == f"{NAMESPACE}archive"
        assert [part.tag for part in meta] == [f"{NAMESPACE}core", f"{NAMESPACE}extension"]
        found = dict(_table(archive, part) for part in meta)
        assert set(archive.namelist()) == {"meta.xml", *found}
    return found


def _table(archive: ZipFile, part: ET.Element) -> tuple[str, tuple[str, Rows]]:
    file = part.findtext(f"{NAMESPACE}files/{NAMESPACE}location") or ""
    key = part.find(f"{NAMESPACE}{'id' if part.tag.endswith('core') else 'coreid'}")
    assert key is not None
    columns = {int(field.attrib["index"]): field.attrib["term"] for field in part.findall(f"{NAMESPACE}field")}
    text = archive.read(file).decode(part.attrib["encoding"])
    delimiter = part.attrib["fieldsTerminatedBy"].encode().decode("unicode_escape")
    lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, quoting=csv.QUOTE_NONE))
    lines = lines[int(part.attrib["ignoreHeaderLines"]) :]
    assert {len(line) for line in lines} <= {max(columns) + 1}
    rows = [
        {"key": line[int(key.attrib["index"])], **{term: line[place] for place, term in columns.items()}}
        for line in lines
    ]
    assert all(term.startswith(DWC) for term in columns.values())
    return file, (
        part.attrib["rowType"],
        [{name.removeprefix(DWC): value for name, value in row.items()} for row in rows],
    )


@pytest.fixture
def archive(reader: Sender, northfield: Farm, season: Any) -> dict[str, tuple[str, Rows]]:
    return read_archive(taken(reader, northfield, "darwin-core.zip"))


def test_it_holds_events_and_measurements_in_terms_of_the_standard(archive: dict[str, tuple[str, Rows]]):
    (event_type, events), (fact_type, facts) = archive["event.txt"], archive["measurementorfact.txt"]
    assert (event_type, fact_type) == (f"{DWC}Event", f"{DWC}MeasurementOrFact")
    assert set(events[0]) - {"key"} <= EVENT_TERMS
    assert set(facts[0]) - {"key"} <= FACT_TERMS


def test_every_measurement_has_its_event_and_every_event_its_round(archive: dict[str, tuple[str, Rows]]):
    events, facts = archive["event.txt"][1], archive["measurementorfact.txt"][1]
    ids = [event["eventID"] for event in events]
    assert len(ids) == len(set(ids)) == 12 + 3
    assert {event["parentEventID"] for event in events} - {""} <= set(ids)
    assert {fact["key"] for fact in facts} <= set(ids)
    assert len({fact["measurementID"] for fact in facts}) == len(facts)
    assert all(INTERVAL.fullmatch(event["eventDate"]) for event in events)
    # sampleSizeValue and sampleSizeUnit belong together, says the list of terms.
    assert all(bool(event["sampleSizeValue"]) == bool(event["sampleSizeUnit"]) for event in events)


def test_an_exposure_is_an_event_with_its_days_its_sample_and_its_effort(
    archive: dict[str, tuple[str, Rows]], cards: list[Station], leg_station: Station
):
    def of(station: Station) -> dict[str, str]:
        found = [event for event in archive["event.txt"][1] if event["locationID"] == str(station.id)]
        return {name: value for name, value in found[-1].items() if name not in ("key", "eventID", "parentEventID")}

    assert of(cards[1]) == {
        "eventType": "Sample", "eventDate": "2026-05-25/2026-06-01",
        "samplingProtocol": "spot card, fly specks counted",
        "sampleSizeValue": "0.25", "sampleSizeUnit": "card", "samplingEffort": "7 card-days", "eventRemarks": "",
        "locationID": str(cards[1].id), "locality": "calf barn",
    }  # fmt: skip
    assert (of(cards[3])["eventRemarks"], of(cards[3])["sampleSizeValue"]) == ("no count: wet", "")
    legs = of(leg_station)
    assert (legs["eventDate"], legs["sampleSizeValue"], legs["samplingEffort"]) == ("2026-06-01", "4", "4 animals")


def test_what_was_found_is_measured_and_what_is_missing_is_not(
    archive: dict[str, tuple[str, Rows]], cards: list[Station], leg_station: Station
):
    def of(station: Station) -> dict[str, tuple[str, str]]:
        event = [event for event in archive["event.txt"][1] if event["locationID"] == str(station.id)][-1]["eventID"]
        facts = [fact for fact in archive["measurementorfact.txt"][1] if fact["key"] == event]
        return {fact["measurementType"]: (fact["measurementValue"], fact["measurementUnit"]) for fact in facts}

    assert of(cards[0]) == {
        "count": ("61", "fly specks"), "fraction counted": ("1.0", ""), "count is a lower bound": ("false", ""),
    }  # fmt: skip
    assert (of(cards[1])["fraction counted"], of(cards[2])["count is a lower bound"]) == (("0.25", ""), ("true", ""))
    assert of(cards[3]) == {}
    assert of(leg_station)["animals looked at"] == ("4", "animals")


def test_no_names_no_free_words_and_no_places_are_in_it(anna: User, northfield: Farm, placed: Facility, season: Any):
    body = taken(session_of(anna), northfield, "darwin-core.zip")
    with ZipFile(io.BytesIO(body)) as archive:
        text = "".join(archive.read(name).decode() for name in archive.namelist())
    told = ("decimalLatitude", str(LATITUDE), "Calf barn", "Northfield", "Anna", EMOJI, FORMULA)
    assert [each for each in told if each in text] == []


def test_who_may_know_the_place_may_ask_for_it(dana: User, northfield: Farm, placed: Facility, season: Any):
    events = read_archive(taken(session_of(dana), northfield, "darwin-core.zip", "?located=true"))["event.txt"][1]
    told = {(event["decimalLatitude"], event["decimalLongitude"], event["geodeticDatum"]) for event in events}
    assert told == {(str(LATITUDE), str(LONGITUDE), "WGS84"), ("", "", "")}
    assert set(events[0]) - {"key"} <= EVENT_TERMS


def test_days_and_method_narrow_both_tables_and_the_rounds(reader: Sender, northfield: Farm, season: Any):
    found = read_archive(taken(reader, northfield, "darwin-core.zip", "?since=2026-06-01&method=trap"))
    events, facts = found["event.txt"][1], found["measurementorfact.txt"][1]
    assert [event["eventType"] for event in events] == ["Sample", "Sample", "Site Visit"]
    assert {fact["measurementMethod"] for fact in facts if fact["measurementType"] == "count"} == {
        "counted", "estimated by the cup, about 250 flies each",
    }  # fmt: skip


def test_a_farm_without_readings_gives_two_empty_tables(carla: User, southmead: Farm):
    found = read_archive(taken(session_of(carla), southmead, "darwin-core.zip"))
    assert [rows for _kind, rows in found.values()] == [[], []]
    with as_factory():
        assert Facility.objects.filter(farm=southmead).exists()
