"""The launcher of the embedded servers, tried on real PostgreSQL and Valkey processes."""

import contextlib
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import threading
from pathlib import Path

import psycopg
import pytest
import redis

from server import embedded
from server.embedded import cluster
from server.embedded.places import EmbeddedError
from tests.patience import wait_until

ROOT = Path(__file__).resolve().parents[2]
NOBODY = 65534
on_linux = pytest.mark.skipif(not Path("/proc/self/exe").exists(), reason="reads /proc")


def quick(data: Path) -> contextlib.AbstractContextManager[embedded.Running]:
    return embedded.servers(data, fsync=False)


def answer(running: embedded.Running, query: str = "SELECT 1", role: str = "app") -> object:
    with psycopg.connect(running.database_url(role)) as connection:
        row = connection.execute(query.encode()).fetchone()
    return row[0] if row else None


def processes(data: Path) -> list[int]:
    return cluster.servers_at_work(data / "postgres", data / "valkey")


def test_both_servers_answer_and_all_is_gone_afterwards() -> None:
    before = embedded.current()
    with embedded.scratch() as running:
        print(f"cold start {running.seconds:.2f} s")
        assert running.seconds < 10  # near 1 s on two cores; the margin is for a machine that does other work
        assert answer(running) == 1
        client = redis.Redis.from_url(running.redis_url)
        assert client.ping()
        client.close()
        assert embedded.current() is running
    assert embedded.current() is before
    assert not running.data.exists()


def test_the_cluster_is_as_the_design_says() -> None:
    with embedded.scratch() as running:
        assert answer(running, "SELECT datlocale FROM pg_database WHERE datname = current_database()") == "C.UTF-8"
        assert answer(running, "SELECT datlocprovider FROM pg_database WHERE datname = current_database()") == "b"
        assert answer(running, "SHOW server_encoding") == "UTF8"
        assert answer(running, "SHOW TimeZone") == "UTC"
        assert str(answer(running, "SHOW server_version")).startswith("18.")


def test_a_wrong_password_and_none_are_refused() -> None:
    with embedded.scratch() as running:
        for password in ("wrong", ""):
            with pytest.raises(psycopg.OperationalError, match="password"):
                psycopg.connect(
                    host=str(running.sockets), user="flyround_app", password=password, dbname="flyround", passfile="/no"
                )


@on_linux
def test_nothing_listens_but_sockets_in_a_closed_folder(folder: Path) -> None:
    with quick(folder / ".data") as running:
        assert stat.S_IMODE(running.sockets.stat().st_mode) == 0o700
        assert {path.name for path in running.sockets.iterdir() if path.is_socket()} == {
            ".s.PGSQL.5432",
            "valkey.sock",
        }
        servers = processes(folder / ".data")
        assert len(servers) > 2
        assert not {inode for pid in servers for inode in open_sockets(pid)} & tcp_sockets()
        assert stat.S_IMODE((folder / ".data/secrets.json").stat().st_mode) == 0o600


def open_sockets(pid: int) -> list[str]:
    found = []
    with contextlib.suppress(FileNotFoundError):  # one of PostgreSQL's workers that has ended meanwhile
        for entry in os.listdir(f"/proc/{pid}/fd"):
            with contextlib.suppress(FileNotFoundError):
                target = os.readlink(f"/proc/{pid}/fd/{entry}")
                if target.startswith("socket:["):
                    found.append(target[8:-1])
    return found


def tcp_sockets() -> set[str]:
    lines = [line for name in ("tcp", "tcp6") for line in Path(f"/proc/net/{name}").read_text().splitlines()[1:]]
    return {line.split()[9] for line in lines}


def test_taken_ports_do_not_matter(folder: Path) -> None:
    with contextlib.ExitStack() as stack:
        for port in (5432, 6379):
            listener = stack.enter_context(socket.socket())
            with contextlib.suppress(OSError):  # taken by somebody else: as good
                listener.bind(("127.0.0.1", port))
                listener.listen()
        with quick(folder / ".data") as running:
            assert answer(running) == 1


@pytest.mark.parametrize("name", ["a path with spaces, and more", "x" * 120, "Gülle-Lagune's"])
def test_odd_and_long_paths_work_and_leave_nothing_outside(folder: Path, name: str) -> None:
    data = folder / name / ".data"
    with quick(data) as running:
        assert answer(running) == 1
        assert not running.sockets.is_relative_to(data)
        assert stat.S_IMODE(running.sockets.stat().st_mode) == 0o700
    assert not running.sockets.exists()


def test_data_and_passwords_stay_between_runs(folder: Path) -> None:
    with quick(folder / ".data") as first, psycopg.connect(first.database_url("owner"), autocommit=True) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 42 AS value")
    with quick(folder / ".data") as second:
        assert answer(second, "SELECT value FROM kept", role="owner") == 42
        assert embedded.environment(second)["SECRET_KEY"] == embedded.environment(first)["SECRET_KEY"]
        second.recreate_database()
        assert answer(second, "SELECT to_regclass('kept')", role="owner") is None


def test_a_second_command_joins_and_the_last_to_leave_stops_the_servers(folder: Path) -> None:
    data = folder / ".data"
    with contextlib.ExitStack() as second_stack:
        with quick(data) as first:
            second = second_stack.enter_context(quick(data))
            assert (first.started, second.started) == (True, False)
            assert first.sockets == second.sockets
        assert answer(second) == 1
    assert processes(data) == []
    second.stop()  # twice is as good as once


def test_two_starts_at_once_in_one_folder_make_one_pair_of_servers(folder: Path) -> None:
    data, together, started = folder / ".data", threading.Barrier(2, timeout=20), []

    def run() -> None:
        together.wait()
        with quick(data) as running:
            started.append(running.started)
            assert answer(running) == 1
            together.wait()

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(started) == [False, True]


def test_two_checkouts_run_at_the_same_time_and_apart(folder: Path) -> None:
    with quick(folder / "one/.data") as one, quick(folder / "two/.data") as two:
        with psycopg.connect(one.database_url("owner"), autocommit=True) as connection:
            connection.execute("CREATE TABLE only_here ()")
        assert answer(two, "SELECT to_regclass('only_here')", role="owner") is None
        assert one.secrets["passwords"] != two.secrets["passwords"]


HOLD = """
import sys, time
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from server import embedded
with embedded.servers(Path(sys.argv[1]), fsync=False) as running:
    print(running.database_url("app"), running.started, flush=True)
    time.sleep(60)
"""


def holder(data: Path) -> "subprocess.Popen[str]":
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(data), str(ROOT)], stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    assert process.stdout
    assert process.stdout.readline().endswith("True\n")
    return process


@on_linux
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT])
def test_the_servers_end_with_the_command_however_it_ends(folder: Path, number: signal.Signals) -> None:
    process = holder(folder / ".data")
    assert processes(folder / ".data")
    process.send_signal(number)
    process.communicate()
    wait_until(lambda: not processes(folder / ".data"), "the servers have ended", seconds=10)
    with quick(folder / ".data") as running:
        assert running.started
        assert answer(running) == 1


@on_linux
def test_a_killed_postgres_is_recovered_at_the_next_start(folder: Path) -> None:
    data = folder / ".data"
    with quick(data):
        postmaster = int((data / "postgres/postmaster.pid").read_text().splitlines()[0])
        os.kill(postmaster, signal.SIGKILL)
        wait_until(lambda: not processes(data), "the servers have ended", seconds=10)
    assert (data / "postgres/postmaster.pid").exists()
    with quick(data) as running:
        assert answer(running) == 1


@on_linux
def test_the_servers_end_with_a_killed_supervisor(folder: Path) -> None:
    data = folder / ".data"
    with quick(data):
        postmaster = int((data / "postgres/postmaster.pid").read_text().splitlines()[0])
        supervisor = int(Path(f"/proc/{postmaster}/stat").read_text().rsplit(")", 1)[1].split()[1])
        os.kill(supervisor, signal.SIGKILL)
        # At once, while the servers may still be stopping.
        with quick(data) as running:
            assert running.started
            assert answer(running) == 1


@on_linux
def test_a_foreign_process_with_the_number_of_a_killed_server_is_left_alone(folder: Path) -> None:
    data = folder / ".data"
    with quick(data):
        lock = (data / "postgres/postmaster.pid").read_text().splitlines()
    account = {"user": NOBODY} if os.geteuid() == 0 else {}
    foreign = subprocess.Popen(["sleep", "60"], **account)
    try:
        (data / "postgres/postmaster.pid").write_text("\n".join([str(foreign.pid), *lock[1:], ""]))
        with quick(data) as running:
            assert answer(running) == 1
        assert foreign.poll() is None
    finally:
        foreign.kill()
        foreign.wait()


def test_lost_passwords_give_one_sentence(folder: Path) -> None:
    with quick(folder / ".data"):
        pass
    (folder / ".data/secrets.json").unlink()
    with pytest.raises(EmbeddedError, match=r"secrets\.json is missing .* put the file back"), quick(folder / ".data"):
        pass


def test_changed_passwords_give_one_sentence(folder: Path) -> None:
    with quick(folder / ".data"):
        pass
    (folder / ".data/secrets.json").write_text('{"secret_key": "x", "passwords": {"postgres": "wrong"}}')
    with pytest.raises(EmbeddedError, match="does not open the database"), quick(folder / ".data"):
        pass
    wait_until(lambda: not processes(folder / ".data"), "the servers have ended", seconds=10)


def test_a_server_that_cannot_start_gives_its_own_reason(folder: Path) -> None:
    with quick(folder / ".data"):
        pass
    shutil.rmtree(folder / ".data/postgres/global")
    with pytest.raises(EmbeddedError, match=r"could not start \(.*could not .*global"), quick(folder / ".data"):
        pass


def test_data_of_another_version_is_not_touched(folder: Path) -> None:
    with quick(folder / ".data"):
        pass
    (folder / ".data/postgres/PG_VERSION").write_text("17\n")
    with pytest.raises(EmbeddedError, match=r"made by PostgreSQL 17 and the installed server is 18"):
        quick(folder / ".data").__enter__()


def test_a_data_folder_that_is_a_file_gives_one_sentence(folder: Path) -> None:
    (folder / "taken").write_text("")
    with pytest.raises(EmbeddedError, match=r"cannot be used .* start again"), quick(folder / "taken/.data"):
        pass
