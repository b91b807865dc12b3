"""What a person's browser would send from a page: its forms, filled in plausibly."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from typing import Any

Fields = dict[str, list[str]]
TYPED = {"number": "12", "date": "2026-06-01", "email": "quill@example.org", "time": "07:30"}
# Where any text won't do, by the last part of the field's name.
BY_NAME = {"number": "9", "count": "12", "value": "80", "min": "11", "max": "24", "animals": "1 2 3"}
BY_NAME |= {"irac_groups": "3A"}
BY_NAME |= {"address": "https://hooks.example.org/flyround"}
# Whatever the page proposes; a guest's last day is one of the real calendar.
ALWAYS = {"opens_on": "2027-04-05", "until": str(datetime.now(UTC).date() + timedelta(days=30))}
# Chosen only where there is no count.
STAYS_EMPTY = "reason"


class Forms(HTMLParser):
    """Every form that sends by POST: where to, and its fields with what stands in them or what might be typed."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, Fields]] = []
        self._select = ""
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = given.get("method", "").lower() == "post"
            if self._inside:
                self.found.append((given.get("action", ""), {}))
        elif self._inside and tag in ("input", "textarea", "select", "option"):
            self._field(tag, given)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._inside = False
        elif tag == "select":
            self._select = ""

    def _field(self, tag: str, given: dict[str, str]) -> None:
        fields = self.found[-1][1]
        name, kind = given.get("name", ""), given.get("type", "text")
        if tag == "select":
            self._select = name
            fields[name] = [""]
        elif tag == "option":
            if self._select.endswith(STAYS_EMPTY):
                return
            if self._select and ("selected" in given or not fields[self._select][0]):
                fields[self._select] = [given.get("value", "")]
        elif name and kind not in ("file", "submit"):
            self._input(fields, name, kind, given)

    def _input(self, fields: Fields, name: str, kind: str, given: dict[str, str]) -> None:
        if kind in ("checkbox", "radio"):
            if "checked" in given or (kind == "radio" and name not in fields):
                fields[name] = [given.get("value", "on")]
            return
        value = ALWAYS.get(name) or given.get("value") or ("" if kind == "hidden" else _typed(name, kind, given))
        fields.setdefault(name, []).append(value)


def _typed(name: str, kind: str, given: dict[str, str]) -> str:
    for part in (re.split(r"[-_]", name)[-1], re.split(r"-", name)[-1], re.split(r"-", name)[0]):
        if part in BY_NAME and (kind != "number" or BY_NAME[part].isdigit()):
            return BY_NAME[part]
    return TYPED.get(kind) or ("12" if given.get("inputmode") in ("numeric", "decimal") else "Told")


def forms_in(page: Any, address: str) -> Iterator[tuple[str, Fields]]:
    """Each form of a page: the address it sends to, and its fields."""
    parser = Forms()
    parser.feed(page.content.decode())
    for action, fields in parser.found:
        fields.pop("csrfmiddlewaretoken", None)
        yield re.sub(r"[?#].*", "", action) or address, fields
