import pytest

from farms.models import Facility
from monitoring.models import Siting, Station
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def station(facility, **values):
    plain = {
        "facility": facility.id,
        "method": "card",
        "number": 6,
        "position": 6,
        "near": "milk",
        "since": "2026-06-01",
    }
    return {f"station-{name}": str(value) for name, value in (plain | values).items()}


def test_an_adviser_adds_a_barn_and_a_card_in_it(browser, dana, northfield):
    client = browser(dana)
    sent = {"barn-name": "Milk house", "barn-kind": "milk_house", "barn-position": "4"}
    assert "Milk house is added." in words(client.post(at("add_barn", northfield), sent, follow=True))
    with as_factory():
        barn = Facility.objects.get(farm=northfield, name="Milk house")
    page = words(client.post(at("add_station", northfield), station(barn), follow=True))
    assert "Card 6 is added." in page and "Card 6 milk near" in page


def test_a_number_that_is_taken_is_told_beside_it(browser, dana, northfield, calf_barn):
    refused = browser(dana).post(at("add_station", northfield), station(calf_barn, number=1))
    assert refused.status_code == 422 and "This farm already has a Card 1." in words(refused)
    assert 'id="id_station-number_error"' in refused.content.decode()


def test_a_name_that_is_taken_is_told_beside_it(browser, dana, northfield, calf_barn):
    sent = {"barn-name": "Calf barn", "barn-kind": "calf_barn", "barn-position": "4"}
    refused = browser(dana).post(at("add_barn", northfield), sent)
    assert refused.status_code == 422 and "already has a barn or lot of that name" in words(refused)


def test_how_a_card_hangs_is_noted_from_a_day_on_and_what_was_before_stays(browser, dana, northfield, cards):
    address = at("siting", northfield, station_id=cards[0].id)
    sent = {"near": "water", "windy": "on", "out_of_reach": "no", "since": "2026-05-20"}
    page = words(browser(dana).post(address, sent, follow=True))
    assert "Card 1 water near, in the wind, within reach of animals or children" in page
    with as_factory():
        assert Siting.objects.filter(farm=northfield, station_id=cards[0].id).count() == 2


def test_another_farms_station_is_not_found(browser, dana, northfield, southmead):
    with as_factory():
        theirs = Station.objects.filter(farm=southmead).first()
    assert browser(dana).get(at("siting", northfield, station_id=theirs.id)).status_code == 404
