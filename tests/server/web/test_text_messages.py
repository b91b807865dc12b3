"""The page of text messages: a number is named, shown to be its person's by a code, and taken away."""

import pytest
from django.urls import reverse

from alerts.models import TextMessage, TextNumber
from alerts.text_codes import code_of
from tests.alerts.test_text_messages import KEY, NUMBER, OTHER, WRITTEN
from tests.cast import as_factory
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db


@pytest.fixture
def on(settings) -> None:
    settings.TEXT_MESSAGE_URL, settings.TEXT_MESSAGE_KEY = "https://texts.example.org/", KEY


@pytest.fixture
def annas(client, anna, northfield):
    client.force_login(anna)
    return client


def stored() -> TextNumber | None:
    with as_factory():
        return TextNumber.objects.first()


def name(client, number: str = NUMBER):
    return client.post(reverse("text_messages"), {"number": number})


def confirm(client, code: str):
    return client.post(reverse("confirm_text_number"), {"code": code})


def test_a_number_is_named_shown_to_be_hers_and_taken_away(on, annas):
    assert reverse("text_messages") in annas.get(reverse("your_mails")).text
    assert "Get them" in words(annas.get(reverse("text_messages")))
    assert name(annas).url == reverse("text_messages")
    page = words(annas.get(reverse("text_messages")))
    assert WRITTEN in page and "Show that the number is yours" in page
    assert "They go to your number" not in page
    assert confirm(annas, code_of(stored())).url == reverse("text_messages")
    page = words(annas.get(reverse("text_messages")))
    assert "They go to your number" in page and "None was sent yet." in page
    annas.post(reverse("take_text_number_away"))
    assert stored() is None and WRITTEN not in words(annas.get(reverse("text_messages")))


def test_no_page_shows_a_code(on, annas):
    name(annas)
    assert code_of(stored()) not in annas.get(reverse("text_messages")).text
    with as_factory():
        assert code_of(stored()) not in str(TextMessage.objects.values())


@pytest.mark.parametrize("number", ["202 555 0143", "", "+1 202"])
def test_a_wrong_number_is_told_beside_it_and_kept_as_typed(on, annas, number):
    answer = name(annas, number)
    assert (answer.status_code == 422 and f'value="{number}"' in answer.text.replace("&#x27;", "'")) or not number
    assert stored() is None


def test_a_wrong_code_is_told_and_ten_are_enough_for_a_day(on, annas):
    name(annas)
    for _ in range(10):
        answer = confirm(annas, "BBBBBBBB")
        assert answer.status_code == 422 and "That isn't the code." in words(answer)
    assert confirm(annas, code_of(stored())).status_code == 429
    assert stored().confirmed_at is None


def test_three_codes_a_day_are_enough_for_anybody(on, annas):
    assert [name(annas, each).status_code for each in (NUMBER, OTHER, NUMBER, OTHER)] == [302, 302, 302, 429]
    assert stored().number == WRITTEN


def test_where_no_service_is_set_nothing_is_offered(annas, settings):
    settings.TEXT_MESSAGE_URL = ""
    assert annas.get(reverse("text_messages")).status_code == 404
    assert name(annas).status_code == 404
    assert reverse("text_messages") not in annas.get(reverse("your_mails")).text


def test_who_named_a_number_before_it_was_switched_off_can_still_take_it_away(on, annas, settings):
    name(annas)
    confirm(annas, code_of(stored()))
    settings.TEXT_MESSAGE_URL = ""
    assert "Text messages are switched off here" in words(annas.get(reverse("text_messages")))
    assert annas.post(reverse("take_text_number_away")).url == reverse("your_mails")
    assert stored() is None


def test_who_owns_no_farm_is_offered_none(on, client, ben, dana, northfield):
    for person in (ben, dana):
        client.force_login(person)
        assert client.get(reverse("text_messages")).status_code == 404
        assert name(client).status_code == 404


def test_nobody_comes_in_without_signing_in_and_looking_does_nothing(on, client, annas):
    annas.logout()
    for page in ("text_messages", "confirm_text_number", "take_text_number_away"):
        assert client.get(reverse(page)).status_code in (302, 405)
    assert stored() is None
