"""Everything a person reads is there in Spanish, and the compiled file says what the written one says."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import polib
import pytest
from django import conf

from tests.architecture.source import FLOORS, ROOT

WRITTEN = ROOT / "server/locale/es/LC_MESSAGES/django.po"
# %(name)s of templates and {name:%Y} of str.format; a backslash before a letter belongs to a date's format.
PLACEHOLDER = re.compile(r"%\(\w+\)[a-z]|\{[^{}]*\}")

Key = tuple[str | None, str]


def key(entry: polib.POEntry) -> Key:
    return entry.msgctxt, entry.msgid


def sides(entry: polib.POEntry) -> list[tuple[str, str]]:
    """Each English text beside its Spanish one; the plural form beside the plural."""
    if entry.msgid_plural:
        return [(entry.msgid, entry.msgstr_plural[0]), (entry.msgid_plural, entry.msgstr_plural[1])]
    return [(entry.msgid, entry.msgstr)]


@pytest.fixture(scope="module")
def written() -> polib.POFile:
    return polib.pofile(str(WRITTEN))


@pytest.mark.skipif(shutil.which("xgettext") is None, reason="xgettext is not installed (Debian: gettext)")
def test_every_text_in_code_and_templates_has_its_spanish(written, tmp_path):
    found = extracted(tmp_path)
    done = {key(entry) for entry in written if entry.translated() and not entry.obsolete}
    assert len(found) > 500
    assert sorted(found - done, key=str) == []


def test_no_word_of_ours_takes_the_place_of_one_of_djangos(written):
    """One catalogue lies over the other: our "may" (is allowed to) once made every Spanish May a "puede"."""
    django = polib.mofile(str(Path(conf.__file__).parent / "locale/es/LC_MESSAGES/django.mo"))
    own = {key(entry): entry.msgstr for entry in written if entry.msgstr}
    taken = {entry.msgid for entry in django if own.get(key(entry), entry.msgstr) != entry.msgstr}
    assert taken == {"Change"}  # a button of ours and of a form set's: another word, the same meaning


def extracted(folder: Path) -> set[Key]:
    """What makemessages finds in a copy of the floors, so that the checkout stays as it is."""
    for floor in FLOORS:
        shutil.copytree(ROOT / floor, folder / floor, ignore=shutil.ignore_patterns("__pycache__", "LC_MESSAGES"))
    (folder / "server/locale/es").mkdir(parents=True, exist_ok=True)
    shutil.copy(ROOT / "manage.py", folder)
    command = [sys.executable, "manage.py", "makemessages", "--locale", "es", "--no-location"]
    surroundings = os.environ | {"DJANGO_SETTINGS_MODULE": "server.settings"}
    subprocess.run(command, cwd=folder, env=surroundings, check=True, timeout=120, capture_output=True)
    return {key(entry) for entry in polib.pofile(str(folder / "server/locale/es/LC_MESSAGES/django.po"))}


def test_no_translation_is_missing_or_a_guess(written):
    assert [entry.msgid for entry in written if not entry.obsolete and not entry.translated()] == []
    assert [entry.msgid for entry in written if entry.fuzzy] == []


def test_the_compiled_file_is_the_written_one(written):
    compiled = polib.mofile(str(WRITTEN.with_suffix(".mo")))
    assert {key(entry): sides(entry) for entry in compiled} == {
        key(entry): sides(entry) for entry in written if not entry.obsolete
    }


def test_both_languages_have_the_same_placeholders(written):
    wrong = [
        (english, spanish)
        for entry in written
        for english, spanish in sides(entry)
        if set(PLACEHOLDER.findall(english)) != set(PLACEHOLDER.findall(spanish))
    ]
    assert wrong == []


def test_the_barns_words_are_kept(written):
    """Common practice, no source: "estacion" is a season too, "piernas" are people's, "tratamiento" means drugs."""
    other = re.compile(r"\bestaci[oó]n\b|\bpiernas?\b|\btratamientos?\b|\btú\b|\btus?\b", re.IGNORECASE)
    assert [spanish for entry in written for _, spanish in sides(entry) if other.search(spanish)] == []
