"""The search finds what one's doors open, in any spelling, and never a name of a foreign farm."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from farms.models import Consent, GroupMember, Person
from farms.models.access import GroupRole
from tests.alerts.large_group import make_group_of
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, as_factory, make_farm, make_user
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def found(browser, user, text: str) -> dict[str, str]:
    """What a search finds: the addresses with their names."""
    page = browser(user).get(reverse("search"), {"q": text})
    assert page.status_code == 200
    main = page.content.decode().partition("<main")[2].partition("</main>")[0]
    return dict(re.findall(r'<li><a href="([^"]+)">([^<]+)</a>', main))


@pytest.fixture
def yard(group, northfield, southmead, cards):
    """Northfield over its level, with Lucía who counts; Southmead is another's."""
    count_week(cards, monday(7), [130, 140, 150, 160, 170])
    check(group, monday(7))
    with as_factory():
        for farm, name in ((northfield, "Lucía Peña"), (southmead, "Lucía Alba")):
            Person.objects.create(farm=farm, name=name, initials="LP", made_at=NOW)
    return northfield


def test_everything_of_a_farm_is_found_by_its_people_and_its_adviser(browser, anna, dana, yard, cards):
    for user in (anna, dana):
        assert found(browser, user, "NORTHFIELD")[at("farm", yard)] == "Northfield"
        assert found(browser, user, "calf")[at("stations", yard)] == "Calf barn"
        assert at("siting", yard, station_id=cards[3].id) in found(browser, user, "north card 4")
        assert found(browser, user, "lucia pen")[at("people", yard)] == "Lucía Peña"
        assert any("/matters/" in address for address in found(browser, user, "cards over"))
        assert found(browser, user, "lower")[reverse("region", args=[yard.region_id])] == "Lower Valley"


@pytest.mark.parametrize(("question", "page"), [
    ("where do I change the mail day?", "mail_day"),
    ("northfield mail day", "mail_day"),
    ("action levels", "levels"),
    ("webhooks", "webhooks"),
    ("who may see", "consents"),
])  # fmt: skip
def test_a_question_leads_to_the_page_where_it_is_set(browser, anna, yard, question, page):
    assert at(page, yard) in found(browser, anna, question)


def test_nothing_is_found_behind_a_door_that_is_closed(browser, anna, ben, carla, dana, erik, yard, southmead):
    assert at("consents", yard) not in found(browser, dana, "who may see what")
    for text in ("mail day", "lucia", "webhooks"):
        assert at("people", yard) not in found(browser, ben, text) and at("mail_day", yard) not in found(
            browser, ben, text
        )
    for user in (carla, erik):
        for text in ("northfield", "calf", "card 4", "lucia", "cards over", "mail day north"):
            assert str(yard.id) not in str(found(browser, user, text)), (user, text)
    page = words(browser(anna).get(reverse("search"), {"q": "lucia"}))
    assert "Alba" not in page and "Southmead" not in page


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_every_address_that_is_found_opens(browser, anna, ben, dana, erik, yard):
    asked = (
        "north;calf 1;card 1;lucia;over;valley;mail day;level rule running guest adviser terms;file;season close;data"
    )
    asked += ";season close;data;visits;count;work;planned work;calendar;text message;log;key"
    for user in (anna, ben, dana, erik):
        addresses = {address for text in asked.split(";") for address in found(browser, user, text)}
        assert len(addresses) > 5
        client = browser(user)
        assert {address: client.get(address).status_code for address in addresses} == dict.fromkeys(addresses, 200)


def test_a_guest_finds_regions_only(browser, group, yard):
    wim = make_user("Wim")
    with as_factory():
        GroupMember.objects.create(
            group=group, user=wim, role=GroupRole.GUEST, name="Wim", ends_at=NOW.replace(year=2099)
        )
    for text in ("north", "calf", "card 4", "lucia", "over", "mail day", "rules"):
        assert found(browser, wim, text) == {}
    assert list(found(browser, wim, "lower")) == [reverse("region", args=[yard.region_id])]


def test_an_empty_search_and_one_without_a_find_say_what_to_type(browser, anna, yard):
    assert "A farm, a barn, “card 4”" in words(browser(anna).get(reverse("search")))
    nothing = words(browser(anna).get(reverse("search"), {"q": "<b>zz"}))
    assert "Nothing that you may see is called “<b>zz”. Type fewer letters" in nothing
    assert browser(anna).get(reverse("search"), {"q": "a\x00b" * 200}).status_code == 200
    assert browser().get(reverse("search"), {"q": "north"}).status_code == 302


def test_of_many_farms_a_page_asks_which_and_the_database_is_asked_no_more(browser, dana, region, yard):
    with CaptureQueriesContext(connection) as of_one:
        browser(dana).get(reverse("search"), {"q": "mail day"})
    with as_factory():
        more = make_group_of(region, 12)
        Consent.objects.bulk_create(
            Consent(farm=farm, kind="adviser", adviser=dana, given_by=dana, given_at=NOW, entry=0) for farm in more
        )
    with CaptureQueriesContext(connection) as of_many:
        page = words(browser(dana).get(reverse("search"), {"q": "mail day"}))
    assert len(of_many) == len(of_one)
    assert "Day of the mail" in page and "of which farm? Type its name, too" in page
    assert at("mail_day", more[5]) in found(browser, dana, "mail day farm 5")
    assert "And 4 more: type another word." in words(browser(dana).get(reverse("search"), {"q": "farm"}))


def test_names_are_found_in_any_spelling(browser, anna, region):
    farm = make_farm("Rancho Peñón", region, anna)
    for text in ("penon", "PEÑÓN", "rancho pe", "ñón"):
        assert at("farm", farm) in found(browser, anna, text)
