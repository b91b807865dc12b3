"""Makes the checkout's .venv on a machine that has only Python, and starts the command again inside it.

Standard library only. The packages are those of uv.lock, to the hash.
"""

import contextlib
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
UV = "0.13.9"
# Commands that need the packages for development too. Once installed they stay.
DEVELOPMENT = {"test", "bench", "calibrate"}
AGAIN = "FLYROUND_STARTED_AGAIN"


class BootstrapError(Exception):
    """The environment cannot be made; the message is one sentence that says what to do."""


def ensure(command: str, *, root: Path = ROOT, say: Callable[[str], None]) -> None:
    """Return if this interpreter has all packages of the lock file; else install them and start again.

    Raises BootstrapError. Does nothing where DATABASE_URL is set and Django is there: somebody else, such as the
    container image, arranged the packages.
    """
    venv = root / ".venv"
    if "DATABASE_URL" in os.environ and not inside(venv) and importlib.util.find_spec("django"):
        return
    development = command in DEVELOPMENT
    if not is_ready(root, development=development):
        with only_one(root):
            if not is_ready(root, development=development):
                install(root, development=development, say=say)
    elif inside(venv):
        os.environ.pop(AGAIN, None)
        return
    start_again(venv)


def inside(venv: Path) -> bool:
    return Path(sys.prefix).resolve() == venv.resolve()


def start_again(venv: Path) -> None:
    if os.environ.get(AGAIN):
        raise BootstrapError(f"The environment in {venv} does not start properly: remove that folder and start again.")
    os.environ[AGAIN] = "1"
    sys.stdout.flush()
    sys.stderr.flush()
    python = str(venv / "bin/python")
    os.execv(python, [python, *sys.argv])


def lock_hash(root: Path) -> str:
    return hashlib.sha256((root / "uv.lock").read_bytes()).hexdigest()


def read_stamp(root: Path) -> dict[str, object]:
    """What was installed last: `lock` (hash of uv.lock) and `development`; empty if nothing, or not to the end."""
    try:
        stamp = json.loads((root / ".venv/flyround.json").read_text())
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def is_ready(root: Path, *, development: bool) -> bool:
    stamp = read_stamp(root)
    return (
        stamp.get("lock") == lock_hash(root)
        and (bool(stamp.get("development")) or not development)
        and os.access(root / ".venv/bin/python", os.X_OK)
    )


@contextlib.contextmanager
def only_one(root: Path) -> Iterator[None]:
    """Wait for another start in the same checkout. The lock lies on a file of git's, so none is left behind."""
    import fcntl  # not at the top: absent on Windows, where `ensure` still has to read the stamp

    with open(root / "uv.lock", "rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def install(root: Path, *, development: bool, say: Callable[[str], None]) -> None:
    venv, stamp = root / ".venv", root / ".venv/flyround.json"
    development = development or bool(read_stamp(root).get("development"))
    try:
        if not works(venv, "pass"):
            make_venv(venv, say=say)
        stamp.unlink(missing_ok=True)
        if not works(venv, f"import importlib.metadata as m; assert m.version('uv') == '{UV}'"):
            install_uv(venv, say=say)
        say("Installing the packages of uv.lock into .venv (the first time takes a minute or two) ...")
        # Not exact: a later demo must not take the development packages, or uv itself, away again.
        command = [str(venv / "bin/python"), "-I", "-m", "uv", "sync", "--frozen", "--inexact", "--quiet"]
        run([*command] if development else [*command, "--no-dev"], "install the locked packages", root, venv)
        stamp.write_text(json.dumps({"lock": lock_hash(root), "development": development}))
    except OSError as error:
        raise BootstrapError(
            f"The environment in {venv} cannot be made ({error.strerror}: {error.filename}); "
            "give this account the right to write there, or free some space, and start again."
        ) from error


def works(venv: Path, code: str) -> bool:
    """Whether the environment's Python runs this line."""
    try:
        return subprocess.run([venv / "bin/python", "-I", "-c", code], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def make_venv(venv: Path, *, say: Callable[[str], None]) -> None:
    if importlib.util.find_spec("ensurepip") is None or importlib.util.find_spec("venv") is None:
        raise BootstrapError(no_venv())
    say(f"Making {venv} ...")
    if venv.is_symlink():
        venv.unlink()
    elif venv.exists():
        shutil.rmtree(venv)
    done = subprocess.run([sys.executable, "-I", "-m", "venv", venv], capture_output=True, text=True, check=False)
    if done.returncode:
        output = done.stdout + done.stderr
        raise BootstrapError(no_venv() if "ensurepip" in output else f"Python could not make {venv}: {last(output)}.")


def no_venv() -> str:
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return (
        "This Python has no venv module: install it (on Debian or Ubuntu: "
        f"sudo apt-get install python3-venv, or python{version}-venv) and start again."
    )


def install_uv(venv: Path, *, say: Callable[[str], None]) -> None:
    say(f"Installing uv {UV} into .venv ...")
    python = [str(venv / "bin/python"), "-I", "-m"]
    if not works(venv, "import pip"):
        run([*python, "ensurepip"], "install pip", venv.parent, venv)
    pip = [*python, "pip", "install", "--quiet", "--no-input", "--disable-pip-version-check", f"uv=={UV}"]
    run(pip, f"install uv {UV}", venv.parent, venv)


def run(command: list[str], purpose: str, root: Path, venv: Path) -> None:
    done = subprocess.run(
        command, cwd=root, env=environment(venv), capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )
    if done.returncode:
        raise BootstrapError(
            f"Could not {purpose}: {last(done.stdout + done.stderr)}. Check the network and the disk, then start again."
        )


def last(output: str) -> str:
    """The line of a program's output that says what went wrong."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    wanted = [line for line in lines if "error" in line.lower()] or lines or ["no message"]
    return wanted[-1].rstrip(".")


def environment(venv: Path) -> dict[str, str]:
    """The caller's environment, without what would lead pip or uv to another place than our .venv."""
    result = {
        name: value for name, value in os.environ.items() if name not in ("VIRTUAL_ENV", "PYTHONPATH", "PYTHONHOME")
    }
    result |= {
        "PIP_USER": "0",
        "UV_PROJECT_ENVIRONMENT": str(venv),
        "UV_PYTHON": str(venv / "bin/python"),
        "UV_PYTHON_DOWNLOADS": "never",
        "UV_NO_PROGRESS": "1",
    }
    if "UV_CACHE_DIR" not in result and not cache_is_writable():
        # uv insists on a cache; a read-only home gets one that is thrown away.
        result["UV_NO_CACHE"] = "1"
    return result


def cache_is_writable() -> bool:
    """Whether uv can use its usual cache under the home folder."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path(os.path.expanduser("~")) / ".cache") / "uv"
    try:
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=cache):
            return True
    except OSError:
        return False
