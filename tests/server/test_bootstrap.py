"""Making the environment: what is installed when, once only, and what is said when it cannot be."""

import importlib.util
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from server import bootstrap
from server.bootstrap import BootstrapError
from server.management.commands.test import pytest_command, pytest_environment

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with a lock file and an environment whose packages are all there."""
    root = tmp_path / "a checkout"
    (root / ".venv/bin").mkdir(parents=True)
    (root / ".venv/bin/python").symlink_to(sys.executable)
    (root / "uv.lock").write_text("version = 1\n")
    stamp(root, development=False)
    return root


def stamp(root: Path, *, development: bool) -> None:
    content = {"lock": bootstrap.lock_hash(root), "development": development}
    (root / ".venv/flyround.json").write_text(json.dumps(content))


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """What would have been run, with an environment that has uv already."""
    commands: list[list[str]] = []
    monkeypatch.setattr(bootstrap, "run", lambda command, *_rest: commands.append(command))
    monkeypatch.setattr(bootstrap, "works", lambda *_: True)
    return commands


def silent(_line: str) -> None:
    pass


def test_an_environment_with_all_packages_is_ready(checkout: Path) -> None:
    assert bootstrap.is_ready(checkout, development=False)
    assert not bootstrap.is_ready(checkout, development=True)


def test_a_changed_lock_file_or_a_half_made_environment_is_not_ready(checkout: Path) -> None:
    (checkout / "uv.lock").write_text("version = 2\n")
    assert not bootstrap.is_ready(checkout, development=False)
    stamp(checkout, development=False)
    (checkout / ".venv/bin/python").unlink()
    assert not bootstrap.is_ready(checkout, development=False)
    (checkout / ".venv/flyround.json").write_text('{"lock": "')
    assert bootstrap.read_stamp(checkout) == {}


def test_an_environment_that_this_account_cannot_run_is_not_ready(checkout: Path) -> None:
    # One account's Python in another's checkout: the answer is "make one", not a PermissionError.
    (checkout / ".venv/bin/python").unlink()
    (checkout / ".venv/bin/python").write_text("#!/bin/sh\n")
    (checkout / ".venv/bin/python").chmod(0o644)  # even root cannot run a file without the bit
    assert not bootstrap.is_ready(checkout, development=False)


def test_a_demo_needs_no_development_packages_and_never_takes_them_away(checkout: Path, ran: list[list[str]]) -> None:
    bootstrap.install(checkout, development=False, say=silent)
    assert ran[-1][-1] == "--no-dev"
    bootstrap.install(checkout, development=True, say=silent)
    assert "--no-dev" not in ran[-1]
    (checkout / "uv.lock").write_text("version = 2\n")
    bootstrap.install(checkout, development=False, say=silent)
    assert "--no-dev" not in ran[-1]
    assert all("--frozen" in command and "--inexact" in command for command in ran)
    assert bootstrap.is_ready(checkout, development=True)


def test_an_installation_that_fails_leaves_no_stamp(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "works", lambda *_: True)
    (checkout / ".venv/bin/python").unlink()
    (checkout / ".venv/bin/python").write_text("#!/bin/sh\necho 'error: no route to the index' >&2\nexit 2\n")
    (checkout / ".venv/bin/python").chmod(0o755)
    with pytest.raises(BootstrapError, match=r"locked packages: error: no route to the index\. Check the network"):
        bootstrap.install(checkout, development=False, say=silent)
    assert not bootstrap.is_ready(checkout, development=False)


def test_a_python_without_venv_gets_a_one_line_hint(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.rmtree(checkout / ".venv")
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(BootstrapError, match="apt-get install python3-venv") as caught:
        bootstrap.install(checkout, development=False, say=silent)
    assert "\n" not in str(caught.value)


def test_a_checkout_that_cannot_be_written_gets_one_line(checkout: Path, ran: list[list[str]]) -> None:
    (checkout / ".venv/flyround.json").unlink()
    (checkout / ".venv/flyround.json").mkdir()  # even root cannot write a file here
    with pytest.raises(BootstrapError, match="start again") as caught:
        bootstrap.install(checkout, development=False, say=silent)
    assert "\n" not in str(caught.value)


def test_an_older_python_gets_one_line() -> None:
    code = f"import runpy, sys; sys.version_info = (3, 10, 4); runpy.run_path({str(ROOT / 'manage.py')!r})"
    done = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr == ("Flyround needs Python 3.11 or newer, and this is 3.10: start it with a newer python3.\n")


def test_the_way_to_the_environment_needs_no_package() -> None:
    code = "import manage, server.bootstrap, sys; print(sorted({'django', 'psycopg'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-S", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_an_environment_that_does_not_start_is_not_tried_for_ever(
    checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DATABASE_URL", raising=False)
    monkeypatch.setenv(bootstrap.AGAIN, "1")
    with pytest.raises(BootstrapError, match="remove that folder"):
        bootstrap.ensure("demo", root=checkout, say=silent)


def test_arranged_surroundings_are_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgresql://elsewhere/flyround")
    bootstrap.ensure("migrate", root=tmp_path, say=silent)
    assert list(tmp_path.iterdir()) == []


def test_pip_and_uv_are_led_to_our_environment_only(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VIRTUAL_ENV", "/somewhere/else")
    monkeypatch.setenv("PYTHONPATH", "/somewhere/else")
    monkeypatch.delenv("UV_CACHE_DIR", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", "/proc/nothing/can/be/made/here")
    environment = bootstrap.environment(checkout / ".venv")
    assert "VIRTUAL_ENV" not in environment
    assert "PYTHONPATH" not in environment
    assert environment["UV_PROJECT_ENVIRONMENT"] == str(checkout / ".venv")
    assert environment["UV_NO_CACHE"] == "1"
    monkeypatch.setenv("XDG_CACHE_HOME", str(checkout / "cache"))
    assert "UV_NO_CACHE" not in bootstrap.environment(checkout / ".venv")


def test_two_tests_at_a_time_unless_said_otherwise() -> None:
    assert pytest_command(["--full", "-k", "chain"])[2:] == ["pytest", "-n", "2", "-k", "chain"]
    for given in (["-n", "0"], ["-n4"], ["--numprocesses=3"], ["-p", "no:xdist"]):
        assert pytest_command(given)[2:] == ["pytest", *given]


def test_the_long_tests_are_told_and_no_address_is_handed_on() -> None:
    from server import embedded

    environment = pytest_environment(["--full"], {**embedded.nowhere(), "PATH": "/bin"})
    assert environment == {"PATH": "/bin", "FLYROUND_FULL": "1"}
    arranged = {"DATABASE_URL": "postgresql://db/flyround", "REDIS_URL": "redis://cache"}
    assert pytest_environment([], dict(arranged)) == arranged


@pytest.mark.full
def test_two_first_starts_at_once_in_one_checkout(tmp_path: Path) -> None:
    """The real thing, from an empty machine's point of view: needs the network, or a filled cache."""
    root = tmp_path / "a path with spaces"
    root.mkdir()
    for name in ("manage.py", "pyproject.toml", "uv.lock"):
        shutil.copy(ROOT / name, root)
    for name in ("server", "alerts", "monitoring", "farms"):
        shutil.copytree(ROOT / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("DATABASE_URL", "VIRTUAL"))
    }
    environment.pop(bootstrap.AGAIN, None)
    base = str(Path(sys.base_prefix, "bin", f"python{sys.version_info.major}.{sys.version_info.minor}"))
    starts = [
        subprocess.Popen(
            [base, "manage.py", "version"],
            cwd=root,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    said = [start.communicate(timeout=300) for start in starts]
    assert [start.returncode for start in starts] == [0, 0], said
    assert all(output.startswith("5.2") for output, _ in said)
    assert sorted("Making" in errors for _, errors in said) == [False, True]
    assert not (root / ".venv/lib/python3.11/site-packages/pytest").exists()
