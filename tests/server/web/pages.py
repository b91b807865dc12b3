"""How the tests of pages ask for them and read them."""

import html
import re
from typing import Any

from django.urls import reverse


def at(name: str, farm: Any, **more: Any) -> str:
    """The address of a farm's page."""
    return reverse(name, kwargs={"farm_id": farm.id, **more})


def words(response: Any) -> str:
    """What a page says, without its tags, in one line."""
    body = re.sub(r"<(script|style|head)\b.*?</\1>", " ", response.content.decode(), flags=re.DOTALL)
    text = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())
    return re.sub(r" (?=[.,;:)])", "", text)


def hidden_fields(response: Any) -> dict[str, str]:
    """The hidden fields of a page's forms, by name."""
    found = {}
    for tag in re.findall(r"<input[^>]*type=\"hidden\"[^>]*>", response.content.decode()):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and name[1] not in ("csrfmiddlewaretoken", "next"):
            found[name[1]] = html.unescape(value[1]) if value else ""
    return found
