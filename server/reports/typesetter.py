"""The typesetter: a template and what it is given become a PDF, by our own fonts alone."""

import json
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import typst

from monitoring.charts import LIGHT

HERE = Path(__file__).parent
FONTS = (HERE / "fonts", HERE.parents[1] / "monitoring" / "charts" / "fonts")
PAPERS = {"a4": "a4", "letter": "us-letter"}


def set_pdf(
    template: str, given: Mapping[str, Any], pictures: Mapping[str, str | bytes] | None = None, standard: str = ""
) -> bytes:
    """A PDF of a template of this folder; it reads what is given from given.json, and each picture by its name.

    With a `standard` ("ua-1": PDF/UA-1) the typesetter checks that the file keeps it. Where a name has a letter that
    none of the fonts has, no file can: then it is set without the claim, with a box in the letter's place.
    """
    with tempfile.TemporaryDirectory(prefix="flyround-paper-") as folder:
        for name, drawing in (pictures or {}).items():
            Path(folder, name).write_bytes(drawing.encode() if isinstance(drawing, str) else drawing)
        Path(folder, "given.json").write_text(json.dumps({**given, "palette": vars(LIGHT)}), "utf-8")
        made = _compiled((HERE / template).read_bytes(), folder, [standard] if standard else [])
    if not isinstance(made, bytes):
        raise TypeError("The typesetter gave no PDF.")
    return made


def _compiled(source: bytes, folder: str, standards: list[str]) -> Any:
    try:
        return typst.compile(
            source, root=folder, font_paths=_fonts(), ignore_system_fonts=True, pdf_standards=standards
        )  # type: ignore[call-overload]  # fmt: skip
    except typst.TypstError as refusal:
        if not standards or "could not be displayed" not in str(refusal):
            raise
        return _compiled(source, folder, [])


def usual_paper(time_zone: str) -> str:
    """The paper that is usual where a group works: Letter in the Americas, A4 elsewhere; common practice, no source."""
    return "letter" if time_zone.startswith(("America/", "US/", "Canada/")) else "a4"


@cache
def _fonts() -> Any:
    """Read once: what a machine has installed changes no page."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[*map(str, FONTS)])
