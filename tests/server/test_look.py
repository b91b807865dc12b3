"""The look: contrast by computing it, no inline style or script, vendored files as they came, one palette."""

import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from monitoring.charts import DARK, LIGHT
from server import web
from tests import journeys

WEB = Path(web.__file__).parent
LOOK = WEB / "static" / "web"
# One stylesheet for every page, and one beside it for what only one page needs (round.css, plan.css).
CSS = re.sub(r"/\*.*?\*/", "", "".join(path.read_text() for path in sorted(LOOK.glob("*.css"))), flags=re.DOTALL)
TEMPLATES = sorted((WEB / "templates").rglob("*.html"))
# A mail brings its own styles, since mail programs read no stylesheet; it is no page of the site.
PAGES = [path for path in TEMPLATES if "mail" not in path.parent.name]


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{3,6});", block))


def blocks() -> dict[str, dict[str, str]]:
    light, dark, paper = (tokens(block) for block in re.findall(r":root \{(.*?)\}", CSS, flags=re.DOTALL))
    return {"light": light, "dark": dark, "print": paper}


def luminance(colour: str) -> float:
    """WCAG 2.2, "relative luminance"."""
    digits = colour.lstrip("#")
    digits = "".join(digit * 2 for digit in digits) if len(digits) == 3 else digits
    parts = [int(digits[start : start + 2], 16) / 255 for start in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_computed_as_wcag_defines_it():
    # 21 for black on white stands in the definition; 4.54 for #767676 on white is from memory.
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("kind", ["light", "dark", "print"])
@pytest.mark.parametrize(
    ("over", "under", "least"),
    [
        ("ink", "paper", 12),  # read in the sun on a cheap phone: far above what AA asks
        ("ink", "paper-deep", 12),
        ("soft", "paper", 6),
        ("soft", "paper-deep", 4.5),
        ("accent", "paper", 4.5),
        ("accent", "paper-deep", 4.5),
        ("on-ink", "ink", 12),
        ("edge", "paper", 3),
        ("ink", "band", 7),  # the line of means over its interval
        ("accent", "band", 3),  # the ring of a week over the level
        ("soft", "band", 3),
    ],
)
def test_letters_and_lines_stand_out_from_what_is_under_them(kind, over, under, least):
    colours = blocks()["light"] | blocks()[kind]
    assert contrast(colours[over], colours[under]) >= least


@pytest.mark.parametrize(("kind", "palette"), [("light", LIGHT), ("dark", DARK)])
def test_pages_and_pictures_in_mails_share_one_palette(kind, palette):
    assert vars(palette).items() <= blocks()[kind].items()


class Inline(HTMLParser):
    """Collects what the content security policy would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.refused: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = {name for name, _ in attrs}
        if tag == "style" or (tag == "script" and "src" not in names):
            self.refused.append(f"<{tag}>")
        self.refused += [name for name in names if name == "style" or name.startswith(("on", "hx-on"))]
        self.refused += [value for _, value in attrs if (value or "").strip().lower().startswith("javascript:")]


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(WEB)))
def test_no_page_carries_a_style_or_script_of_its_own(page):
    found = Inline()
    # Template tags inside attributes would confuse the parser; they write no markup there.
    found.feed(re.sub(r"\{[%#].*?[%#]\}", "", page.read_text(), flags=re.DOTALL))
    assert found.refused == []


def test_every_vendored_file_is_the_one_its_list_names():
    listed = re.findall(r"\| `([\w.]+)` \|.*\| `([0-9a-f]{64})` \|", (LOOK / "vendor" / "VENDORED.md").read_text())
    files = {path.name for path in (LOOK / "vendor").iterdir() if path.suffix in (".js", ".css")}
    assert files == {name for name, _ in listed}
    for name, checksum in listed:
        assert hashlib.sha256((LOOK / "vendor" / name).read_bytes()).hexdigest() == checksum


def test_the_accessibility_checker_is_the_one_its_readme_names():
    folder = Path(journeys.__file__).parent / "axe"
    checksum = hashlib.sha256((folder / "axe.min.js").read_bytes()).hexdigest()
    assert checksum in (folder / "README.md").read_text()


def test_every_font_file_is_used_and_has_its_licence_beside_it():
    fonts = {path.name for path in (LOOK / "fonts").glob("*.woff2")}
    assert fonts == set(re.findall(r'url\("fonts/([\w-]+\.woff2)"\)', CSS))
    for font in fonts:
        licence = LOOK / "fonts" / f"LICENSE-{font.split('-latin-')[0]}.txt"
        assert "SIL OPEN FONT LICENSE" in licence.read_text()
    assert sum((LOOK / "fonts" / font).stat().st_size for font in fonts) < 100_000


def test_the_stylesheet_asks_nothing_of_another_site():
    assert "http" not in CSS
    assert "@import" not in CSS


def test_every_class_in_the_list_exists():
    listed = set(re.findall(r"`[^`]*`", (LOOK / "README.md").read_text().split("| class | use |")[1]))
    names = {name for part in listed for name in re.findall(r"(?<![\w/])[a-z]*\.([a-z][a-z-]+)(?![\w(.])", part)}
    files = {"html", "css", "svg", "py", "palette", "charts", "weeks_line"}
    missing = {name for name in names - files if f".{name}" not in CSS}
    assert missing == set()
    assert len(names) > 30
