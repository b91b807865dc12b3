"""The page where a person makes feed addresses."""

import re
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from farms.models import FeedAddress
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db
PAGE = reverse("feeds")


def address_on(page):
    found = re.search(r"<code>(\S+?)</code>", page.text)
    return urlsplit(found[1]).path if found else None


@pytest.mark.parametrize("kind", ["calendar", "matters"])
def test_an_address_is_made_shown_once_and_switched_off(browser, ben, northfield, kind):
    client = browser(ben)
    assert "Give it to nobody" not in words(client.get(PAGE))
    made = client.post(PAGE, {"kind": kind})
    path = address_on(made)
    assert (
        made.status_code == 200 and "Give it to nobody" in words(made) and "no-store" in made.headers["Cache-Control"]
    )
    assert Client().get(path).status_code == 200
    again = client.get(PAGE)
    assert address_on(again) is None and path.split("/")[2] not in again.text
    assert "A program last asked there on" in words(again)
    (feed,) = FeedAddress.objects.all()
    assert client.post(reverse("switch_off_feed", args=[feed.id])).url == PAGE
    assert "switched off" in words(client.get(PAGE)) and Client().get(path).status_code == 404


def test_looking_makes_nothing_and_a_made_up_kind_is_refused(browser, anna, northfield):
    client = browser(anna)
    client.get(PAGE)
    refused = client.post(PAGE, {"kind": "everything"})
    assert refused.status_code == 422 and "Choose calendar or matters." in words(refused)
    assert not FeedAddress.objects.exists()


def test_who_is_not_signed_in_is_asked_to(browser, northfield):
    assert browser().get(PAGE).status_code == browser().post(PAGE, {"kind": "calendar"}).status_code == 302


def test_nobody_switches_off_what_is_somebody_elses(browser, anna, ben, northfield):
    path = address_on(browser(anna).post(PAGE, {"kind": "calendar"}))
    (feed,) = FeedAddress.objects.all()
    assert browser(ben).post(reverse("switch_off_feed", args=[feed.id])).status_code == 404
    assert Client().get(path).status_code == 200


def test_it_is_linked_from_every_page_and_from_the_farms(browser, anna, northfield):
    assert browser(anna).get(reverse("farms")).text.count(f'href="{PAGE}"') == 2
