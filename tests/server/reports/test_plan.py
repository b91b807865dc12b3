"""The plan on paper: read by pypdf, a program of its own."""

import io

import pytest
from pypdf import PdfReader

from monitoring.rules.pictures import picture_from
from monitoring.services import Drawn, draw_plan, lay_picture
from tests.cast import NOW, acting, make_stations
from tests.monitoring.pictures import sketch, with_everything
from tests.server.web.pages import at

pytestmark = pytest.mark.django_db
SQUARE = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5], [0.1, 0.5]]
# ISO 216 and ANSI/ASME Y14.1: A4 is 210 by 297 mm, Letter 8.5 by 11 inches; in points of 1/72 inch.
SHEETS = {"a4": (595.28, 841.89), "letter": (612, 792)}


def read(response):
    assert response.status_code == 200 and response.headers["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(response.content))


def text_of(pdf):
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).split())


@pytest.fixture
def drawn(northfield, anna, calf_barn, cards):
    with acting(anna):
        lay_picture(farm=northfield, picture=picture_from(with_everything(sketch())), by=anna, now=NOW)
        outlines = [
            {"name": "", "facility_id": str(calf_barn.id), "points": SQUARE},
            {"name": "Silo", "points": SQUARE},
        ]
        places = {card.id: (0.1 * card.number, 0.0) for card in cards[:4]}
        draw_plan(farm=northfield, drawn=Drawn(outlines, places), by=anna, now=NOW)
    return northfield


@pytest.mark.parametrize("paper", SHEETS)
def test_a_page_has_the_plan_and_the_stations_in_walking_order(browser, ben, drawn, paper):
    pdf = read(browser(ben).get(at("plan_print", drawn) + f"?paper={paper}&language=en"))
    page = pdf.pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SHEETS[paper], abs=0.02)
    told = text_of(pdf)
    assert "Plan of Northfield" in told and "June 1, 2026" in told and "Silo" in told
    assert "Not on the plan yet: Card 5, Trap 1, Trap 2, Leg count 1." in told
    order = [
        told.rindex(name)
        for name in ("In walking order", "Calf barn", "Card 5", "Free-stall barn", "Trap 2", "Dry lot")
    ]
    assert order == sorted(order) and told.count("Card 1") == 2
    assert "the label says" in told and len(page.images) == 1


def test_it_is_tagged_says_its_language_and_speaks_it(browser, anna, drawn):
    pdf = read(browser(anna).get(at("plan_print", drawn) + "?language=es"))
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] and "/StructTreeRoot" in root and root["/Lang"] == "es"
    told = text_of(pdf)
    assert "Tarjeta 1" in told and "1 de junio de 2026" in told


def test_a_farm_without_a_plan_and_one_with_many_stations_have_theirs(browser, anna, northfield, calf_barn):
    assert "Not on the plan yet: Card 1" in text_of(read(browser(anna).get(at("plan_print", northfield))))
    make_stations(calf_barn, "card", range(6, 86))
    pdf = read(browser(anna).get(at("plan_print", northfield)))
    assert "Card 85" in text_of(pdf) and len(pdf.pages) <= 3
