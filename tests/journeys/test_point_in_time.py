"""Recovery to a moment, drilled with the Compose file's own scripts on real servers: base backup, log, a mistake."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import StringIO
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import call_command

from server import embedded
from server.backup import superuser_login
from server.backup.contents import contents_of
from server.backup.programs import program
from server.embedded import hold
from server.embedded.cluster import Kind
from server.embedded.places import PREFIX, account_for, short_temporary_folder
from tests.architecture.source import ROOT
from tests.patience import wait_until

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@dataclass
class Yard:
    """A folder for the servers' data, their backups and the scripts, as the volumes of the Compose file."""

    folder: Path

    def __post_init__(self) -> None:
        # Root's servers run under another account, which passes through here.
        self.folder.chmod(0o711)
        shutil.copytree(ROOT / "server/backup/compose", self.folder / "scripts")
        for name in ("wal", "backups"):
            (self.folder / name).mkdir()
            self.give(self.folder / name)
        (self.folder / "pgpass").touch(0o600)

    def give(self, path: Path) -> None:
        """To the account that the servers run under."""
        account = account_for(path)
        for each in [path, *path.rglob("*")] if account else []:
            os.chown(each, account.uid, account.gid)

    @contextmanager
    def server(self, name: str) -> Iterator[embedded.Running]:
        command = f'WAL_FOLDER={self.folder}/wal sh {self.folder}/scripts/keep_wal.sh "%p" "%f"'
        kind = Kind(tests=True, settings=(("archive_mode", "on"), ("archive_command", command)))
        with embedded._held_while(lambda: hold.enter(self.folder / name, kind)) as running:
            passwords = running.secrets["passwords"]
            logins = (("postgres", passwords["postgres"]), ("flyround_backup", passwords["backup"]))
            (self.folder / "pgpass").write_text("".join(f"*:*:*:{user}:{word}\n" for user, word in logins))
            yield running

    def run(self, script: str, *given: str, running: embedded.Running | None = None, **variables: str) -> str:
        environment = {
            "PATH": f"{program('pg_dump').parent}:/usr/bin:/bin", "BACKUP_FOLDER": str(self.folder / "backups"),
            "WAL_FOLDER": str(self.folder / "wal"), "PGPASSFILE": str(self.folder / "pgpass"),
            "PGUSER": "flyround_backup", "PGDATABASE": "flyround", **variables,
        }  # fmt: skip
        if running:
            environment["PGHOST"] = str(running.sockets)
        command = [self.folder / "scripts" / script, *given]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout + done.stderr

    def kept(self, kind: str) -> list[str]:
        return sorted(path.name for path in (self.folder / "backups").glob(f"{kind}-*"))


@pytest.fixture
def yard() -> Iterator[Yard]:
    with tempfile.TemporaryDirectory(prefix=PREFIX, dir=short_temporary_folder()) as folder:
        yield Yard(Path(folder))


def found() -> dict[str, Any]:
    with superuser_login().connect() as connection:
        return contents_of(connection)


def moment_now(superuser: psycopg.Connection[Any]) -> datetime:
    return superuser.execute("SELECT clock_timestamp()").fetchone()[0]


def put_the_log_away(superuser: psycopg.Connection[Any]) -> None:
    last = superuser.execute("SELECT pg_walfile_name(pg_switch_wal())").fetchone()[0]
    asked = "SELECT coalesce(last_archived_wal, '') >= %s FROM pg_stat_archiver"
    wait_until(lambda: superuser.execute(asked, [last]).fetchone()[0], "the log is put away")


def test_a_mistake_is_undone_by_going_back_to_the_moment_before_it(northfield, southmead, yard, tmp_path):
    call_command("backup", tmp_path / "all.backup", stdout=StringIO())
    with yard.server("data") as running:
        call_command("restore", tmp_path / "all.backup", stdout=StringIO())
        assert "failed" not in yard.run("keep.sh", running=running, ONCE="yes")
        assert (len(yard.kept("dump")), len(yard.kept("base"))) == (1, 1)
        time.sleep(1.1)  # moments in names are whole seconds
        with psycopg.connect(running.database_url("postgres"), autocommit=True) as superuser:
            superuser.execute("UPDATE farms_farm SET name = name || ' after the base backup'")
            before, moment = found(), moment_now(superuser)
            time.sleep(0.2)
            superuser.execute("DELETE FROM monitoring_siting")  # the mistake
            superuser.execute("UPDATE farms_ledgerhead SET number = 7")
            put_the_log_away(superuser)
        assert found() != before
    shutil.copytree(yard.folder / "data", yard.folder / "lost", ignore=shutil.ignore_patterns("postgres", "*.lock"))
    said = yard.run("recover.sh", moment.isoformat(sep=" "), PGDATA=str(yard.folder / "lost/postgres"))
    assert said.startswith(f"recover: {yard.kept('base')[0]} is to be brought to")
    yard.give(yard.folder / "lost/postgres")
    with yard.server("lost") as recovered:
        assert found() == before
        with psycopg.connect(recovered.database_url("worker")) as worker:
            names = {name for (name,) in worker.execute("SELECT name FROM farms_farm").fetchall()}
        assert names == {"Northfield after the base backup", "Southmead after the base backup"}
        # And it goes on from there, with a log of its own beside the old one.
        with psycopg.connect(recovered.database_url("postgres"), autocommit=True) as superuser:
            assert superuser.execute("SELECT pg_is_in_recovery()").fetchone() == (False,)
            put_the_log_away(superuser)
        tidied(yard, recovered)


def tidied(yard: Yard, running: embedded.Running) -> None:
    """Of two base backups and dumps the older ones go, and the log before the base that stays."""
    first = yard.kept("base")
    time.sleep(1.1)
    yard.run("base.sh", running=running, PGUSER="postgres")
    yard.run("dump.sh", running=running)
    before = len(list((yard.folder / "wal").iterdir()))
    yard.run("tidy.sh", KEEP_DUMPS="1", KEEP_BASES="1")
    assert len(yard.kept("base")) == len(yard.kept("dump")) == 1
    assert yard.kept("base") != first
    assert 0 < len(list((yard.folder / "wal").iterdir())) < before


def test_a_moment_before_every_base_backup_is_refused_and_nothing_is_touched(yard):
    (yard.folder / "backups/base-20260706T140000Z").mkdir()
    data = yard.folder / "data/postgres"
    data.mkdir(parents=True)
    (data / "PG_VERSION").write_text("18")
    with pytest.raises(AssertionError, match="has no base backup from before 2026-07-06 13:00:00"):
        yard.run("recover.sh", "2026-07-06 13:00:00+00", PGDATA=str(data))
    (data / "postmaster.pid").touch()
    with pytest.raises(AssertionError, match="a server runs on"):
        yard.run("recover.sh", "2026-07-06 15:00:00+00", PGDATA=str(data))
    assert sorted(path.name for path in data.iterdir()) == ["PG_VERSION", "postmaster.pid"]


def test_a_segment_is_put_away_once_and_never_over_another(yard, tmp_path):
    segment, wal = tmp_path / "segment", yard.folder / "wal/000000010000000000000001"
    segment.write_bytes(b"first")
    for _twice in range(2):
        yard.run("keep_wal.sh", str(segment), wal.name)
    assert wal.read_bytes() == b"first"
    segment.write_bytes(b"other")
    with pytest.raises(AssertionError, match="is there already and differs"):
        yard.run("keep_wal.sh", str(segment), wal.name)
    assert wal.read_bytes() == b"first"
    with pytest.raises(AssertionError, match="No such file"):
        yard.run("keep_wal.sh", str(tmp_path / "none"), "000000010000000000000002")
    assert [path.name for path in wal.parent.iterdir()] == [wal.name]
