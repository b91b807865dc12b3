"""The import contract of pyproject.toml, run as CI runs it."""

import subprocess
import sys
from pathlib import Path

from tests.architecture.source import ROOT


def test_imports_only_go_down():
    program = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([program, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
