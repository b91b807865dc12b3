"""What axe-core finds wrong with a page by WCAG 2.2, levels A and AA."""

from pathlib import Path
from typing import Any

AXE = Path(__file__).parent / "axe.min.js"
# Its rules for WCAG 2.0, 2.1 and 2.2, levels A and AA (axe-core's documentation, "Axe-core tags").
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
RUN = """async options => (await axe.run(document, options)).violations
    .map(found => [found.id, found.nodes.map(node => node.target.join(' ')).slice(0, 5)])"""
# Light and dark differ in colours alone, so the second look asks for contrast alone.
# Nothing is fetched beforehand: no rule of these needs the style sheets' text, which axe-core would ask for again.
HOW = {"resultTypes": ["violations"], "preload": False}
ALL = HOW | {"runOnly": {"type": "tag", "values": TAGS}}
CONTRAST = HOW | {"runOnly": {"type": "rule", "values": ["color-contrast"]}}


def violations(page: Any) -> dict[str, list[Any]]:
    """Rules broken in light and in dark, each with the places; empty where none is."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE.read_text())
    page.emulate_media(color_scheme="light")
    found = {"light": page.evaluate(RUN, ALL)}
    page.emulate_media(color_scheme="dark")
    found["dark"] = page.evaluate(RUN, CONTRAST)
    return {scheme: rules for scheme, rules in found.items() if rules}
