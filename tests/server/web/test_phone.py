import pytest
from django.urls import reverse
from django.utils import timezone

from farms.access import actor_on
from farms.selectors import tokens_of
from farms.services import make_phone_code, revoke_token
from server.web.phone import COOKIE
from tests.cast import acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def code(anna, northfield):
    with acting(anna):
        return make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]


def test_a_code_makes_the_phone_the_farms_in_a_cookie_no_script_can_read(browser, northfield, code):
    client = browser()
    answered = client.post(reverse("phone"), {"code": code, "name": "barn phone"})
    assert answered.url == reverse("home")
    cookie = client.cookies[COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"
    with as_factory():
        phone = tokens_of(northfield).get()
    assert (phone.name, phone.scope) == ("barn phone", "count")


def test_opening_the_picture_fills_the_code_in_and_uses_nothing_up(browser, code):
    client = browser()
    digits = code.replace(" ", "")
    assert f'value="{digits}"' in client.get(reverse("phone"), {"code": digits}).content.decode()
    assert client.post(reverse("phone"), {"code": digits}).status_code == 302


def test_a_code_works_once(browser, code):
    browser().post(reverse("phone"), {"code": code})
    again = browser().post(reverse("phone"), {"code": code})
    assert again.status_code == 422 and "This code doesn't fit" in words(again)


@pytest.mark.parametrize("typed", ["", "123", "no digits at all"])
def test_a_code_with_missing_digits_is_refused_before_it_is_tried(browser, db, typed):
    assert browser().post(reverse("phone"), {"code": typed}).status_code == 422


def test_codes_can_not_be_tried_without_end(browser, db):
    answers = [browser().post(reverse("phone"), {"code": f"{n:08}"}).status_code for n in range(31)]
    assert set(answers[:30]) == {422} and answers[30] == 429


def test_a_phone_sees_round_pages_of_its_farm_and_nothing_else(browser, northfield, southmead, code):
    client = browser()
    client.post(reverse("phone"), {"code": code})
    assert client.get(at("people", northfield)).status_code == 403
    assert client.get(at("people", southmead)).status_code == 404


def test_a_phone_switched_off_is_a_stranger(browser, anna, northfield, code):
    client = browser()
    client.post(reverse("phone"), {"code": code})
    with acting(anna):
        revoke_token(token=tokens_of(northfield).get(), by=anna, now=timezone.now())
    assert client.get(at("people", northfield)).status_code == 302


def test_a_cookie_that_was_tampered_with_is_no_phone(browser, northfield, code):
    client = browser()
    client.post(reverse("phone"), {"code": code})
    client.cookies[COOKIE] = client.cookies[COOKIE].value[:-2] + "xx"
    assert client.get(at("people", northfield)).status_code == 302


def test_the_farm_can_be_taken_off_the_phone(browser, northfield, code):
    client = browser()
    client.post(reverse("phone"), {"code": code})
    client.post(reverse("leave_phone"))
    assert client.get(at("people", northfield)).status_code == 302


def test_a_phone_is_called_a_phone_in_the_farms_log(northfield, code, browser):
    browser().post(reverse("phone"), {"code": code})
    with as_factory():
        phone = tokens_of(northfield).get()
    assert actor_on(phone, northfield.id).kind == "phone"
