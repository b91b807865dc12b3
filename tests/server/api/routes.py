"""Every route of the API as the resolver knows it, with a plausible body from the OpenAPI document's examples."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any
from uuid import uuid4

import yaml
from django.urls import URLPattern, URLResolver, get_resolver

from server.api.documentation import DOCUMENT

PREFIX = "api/v1/"


@dataclass(frozen=True)
class Route:
    """One method of one address; the address with its converters in braces, as in farms/{farm_id}/alerts."""

    method: str
    template: str

    def address(self, **ids: Any) -> str:
        """The address with these ids, and made-up ones where none is given."""
        names = [part[1:-1] for part in self.template.split("/") if part.startswith("{")]
        return "/" + self.template.format(**{name: ids.get(name) or uuid4() for name in names})

    def body(self) -> dict[str, Any]:
        """Arguments for the test client: content and its type, as the document's first example has them."""
        operation = _document()["paths"]["/" + self.template].get(self.method, {})
        for kind, content in operation.get("requestBody", {}).get("content", {}).items():
            for example in content.get("examples", {}).values():
                value = example["value"]
                return {"data": value if isinstance(value, str) else json.dumps(value), "content_type": kind}
        return {}

    def __str__(self) -> str:
        return f"{self.method} {self.template.removeprefix(PREFIX)}"


def routes() -> list[Route]:
    """Every method of every route under the API that the views take."""
    return [Route(method, template) for template, methods in _views() for method in methods]


def _views() -> Iterator[tuple[str, list[str]]]:
    for template, callback in _patterns(get_resolver().url_patterns, ""):
        if template.startswith(PREFIX) and hasattr(callback, "actions"):
            yield template, [method for method in callback.actions if method != "head"]


def _patterns(found: list[Any], before: str) -> Iterator[tuple[str, Any]]:
    for each in found:
        template = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from _patterns(each.url_patterns, template)
        elif isinstance(each, URLPattern):
            yield template.replace("<uuid:", "{").replace(">", "}"), each.callback


@cache
def _document() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(DOCUMENT.read_text())
    return found
