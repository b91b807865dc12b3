"""Every address of the site as the resolver knows it, with the methods that its view takes."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

API = "api/v1/"
OFFICE = "office/"
# What a page takes isn't told by its view: both are tried, and a page that doesn't take one says so.
PAGE_METHODS = ("get", "post")
# Addresses that are patterns themselves, with one that fits each.
WRITTEN_AS_PATTERNS = {r"^docs/?$": "docs", r"^api/": "api/nothing-here"}


@dataclass(frozen=True)
class Route:
    """One method of one address, what is filled in standing in braces, and whether it is an action of the API."""

    method: str
    template: str
    is_action: bool = False

    @property
    def names(self) -> list[str]:
        return re.findall(r"{(\w+)}", self.template)

    @property
    def is_api(self) -> bool:
        return self.template.startswith("api/")

    @property
    def is_write(self) -> bool:
        return self.method not in ("get", "head", "options")

    def __str__(self) -> str:
        return f"{self.method} /{self.template}"


def routes() -> list[Route]:
    """Without the office's own pages, which only staff may open; those have `office_routes`."""
    return [route for route in _all() if not route.template.startswith(OFFICE)]


def office_routes() -> list[Route]:
    return [route for route in _all() if route.template.startswith(OFFICE)]


def _all() -> list[Route]:
    patterns = list(_patterns(get_resolver().url_patterns, ""))
    found = [
        Route(method, template, hasattr(view, "actions")) for template, view in patterns for method in _methods(view)
    ]
    return list(dict.fromkeys(found))


def _methods(view: Any) -> list[str]:
    actions = getattr(view, "actions", None)
    return [method for method in actions if method != "head"] if actions else list(PAGE_METHODS)


def _patterns(found: list[Any], before: str) -> Iterator[tuple[str, Any]]:
    for each in found:
        text = str(each.pattern)
        template = before + WRITTEN_AS_PATTERNS.get(text, re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", text))
        if isinstance(each, URLResolver):
            yield from _patterns(each.url_patterns, template)
        elif isinstance(each, URLPattern):
            yield template, each.callback
