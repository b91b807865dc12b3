"""Starting the servers of a folder or joining them, and leaving them; see supervisor.py for who keeps them up."""

import fcntl
import json
import os
import secrets
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from server.embedded import cluster
from server.embedded.cluster import DATABASE, PORT, Kind
from server.embedded.places import (
    EmbeddedError,
    Places,
    open_data,
    open_places,
    programs_for,
    remove_own_sockets,
    socket_folder,
)

START_PATIENCE = 60.0  # seconds until PostgreSQL answers; recovery after a power cut may take some
LOCKS = ("start.lock", "alive.lock", "users.lock")


@dataclass
class Running:
    """Servers that run, and this process's hold on them."""

    data: Path
    sockets: Path
    secrets: dict[str, Any]
    kind: Kind
    started: bool  # by this process, not joined
    seconds: float  # from the call to the first answer
    _hold: "Hold" = field(repr=False)

    def database_url(self, role: str, database: str = DATABASE) -> str:
        """The address for a role: owner, app, worker, cohort, region, eraser, backup; postgres; in tests tester."""
        user = role if role == "postgres" else f"flyround_{role}"
        password, name, host = (
            quote(part, safe="") for part in (self.secrets["passwords"][role], database, str(self.sockets))
        )
        return f"postgresql://{user}:{password}@:{PORT}/{name}?host={host}"

    @property
    def redis_url(self) -> str:
        return f"unix://{quote(str(self.sockets))}/valkey.sock"

    def stop(self) -> None:
        """Leave; the last one to leave stops the servers and waits until they are gone. May be called twice."""
        self._hold.leave()

    def recreate_database(self) -> None:
        """Throw the database's content away and begin with an empty one; connections to it are cut."""
        cluster.recreate_database(self.sockets, self.secrets["passwords"]["postgres"])


class Hold:
    """This process's open lock files of a data folder. The kernel drops the locks however the process ends."""

    def __init__(self, data: Path) -> None:
        self.process = os.getpid()
        self.supervisor: int | None = None  # its process id while it is our child and not waited for
        self.start, self.alive, self.users = (open_closed(data / name, os.O_RDWR | os.O_CREAT) for name in LOCKS)
        self.left = False

    def supervisor_has_ended(self) -> bool:
        """Whether the supervisor that this process started is gone; never asked of one that somebody else started."""
        if self.supervisor and os.waitpid(self.supervisor, os.WNOHANG)[0]:
            self.supervisor = None
        return self.supervisor is None

    def supervisor_is_alive(self) -> bool:
        free = try_lock(self.alive, fcntl.LOCK_EX)
        if free:
            fcntl.flock(self.alive, fcntl.LOCK_UN)
        return not free

    def leave(self) -> None:
        # A forked child shares the lock with its parent and must not let go of it.
        if self.left or os.getpid() != self.process:
            return
        self.left = True
        fcntl.flock(self.start, fcntl.LOCK_EX)
        last = try_lock(self.users, fcntl.LOCK_EX)
        os.close(self.users)
        if last:
            self.wait_for_the_end()
        os.close(self.alive)
        os.close(self.start)

    def wait_for_the_end(self) -> None:
        if self.supervisor:
            os.waitpid(self.supervisor, 0)
        while self.supervisor_is_alive():
            time.sleep(0.02)


def try_lock(descriptor: int, kind: int) -> bool:
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def enter(data: Path, kind: Kind, *, say: Callable[[str], None] | None = None) -> Running:
    """Start the servers of `data`, or join them if they run. Raises EmbeddedError with one sentence."""
    try:
        return start_or_join(data.absolute(), kind, say=say)
    except OSError as error:
        raise EmbeddedError(
            f"The data folder {data} cannot be used ({error.strerror}: {error.filename}); "
            "give this account the right to write there, or free some space, and start again."
        ) from error


def start_or_join(data: Path, kind: Kind, *, say: Callable[[str], None] | None) -> Running:
    begin = time.monotonic()
    open_data(data)
    hold = Hold(data)
    try:
        fcntl.flock(hold.start, fcntl.LOCK_EX)
        places = open_places(data)
        # Waits here while a supervisor without users stops its servers.
        fcntl.flock(hold.users, fcntl.LOCK_SH)
        secret = load_secrets(places, kind)
        sockets = join(hold, data, secret)
        started = sockets is None
        if sockets is None:
            if say:
                say("Starting PostgreSQL and Valkey ...")
            sockets = start(hold, places, kind, secret)
        fcntl.flock(hold.start, fcntl.LOCK_UN)
    except BaseException:
        hold.leave()
        raise
    return Running(data, sockets, secret, kind, started, time.monotonic() - begin, hold)


def join(hold: Hold, data: Path, secret: dict[str, Any]) -> Path | None:
    """The sockets' folder of servers that run and answer, or None."""
    if not hold.supervisor_is_alive():
        return None
    sockets = Path(json.loads((data / "servers.json").read_text())["sockets"])
    deadline = time.monotonic() + START_PATIENCE
    while not cluster.answers(sockets, secret["passwords"]["postgres"]):
        if not hold.supervisor_is_alive():
            return None
        if time.monotonic() > deadline:
            raise EmbeddedError(f"The database of {data} runs but does not answer: see {data / 'log'}.")
        time.sleep(0.05)
    return sockets


def start(hold: Hold, places: Places, kind: Kind, secret: dict[str, Any]) -> Path:
    """Start the servers and give the folder of their sockets."""
    programs = programs_for(places)
    passwords = secret["passwords"]
    cluster.ensure_cluster(places, programs, passwords["postgres"], kind)
    cluster.wait_for_earlier_servers(places)
    record = places.data / "servers.json"
    if record.exists():
        remove_own_sockets(Path(json.loads(record.read_text())["sockets"]), places)
    sockets = socket_folder(places.base, places.account)
    order = {
        "sockets": str(sockets),
        "alive": str(places.data / "alive.lock"),
        "users": str(places.data / "users.lock"),
        "children": [
            cluster.postgres_child(places, programs, sockets, kind),
            cluster.valkey_child(places, programs, sockets),
        ],
        "remove": [str(folder) for folder in to_remove(places, sockets, kind)],
    }
    write_closed(record, order)
    hold.supervisor = spawn_supervisor(record, places.log / "supervisor.log")
    wait_for_answer(hold, places, sockets, passwords["postgres"])
    cluster.prepare_databases(sockets, passwords, kind)
    return sockets


def to_remove(places: Places, sockets: Path, kind: Kind) -> list[Path]:
    folders = [] if sockets.parent == places.base else [sockets]
    return [*folders, places.base, places.data] if kind.throw_away else folders


def spawn_supervisor(order: Path, log: Path) -> int:
    """Start the process that outlives this one where others still use the servers; hence no Popen, which objects."""
    log.unlink(missing_ok=True)
    program = Path(__file__).with_name("supervisor.py")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    return os.posix_spawn(
        sys.executable,
        [sys.executable, "-I", "-S", str(program), str(order)],
        os.environ,
        file_actions=[
            (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0),
            (os.POSIX_SPAWN_OPEN, 1, str(log), flags, 0o600),
            (os.POSIX_SPAWN_DUP2, 1, 2),
        ],
    )


def wait_for_answer(hold: Hold, places: Places, sockets: Path, password: str) -> None:
    deadline = time.monotonic() + START_PATIENCE
    while not (cluster.valkey_answers(sockets) and cluster.answers(sockets, password)):
        if hold.supervisor_has_ended():
            raise EmbeddedError(f"The database could not start ({cluster.why_it_ended(places)}); see {places.log}.")
        if time.monotonic() > deadline:
            raise EmbeddedError(f"The database did not answer within {START_PATIENCE:.0f} seconds: see {places.log}.")
        time.sleep(0.02)


def load_secrets(places: Places, kind: Kind) -> dict[str, Any]:
    """Passwords and the signing key, made once. Raises EmbeddedError if a cluster exists and they do not."""
    path = places.data / "secrets.json"
    if path.exists():
        stored: dict[str, Any] = json.loads(path.read_text())
    elif (places.cluster / "PG_VERSION").exists():
        raise EmbeddedError(
            f"{path} is missing and the database in {places.base} cannot be opened without it: put the file back, "
            "or remove both folders to start over."
        )
    else:
        stored = {"secret_key": secrets.token_urlsafe(48), "passwords": {}}
    missing = [role for role in ("postgres", *kind.roles) if role not in stored["passwords"]]
    if missing:
        stored["passwords"] |= {role: secrets.token_urlsafe(24) for role in missing}
        write_closed(path, stored)
    return stored


def write_closed(path: Path, content: dict[str, Any]) -> None:
    """Write JSON that only the folder's owner may read, whole or not at all."""
    new = path.with_name(f"{path.name}.{os.getpid()}")
    with open(open_closed(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), "w") as file:
        json.dump(content, file)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)


def open_closed(path: Path, flags: int) -> int:
    """Open a file with mode 0600 that belongs to its folder's owner, even when root makes it."""
    descriptor = os.open(path, flags | os.O_NOFOLLOW, 0o600)
    if os.geteuid() == 0:
        owner = path.parent.stat()
        os.fchown(descriptor, owner.st_uid, owner.st_gid)
    return descriptor
