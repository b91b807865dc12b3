"""A fly walk on a phone, with and without scripts: a place is found, tapped on the plan, photographed, and followed."""

import pytest

from monitoring.models import Finding, FindingPhoto
from monitoring.services import Drawn, draw_plan
from tests.cast import NOW, acting, as_factory
from tests.journeys.chromium import PHONE, chromium, signed_in
from tests.monitoring.pictures import jpeg
from tests.server.web.pages import at

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
CORNERS = [[0.1, 0.1], [0.6, 0.1], [0.6, 0.6], [0.1, 0.6]]


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, northfield, cards, calf_barn, anna):
    """Northfield's plan: the calf barn with its cards."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    outline = {"name": "", "facility_id": str(calf_barn.id), "points": CORNERS}
    places = {card.id: (0.12 * number, 0.3) for number, card in enumerate(cards, start=1)}
    with acting(anna):
        draw_plan(farm=northfield, drawn=Drawn([outline], places), by=anna, now=NOW)


def place(page, name):
    return page.locator(".walk-place").filter(has_text=name).first


def stored():
    with as_factory():
        return {row.place: row for row in Finding.objects.all()}


def test_a_place_is_tapped_on_the_plan_and_followed_until_it_is_gone(live_server, ben, northfield, calf_barn):
    with chromium() as browser:
        page, complaints = signed_in(browser, live_server.url, ben, PHONE)
        page.goto(live_server.url + at("walks", northfield))
        page.get_by_role("link", name="Calf barn").click()
        waterers = place(page, "Debajo de los bebederos")
        assert not waterers.get_by_label("Qué hacer").is_visible()
        waterers.get_by_label("Se encontró algo").check()
        waterers.get_by_label("muchos", exact=True).first.check()
        waterers.get_by_label("Qué hacer").fill("Reparar el flotador")
        waterers.locator("summary").click()
        sheet = waterers.locator("svg.plan .sheet").locator("visible=true")
        box = sheet.bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 4)
        assert waterers.locator(".walk-here").locator("visible=true").count() == 1
        waterers.get_by_label("Foto").set_input_files(
            {"name": "barn.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
        )  # fmt: skip
        place(page, "Canaletas").get_by_label("No se encontró nada").check()
        page.get_by_role("button", name="Anotar la búsqueda").click()
        page.wait_for_url("**/walks/*/")
        page.get_by_role("link", name="Debajo de los bebederos").click()
        page.get_by_label("Hecho", exact=True).check()
        page.get_by_role("button", name="Anotar").click()
        page.wait_for_load_state()
        page.get_by_label("Se miró otra vez: ya no está").check()
        page.get_by_role("button", name="Anotar").click()
        page.wait_for_load_state()
        assert "Ya no está desde el" in page.inner_text("main")
        assert complaints == []
    rows = stored()
    assert (rows.keys(), rows["gutters"].nothing) == ({"waterers", "gutters"}, True)
    assert (rows["waterers"].x, rows["waterers"].y) == (pytest.approx(0.5, abs=0.02), pytest.approx(0.25, abs=0.02))
    with as_factory():
        assert FindingPhoto.objects.count() == 1


def test_without_scripts_the_same_form_does_the_same(live_server, anna, northfield, calf_barn):
    with chromium() as browser:
        page, _complaints = signed_in(browser, live_server.url, anna, PHONE | {"java_script_enabled": False})
        page.goto(live_server.url + at("walk_new", northfield) + f"?building={calf_barn.id}")
        first = place(page, "Corners and edges of pens")
        first.get_by_label("Found something").check()
        first.get_by_label("wet", exact=True).check()
        first.locator("summary").click()
        first.get_by_label("On the plan, from the left (%)").fill("25")
        first.get_by_label("On the plan, from the top (%)").fill("75")
        page.get_by_role("button", name="Note the walk").click()
        page.wait_for_url("**/walks/*/")
    row = stored()["pen_corners"]
    assert (row.moisture, row.x, row.y, row.facility_id) == ("wet", 0.25, 0.75, calf_barn.id)
