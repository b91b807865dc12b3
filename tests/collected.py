"""The site's own files collected as for production: named by their content, and asked for under these names."""

import re
from pathlib import Path
from typing import Any

from django.core.management import call_command

HASHED = r"\.[0-9a-f]{12}\.js$"
# As in server/web/static/web/offline/keep.js: what it doesn't see is missing without signal.
IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.{0,2}/[^"']+\.js)["']""")


def imports(path: Path) -> list[str]:
    """What a script imports, as it names it."""
    return IMPORT.findall(path.read_text(encoding="utf-8"))


def needed_by(script: Path) -> set[Path]:
    """All that a script imports, and what that imports."""
    found: set[Path] = set()
    open_ones = [script]
    while open_ones:
        path = open_ones.pop()
        new = {(path.parent / each).resolve() for each in imports(path)} - found
        found |= new
        open_ones += new
    return found


def collect(settings: Any, folder: Path) -> Path:
    """Collect into a folder, and have pages name the files there and servers of tests give them out."""
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    settings.STORAGES = settings.STORAGES | {"staticfiles": {"BACKEND": "server.static_files.NamedByContent"}}
    settings.STATIC_ROOT = folder
    folder.mkdir(exist_ok=True)
    call_command("collectstatic", interactive=False, verbosity=0)
    # A test's server looks where files come from, not where they were collected.
    settings.STATICFILES_DIRS = [folder]
    return folder
