"""A farm's own data to take along: every table in every format, and who may."""

import json
import re
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from django.db import connection
from frictionless import Package, Resource, Schema
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from farms.errors import Missing
from farms.models import Consent, Facility, Farm, Group, User
from farms.services import withdraw_consent
from monitoring.models import Reading, Station
from monitoring.services import correct_reading
from server.exports import sheet
from server.exports.formulas import PATTERN, harmless
from server.exports.tables import TABLES
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory
from tests.monitoring import walking
from tests.monitoring.sending import STAFF, TODAY, hang, photographed, reading
from tests.server.api.bodies import everything_stored
from tests.server.api.exporting import FORMS, content, csv_rows, noted, parquet_of, path, rows_in, sheet_of, taken
from tests.server.api.planned import FORMULA, work_planned
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
EMOJI = "nublado, \N{SUN BEHIND CLOUD} mañana"


@pytest.fixture
def season(northfield: Farm, group: Group, anna: User, cards: list[Station], traps: list[Station], leg_station: Station,
           calf_barn: Facility) -> dict[str, Reading]:  # fmt: skip
    """Northfield with every kind of reading, a correction, a reading withdrawn, works and a week that was judged."""
    count_week(cards, monday(2), [20, 33, 45, "lost", 80])
    check(group, monday(2))
    with acting(anna):
        hang(northfield, [*cards, *traps])
        walked = photographed(
            northfield,
            reading(cards[0], 41),
            reading(cards[1], 12, how="part", fraction=0.25),
            reading(cards[2], 300, at_least=True),
            reading(cards[3], reason="wet"),
            reading(cards[4], 7),
            reading(traps[0], 375, how="cup"),
            reading(traps[1], 0),
            reading(leg_station, 10, animals=[3, 0, 5, 2], pen=FORMULA, weather=EMOJI, time_of_day=time(7, 30),
                    bunching=True),
        )  # fmt: skip
        found = {str(each.station_id): each for each in Reading.objects.filter(round_id=walked.id)}
        first, last = found[str(cards[0].id)], found[str(cards[4].id)]
        for before, right, kind in (first, reading(cards[0], 61), "miscounted"), (last, reading(cards[4]), "withdrawn"):
            correct_reading(farm=northfield, reading_id=before.id, correction=right, kind=kind, actor=STAFF, now=NOW)
        work_planned(northfield, calf_barn)
        walking.walk(northfield, walking.found(facility=calf_barn, to_do=FORMULA), walking.found(nothing=True))
    return {"corrected": first, "withdrawn": last}


ROWS = {"readings": 12, "rounds": 3, "stations": 8, "weeks": 4, "works": 3, "planned-works": 1, "planned-steps": 1,
        "applications": 1, "findings": 2, "photos": 1, "results": 6}  # fmt: skip


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", TABLES)
def test_every_table_leaves_in_every_format_and_says_the_same(
    reader: Sender, northfield: Farm, season: Any, name: str, form: str
):
    rows = rows_in(form, taken(reader, northfield, f"{name}.{form}"))
    assert len(rows) == ROWS[name]
    assert list(rows[0]) == [column.name for column in TABLES[name].columns]
    as_csv = csv_rows(taken(reader, northfield, f"{name}.csv"))
    assert [alike(row) for row in rows] == [alike(row) for row in as_csv]


def alike(row: dict[str, str]) -> dict[str, str]:
    """Without the apostrophe of a formula, and numbers to the digits that a sheet keeps."""
    number = re.compile(r"-?\d+\.\d+(e-?\d+)?")
    plain = {name: value.removeprefix("'") for name, value in row.items()}
    return {name: f"{float(value):.12g}" if number.fullmatch(value) else value for name, value in plain.items()}


@pytest.mark.parametrize("name", TABLES)
def test_a_table_without_rows_is_a_table(reader: Sender, southmead: Farm, carla: User, northfield: Farm, name: str):
    sender = token_of(southmead, carla, "read")
    for form in FORMS:
        rows = rows_in(form, taken(sender, southmead, f"{name}.{form}"))
        assert len(rows) == (5 if name == "stations" else 0), form


def test_missing_is_never_zero_and_zero_never_missing(reader: Sender, northfield: Farm, season: Any):
    for form in FORMS:
        rows = rows_in(form, taken(reader, northfield, f"readings.{form}", f"?since={TODAY}"))
        counts = {row["station"]: (row["count"], row["reason"]) for row in rows}
        assert counts == {
            "Card 1": ("61", ""), "Card 2": ("12", ""), "Card 3": ("300", ""), "Card 4": ("", "wet"),
            "Trap 1": ("375", ""), "Trap 2": ("0", ""), "Leg count 1": ("10", ""),
        }, form  # fmt: skip
    lines = taken(reader, northfield, "readings.ndjson").splitlines()
    wet = next(row for row in map(json.loads, lines) if row["reason"] == "wet")
    assert (wet["count"], wet["animals"], wet["pen"], wet["time_of_day"]) == (None, None, None, None)
    table = parquet_of(taken(reader, northfield, "readings.parquet"))
    assert table.column("count").null_count == 2


def test_what_stands_is_taken_along_and_a_correction_names_what_it_corrects(
    reader: Sender, northfield: Farm, season: dict[str, Reading]
):
    rows = csv_rows(taken(reader, northfield, "readings.csv"))
    assert {str(each.id) for each in season.values()}.isdisjoint(row["id"] for row in rows)
    fixed = [row for row in rows if row["corrects_id"]]
    assert [(row["corrects_id"], row["correction_kind"], row["count"]) for row in fixed] == [
        (str(season["corrected"].id), "miscounted", "61")
    ]


def test_values_have_their_types_in_parquet(reader: Sender, northfield: Farm, season: Any):
    table = parquet_of(taken(reader, northfield, "readings.parquet"))
    types = {
        "id": pa.string(),
        "count": pa.int64(),
        "fraction": pa.float64(),
        "taken_on": pa.date32(),
        "animals": pa.list_(pa.int64()),
        "at_least": pa.bool_(),
        "received_at": pa.timestamp("us", "UTC"),
    }
    assert {name: table.schema.field(name).type for name in types} == types
    legs = next(row for row in table.to_pylist() if row["method"] == "leg")
    assert (legs["animals"], legs["pen"], legs["time_of_day"], legs["hung_on"]) == (
        [3, 0, 5, 2], FORMULA, time(7, 30), None,
    )  # fmt: skip
    assert legs["received_at"] == NOW and legs["taken_on"] == TODAY
    assert b"Missing where there is no count" in table.schema.field("count").metadata[b"description"]


# --- Formulas (OWASP, "CSV Injection"; CWE-1236) ----------------------------------------------------------------------


def test_text_that_looks_like_a_formula_is_harmless_in_a_spreadsheet_and_itself_elsewhere(
    reader: Sender, northfield: Farm, season: Any
):
    def legs(form: str) -> dict[str, Any]:
        rows = rows_in(form, taken(reader, northfield, f"readings.{form}"))
        return next(row for row in rows if row["method"] == "leg")

    assert {form: legs(form)["pen"] for form in FORMS} == {
        "csv": f"'{FORMULA}", "xlsx": f"'{FORMULA}", "ndjson": FORMULA, "parquet": FORMULA,
    }  # fmt: skip
    assert {legs(form)["weather"] for form in FORMS} == {EMOJI}
    assert sheet_of(taken(reader, northfield, "readings.xlsx"))[0] == []


@pytest.mark.parametrize(
    "name",
    ["=1+1", "+1", "-1", "@SUM(A1)", "\ufeff=1", "  =1", "\u200b@x", "\u00a0-2", "\uff1d1", "\ufe62" + "1", "#N/A",
     "\x0b=1", "a\x01b", "ok"],
)  # fmt: skip
def test_the_name_of_a_barn_is_no_formula(reader: Sender, northfield: Farm, calf_barn: Facility, name: str):
    with as_factory():
        Facility.objects.filter(id=calf_barn.id).update(name=name)
    expected = name if name in ("#N/A", "a\x01b", "ok") else f"'{name}"
    first = csv_rows(taken(reader, northfield, "stations.csv"))[0]
    assert first["facility"] == expected
    formulas, rows = sheet_of(taken(reader, northfield, "stations.xlsx"))
    assert formulas == []
    assert rows[0]["facility"] == expected.replace("\x0b", "\ufffd").replace("\x01", "\ufffd")
    assert json.loads(taken(reader, northfield, "stations.ndjson").splitlines()[0])["facility"] == name


@example("\t=1")
@example("\r\n")
@example("a=1")
@example("'=1")
@given(st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=6))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
def test_postgresql_and_python_agree_on_what_looks_like_a_formula(db: None, text: str):
    with connection.cursor() as cursor:
        cursor.execute("SELECT %s ~ %s", [text, PATTERN])
        assert cursor.fetchone()[0] == (harmless(text) != text)


# --- Checked by the reference library: https://framework.frictionlessdata.io ------------------------------------------


def test_the_csv_files_hold_what_their_schemas_say(reader: Sender, northfield: Farm, season: Any, tmp_path: Path):
    for name in TABLES:
        file = tmp_path / f"{name}.csv"
        file.write_bytes(taken(reader, northfield, file.name))
        schema = Schema.from_descriptor(reader.get(path(northfield, f"{name}.schema.json")).json())
        report = Resource(path=file.name, basepath=str(tmp_path), schema=schema).validate()
        assert report.valid, report.flatten(["rowNumber", "fieldName", "note"])
        assert report.tasks[0].stats["rows"] == ROWS[name]


def test_the_package_holds_together(reader: Sender, northfield: Farm, anna: User, season: Any, tmp_path: Path):
    (tmp_path / "evidence.json").write_bytes(taken(session_of(anna), northfield, "evidence.json"))
    for file in (*(f"{name}.csv" for name in TABLES), "datapackage.json"):
        (tmp_path / file).write_bytes(taken(reader, northfield, file))
    report = Package(str(tmp_path / "datapackage.json")).validate()
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "note"])
    # A reading of a round that isn't there is found: the check above is one.
    rounds = (tmp_path / "rounds.csv").read_text().splitlines()
    (tmp_path / "rounds.csv").write_text("\n".join(rounds[:1]) + "\n")
    assert not Package(str(tmp_path / "datapackage.json")).validate().valid


def test_frictionless_reads_the_types(reader: Sender, northfield: Farm, season: Any, tmp_path: Path):
    (tmp_path / "readings.csv").write_bytes(taken(reader, northfield, "readings.csv"))
    schema = Schema.from_descriptor(reader.get(path(northfield, "readings.schema.json")).json())
    rows = Resource(path="readings.csv", basepath=str(tmp_path), schema=schema).read_rows()
    wet = next(row for row in rows if row["reason"] == "wet")
    assert (wet["count"], wet["taken_on"], wet["days"], wet["at_least"]) == (None, TODAY, 7, False)
    assert wet["received_at"].replace(tzinfo=UTC) == NOW


# --- Out and in again ------------------------------------------------------------------------------------------------

IMPORTED = ("id", "station", "how", "count", "fraction", "at_least", "reason", "hung_on", "taken_on", "animals",
            "sides", "pen", "time_of_day", "weather", "bunching", "sprayed")  # fmt: skip


def test_readings_that_were_taken_out_and_brought_in_elsewhere_are_the_same(
    reader: Sender, northfield: Farm, season: Any, region: Any, carla: User
):
    from tests.cast import make_facility, make_farm, make_stations

    other = make_farm("Westfield", region, carla)
    barn = make_facility(other, "Barn", "calf_barn")
    for method, numbers in (("card", range(1, 6)), ("trap", range(1, 3)), ("leg", range(1, 2))):
        make_stations(barn, method, numbers)
    out = [{name: row[name] for name in IMPORTED} for row in csv_rows(taken(reader, northfield, "readings.csv"))]
    lines = [",".join(IMPORTED), *(",".join(quoted(row[name]) for name in IMPORTED) for row in out)]
    into = token_of(other, carla, "write")
    answer = into.generic("POST", f"/api/v1/farms/{other.id}/imports", "\n".join(lines).encode(), "text/csv")
    assert (answer.status_code, answer.json().get("stored")) == (200, len(out)), answer.content
    again = [{name: row[name] for name in IMPORTED} for row in csv_rows(taken(into, other, "readings.csv"))]
    # A text that was made harmless on the way out keeps its apostrophe: it is never a formula again.
    assert sorted(again, key=str) == sorted(out, key=str)


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


# --- Which rows ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "number"),
    [
        ("readings.csv?since=2026-06-01", 7), ("readings.csv?until=2026-05-31", 5), ("readings.csv?method=trap", 2),
        ("readings.csv?method=leg&since=2026-06-02", 0), ("rounds.csv?since=2026-06-01", 1),
        ("stations.csv?method=leg", 1), ("weeks.csv?since=2026-05-31&method=card", 1),
        ("weeks.csv?until=2026-04-20", 1),
        ("works.csv?since=2026-06-02", 0), ("results.csv?until=2026-04-19", 0), ("results.csv?since=2026-04-26", 6),
        ("results.csv?since=0001-01-01&method=card", 2),
    ],
)  # fmt: skip
def test_rows_are_chosen_by_day_and_method(reader: Sender, northfield: Farm, season: Any, file: str, number: int):
    assert len(csv_rows(taken(reader, northfield, file))) == number


@pytest.mark.parametrize(
    ("query", "named"),
    [("readings.csv?since=yesterday&method=tape", {"since", "method"}), ("rounds.xlsx?method=card", {"method"}),
     ("stations.parquet?since=2026-06-01", {"since"}), ("works.ndjson?color=red", {"color"}),
     ("readings.csv?limit=5&cursor=x", {"limit", "cursor"}), ("readings.schema.json?a=1", {"a"}),
     ("datapackage.json?a=1", {"a"}), ("stations.geojson?method=card", {"method"}),
     ("darwin-core.zip?located=yes", {"located"})],
)  # fmt: skip
def test_a_query_that_is_not_understood_is_refused_and_nothing_is_noted(
    anna: User, northfield: Farm, query: str, named: set[str]
):
    problem = assert_problem(session_of(anna).get(path(northfield, query)), 422, "bad_query")
    assert {error["parameter"] for error in problem["errors"]} == named
    assert noted(northfield) == []


def test_more_rows_than_a_sheet_holds_are_refused_before_anything_leaves(
    reader: Sender, northfield: Farm, season: Any, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(sheet, "MOST_ROWS", 11)
    problem = assert_problem(reader.get(path(northfield, "readings.xlsx")), 422, "too_many_rows_for_a_sheet")
    assert "11 rows, and this has 12" in problem["detail"]
    assert noted(northfield) == []
    assert len(rows_in("xlsx", taken(reader, northfield, "readings.xlsx", "?method=card"))) == 9


# --- Who may, and what is said of it ---------------------------------------------------------------------------------


def test_what_there_is_is_listed_with_its_addresses(reader: Sender, northfield: Farm, season: Any):
    found = reader.get(path(northfield)).json()["results"]
    assert [each["name"] for each in found] == list(TABLES)
    for each in found:
        addresses = [*each["formats"].values(), each["schema"]]
        assert {reader.get(address).status_code for address in addresses} == {200}
    assert found[1]["filters"] == ["since", "until"]
    assert noted(northfield)[:2] == ["readings.csv", "readings.ndjson"]


@pytest.mark.parametrize("file", ["readings.csv", "rounds.xlsx", "works.parquet", "weeks.ndjson", "darwin-core.zip"])
def test_each_export_is_noted_before_it_leaves(ben: User, northfield: Farm, season: Any, file: str):
    response = session_of(ben).get(path(northfield, file) + "?since=2026-05-01")
    # Nothing of the body was read yet.
    assert noted(northfield) == [f"{file} since=2026-05-01"]
    assert content(response)
    assert noted(northfield) == [f"{file} since=2026-05-01"]


def test_head_tells_of_the_file_and_notes_nothing(reader: Sender, northfield: Farm, season: Any):
    for file, kind in (("readings.csv", "text/csv"), ("readings.xlsx", "application/vnd.openxml")):
        head, got = reader.head(path(northfield, file)), reader.get(path(northfield, file))
        assert head.status_code == 200 and head.content == b""
        assert head.headers["Content-Type"] == got.headers["Content-Type"]
        assert head.headers["Content-Type"].startswith(kind)
        assert head.headers["Content-Disposition"] == f'attachment; filename="northfield-{file}"'
        assert content(got)
    assert len(noted(northfield)) == 2
    assert reader.head(path(northfield, "readings.csv?since=x")).status_code == 422


@pytest.mark.parametrize("name", ['Ñandú "\r\nX-Evil: 1', "../../etc", "☀", "N" * 120])
def test_a_file_has_a_safe_name_and_lies_in_no_cache(reader: Sender, northfield: Farm, name: str):
    with as_factory():
        Farm.objects.filter(id=northfield.id).update(name=name)
    response = reader.get(path(northfield, "rounds.csv"))
    told = response.headers["Content-Disposition"]
    file = told.removeprefix('attachment; filename="').removesuffix('-rounds.csv"')
    assert 0 < len(file) <= 60 and set(file) <= set("abcdefghijklmnopqrstuvwxyz1-"), told
    assert response.headers["Cache-Control"] == "private, no-store"


def test_an_accept_header_does_not_matter_since_the_address_says_the_format(reader: Sender, northfield: Farm):
    for accept in ("text/csv", "application/json", "image/png", "text/html, */*;q=0.8"):
        assert reader.get(path(northfield, "rounds.csv"), HTTP_ACCEPT=accept).status_code == 200


def test_a_farm_phone_takes_nothing_along(phone: Sender, northfield: Farm):
    for file in ("", "readings.csv", "readings.schema.json", "stations.geojson", "darwin-core.zip"):
        assert_problem(phone.get(path(northfield, file)), 403, "forbidden")
    assert noted(northfield) == []


def test_a_stranger_and_who_was_let_out_get_nothing(
    carla: User, dana: User, anna: User, southmead: Farm, northfield: Farm, season: Any
):
    adviser = session_of(dana)
    assert adviser.get(path(northfield, "readings.csv")).status_code == 200
    with acting(anna):
        consent = Consent.objects.get(farm=northfield, adviser=dana)
        withdraw_consent(consent=consent, by=anna, now=NOW)
    senders = (adviser, session_of(carla), token_of(southmead, carla, "read"))
    before = everything_stored(northfield)
    for sender in senders:
        for form in FORMS:
            assert_problem(sender.get(path(northfield, f"readings.{form}")), 404, "not_found")
    assert everything_stored(northfield)["farms_logevent"] == before["farms_logevent"]


def test_who_is_let_out_before_the_first_byte_gets_a_broken_answer_and_not_an_empty_table(
    dana: User, anna: User, northfield: Farm, season: Any
):
    response = session_of(dana).get(path(northfield, "readings.csv"))
    with acting(anna):
        withdraw_consent(consent=Consent.objects.get(farm=northfield, adviser=dana), by=anna, now=NOW)
    with pytest.raises(Missing):
        b"".join(response.streaming_content)


def test_a_token_switched_off_before_the_first_byte_gets_a_broken_answer(northfield: Farm, anna: User, season: Any):
    from farms.models import ApiToken
    from farms.services import revoke_token

    response = token_of(northfield, anna, "read").get(path(northfield, "readings.ndjson"))
    with acting(anna):
        revoke_token(token=ApiToken.objects.get(farm=northfield), by=anna, now=datetime.now(UTC))
    with pytest.raises(Missing):
        b"".join(response.streaming_content)


def test_nothing_of_another_farm_is_in_a_farms_file(
    carla: User, southmead: Farm, reader: Sender, northfield: Farm, season: Any
):
    with as_factory():
        hers = list(Station.objects.filter(farm=southmead))
    count_week(hers, monday(2), [9, 9, 9, 9, 9])
    ids = {str(station.id) for station in hers} | {str(southmead.id)}
    for name in TABLES:
        body = taken(reader, northfield, f"{name}.ndjson").decode()
        assert not any(each in body for each in ids), name
    assert len(csv_rows(taken(token_of(southmead, carla, "read"), southmead, "readings.csv"))) == 5
