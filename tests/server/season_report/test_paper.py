"""The report on paper: every figure is the API's, the evidence in it is checked offline, and it keeps PDF/UA-1."""

import io
import os
import re
from collections import defaultdict
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pypdf
import pytest
from typer.testing import CliRunner

from farms.models import Farm, User
from server.api.v1.applications import EXAMPLE
from server.client.__main__ import app
from server.season_report.blocks import Picture
from server.season_report.outlines import OUTLINES
from server.season_report.paper import report_pdf
from server.season_report.told import NONE
from tests.server.api.senders import Sender, session_of

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("America/Chicago")
PARTS = {0.25: "¼"}
MARKS = "(?: [celso])*"


def text_of(content: bytes) -> str:
    """All pages in one line."""
    return " ".join(" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def asked(sender: Sender, farm: Farm, noun: str) -> list[dict[str, Any]]:
    answer = sender.get(f"/api/v1/farms/{farm.id}/{noun}")
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def day(text: str) -> str:
    """Jun 8, 2026, as the report in English writes it."""
    told = date.fromisoformat(text)
    return f"{told:%b} {told.day}, {told.year}"


def moment(text: str) -> str:
    local = datetime.fromisoformat(text).astimezone(ZONE)
    return f"{day(local.date().isoformat())}, {local:%H:%M}"


def count_words(row: dict[str, Any]) -> str:
    if row["count"] is None:
        return row["reason"].replace("_", " ")
    told = f"{row['count']:,}" + ("+" if row["at_least"] else "")
    return told if row["fraction"] == 1 else f"{told} of {PARTS[row['fraction']]}"


@pytest.fixture
def pdf(signed: Any, kinds_of_counts: None, anna: User) -> bytes:
    """As the owner takes it from the API, with names."""
    answer = session_of(anna).get(f"/api/v1/farms/{signed.farm.id}/report.pdf?names=true&language=en")
    assert answer.status_code == 200, answer.content
    return answer.content


def test_every_count_that_the_api_tells_stands_in_it(pdf: bytes, signed: Any, anna: User):
    """A line a day: taken down, hung, days up, and the count of each card or trap of a building."""
    told, api = text_of(pdf), session_of(anna)
    stations = {row["id"]: row for row in asked(api, signed.farm, "stations")}
    tables: dict[tuple[str, str], set[str]] = defaultdict(set)
    lines: dict[tuple[str, str, str, str], dict[str, str]] = defaultdict(dict)
    hanging = [row for row in asked(api, signed.farm, "readings?limit=500") if row["method"] != "leg"]
    assert len(hanging) >= 20
    for row in hanging:
        place = stations[row["station_id"]]["facility_id"], row["method"]
        tables[place].add(row["station_id"])
        lines[(*place, row["taken_on"], row["hung_on"])][row["station_id"]] = count_words(row)
    for (facility, method, taken, hung), found in lines.items():
        order = sorted(tables[facility, method], key=lambda each: stations[each]["number"])
        days = (date.fromisoformat(taken) - date.fromisoformat(hung)).days
        cells = [re.escape(found.get(each, NONE)) + MARKS for each in order]
        line = f"{re.escape(f'{day(taken)} {day(hung)} {days}')} {' '.join(cells)}"
        assert re.search(line, told), line


def test_every_leg_count_stands_in_it(pdf: bytes, signed: Any, anna: User):
    told = text_of(pdf)
    legs = asked(session_of(anna), signed.farm, "readings?method=leg")
    assert legs
    for row in legs:
        each = " ".join(map(str, row["animals"]))
        mean = f"{row['count'] / len(row['animals']):.1f}"
        assert f"{row['count']} {len(row['animals'])} {mean} {each}" in told.replace(" Dry lot", "")


def test_every_action_level_stands_in_it_as_it_was_set(pdf: bytes, signed: Any, anna: User):
    told = text_of(pdf)
    applied = session_of(anna).get(f"/api/v1/farms/{signed.farm.id}/action-levels/applied?on=2026-06-01").json()
    rows = applied["results"] if isinstance(applied, dict) else applied
    own = [row for row in rows if row["valid_from"] is not None]
    assert {row["value"] for row in own} == {77.5}
    for row in own:
        assert f"{row['value']:g} {row['unit']} {day(row['valid_from'])}" in told
        assert row["reason"] in told
    for row in rows:
        if row["level_of"] == "default" and row["value"] is not None:
            assert f"{row['value']:g} {row['unit']}" in told


def test_every_application_stands_in_it_with_amount_and_moments(pdf: bytes, signed: Any, anna: User):
    told = text_of(pdf)
    units = {"gal": "gallons (US)", "m2": "square meters"}
    rows = asked(session_of(anna), signed.farm, "applications")
    assert rows
    for row in rows:
        for said in (
            f"{row['amount']:g} {units[row['amount_unit']]}", f"{row['area']:g} {units[row['area_unit']]}",
            row["name"], row["registration_number"], row["substances"], row["people"]["applicator"],
            moment(row["begins_at"]), moment(row["milk_until"]), moment(row["meat_until"]),
        ):  # fmt: skip
            assert said in told, said


def test_works_plans_matters_and_corrections_stand_in_it(pdf: bytes, signed: Any, anna: User):
    told, api = text_of(pdf), session_of(anna)
    works = asked(api, signed.farm, "works")
    assert works and all(day(row["done_on"]) in told for row in works)
    for row in asked(api, signed.farm, "alerts"):
        assert day(row["opened_week"]) in told
    corrections = [row for row in asked(api, signed.farm, "readings") if row["corrects_id"]]
    assert corrections and all(moment(row["received_at"]) in told for row in corrections)
    assert "130 (Apr 6, 2026 to Apr 13, 2026) 99 (Apr 6, 2026 to Apr 13, 2026) Counted wrongly" in told
    assert "What became of each planned day" in told and "Left out" in told and "Noted by mistake" in told


@pytest.fixture
def done_in_spring(signed: Any, anna: User) -> Farm:
    """A wall spray, a bait and a bedding change in the weeks that were counted."""
    api, farm = session_of(anna), signed.farm
    for number, kind in ((14, "residual"), (15, "bait")):
        times = {"begins_at": f"2026-04-{number}T14:00:00Z", "ends_at": f"2026-04-{number}T15:00:00Z"}
        answer = api.post(f"/api/v1/farms/{farm.id}/applications", EXAMPLE.value | times | {"kind": kind})
        assert answer.status_code == 201, answer.content
    answer = api.post(f"/api/v1/farms/{farm.id}/works", {"kind": "bedding", "done_on": "2026-04-16"})
    assert answer.status_code == 201, answer.content
    return farm


def test_what_was_sprayed_has_the_letter_of_the_farm_s_page_and_the_legend_says_so(done_in_spring: Farm, made: Any):
    """Two kinds of one letter are told apart by their days."""
    report = made(done_in_spring)
    (charts,) = [each for each in report.sections if each.key == "charts"]
    (drawn,) = [block.svg for block in charts.blocks if isinstance(block, Picture)]
    assert ">R</text>" in drawn and ">B</text>" in drawn and ">*</text>" not in drawn
    legend = "B bait (Apr 15) \N{MIDDLE DOT} bedding change (Apr 16); R residual spray, on walls and surfaces."
    assert f"Letters above the weeks: {legend}" in text_of(report_pdf(report, "letter"))


def test_every_walk_and_finding_of_the_api_stands_in_it(pdf: bytes, signed: Any, anna: User):
    """With the owner's tick what was to do is told, and by whom never."""
    told, api = text_of(pdf), session_of(anna)
    for row in asked(api, signed.farm, "walks"):
        assert f"{day(row['walked_on'])} Calf barn {row['places']} Farm staff" in told
    (row,) = asked(api, signed.farm, "findings")
    (step,) = api.get(f"/api/v1/farms/{signed.farm.id}/findings/{row['id']}").json()["steps"]
    assert f"{day(row['seen_on'])} {row['said']['place_words'].capitalize()}, Calf barn Some maggots" in told
    assert f"{row['said']['to_do'].capitalize()}, by {day(row['due_on'])}" in told
    assert f"Done, {day(step['on'])} (farm staff): “{step['note']}”; to be looked at again by {day(row['due'])}" in told
    assert row["said"]["by_whom"] == "Pia" and f"{row['said']['to_do'].capitalize()} (Pia)" not in told
    assert "1 fly walk is noted; 1 place was found where flies hatch or may, 0 of them gone" in told


def test_names_and_what_people_wrote_are_the_owner_s_to_give(signed: Any, made: Any):
    said = ("Pat Invented", "C-123", "look at the corner", "ehind the pump", "crape it", "scraped")
    without = text_of(report_pdf(made(signed.farm), "letter"))
    assert not [name for name in (*said, "Anna", "Ben", "Dana") if name in without]
    assert all(name in text_of(report_pdf(made(signed.farm, names=True), "letter")) for name in said)


def test_verify_checks_the_report_offline(pdf: bytes, signed: Any, monkeypatch: Any):
    monkeypatch.setenv("LANG", "en_US.UTF-8")
    path = signed.folder / "report.pdf"
    path.write_bytes(pdf)
    result = CliRunner().invoke(app, ["verify", str(path), "--key", str(signed.folder / "public.pem")])
    assert result.exit_code == 0, result.output
    assert "All of it holds." in result.output and "Signed on 2026-05-30" in result.output


def test_without_evidence_nothing_is_attached_and_it_says_so(signed: Any, made: Any):
    content = report_pdf(made(signed.farm, evidence=False), "a4")
    assert not pypdf.PdfReader(io.BytesIO(content)).attachments
    assert "The evidence file isn't attached." in text_of(content)


@pytest.mark.parametrize("outline", OUTLINES)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_outline_is_set_in_both_languages(signed, kinds_of_counts, made, outline, language):
    """PDF/UA-1 is checked by the typesetter, which sets no file that doesn't keep it."""
    content = report_pdf(made(signed.farm, outline=outline, language=language, names=True), "letter")
    if folder := os.environ.get("LOOK"):
        Path(folder, f"{outline}-{language}.pdf").write_bytes(content)
    reader, told = pypdf.PdfReader(io.BytesIO(content)), text_of(content)
    assert b"pdfuaid" in content and reader.trailer["/Root"]["/Lang"] == language
    assert {"en": "Every count", "es": "Cada conteo"}[language] in told
    # No day is told in the other language.
    assert ("13 abr 2026" in told, "Apr 13, 2026" in told) == (language == "es", language == "en")


def test_an_organic_certifier_reads_prevention_first_and_materials_last(signed: Any, made: Any):
    report = made(signed.farm, outline="organic")
    keys = [section.key for section in report.sections]
    assert keys[1:6] == ["prevention", "walks", "biological", "materials", "organic"]
    told = text_of(report_pdf(report, "letter"))
    assert "What the counts said before" in told and "Allowed on May 21, 2026" in told
