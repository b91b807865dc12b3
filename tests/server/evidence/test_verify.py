"""A farm's evidence, checked by the client alone: what holds, what doesn't and from where, in plain words."""

import json
import os
import random
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pypdf
import pytest
import typst
from typer.testing import CliRunner

from farms.models import DailyHead
from farms.services import erase_rows
from farms.tenancy.acting import erase_on_farm
from monitoring.models import Note
from server.client.__main__ import app
from server.client.evidence import check
from server.client.evidence_file import public_keys_in
from server.client.verify_words import SAID, WRONG
from server.evidence.farm import ATTACHED, evidence_of
from tests.cast import NOW, acting, as_factory, as_role
from tests.full import FULL
from tests.server.api.exporting import taken
from tests.server.api.senders import session_of
from tests.server.evidence import scene
from tests.server.evidence.authority import Authority, serving
from tests.server.evidence.conftest import Signed
from tests.server.evidence.file_changes import changed

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(autouse=True)
def in_english(monkeypatch, tmp_path: Path):
    monkeypatch.setenv("FLYROUND_HOME", str(tmp_path / "home"))
    for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "en_US.UTF-8")


@pytest.fixture
def evidence(signed: Signed, anna) -> dict:
    with acting(anna):
        return json.loads(evidence_of(signed.farm, NOW))


def write(signed: Signed, evidence: dict) -> Path:
    path = signed.folder / "evidence.json"
    path.write_text(json.dumps(evidence))
    return path


def run(*arguments: object) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["verify", *map(str, arguments)])
    return result.exit_code, result.output


def with_key(signed: Signed, path: Path, *more: object) -> tuple[int, str]:
    return run(path, "--key", signed.folder / "public.pem", *more)


def test_a_farm_s_evidence_holds_and_says_what_it_proves(signed: Signed, evidence: dict):
    code, told = with_key(signed, write(signed, evidence))
    assert code == 0, told
    last = len(evidence["links"])
    assert f"Entries: 1 to {last} follow one another" in told
    assert f"Signed on 2026-05-30: entries 1 to {last} stood so on that day." in told
    assert "Signed on 2026-05-28" in told and "No time stamp" in told
    assert "All of it holds." in told and "It is no legal promise." in told and "nor who counted" in told


def test_it_holds_no_neighbour_no_name_and_no_word_of_people(signed: Signed, evidence: dict):
    text = json.dumps(evidence, ensure_ascii=False)
    said = ("windy", "cards wet", "Pia Invented", "look at the corner", "neighbours", "stay out", "will look")
    assert not [secret for secret in (str(signed.neighbour.id), signed.farm.name, *said) if secret in text]
    tables = {row["table"] for row in evidence["rows"] if "values" in row}
    assert tables == {"monitoring_reading", "monitoring_round", "monitoring_placement", "monitoring_work",
                      "monitoring_photo"}  # fmt: skip


def test_it_is_canonical_and_the_same_for_the_same_moment(signed: Signed, anna):
    with acting(anna):
        written = evidence_of(signed.farm, NOW)
        assert written == evidence_of(signed.farm, NOW)
    again = json.dumps(json.loads(written), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert written.decode() == again + "\n"


def test_what_came_later_is_told_as_not_yet_covered(signed: Signed, anna, cards):
    day = date(2026, 6, 1)
    with acting(anna):
        scene.send(signed.farm, on=day, now=scene.noon(day), notes=(scene.NoteSent(scene.uuid7(), "later", None),))
        path = write(signed, json.loads(evidence_of(signed.farm, NOW)))
    code, told = with_key(signed, path)
    assert code == 0 and "Not yet covered: entries" in told and "came after the last signed day (2026-06-01" in told


def test_words_that_were_erased_hold_by_their_hash(signed: Signed, anna):
    with as_role("eraser"):
        erase_on_farm(signed.farm.id, using="default")
        erased = erase_rows(list(Note.objects.filter(farm_id=signed.farm.id)), now=NOW)
    with acting(anna):
        path = write(signed, json.loads(evidence_of(signed.farm, NOW)))
    code, told = with_key(signed, path)
    assert code == 0 and f"{erased} of them erased" in told


def test_a_head_from_elsewhere_does_instead_of_the_key(signed: Signed, evidence: dict, tmp_path: Path):
    path = write(signed, evidence)
    heads = sorted(signed.heads.glob("head-*.json"))
    code, told = run(path, "--head", heads[-1])
    assert code == 0 and "The head from outside, of 2026-05-30, is the one in this file" in told
    # An older one leads to what was before it, and to no later day.
    code, told = run(path, "--head", heads[0])
    assert code == 0 and "Signed on 2026-05-28" in told and "Signed on 2026-05-30" not in told
    # As it stands in a mail that was saved.
    mail = tmp_path / "mail.eml"
    mail.write_text(f"Subject: signed head\n\nSome words.\n\n{heads[-1].read_text()}\nMore.\n")
    assert run(path, "--head", mail)[0] == 0
    # The day after: it names the last one of the file.
    later = scene.signed(scene.noon(scene.LAST + timedelta(days=1)))
    code, told = run(path, "--head", signed.heads / f"head-{later.day}.json")
    assert code == 0 and "of 2026-05-31, is the one in this file, or follows it" in told


def test_another_head_for_the_day_or_another_key_is_found(signed: Signed, evidence: dict, settings, tmp_path: Path):
    path = write(signed, evidence)
    (tmp_path / "other").mkdir()
    scene.with_key(settings, tmp_path / "other")
    code, told = run(path, "--key", tmp_path / "other" / "public.pem")
    assert code == 1 and "was signed with a key that you didn't give" in told
    forged = json.loads((signed.heads / "head-2026-05-30.json").read_text()) | {"root": "00" * 32}
    (tmp_path / "forged.json").write_text(json.dumps(forged))
    code, told = run(path, "--head", tmp_path / "forged.json")
    assert code == 1 and "is something else in this file than in the head from outside" in told
    code, told = with_key(signed, path, "--head", tmp_path / "forged.json")
    assert code == 1 and "isn't signed with this key" in told


def test_days_signed_with_an_earlier_key_are_led_to(signed: Signed, settings, anna, tmp_path: Path):
    (tmp_path / "next").mkdir()
    scene.with_key(settings, tmp_path / "next")
    scene.signed(scene.noon(scene.LAST + timedelta(days=1)))
    with acting(anna):
        path = write(signed, json.loads(evidence_of(signed.farm, NOW)))
    code, told = run(path, "--key", tmp_path / "next" / "public.pem")
    assert code == 0 and "Signed on 2026-05-28" in told
    # The old key alone says nothing of the new day.
    assert with_key(signed, path)[0] == 1
    assert with_key(signed, path, "--key", tmp_path / "next" / "public.pem")[0] == 0


def test_time_stamps_are_checked_offline(signed: Signed, settings, anna, tmp_path: Path):
    authority = Authority(scene.noon(scene.LAST + timedelta(days=1)))
    for name, made in (("ca.pem", authority), ("other.pem", Authority(NOW))):
        (tmp_path / name).write_text(made.root_pem)
    settings.TIME_STAMP_CA, settings.TIME_STAMP_MAY_BE_PLAIN = str(tmp_path / "ca.pem"), True
    with serving(authority) as settings.TIME_STAMP_URL:
        scene.signed(scene.noon(scene.LAST + timedelta(days=1)))
    with acting(anna):
        evidence = json.loads(evidence_of(signed.farm, NOW))
    path = write(signed, evidence)
    code, told = with_key(signed, path)
    assert code == 0 and "CN=Invented root saw what was signed on 2026-05-31 at 2026-05-31T12:00:00+00:00" in told
    assert "came with the file" in told
    code, told = with_key(signed, path, "--authority", tmp_path / "ca.pem")
    assert code == 0 and "came with the file" not in told
    code, told = with_key(signed, path, "--authority", tmp_path / "other.pem")
    assert code == 1 and "The time stamp of 2026-05-31 doesn't hold." in told


def test_a_report_carries_its_evidence_and_is_checked_as_it_is(signed: Signed, anna, tmp_path: Path):
    """Typst attaches it (`pdf.attach`); read again by PDFium in the client, and by pypdf here."""
    with acting(anna):
        written = evidence_of(signed.farm, NOW)
    (tmp_path / "evidence.json").write_bytes(written)
    source = f'#pdf.attach("{ATTACHED}", read("evidence.json", encoding: none), relationship: "supplement")\nInvented.'
    (tmp_path / "report.typ").write_text(source)
    report = tmp_path / "report.pdf"
    report.write_bytes(typst.compile(tmp_path / "report.typ", root=tmp_path))
    assert pypdf.PdfReader(report).attachments[ATTACHED] == [written]
    code, told = with_key(signed, report)
    assert code == 0 and "All of it holds." in told
    report.write_bytes(typst.compile(b"Nothing attached."))
    code, told = with_key(signed, report)
    assert code == 2 and "carries no evidence" in told


def test_an_export_s_tables_are_held_against_its_evidence(signed: Signed, anna, tmp_path: Path):
    """As the API gives them: a count that was changed in the file of readings is found, with its row."""
    folder = tmp_path / "season"
    folder.mkdir()
    sender = session_of(anna)
    for name in ("readings.csv", "readings.ndjson", "rounds.csv", "works.csv", "photos.csv", "evidence.json"):
        (folder / name).write_bytes(taken(sender, signed.farm, name))
    code, told = with_key(signed, folder)
    assert code == 0, told
    rows = len((folder / "readings.csv").read_text().splitlines()) - 1
    assert f"readings.csv: its {rows} rows are those of the evidence." in told and "photos.csv: its 1 rows" in told
    text = (folder / "readings.csv").read_text()
    assert text.count(",131,") == 1
    (folder / "readings.csv").write_text(text.replace(",131,", ",31,"))
    code, told = with_key(signed, folder)
    assert code == 1 and "readings.csv, row" in told and "readings.ndjson: its" in told


def test_it_is_said_in_spanish_too(signed: Signed, evidence: dict, monkeypatch):
    monkeypatch.setenv("LANG", "es_MX.UTF-8")
    code, told = with_key(signed, write(signed, evidence))
    assert code == 0 and "Todo concuerda." in told and "No es una promesa legal." in told
    evidence["links"].pop()
    code, told = with_key(signed, write(signed, evidence))
    assert code == 1 and "Esto no concuerda:" in told


def test_sentences_name_the_same_in_both_languages():
    names = __import__("string").Formatter().parse
    for english, spanish in [*SAID.items(), *WRONG.values()]:
        assert {part[1] for part in names(english)} == {part[1] for part in names(spanish)}, english


@pytest.mark.parametrize("content", ["", "{}", "[1]", "%PDF-1.7 no", '{"kind":"flyround evidence 1"}', "\x00\x01"])
def test_what_is_no_evidence_is_said_so(signed: Signed, tmp_path: Path, content):
    path = tmp_path / "some.file"
    path.write_text(content)
    code, told = with_key(signed, path)
    assert code == 2 and told.strip() and "Traceback" not in told


@pytest.mark.parametrize("broken", [{"rows": [7]}, {"rows": [[]]}, {"heads": [{}]}, {"links": [[]]}])
def test_what_has_another_shape_is_said_so_and_no_more(signed: Signed, evidence: dict, tmp_path: Path, broken):
    folder = tmp_path / "export"
    folder.mkdir()
    (folder / "evidence.json").write_text(json.dumps(evidence | broken))
    (folder / "readings.ndjson").write_text('{"id": ["a list"]}\n')
    code, told = with_key(signed, folder)
    assert code == 1 and "This doesn't hold:" in told and "All of it holds" not in told


def test_a_table_that_names_its_rows_by_no_text_is_none_of_the_evidence(signed: Signed, evidence: dict, tmp_path: Path):
    folder = tmp_path / "export"
    folder.mkdir()
    (folder / "evidence.json").write_text(json.dumps(evidence))
    (folder / "readings.ndjson").write_text('{"id": ["a list"]}\n')
    code, told = with_key(signed, folder)
    assert code == 1 and "readings.ndjson" in told


def test_without_key_or_head_nothing_is_checked(signed: Signed, evidence: dict, tmp_path: Path):
    path = write(signed, evidence)
    code, told = run(path)
    assert code == 2 and "--key FILE" in told
    assert run(path, "--key", path)[0] == 2 and run(path, "--head", path)[0] == 2


def test_every_change_of_a_file_is_found(signed: Signed, evidence: dict):
    rng = random.Random(7)  # noqa: S311 - the same every time
    keys = public_keys_in(signed.folder / "public.pem")
    assert check(evidence, keys, None).wrong == []
    missed = []
    for _each in range(1000 if FULL else 100):
        kind, made = changed(rng, evidence)
        if made != evidence and not check(made, keys, None).wrong:
            missed.append(kind)
    assert missed == []


def test_the_client_asks_nobody_and_imports_nothing_of_the_rest(signed: Signed, evidence: dict):
    """In a process of its own, without settings, database or network."""
    path = write(signed, evidence)
    code = (
        "import socket, sys\n"
        "def refused(*a, **k): raise AssertionError('a network was asked')\n"
        "socket.socket.connect = refused\n"
        "from server.client.__main__ import app\n"
        "try: app(['verify', *sys.argv[1:]])\n"
        "except SystemExit as end:\n"
        "    assert not [m for m in sys.modules if m.split('.')[0] in ('django', 'farms', 'monitoring', 'alerts')]\n"
        "    raise\n"
    )
    environment = {"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "HOME": str(signed.folder)}
    command = [sys.executable, "-c", code, str(path), "--key", str(signed.folder / "public.pem")]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_an_older_day_in_the_database_that_was_changed_leads_nowhere(signed: Signed, anna):
    with as_factory():
        head = DailyHead.objects.order_by("day").first()
        DailyHead.objects.filter(day=head.day).update(leaves=bytes(len(head.leaves)))
    with acting(anna):
        path = write(signed, json.loads(evidence_of(signed.farm, NOW)))
    code, told = with_key(signed, path)
    assert code == 1 and "are not what was signed on 2026-05-28" in told
