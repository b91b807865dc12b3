"""What a person's browser would send from a page: its forms, filled in plausibly."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

TYPED = {"number": "7", "date": "2026-06-01", "email": "quill@example.org", "time": "07:30"}
# Words where any text won't do, by the name of the field.
BY_NAME = {"counts": "", "reason": "Told by the test", "worth": "3"}


class Forms(HTMLParser):
    """Every form that sends by POST: where to, and its fields with what stands in them or what might be typed."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []
        self._select = ""
        self._inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = given.get("method", "").lower() == "post"
            if self._inside:
                self.found.append((given.get("action", ""), {}))
        elif self._inside and tag in ("input", "textarea", "select", "option", "button"):
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
            fields[name] = ""
        elif tag == "option":
            if self._select and (given.get("value") or "selected" in given) and not fields[self._select]:
                fields[self._select] = given.get("value", "")
        elif name and tag != "button" and kind not in ("file", "submit"):
            self._input(fields, name, kind, given)

    def _input(self, fields: dict[str, str], name: str, kind: str, given: dict[str, str]) -> None:
        if kind in ("checkbox", "radio"):
            if "checked" in given or (kind == "radio" and name not in fields):
                fields[name] = given.get("value", "on")
        else:
            fields[name] = given.get("value") or ("" if kind == "hidden" else _typed(name, kind))


def _typed(name: str, kind: str) -> str:
    last = name.rpartition("-")[2]
    return BY_NAME.get(last, TYPED.get(kind, "Told"))


def forms_in(page: Any, address: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Each form of a page: the address it sends to, and its fields."""
    parser = Forms()
    parser.feed(page.content.decode())
    for action, fields in parser.found:
        fields.pop("csrfmiddlewaretoken", None)
        yield re.sub(r"[?#].*", "", action or address), fields
