"""What a station's QR code opens, for whom, and what it asks."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.ids import uuid7
from farms.selectors import tokens_of
from farms.services import add_person, make_phone_code, revoke_token
from monitoring.models import Placement, Station
from server.web.short_ids import ShortId
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_stations
from tests.server.web.pages import at, words
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db


def tag(station):
    return reverse("tag", kwargs={"farm_id": station.farm_id, "station_id": station.id})


@pytest.fixture
def hung(northfield, cards):
    with as_factory():
        return Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=each.id, hung_on="2026-05-25", zone="America/Chicago", entry=1)
            for each in cards
        )


@pytest.fixture
def flats(region, anna):
    """Sorrel Flats, Anna's other farm: five cards."""
    farm = make_farm("Sorrel Flats", region, anna)
    return farm, make_stations(make_facility(farm, "Calf barn", "calf_barn", 1), "card", range(1, 6))


@pytest.fixture
def phone(browser, anna):
    """A phone that typed these farms' codes, one after the other."""

    def make(*farms):
        client = browser()
        for farm in farms:
            with acting(anna):
                code = make_phone_code(farm=farm, by=anna, now=timezone.now())[1]
            assert client.post(reverse("phone"), {"code": code}).status_code == 302
        return client

    return make


def test_it_is_short_and_carries_ids_alone(northfield, cards):
    assert len(tag(cards[0])) == len("/at//") + 2 * 22 + 1
    ids = [UUID(int=0), UUID(int=2**128 - 1), cards[0].id]
    assert [ShortId().to_python(ShortId().to_url(each)) for each in ids] == ids
    assert ShortId().to_python(str(cards[0].id)) == cards[0].id


def test_one_id_has_one_short_address(browser, anna, northfield, cards):
    address = tag(cards[0])
    assert browser(anna).get(address[:-2] + "_/").status_code in (302, 404)
    same = [browser(anna).get(f"{address[:-2]}{letter}/").status_code for letter in "AQgwBRhx"]
    assert same.count(302) == 1


def test_it_opens_the_round_at_what_hangs_there(browser, ben, northfield, cards, hung):
    client = browser(ben)
    opened = client.get(tag(cards[3]))
    assert opened.url == f"{at('count', northfield)}#at-{hung[3].id}"
    assert f'id="at-{hung[3].id}"' in client.get(opened.url).content.decode()


def test_it_opens_on_the_farms_phone(phone, northfield, cards, hung):
    assert phone(northfield).get(tag(cards[1])).url == f"{at('count', northfield)}#at-{hung[1].id}"


def test_a_round_that_was_begun_goes_on(browser, phone, anna, ben, northfield, cards, hung):
    with acting(anna):
        person = add_person(farm=northfield, name="Ben", initials="BE", user=ben, now=NOW)
    for client, counted_by in ((browser(ben), str(person.id)), (phone(northfield), "")):
        sheet = Sheet(client, northfield)
        number = 1 if counted_by else 3
        sheet.type(cards[number], count="41")
        sent = sheet.send(counted_by=counted_by)
        assert sent.status_code == 302
        begun = sheet.fields["walk-round_id"]
        assert client.get(tag(cards[0])).url == f"{at('count', northfield)}?round={begun}#at-{hung[0].id}"
        done = client.get(tag(cards[number]))
        assert done.url == f"{at('count', northfield)}?round={begun}"
        assert f"Card {number + 1}: nothing is left to count here today." in words(client.get(done.url))


def test_whoever_is_not_known_signs_in_and_then_comes_there(browser, northfield, cards):
    sent = browser().get(tag(cards[0]))
    assert sent.url.startswith(reverse("account_request_login_code")) and sent.url.endswith(f"?next={tag(cards[0])}")


def test_strangers_find_nothing(browser, carla, erik, northfield, southmead, cards):
    for user in (carla, erik):
        assert browser(user).get(tag(cards[0])).status_code == 404
        assert browser(user).post(tag(cards[0])).status_code == 404


def test_another_farms_station_is_none_of_this_one(browser, anna, northfield, flats, cards):
    mixed = reverse("tag", kwargs={"farm_id": northfield.id, "station_id": flats[1][0].id})
    assert browser(anna).get(mixed).status_code == 404


def test_a_place_in_use_no_more_says_so_and_leads_to_the_round(browser, phone, ben, northfield, cards):
    with as_factory():
        Station.objects.filter(id=cards[0].id).update(until=NOW.date() - timedelta(days=1))
        Station.objects.filter(id=cards[1].id).update(since=NOW.date() + timedelta(days=3))
    for client in (browser(ben), phone(northfield)):
        page = client.get(tag(cards[0]))
        assert page.status_code == 200 and "Card 1 is no longer in use" in words(page)
        assert f'href="{at("count", northfield)}"' in page.content.decode()
        assert "It is counted from Jun 4 on." in words(client.get(tag(cards[1])))


def test_who_counted_last_on_another_farm_is_asked_once_a_day(browser, anna, northfield, flats, cards, hung):
    client, (_farm, places) = browser(anna), flats
    assert client.get(tag(places[0])).status_code == 302, "never counted anywhere: nothing to ask"
    assert Sheet(client, northfield).type(cards[0], count="41").send().status_code == 302
    assert client.get(tag(cards[1])).status_code == 302
    asked = client.get(tag(places[0]))
    assert "This is Sorrel Flats. Open its round?" in words(asked)
    assert "You counted on Northfield last." in words(asked)
    assert f'href="{at("count", northfield)}"' in asked.content.decode()
    assert client.post(tag(places[0])).url == f"{at('count', places[0].farm)}#at-{places[0].id}"
    assert client.get(tag(places[1])).status_code == 302, "said yes today"
    assert "Open its round?" in words(browser(anna).get(tag(places[1]))), "on another phone nobody said yes"


def test_a_sheet_typed_in_at_a_desk_is_no_walk(browser, dana, anna, northfield, flats, cards, hung):
    client = browser(anna)
    sheet = Sheet(client, northfield, at("paper", northfield) + "?day=2026-06-01")
    sheet.fields |= {"typed_by": "", "typed_on": "2026-06-01"}
    assert sheet.type(cards[0], count="41").send().status_code == 302
    assert client.get(tag(flats[1][0])).status_code == 302


def test_a_phone_with_both_farms_codes_asks_and_changes_over(phone, northfield, flats, cards, hung):
    farm, places = flats
    client = phone(northfield, farm)
    assert client.get(at("count", farm)).status_code == 200 and client.get(at("count", northfield)).status_code == 404
    asked = client.get(tag(cards[0]))
    assert "This is Northfield. Open its round?" in words(asked)
    assert "This phone counts for Sorrel Flats at the moment." in words(asked)
    assert client.get(at("count", northfield)).status_code == 404, "asking changes nothing"
    changed = client.post(tag(cards[0]))
    assert changed.url == f"{at('count', northfield)}#at-{hung[0].id}"
    assert client.get(changed.url).status_code == 200 and client.get(at("count", farm)).status_code == 404
    assert "This is Sorrel Flats. Open its round?" in words(client.get(tag(places[0])))


def test_a_phone_without_that_farms_code_learns_nothing_of_it(phone, northfield, flats, southmead, cards, hung):
    client = phone(northfield)
    with as_factory():
        stranger = Station.objects.filter(farm=southmead).first()
    nobody = reverse("tag", kwargs={"farm_id": uuid7(), "station_id": uuid7()})
    pages = [client.get(address) for address in (tag(flats[1][0]), tag(stranger), nobody)]
    assert {page.status_code for page in pages} == {404} and len({words(page) for page in pages}) == 1
    assert "This tag is not of Northfield" in words(pages[0]) and "Sorrel" not in words(pages[0])


def test_a_farm_that_switched_the_phone_off_is_no_longer_on_it(phone, anna, northfield, flats, cards):
    farm, places = flats
    client = phone(northfield, farm)
    with acting(anna):
        revoke_token(token=tokens_of(northfield).get(), by=anna, now=timezone.now())
    assert client.get(tag(cards[0])).status_code == 404
    with acting(anna):
        revoke_token(token=tokens_of(farm).get(), by=anna, now=timezone.now())
    assert client.get(tag(places[0])).status_code == 302, "nobody's phone: sign in"


def test_taking_the_farm_off_the_phone_takes_them_all(phone, northfield, flats, cards):
    client = phone(northfield, flats[0])
    client.post(reverse("leave_phone"))
    assert client.get(tag(cards[0])).url.startswith(reverse("account_request_login_code"))
