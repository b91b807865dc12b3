"""The token that a sign-in leaves on this computer: in one file, readable by its owner alone."""

import contextlib
import json
import os
from dataclasses import dataclass, field
from pathlib import Path

import typer

FOLDER = "FLYROUND_HOME"
FILE = "sign-in.json"


class Unusable(Exception):
    """Something on this computer, or in the command, can't be used; the sentence says what to do."""


@dataclass(frozen=True)
class SignIn:
    """Where Flyround answers, and the token for it, which is never shown."""

    site: str
    token: str = field(repr=False)


def own_folder() -> Path:
    """The user's folder for the token and for what waits: FLYROUND_HOME, or where programs keep such things here."""
    return Path(os.environ.get(FOLDER) or typer.get_app_dir("flyround"))


def private_folder(folder: Path) -> Path:
    """The folder, made where it isn't there, open to its owner alone. Raises Unusable."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise Unusable(f"{folder} can't be made: {error.strerror}. Set {FOLDER} to a folder of your own.") from error
    return folder


def write_private(path: Path, text: str) -> None:
    """Put a file there whole, with mode 0600 from its first moment. Raises Unusable."""
    part = path.with_suffix(f".{os.getpid()}.part")
    try:
        with contextlib.suppress(FileNotFoundError):
            part.unlink()
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise Unusable(f"{path} can't be written: {error.strerror}.") from error


def keep(sign_in: SignIn, folder: Path) -> None:
    """Remember a sign-in. Raises Unusable."""
    write_private(private_folder(folder) / FILE, json.dumps({"site": sign_in.site, "token": sign_in.token}))


def kept(folder: Path) -> SignIn | None:
    """The sign-in that is remembered; None without one. Raises Unusable where its file says something else."""
    path = folder / FILE
    try:
        found = json.loads(path.read_text())
        return SignIn(str(found["site"]), str(found["token"]))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError):
        # Without the cause: it could quote the file.
        raise Unusable(f"{path} can't be read. Sign in again, or delete it.") from None


def forget(folder: Path) -> bool:
    """Forget the sign-in; False where there was none. Raises Unusable."""
    path = folder / FILE
    try:
        path.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise Unusable(f"{path} can't be deleted: {error.strerror}. Delete it by hand.") from error
    return True
