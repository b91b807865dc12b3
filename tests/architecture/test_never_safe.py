"""No page, mail or paper tells anybody that a barn can be entered: what was typed from a label is told as typed."""

import re
from pathlib import Path

import polib
import pytest

ROOT = Path(__file__).resolve().parents[2]
CATALOGUE = ROOT / "server/locale/es/LC_MESSAGES/django.po"
# What the pages of kept-out times are made of.
OURS = [
    ROOT / "server/web/kept_out.py",
    ROOT / "server/web/forms/kept_out.py",
    ROOT / "server/web/views/kept_out.py",
    ROOT / "server/api/v1/reentries.py",
    ROOT / "server/web/static/web/kept-out.js",
    ROOT / "monitoring/rules/reentry.py",
    ROOT / "monitoring/services/reentry.py",
    ROOT / "monitoring/models/reentry.py",
    *sorted((ROOT / "server/web/templates").rglob("*kept_out*")),
]
LETS_IN = re.compile(
    r"\b(safe(ly)?|clear|okay|OK|harmless|no danger|permitted|allowed|may enter|can enter|go ahead"
    r"|segur[oa]s?|libres?|sin peligro|despejad[oa]s?|inofensiv[oa]s?|permitid[oa]s?|puede entrar|se puede entrar)\b",
    re.IGNORECASE,
)
# Sentences about labels, spraying and going in, wherever they stand.
ABOUT_GOING_IN = re.compile(
    r"kept[ -]out|re-?entry|re-?enter|go(es|ing)? in\b|label|spray|etiqueta|rociar|roci[oó]|reingreso",
    re.IGNORECASE,
)
# "safe" in any sense that lets somebody in, whatever the sentence is about.
PLAIN = re.compile(
    r"\bsafe to\b|\ball clear\b|\bOK to\b|\bsafe again\b|\bes seguro entrar\b|\bya es segur", re.IGNORECASE
)


def sentences() -> dict[str, str]:
    """Each text of the catalogue in both languages, and each template's, by where it stands."""
    found = {}
    for entry in polib.pofile(str(CATALOGUE)):
        for text in (entry.msgid, entry.msgid_plural, entry.msgstr, *entry.msgstr_plural.values()):
            found[f"{entry.msgid[:60]}: {text}"] = text
    for folder in ("server", "alerts"):
        for template in sorted((ROOT / folder).rglob("templates/**/*.*")):
            for number, line in enumerate(template.read_text().splitlines(), 1):
                found[f"{template.relative_to(ROOT)}:{number}"] = re.sub(
                    r"{#.*?#}|{%\s*(?!translate|blocktrans).*?%}", "", line
                )
    return found


@pytest.mark.parametrize("file", OURS, ids=lambda file: str(file.relative_to(ROOT)))
def test_what_tells_of_kept_out_times_has_no_word_that_lets_anybody_in(file):
    assert LETS_IN.findall(file.read_text()) == []


def test_the_files_are_there():
    assert len(OURS) >= 13 and all(file.is_file() for file in OURS)


def test_no_sentence_about_labels_or_going_in_lets_anybody_in():
    texts = sentences()
    about = {where: text for where, text in texts.items() if ABOUT_GOING_IN.search(text)}
    assert len(about) > 10
    assert [where for where, text in about.items() if LETS_IN.search(text)] == []


def test_nothing_is_called_safe_anywhere():
    assert [where for where, text in sentences().items() if PLAIN.search(text)] == []


@pytest.mark.parametrize("text", ["It is safe to go in.", "The barn is clear.", "Ya es seguro entrar.", "OK"])
def test_the_words_are_found(text):
    assert LETS_IN.search(text)
