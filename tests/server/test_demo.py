"""The demo's command: one at a time on a folder, since it empties the database and owns the mails."""

import subprocess
import sys
from pathlib import Path

import pytest

from server.demo.processes import DemoError
from server.demo.run import Folder

HOLD = """
import sys
from pathlib import Path
import django
django.setup()
from server.demo.run import Folder
with Folder(Path(sys.argv[1])).alone():
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_second_demo_on_the_same_folder_says_what_to_do(tmp_path: Path) -> None:
    with (
        Folder(tmp_path).alone(),
        pytest.raises(DemoError, match="already: stop it with Ctrl-C first, or set FLYROUND_DATA to another folder"),
        Folder(tmp_path).alone(),
    ):
        pytest.fail("two demos held one folder")


def test_a_demo_that_ended_leaves_the_folder_free(tmp_path: Path) -> None:
    with Folder(tmp_path).alone():
        pass
    with Folder(tmp_path).alone():
        pass


def test_a_killed_demo_leaves_the_folder_free(tmp_path: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(DemoError), Folder(tmp_path).alone():
            pytest.fail("two demos held one folder")
        holder.kill()
        holder.wait()
        with Folder(tmp_path).alone():
            pass
