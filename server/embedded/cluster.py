"""The PostgreSQL cluster and the Valkey server: made once, told how to run, given their roles and databases."""

import os
import secrets
import shutil
import signal
import socket
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from server.embedded.places import EmbeddedError, Places, Programs

DATABASE = "flyround"
PORT = 5432  # names the socket file; nothing listens on the port
ROLES = ("owner", "app", "worker", "cohort", "region", "eraser", "backup")
SQL = Path(__file__).resolve().parent.parent
SERVER_NAMES = ("postgres", "valkey-server")  # as the kernel knows them, in /proc/*/comm
# The servers get nothing of the caller's environment: PGDATA, LC_ALL or TZ there would change what they do.
ENVIRONMENT = {"PATH": "/usr/bin:/bin", "LANG": "C", "TZ": "UTC"}


@dataclass(frozen=True)
class Kind:
    """What the servers are for."""

    fsync: bool = True  # survives a power cut
    tests: bool = False  # has the test roles
    throw_away: bool = False  # the whole folder goes at the end
    cache: str = "256MB"  # PostgreSQL's own, of two cores and a few gigabytes shared with everything else
    settings: tuple[tuple[str, str], ...] = ()  # more of PostgreSQL's, by its names

    @property
    def roles(self) -> tuple[str, ...]:
        return (*ROLES, "tester") if self.tests else ROLES


def ensure_cluster(places: Places, programs: Programs, password: str, kind: Kind) -> None:
    """Make the cluster if there is none; a half-made one of an interrupted start is thrown away."""
    version = places.cluster / "PG_VERSION"
    if version.exists():
        require_version(version, programs)
        return
    for unfinished in places.base.glob("postgres.new.*"):
        shutil.rmtree(unfinished, ignore_errors=True)
    # A name of its own: the initdb of a killed start may still be writing.
    making = places.base / f"postgres.new.{secrets.token_hex(4)}"
    making.mkdir(mode=0o700)
    pwfile = write_password(places, password)
    try:
        if places.account:
            os.chown(making, places.account.uid, places.account.gid)
        run_initdb(places, [programs.initdb, "-D", making, f"--pwfile={pwfile}"], kind)
        making.rename(places.cluster)
    finally:
        pwfile.unlink()
        shutil.rmtree(making, ignore_errors=True)


def require_version(version: Path, programs: Programs) -> None:
    made_by = version.read_text().strip()
    here = subprocess.run([programs.postgres, "--version"], capture_output=True, text=True, check=True).stdout
    if here.split()[-1].split(".")[0] != made_by:
        raise EmbeddedError(
            f"The data in {version.parent} was made by PostgreSQL {made_by} and the installed server is"
            f" {here.split()[-1]}: dump it with the older checkout and start over, or keep the older checkout."
        )


def write_password(places: Places, password: str) -> Path:
    path = places.base / f"postgres.password.{secrets.token_hex(4)}"
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(f"{password}\n")
    if places.account:
        os.chown(path, places.account.uid, places.account.gid)
    return path


def run_initdb(places: Places, begin: list[str | Path], kind: Kind) -> None:
    account: dict[str, Any] = {}
    if places.account:
        account = {"user": places.account.uid, "group": places.account.gid, "extra_groups": []}
    command = [
        *begin, "--username=postgres", "--auth=scram-sha-256", "--encoding=UTF8", "--locale=C",
        "--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--no-instructions",
        *([] if kind.fsync else ["--no-sync"]),
    ]  # fmt: skip
    done = subprocess.run(
        command, cwd="/", env=ENVIRONMENT, capture_output=True, text=True, umask=0o077, check=False, **account
    )
    if done.returncode:
        reason = last_message(done.stderr) or "it gave no reason"
        raise EmbeddedError(
            f"PostgreSQL could not make its data in {places.base} ({reason}); see to that and start again."
        )


def last_message(text: str) -> str:
    """The line of a server's output that says what went wrong; empty if none does."""
    lines = [line.strip() for line in text.splitlines()]
    for words in (("FATAL", "PANIC"), ("error:", "could not", "No space left", "Failed", "Traceback", "Error")):
        telling = [line for line in lines if any(word in line for word in words)]
        if telling:
            return telling[-1].rstrip(".")
    return ""


def postgres_child(places: Places, programs: Programs, sockets: Path, kind: Kind) -> dict[str, Any]:
    settings = {
        "listen_addresses": "",
        "port": PORT,
        "unix_socket_directories": sockets,
        "unix_socket_permissions": "0700",
        "max_connections": 100,
        "timezone": "UTC",
        "log_timezone": "UTC",
        "shared_buffers": kind.cache,
        "effective_cache_size": "1GB",
        "work_mem": "16MB",
        "maintenance_work_mem": "128MB",
        "max_wal_size": "2GB",
        "checkpoint_timeout": "15min",
        "random_page_cost": "1.1",
        "max_parallel_workers_per_gather": 1,
        "jit": "off",
    }
    if not kind.fsync:
        settings |= {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
    argv = [programs.postgres, "-D", places.cluster]
    for name, value in (*settings.items(), *kind.settings):
        argv += ["-c", f"{name}={value}"]
    # Fast shutdown for data that stays; an immediate one where all is thrown away.
    return child(places, argv, "postgres", signal.SIGQUIT if kind.throw_away else signal.SIGINT)


def valkey_child(places: Places, programs: Programs, sockets: Path) -> dict[str, Any]:
    argv = [
        programs.valkey, "--port", "0", "--unixsocket", sockets / "valkey.sock", "--unixsocketperm", "700",
        "--protected-mode", "yes", "--daemonize", "no", "--save", "", "--appendonly", "no", "--loglevel", "notice",
    ]  # fmt: skip
    return child(places, argv, "valkey", signal.SIGTERM)


def child(places: Places, argv: list[Any], name: str, last_signal: signal.Signals) -> dict[str, Any]:
    """One entry of the supervisor's order."""
    return {
        "argv": [str(part) for part in argv],
        "cwd": str(places.base / name),
        "env": ENVIRONMENT,
        "log": str(places.log / f"{name}.log"),
        "stop": int(last_signal),
        "uid": places.account.uid if places.account else None,
        "gid": places.account.gid if places.account else None,
    }


def connect(sockets: Path, password: str, database: str) -> psycopg.Connection[Any]:
    return psycopg.connect(
        host=str(sockets), port=PORT, user="postgres", password=password, dbname=database, autocommit=True,
        connect_timeout=5,
    )  # fmt: skip


def prepare_databases(sockets: Path, passwords: dict[str, str], kind: Kind) -> None:
    """Roles, their passwords and the database; everything may be there already."""
    with connect(sockets, passwords["postgres"], "template1") as template:
        run_scripts(template, kind)
        set_passwords(template, passwords, kind)
        there = template.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone()
    # CREATE DATABASE wants template1 to itself.
    with connect(sockets, passwords["postgres"], "postgres") as server:
        if not there:
            create_database(server)
            return
    with connect(sockets, passwords["postgres"], DATABASE) as database:
        run_scripts(database, kind)


def create_database(server: psycopg.Connection[Any]) -> None:
    server.execute(sql.SQL("CREATE DATABASE {} OWNER flyround_owner").format(sql.Identifier(DATABASE)))


def recreate_database(sockets: Path, password: str) -> None:
    with connect(sockets, password, "postgres") as server:
        server.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(DATABASE)))
        create_database(server)


def run_scripts(connection: psycopg.Connection[Any], kind: Kind) -> None:
    connection.execute((SQL / "roles.sql").read_bytes())
    if kind.tests:
        connection.execute((SQL / "roles_for_tests.sql").read_bytes())


def set_passwords(connection: psycopg.Connection[Any], passwords: dict[str, str], kind: Kind) -> None:
    for role in kind.roles:
        connection.execute(
            sql.SQL("ALTER ROLE {} PASSWORD {}").format(
                sql.Identifier(f"flyround_{role}"), sql.Literal(passwords[role])
            )
        )


def why_it_ended(places: Places) -> str:
    """What the first of the programs that has something to say said."""
    for name in ("postgres", "valkey", "supervisor"):
        log = places.log / f"{name}.log"
        if log.exists() and (message := last_message(log.read_text(errors="replace"))):
            return message
    return "it gave no reason"


def answers(sockets: Path, password: str) -> bool:
    """Whether PostgreSQL lets us in. A wrong password is an error, not a reason to wait."""
    try:
        connect(sockets, password, "template1").close()
    except psycopg.OperationalError as error:
        if "password authentication failed" in str(error):
            raise EmbeddedError(
                "The stored password does not open the database: put the secrets.json that was made with it back, "
                "or remove the data folder to start over."
            ) from error
        return False
    return True


def valkey_answers(sockets: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as client:
        client.settimeout(5)
        try:
            client.connect(str(sockets / "valkey.sock"))
            client.sendall(b"PING\r\n")
            return client.recv(16).startswith(b"+PONG")
        except OSError:
            return False


def servers_at_work(*folders: Path) -> list[int]:
    """Process ids of server programs that work in these folders now; Linux only, elsewhere none."""
    wanted = {folder.resolve() for folder in folders}
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if (entry / "cwd").readlink() in wanted and (entry / "comm").read_text().strip() in SERVER_NAMES:
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def wait_for_earlier_servers(places: Places, patience: float = 30.0) -> None:
    """Let servers whose supervisor was killed finish by themselves: the kernel told them to. Nobody is signalled."""
    deadline = time.monotonic() + patience
    while at_work := servers_at_work(places.cluster, places.valkey):
        if time.monotonic() > deadline:
            raise EmbeddedError(
                f"An earlier server still works in {places.base} (process {at_work[0]}): end it and start again."
            )
        time.sleep(0.02)
    clear_stale_lock(places.cluster / "postmaster.pid")


def clear_stale_lock(lock: Path) -> None:
    """Take away a killed PostgreSQL's lock file when another program has its process id by now.

    PostgreSQL itself clears one whose process is gone, but takes any process of its own account for an earlier self.
    Where /proc does not say what the process is, the file stays and PostgreSQL decides.
    """
    try:
        name = Path(f"/proc/{int(lock.read_text().splitlines()[0])}/comm").read_text().strip()
    except (OSError, ValueError, IndexError):
        return
    if name not in SERVER_NAMES:
        lock.unlink(missing_ok=True)
