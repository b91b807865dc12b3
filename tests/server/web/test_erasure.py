"""Asking on the pages for a farm, a name or an account to be erased, and taking it back: who may, and who is told."""

from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse

from farms.models import AccountErasure, ErasureRequest, LogEvent, Membership
from farms.services import add_person
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def stored() -> list[ErasureRequest]:
    with as_factory():
        return list(ErasureRequest.objects.order_by("asked_at"))


def test_an_owner_types_the_name_and_everybody_is_told(browser, anna, ben, dana, carla, northfield):
    with as_factory():
        Membership.objects.create(farm=northfield, user=carla, role="owner", began_at=NOW)
    page = at("erase_farm", northfield)
    assert "For 14 days any owner can take it back." in words(browser(anna).get(page))
    assert browser(anna).post(page, {"farm_name": " north  field"}).status_code == 422
    refused = browser(anna).post(page, {"farm_name": "Southmead"})
    assert refused.status_code == 422 and "Type it as it stands here: Northfield." in words(refused)
    assert stored() == [] and mail.outbox == []
    assert browser(anna).post(page, {"farm_name": " NORTHFIELD "}).status_code == 302
    (asked,) = stored()
    assert (asked.due_at - NOW, asked.asked_by_id, asked.person_id) == (timedelta(days=14), anna.id, None)
    told = {each.to[0]: each for each in mail.outbox}
    assert set(told) == {"anna@example.org", "carla@example.org", "dana@example.org"}
    assert told["carla@example.org"].subject == "Northfield is to be erased on Jun 15, 2026"
    assert page in told["carla@example.org"].body and page not in told["dana@example.org"].body
    shown = words(browser(carla).get(page))
    assert "Northfield is to be erased on Monday, June 15. Anna asked for it on Monday, June 1." in shown
    assert "to be erased on Monday, June 15" in words(browser(anna).get(at("settings", northfield)))


def test_another_owner_takes_it_back(browser, anna, carla, northfield):
    with as_factory():
        Membership.objects.create(farm=northfield, user=carla, role="owner", began_at=NOW)
    browser(anna).post(at("erase_farm", northfield), {"farm_name": "Northfield"})
    mail.outbox.clear()
    again = browser(anna).post(at("erase_farm", northfield), {"farm_name": "Northfield"})
    assert again.status_code == 302 and len(stored()) == 1 and mail.outbox == [], "pressed twice"
    for _ in range(2):
        assert browser(carla).post(at("keep_farm", northfield)).status_code == 302
    assert {each.subject for each in mail.outbox} == {"Northfield is not erased"} and len(mail.outbox) == 3
    assert stored()[0].taken_back_at == NOW
    assert "Ask for it to be erased" in words(browser(anna).get(at("erase_farm", northfield)))
    with as_factory():
        kinds = list(LogEvent.objects.filter(kind__startswith="erasure").order_by("id").values_list("kind", flat=True))
    assert kinds == ["erasure_asked", "erasure_taken_back"]
    log = words(browser(anna).get(at("log", northfield)))
    assert "Erasing the farm asked for Anna" in log and "Erasing the farm taken back Carla" in log


@pytest.mark.parametrize("who", ["ben", "dana"])
def test_nobody_but_an_owner_may(browser, request, northfield, anna, who):
    client = browser(request.getfixturevalue(who))
    with acting(anna):
        person = add_person(farm=northfield, name="Pablo", initials="PI", now=NOW)
    erase = reverse("erase_person", args=[northfield.id, person.id])
    for page in (at("erase_farm", northfield), at("keep_farm", northfield), erase):
        assert client.post(page, {"farm_name": "Northfield"}).status_code == 403
    assert stored() == []


def test_a_name_is_asked_for_and_kept_on_the_page_of_people(browser, anna, dana, northfield):
    with acting(anna):
        person = add_person(farm=northfield, name="Pablo", initials="PI", now=NOW)
    page, people = reverse("erase_person", args=[northfield.id, person.id]), at("people", northfield)
    assert "Erase the name Pablo?" in words(browser(anna).get(page))
    for _ in range(2):
        assert browser(anna).post(page, {"words": "on"}).status_code == 302
    (asked,) = stored()
    assert asked.words and asked.person_id == person.id
    told = "The name Pablo is to be erased on Monday, June 8."
    assert told in words(browser(anna).get(people)) and told not in words(browser(dana).get(people))
    assert browser(anna).post(reverse("keep_person", args=[northfield.id, asked.id])).status_code == 302
    assert told not in words(browser(anna).get(people)) and stored()[0].taken_back_at == NOW


def test_an_account_is_asked_for_on_its_own_page_and_kept(browser, ben, northfield):
    page, client = reverse("account"), browser(ben)
    client.cookies["django_language"] = "en"
    assert page in client.get(reverse("shown")).content.decode()
    assert client.post(page, {}).status_code == 302
    shown = words(client.get(page))
    assert "8" in shown
    with as_factory():
        asked = AccountErasure.objects.get()
    assert (asked.user_id, asked.words, asked.due_at) == (ben.id, False, NOW + timedelta(days=7))
    for _ in range(2):
        assert client.post(reverse("keep_account")).status_code == 302
    with as_factory():
        assert AccountErasure.objects.get().taken_back_at == NOW


def test_who_is_still_needed_reads_why(browser, anna, dana, northfield):
    refused = browser(anna).post(reverse("account"), {})
    assert refused.status_code == 422 and "You are the only owner of Northfield." in words(refused)
    refused = browser(dana).post(reverse("account"), {})
    assert refused.status_code == 422 and "You still have a role in the group Valley Advisers." in words(refused)
    with as_factory():
        assert not AccountErasure.objects.exists()
