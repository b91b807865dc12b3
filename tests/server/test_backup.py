"""A backup of this run's database, and what a restore on other servers makes of it, whole or not at all."""

import hashlib
import json
import os
import signal
import subprocess
import sys
import tarfile
import time
from collections.abc import Callable, Iterator
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from psycopg import errors

from farms.models import Group
from server import backup, embedded
from server.backup import taking
from server.backup.archive import UNFINISHED, write_manifest
from server.backup.contents import contents_of
from tests.architecture.source import ROOT
from tests.cast import as_factory
from tests.journeys.own_servers import _django_on

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture(scope="module")
def target() -> Iterator[embedded.Running]:
    """Other servers, on which nobody has begun; a restore finds them by itself."""
    with embedded.scratch(tests=True) as running:
        yield running


@pytest.fixture(autouse=True)
def nothing_there(target: embedded.Running) -> None:
    target.recreate_database()


@pytest.fixture
def archive(northfield: Any, southmead: Any, tmp_path: Path) -> Path:
    path = tmp_path / "all.backup"
    call_command("backup", path, stdout=StringIO())
    return path


def restore(path: Path, **given: Any) -> str:
    said = StringIO()
    call_command("restore", path, stdout=said, **given)
    return said.getvalue()


def refusal(path: Path, **given: Any) -> str:
    with pytest.raises(CommandError) as refused:
        restore(path, **given)
    return str(refused.value)


def ask(target: embedded.Running, role: str, query: str) -> list[tuple[Any, ...]]:
    with psycopg.connect(target.database_url(role)) as asked:
        return asked.execute(query.encode()).fetchall()


def databases(target: embedded.Running) -> list[str]:
    names = ask(target, "postgres", "SELECT datname::text FROM pg_database WHERE NOT datistemplate ORDER BY 1")
    return [name for (name,) in names if name != "postgres"]


def edited(path: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    """The same archive with another manifest and the right SHA-256 of that."""
    with tarfile.open(path) as tar:
        dump, manifest = (tar.extractfile(name).read() for name in ("database.dump", "manifest.json"))
    told = json.loads(manifest)
    change(told)
    made = path.with_name("edited.backup")
    with made.open("w+b") as file:
        taking.write_dump(file, BytesIO(dump))
        write_manifest(file, told)
    return made


def test_what_is_restored_is_what_was_backed_up(archive, target, northfield):
    assert "all as the backup has them" in restore(archive)
    with backup.backup_login().connect() as here, psycopg.connect(target.database_url("backup")) as there:
        there.execute("SET TIME ZONE 'UTC'")
        assert contents_of(here) == contents_of(there)
        assert contents_of(there)["tables"]["farms_farm"]["rows"] == 2
    assert databases(target) == ["flyround"]


def test_both_walls_stand_after_a_restore(archive, target):
    restore(archive)
    assert ask(target, "app", "SELECT * FROM farms_farm") == []  # nobody acts
    assert len(ask(target, "worker", "SELECT * FROM farms_farm")) == 2
    for role in ("app", "worker"):
        with pytest.raises(errors.InsufficientPrivilege):
            ask(target, role, "SELECT * FROM monitoring_reading_0")
        with pytest.raises(errors.InsufficientPrivilege):
            ask(target, role, "DELETE FROM monitoring_reading")
    unforced = "SELECT count(*) FROM pg_class WHERE relrowsecurity AND NOT relforcerowsecurity"
    assert ask(target, "owner", unforced) == [(0,)]


def test_an_archive_is_readable_by_its_owner_alone_and_says_what_is_in_it(archive):
    assert archive.stat().st_mode & 0o777 == 0o600
    with backup.opened(archive) as found:
        assert found.manifest["contents"]["tables"]["farms_farm"]["rows"] == 2
        assert {len(digest) for digest in found.manifest["contents"]["rights"].values()} == {64}
        assert len(found.manifest["contents"]["heads"]) == 2
        assert hashlib.sha256(found.dump.read_bytes()).hexdigest() == found.manifest["dump"]["sha256"]


def test_what_comes_in_while_a_backup_is_taken_is_in_all_of_it_or_in_none(monkeypatch, archive, tmp_path, target):
    """A group that comes between the manifest and the dump: both are of one snapshot, so it is in neither."""
    begun = taking.reading_from

    def a_group_comes(command: Any, login: Any) -> Any:
        with as_factory():
            Group.objects.create(name="Late", slug="late")
        return begun(command, login)

    monkeypatch.setattr(taking, "reading_from", a_group_comes)
    call_command("backup", tmp_path / "late.backup", stdout=StringIO())
    restore(tmp_path / "late.backup")
    assert ask(target, "worker", "SELECT name FROM farms_group") == [("Valley Advisers",)]


@pytest.mark.parametrize("place", [700, 100_000, -3000, -1530])
def test_a_changed_byte_is_refused(archive, target, place):
    content = bytearray(archive.read_bytes())
    content[place] ^= 1
    archive.write_bytes(content)
    assert "Take another copy." in refusal(archive) or "take another copy." in refusal(archive)
    assert databases(target) == ["flyround"]


@pytest.mark.parametrize("kept", [0, 400, 60_000, -2000])
def test_a_cut_archive_is_refused(archive, target, kept):
    archive.write_bytes(archive.read_bytes()[:kept])
    assert "or only the beginning of one: take another copy." in refusal(archive)
    assert databases(target) == ["flyround"]


def test_an_archive_of_a_newer_version_is_refused(archive, target):
    def newer_format(manifest: dict[str, Any]) -> None:
        manifest.update(format=2, version="9.0")

    def newer_tables(manifest: dict[str, Any]) -> None:
        manifest["contents"]["migrations"].append(["farms", "9999_of_the_future"])

    assert "by a newer version of Flyround (9.0): restore it with that version." in refusal(
        edited(archive, newer_format)
    )
    assert "doesn't know (farms 9999_of_the_future)" in refusal(edited(archive, newer_tables))
    assert databases(target) == ["flyround"]


def test_rows_that_differ_from_the_manifest_are_refused_after_the_restore_and_before_the_exchange(archive, target):
    def one_farm_more(manifest: dict[str, Any]) -> None:
        manifest["contents"]["tables"]["farms_farm"]["rows"] += 1

    said = refusal(edited(archive, one_farm_more))
    assert said.startswith("What was restored isn't what was backed up, and nothing was changed: farms_farm has 2 rows")
    assert databases(target) == ["flyround"]
    assert ask(target, "postgres", "SELECT count(*) FROM pg_class WHERE relname = 'farms_farm'") == [(0,)]


def test_a_database_in_which_somebody_has_begun_is_given_up_only_by_its_name(archive, target):
    restore(archive)
    with psycopg.connect(target.database_url("postgres")) as superuser:
        superuser.execute("UPDATE farms_group SET name = 'Begun here'")
    assert "holds groups or people already, and nothing was changed" in refusal(archive)
    for said in (None, "flyrond"):
        assert "type its name, flyround" in refusal(archive, replace=True, replace_database=said)
    assert ask(target, "worker", "SELECT name FROM farms_group") == [("Begun here",)]
    restore(archive, replace_database="flyround", keep_old=True)
    assert ask(target, "worker", "SELECT name FROM farms_group") == [("Valley Advisers",)]
    [old, now] = sorted(databases(target), key=len, reverse=True)
    assert (now, old.startswith("flyround_before_")) == ("flyround", True)
    with psycopg.connect(target.database_url("postgres", old)) as before:
        assert before.execute("SELECT name FROM farms_group").fetchall() == [("Begun here",)]
    with psycopg.connect(target.database_url("postgres", "postgres"), autocommit=True) as superuser:
        superuser.execute(f'DROP DATABASE "{old}"'.encode())


def test_a_database_in_use_is_left_alone(archive, target):
    with psycopg.connect(target.database_url("app")):
        assert "Others are connected to the database flyround (1)" in refusal(archive)
    assert "Restored" in restore(archive)


def test_an_older_backup_is_migrated_before_it_is_used(archive, target, tmp_path):
    restore(archive)
    with _django_on(embedded.environment(target)):
        call_command("migrate", "alerts", "0015", database="owner", verbosity=0)
        call_command("backup", tmp_path / "older.backup", stdout=StringIO())
        said = restore(tmp_path / "older.backup", replace_database="flyround")
    assert "of an older version: 1 migrations are run on it" in said
    assert ask(
        target, "owner", "SELECT count(*) FROM django_migrations WHERE name LIKE '0016%' AND app = 'alerts'"
    ) == [(1,)]


def test_a_file_that_is_there_is_never_written_over(archive):
    before = archive.read_bytes()
    with pytest.raises(CommandError, match="is there already: name another file, or a folder"):
        call_command("backup", archive, stdout=StringIO())
    assert archive.read_bytes() == before
    with pytest.raises(CommandError, match="There is no folder"):
        call_command("backup", archive.parent / "none" / "x.backup", stdout=StringIO())


def test_a_dump_that_breaks_off_leaves_no_file(northfield, settings, tmp_path):
    programs = tmp_path / "programs"
    programs.mkdir()
    (programs / "pg_dump").write_text("#!/bin/sh\necho begun\necho 'pg_dump: error: the disk is full.' >&2\nexit 1\n")
    (programs / "pg_dump").chmod(0o755)
    settings.POSTGRES_PROGRAMS = str(programs)
    with pytest.raises(CommandError, match=r"^pg_dump stopped: the disk is full\.$"):
        call_command("backup", tmp_path, stdout=StringIO())
    assert [path.name for path in tmp_path.iterdir()] == ["programs"]
    settings.POSTGRES_PROGRAMS = str(tmp_path)
    with pytest.raises(CommandError, match="install PostgreSQL's client programs, version 18 or newer"):
        call_command("backup", tmp_path, stdout=StringIO())


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_an_interrupted_backup_leaves_none(northfield, tmp_path, how):
    """After SIGKILL nobody can tidy up: the next backup does, and until then the name says that it is none."""
    programs = tmp_path / "programs"
    programs.mkdir()
    (programs / "pg_dump").write_text("#!/bin/sh\necho begun\nexec sleep 60\n")
    (programs / "pg_dump").chmod(0o755)
    environment = {**os.environ, "POSTGRES_PROGRAMS": str(programs), "DJANGO_SETTINGS_MODULE": "server.settings"}
    command = [sys.executable, "manage.py", "backup", str(tmp_path)]
    # A shell's job in the background, as this run may be, has Ctrl-C ignored, and so had what it starts.
    process = subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - it locks nothing
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while not list(tmp_path.glob(f"{UNFINISHED}*")):
        assert process.poll() is None and time.monotonic() < deadline
        time.sleep(0.05)
    process.send_signal(how)
    assert process.wait(30) != 0
    assert list(tmp_path.glob("*.backup")) == []
    call_command("backup", tmp_path, stdout=StringIO())
    assert len(list(tmp_path.iterdir())) == 2  # the backup and the folder of programs
    assert list(tmp_path.glob(f"{UNFINISHED}*")) == []


def test_without_its_logins_a_command_says_which_to_set(monkeypatch, settings, archive, tmp_path):
    monkeypatch.setattr(embedded, "current", lambda: None)
    assert "Set DATABASE_URL_SUPERUSER" in refusal(archive)
    monkeypatch.delitem(settings.DATABASES, "backup")
    with pytest.raises(CommandError, match="Set DATABASE_URL_BACKUP to the login of flyround_backup"):
        call_command("backup", tmp_path, stdout=StringIO())


def test_what_is_no_archive_is_refused(tmp_path):
    assert refusal(tmp_path / "none").startswith("There is no file")
    other = tmp_path / "other.tar"
    with tarfile.open(other, "w") as tar:
        tar.addfile(tarfile.TarInfo("../../etc/passwd"))
    assert "is no backup of Flyround" in refusal(other)
    assert connection.settings_dict["NAME"].startswith("test_")
