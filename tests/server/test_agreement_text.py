"""The data agreement's text: the same in both languages, what was asked of it, and never changed once it was out."""

from hashlib import sha256
from typing import Any

import pytest

from alerts.delivery.participation import FEWEST
from farms.agreement import IN_FORCE, VERSIONS, AdviserSays, Agreement, Terms
from farms.licences import LICENCES
from farms.models import Farm, Group, User
from monitoring.analysis.correlated_weeks import FARMS_TO_BORROW
from monitoring.analysis.disclosure import NUMBERS_FROM, WORD_FROM
from server.agreement import text_of
from server.agreement.text import TEXTS

# Farms have accepted these: another text is another version.
PUBLISHED = {
    "2026-1.en.txt": "0bb40692014f963d86d717fbffb670105670f037af9f6b27a7f7fd7a32389f60",
    "2026-1.es.txt": "872eed837d9e4695812bbac468ed46b9a15753be6b887e82f69193405b0e96ad",
}
LANGUAGES = ("en", "es")


def agreement(version: str = IN_FORCE, *, name: str = "Northfield", **terms: Any) -> Agreement:
    farm = Farm(name=name, group=Group(name="Valley Advisers"))
    dana, fay = User(name="Dana"), User(name="Fay")
    advisers = (AdviserSays(dana, sells_products=True), AdviserSays(fay, sells_products=None))
    return Agreement(farm, version, Terms(**terms), advisers)


def everything(language: str, **more: Any) -> str:
    text = text_of(agreement(**more), language)
    parts = [text.title]
    for s in text.sections:
        parts += [s.heading, *s.paragraphs, *s.columns, *(cell for row in s.rows for cell in row), *s.points, *s.after]
    return "\n".join(parts)


def test_a_text_that_is_out_is_never_changed():
    assert {path.name: sha256(path.read_bytes()).hexdigest() for path in TEXTS.iterdir()} == PUBLISHED


@pytest.mark.parametrize("version", VERSIONS)
def test_both_languages_say_it_in_the_same_places(version):
    shapes = [
        [(len(s.paragraphs), len(s.columns), [len(row) for row in s.rows], len(s.points), len(s.after))
         for s in text_of(agreement(version), language).sections]
        for language in LANGUAGES
    ]  # fmt: skip
    assert shapes[0] == shapes[1]
    assert all(set(cells) <= {columns} for _p, columns, cells, _points, _after in shapes[0])


@pytest.mark.parametrize(("language", "wanted"), [
    ("en", [
        "Ten or more owners", "five to nine a word", "fewer nothing", "from thirty owners on",
        "takes effect with the next quarter, too: until the quarter ends, the farm still counts",
        "Leaving the adviser works at once", "erased or sold in the middle of a quarter leaves the reports at once",
        "Records may be demanded in a dispute", "write what was seen, not guesses",
        "no farm's counts to a buyer, an agency, a neighbor or a court without the farm's written yes or a legal order",
        "This is no legal advice.", "for five farms or more together",
    ]),
    ("es", [
        "Diez o más dueños", "de cinco a nueve, una palabra", "menos, nada", "a partir de treinta dueños",
        "hasta que termine el trimestre, la lechería todavía cuenta", "Terminar con el asesor vale de inmediato",
        "se borra o se vende a la mitad de un trimestre sale de los informes de inmediato",
        "pueden ser exigidos en un pleito", "anote lo que se vio, no suposiciones",
        "a un comprador, una autoridad, un vecino o un juez sin el sí por escrito de la lechería o una orden legal",
        "Esto no es asesoría legal.", "de cinco lecherías o más juntas",
    ]),
])  # fmt: skip
def test_it_says_what_a_farm_has_to_know(language, wanted):
    told = everything(language)
    assert [each for each in wanted if each not in told] == []


def test_its_numbers_are_those_that_the_service_goes_by():
    assert (NUMBERS_FROM, WORD_FROM, FARMS_TO_BORROW, FEWEST) == (10, 5, 30, 5)


@pytest.mark.parametrize(("sells", "english", "spanish"), [
    (True, "sells fly products.", "vende productos contra moscas."),
    (False, "sells no fly products.", "no vende productos contra moscas."),
    (None, "has not said whether it sells fly products.", "no ha dicho si vende productos contra moscas."),
])  # fmt: skip
def test_who_sells_what_is_said_or_said_not_to_be_said(sells, english, spanish):
    assert f"The group Valley Advisers: {english}" in everything("en", sells_products=sells)
    assert f"El grupo Valley Advisers: {spanish}" in everything("es", sells_products=sells)
    assert "The adviser Dana: sells fly products. The adviser Fay: has not said" in everything("en")


def test_the_licence_and_whom_to_ask_are_the_groups():
    told = everything("en", licence=LICENCES["ODbL-1.0"], contact="Office, 555 0100")
    assert "Open Data Commons Open Database License v1.0 (ODbL-1.0)" in told
    assert "Questions go to: Office, 555 0100" in told


def test_a_name_makes_no_heading_no_row_and_no_template():
    name = "# {{ licence }} | {% now 'Y' %} <b>"
    text = text_of(agreement(name=name), "en")
    assert f"An agreement between the farm {name} and the group" in text.sections[0].paragraphs[0]
    assert len(text.sections) == 8
