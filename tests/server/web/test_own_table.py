"""A table of one's own on its pages: proposed, seen as it will be stored, stored once, kept from everybody else."""

import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from farms.models import Facility
from monitoring.models import OwnTable, OwnTableReading, Reading, Station
from tests.cast import as_factory
from tests.isolation.forms import forms_in
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
TABLE = """Fecha;Tarjeta;Nave;Conteo
24/05/2026;1;Calf barn;41
24/05/2026;9;Parto;12
24/05/2026;2;Calf barn;volada
31/05/2026;1;Calf barn;63
Total;;;116
"""


def choose(client: Any, farm: Any, text: str = TABLE, name: str = "moscas.csv") -> Any:
    sent = {"table": SimpleUploadedFile(name, text.encode("cp1252"), "text/csv")}
    return client.post(reverse("own_table_file", args=[farm.id]), sent, follow=True)


def form_of(page: Any) -> dict[str, Any]:
    """What a browser would send from the page, the button apart."""
    address = page.request["PATH_INFO"]
    return {name: values for name, values in dict(forms_in(page, address))[address].items() if name != "store"}


def send(client: Any, page: Any, **changed: Any) -> Any:
    return client.post(page.request["PATH_INFO"], form_of(page) | changed, follow=True)


def stored(farm: Any) -> list[tuple[int, str, int | None, str]]:
    with as_factory():
        rows = Reading.objects.filter(farm=farm).order_by("station__number", "taken_on")
        return [
            (row.station.number, str(row.taken_on), row.count, row.reason) for row in rows.select_related("station")
        ]


def test_looked_at_corrected_stored_and_sent_again_stored_once(browser, anna, northfield):
    client = browser(anna)
    page = choose(client, northfield)
    shown = words(page)
    assert "Nothing is stored yet." in shown and "This is no count, and above it" in shown
    assert "Card 9" in shown and "is passed over" in shown and stored(northfield) == []
    word, home = (re.search(rf'name="{name}" value="([^"]*)"', page.content.decode())[1] for name in ("word", "home"))
    assert (word, home) == ("volada", "Parto")
    decided = {"word-0": "spun", "home-0": "new maternity_pen"}
    early = send(client, page, **decided, store="yes")
    assert "Something was changed after you looked." in words(early) and stored(northfield) == []
    seen = send(client, page, **decided)
    assert "4 new counts" in words(seen) and "This is no count, and above it" not in words(seen)
    with as_factory():
        assert not Facility.objects.filter(farm=northfield, name="Parto").exists()
    done = send(client, seen, store="yes")
    assert done.request["PATH_INFO"] == reverse("rounds", args=[northfield.id]) and "4 counts stored." in words(done)
    expected = [
        (1, "2026-05-24", 41, ""), (1, "2026-05-31", 63, ""), (2, "2026-05-24", None, "spun"), (9, "2026-05-24", 12, "")
    ]  # fmt: skip
    assert stored(northfield) == expected
    with as_factory():
        new = Station.objects.select_related("facility").get(farm=northfield, number=9)
        assert (new.facility.name, new.facility.kind, str(new.since)) == ("Parto", "maternity_pen", "2026-05-17")
        assert Reading.objects.get(station=new).round.source == "file"
        assert not OwnTable.objects.exists()
        kept = OwnTableReading.objects.get(farm=northfield).choices
    assert kept["columns"]["conteo"] == "count" and kept["words"] == {"volada": "spun"}
    # The next time what was chosen is proposed, and nothing is stored twice.
    again = choose(client, northfield)
    assert "4 that are stored already" in words(again) and "above it isn" not in words(again)
    assert stored(northfield) == expected


def test_an_unclear_order_of_day_and_month_is_asked_for(browser, anna, northfield):
    client = browser(anna)
    page = choose(client, northfield, "date,card,count\n04/05/2026,1,41\n")
    assert "could be read in two ways" in words(page) and "Store these" not in words(page)
    assert "1 new count" in words(send(client, page, order="day_first"))
    assert send(client, page, order="").status_code == 422


def test_another_row_of_names_is_read_anew(browser, anna, northfield):
    client = browser(anna)
    page = choose(client, northfield, "date,card,count\nignored,ignored,ignored\ndate,trap,flies\n2026-05-24,1,250\n")
    again = send(client, page, header="3")
    assert "Trap 1" in words(again) and "1 new count" in words(again)


@pytest.mark.parametrize("text", ["", "PK\x03\x04", "a"])
def test_what_is_no_table_is_refused_where_it_is_chosen(browser, anna, northfield, text):
    page = choose(browser(anna), northfield, text)
    assert page.status_code in (200, 422)
    with as_factory():
        assert OwnTable.objects.exists() is (text == "a")


def test_a_table_that_waits_is_found_by_whoever_chose_it_alone(browser, anna, ben, carla, dana, northfield, southmead):
    address = choose(browser(anna), northfield).request["PATH_INFO"]
    assert browser(dana).get(address).status_code == 404
    assert browser(ben).get(address).status_code == 403
    assert browser(carla).get(address).status_code == 404
    elsewhere = address.replace(str(northfield.id), str(southmead.id))
    assert browser(carla).get(elsewhere).status_code == 404
    assert browser(anna).get(address).status_code == 200
    from tests.cast import acting

    with acting(dana):
        assert not OwnTable.objects.exists()
    with acting(anna):
        assert OwnTable.objects.exists()


def test_a_building_of_another_farm_can_not_be_named(browser, carla, southmead, calf_barn):
    client = browser(carla)
    page = choose(client, southmead)
    refused = send(client, page, **{"home-0": str(calf_barn.id)})
    assert "Card 9" in words(refused)
    send(client, refused, store="yes")
    with as_factory():
        assert not Station.objects.filter(number=9).exists()
