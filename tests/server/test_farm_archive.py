"""A farm's archive: the same bytes when made twice, and when made where it was loaded; refused when changed."""

import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError, connections

from farms.models import Farm, Group, LedgerEntry, Membership, User
from monitoring.models import PhotoPicture
from server import embedded
from server.farm_archive.making import made_in_one_snapshot
from server.farm_archive.tables import archived, farm_models
from tests.cast import as_factory
from tests.isolation.farm_tables import everything_of
from tests.journeys.own_servers import _django_on
from tests.server.full_farm import full_farm

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
OWNER = "heir@example.org"
# The log of an archive ends before its own line, which is of the moment it was made.
MADE = datetime(2030, 1, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def servers() -> Iterator[embedded.Running]:
    with embedded.scratch(tests=True) as running:
        yield running


@pytest.fixture
def empty_installation(servers: embedded.Running, tmp_path: Path) -> embedded.Running:
    """Migrated, and nobody has begun there: this run's database before the scene is made."""
    servers.recreate_database()
    call_command("backup", tmp_path / "empty.backup", stdout=StringIO())
    call_command("restore", tmp_path / "empty.backup", stdout=StringIO())
    return servers


@pytest.fixture
def quillhaven(empty_installation: embedded.Running) -> Farm:
    full_farm("Farrowdale")
    return full_farm("Quillhaven").farm


def made(farm_id: Any) -> bytes:
    return b"".join(made_in_one_snapshot(farm_id, now=MADE, using="backup"))


def loaded(path: Path) -> str:
    said = StringIO()
    call_command("load_farm", path, owner=OWNER, stdout=said)
    return said.getvalue()


def test_a_farm_that_was_loaded_elsewhere_leaves_there_with_the_same_bytes(quillhaven, empty_installation, tmp_path):
    before = made(quillhaven.id)
    assert before == made(quillhaven.id)
    (tmp_path / "farm.zip").write_bytes(before)
    with as_factory():
        pictures = {each.id: bytes(each.picture) for each in PhotoPicture.objects.filter(farm_id=quillhaven.id)}
        entries = LedgerEntry.objects.filter(farm_id=quillhaven.id).count()
    with _django_on(embedded.environment(empty_installation)):
        said = loaded(tmp_path / "farm.zip")
        assert made(quillhaven.id) == before
        assert "Quillhaven is here" in said and "No consent came along" in said and "Its group is new here" in said
        with as_factory():
            assert {each.id: bytes(each.picture) for each in PhotoPicture.objects.all()} == pictures != {}
            assert LedgerEntry.objects.count() == entries > 5
            assert [each.user.email for each in Membership.objects.select_related("user")] == [OWNER]
            strangers = User.objects.exclude(email=OWNER)
            assert strangers and not any(each.is_active or each.has_usable_password() for each in strangers)
        assert forced()
        with pytest.raises(CommandError, match="is here already, and nothing was changed"):
            loaded(tmp_path / "farm.zip")


def forced() -> bool:
    with connections["owner"].cursor() as cursor:
        cursor.execute("SELECT bool_and(relforcerowsecurity) FROM pg_class WHERE relrowsecurity")
        return cursor.fetchone()[0]


def test_only_the_time_of_making_differs_between_two_archives(quillhaven, tmp_path):
    for name in ("one.zip", "two.zip"):
        call_command("archive_farm", str(quillhaven.id), tmp_path / name, stdout=StringIO())
    one, two = ((tmp_path / name).read_bytes() for name in ("one.zip", "two.zip"))
    moments = [json.loads(zipfile.ZipFile(BytesIO(each)).read("manifest.json"))["made_at"] for each in (one, two)]
    assert one != two and len(one) == len(two)
    with zipfile.ZipFile(BytesIO(one)) as first, zipfile.ZipFile(BytesIO(two)) as second:
        assert first.namelist() == second.namelist()
        for name in first.namelist():
            assert first.read(name).replace(moments[0].encode(), moments[1].encode()) == second.read(name)
    with pytest.raises(CommandError, match="There is no farm"):
        call_command("archive_farm", "0190a1b2-0000-7000-8000-000000000000", tmp_path / "none.zip")


def test_nothing_secret_and_nobody_elses_is_in_it(quillhaven):
    with zipfile.ZipFile(BytesIO(made(quillhaven.id))) as file:
        everything = b"\n".join(file.read(name) for name in file.namelist())
        people = [json.loads(line) for line in file.read("people.ndjson").splitlines()]
    assert b"Farrowdale" not in everything and b"@example.org" not in everything
    assert {"OwnerQuillhaven", ""} <= {each["name"] for each in people} | {""}
    for secret in ("key_hash", "code_hash", "request_hash", "alerts_webhook", "farms_consent", "farms_membership"):
        assert secret.encode() not in everything, secret


Change = Callable[[dict[str, bytes], dict[str, Any]], None]


def repacked(content: bytes, change: Change, *, honest: bool = True) -> bytes:
    """The archive with other members, and a manifest that tells what they are by then."""
    with zipfile.ZipFile(BytesIO(content)) as file:
        members = {name: file.read(name) for name in file.namelist()}
    manifest = json.loads(members.pop("manifest.json"))
    change(members, manifest)
    if honest:
        rows = {each["name"] for each in manifest["members"] if "rows" in each}
        manifest["members"] = [
            {"name": name, "bytes": len(body), "sha256": hashlib.sha256(body).hexdigest()}
            | ({"rows": body.count(b"\n")} if name in rows else {})
            for name, body in members.items()
        ]
    held = BytesIO()
    with zipfile.ZipFile(held, "w") as file:
        for name, body in {**members, "manifest.json": json.dumps(manifest).encode()}.items():
            file.writestr(name, body)
    return held.getvalue()


READINGS, FARM = "tables/monitoring_reading.ndjson", "tables/farms_farm.ndjson"
ELSEWHERE = b"0190a1b2-0000-7000-8000-000000000000"


def in_member(name: str, old: bytes, new: bytes) -> Change:
    def change(members: dict[str, bytes], _manifest: dict[str, Any]) -> None:
        assert old in members[name]
        members[name] = members[name].replace(old, new)

    return change


def first_row(name: str, **values: Any) -> Change:
    def change(members: dict[str, bytes], _manifest: dict[str, Any]) -> None:
        first, *rest = members[name].splitlines(keepends=True)
        members[name] = b"".join([json.dumps({**json.loads(first), **values}).encode() + b"\n", *rest])

    return change


def added(name: str, body: bytes = b"") -> Change:
    return lambda members, _manifest: members.update({name: body})


def told(**values: Any) -> Change:
    return lambda _members, manifest: manifest.update(values)


def schema_of(app: str, name: str) -> Change:
    return lambda _members, manifest: manifest["schema"].update({app: name})


def twice(members: dict[str, bytes], _manifest: dict[str, Any]) -> None:
    members[READINGS] = members[READINGS].replace(b'{"', b'{"farm_id":"' + ELSEWHERE + b'","', 1)


HOSTILE: list[tuple[Change, str]] = [
    (added("../../../etc/passwd"), "doesn't belong there"),
    (added("/etc/passwd"), "doesn't belong there"),
    (added("files/monitoring_photopicture/../../x"), "doesn't belong there"),
    (lambda members, _: members.pop(READINGS), "is missing from the archive"),
    (first_row(READINGS, farm_id=ELSEWHERE.decode()), "is another farm's, so nothing was stored"),
    (first_row(FARM, id=ELSEWHERE.decode()), "is another one than its manifest says"),
    (twice, "isn't a row in JSON"),
    (first_row(READINGS, extra=1), "has other columns than its table"),
    (first_row(READINGS, count="many"), "a row that can't be: invalid input syntax for type integer"),
    (first_row(READINGS, station_id=ELSEWHERE.decode()), "a row that can't be"),
    (first_row("tables/monitoring_plan.ndjson", made_by_id=ELSEWHERE.decode()), "a row that can't be"),
    (in_member(READINGS, b"\n", b""), "has a line that is too long or has no end|isn't a row in JSON"),
    (first_row("tables/farms_ledgerentry.ndjson", kind="other"), "The farm's chain doesn't hold: entry"),
    (first_row("tables/farms_ledgerhead.ndjson", number=3), "The farm's chain doesn't hold: entry"),
    (first_row("surroundings/farms_region.ndjson", group_id=ELSEWHERE.decode()), "belongs to another group"),
    (first_row("surroundings/farms_group.ndjson", id=ELSEWHERE.decode()), "isn't its farm's"),
    (first_row("tables/monitoring_photopicture.ndjson", picture="files/x"), "has a row whose file isn't its own"),
    (in_member("people.ndjson", b'"id"', b'"who"'), "has a line that names nobody"),
    (told(format=2, version="9.0"), r"by a newer version of Flyround \(9.0\): upgrade this installation"),
    (schema_of("farms", "9999_of_the_future"), "by a newer version of Flyround"),
    (schema_of("farms", "0013_invitations"), "by an older version of Flyround.*make the archive there anew"),
    (told(farm="home"), "manifest.json can't be read"),
]


def test_an_archive_that_was_tampered_with_is_refused_and_nothing_is_stored(
    quillhaven, empty_installation, tmp_path, monkeypatch
):
    content, path = made(quillhaven.id), tmp_path / "hostile.zip"
    cases = [(repacked(content, change), why) for change, why in HOSTILE]
    cases += badly_packed(content)
    with _django_on(embedded.environment(empty_installation)):
        for case, why in cases:
            path.write_bytes(case)
            with pytest.raises(CommandError, match=why):
                loaded(path)
            with as_factory():
                assert not (Farm.objects.exists() or Group.objects.exists() or User.objects.exists()), why
        assert set(everything_of([quillhaven.id]).values()) == {hashlib.md5(b"", usedforsecurity=False).hexdigest()}
        assert forced()
        path.write_bytes(repacked(content, told()))  # what these cases begin with is itself well
        with pytest.raises(CommandError, match="heir is no e-mail address, and nothing was stored"):
            call_command("load_farm", path, owner="heir", stdout=StringIO())
        with monkeypatch.context() as patched:
            patched.setattr("server.management.commands.load_farm.opened_for_a_membership", busy)
            with pytest.raises(CommandError, match="busy with these tables"):
                loaded(path)
        with as_factory():
            assert not Farm.objects.exists(), "a farm that nobody can enter"
        assert forced()
        assert "Quillhaven is here" in loaded(path)


def busy() -> Any:
    raise OperationalError("canceling statement due to lock timeout")


def badly_packed(content: bytes) -> Iterator[tuple[bytes, str]]:
    """Cut short, no ZIP, a byte changed, a count that is off, and members that grow when they are read."""
    yield content[:-30], "is no archive of a farm, or only a part of one"
    yield b"PK", "is no archive of a farm"
    place = content.index(b"tables/monitoring_reading.ndjson") + 400
    yield content[:place] + b"9" + content[place + 1 :], "is no archive of a farm, or only|isn't as it was written"
    yield repacked(content, in_member(READINGS, b'"count":6', b'"count":7'), honest=False), "isn't as it was written"

    def one_row_more(_members: dict[str, bytes], manifest: dict[str, Any]) -> None:
        next(each for each in manifest["members"] if each["name"] == READINGS)["rows"] += 1

    yield repacked(content, one_row_more, honest=False), "rows, and the manifest says"
    bomb = BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("manifest.json", b" " * 50_000_000)
    yield bomb.getvalue(), "packed in another way"


def test_every_table_with_a_row_is_in_the_archive_with_all_its_rows(quillhaven):
    with zipfile.ZipFile(BytesIO(made(quillhaven.id))) as file:
        found = {table.name: file.read(table.member).count(b"\n") for table in archived()}
    assert len(found) > 30 and min(found.values()) > 0
    with as_factory():
        for model in farm_models():
            name = model._meta.db_table
            if name in found:
                assert found[name] == model._default_manager.filter(farm_id=quillhaven.id).count(), name
