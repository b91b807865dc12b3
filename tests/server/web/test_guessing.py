"""Somebody who asks for one code after another and guesses three times each is stopped; and each stop ends."""

import re
from datetime import timedelta

import pytest
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from farms.models import User
from farms.services import make_phone_code, make_sign_in_link
from server.limits import Tries
from server.web import limits, sign_in_code
from tests.cast import acting
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db
ASK, TYPE = "account_request_login_code", "account_confirm_login_code"
RESTS = "Signing in by code rests for 6 hours; a one-time link goes on working."


@pytest.fixture(autouse=True)
def ask_as_often_as_you_like(settings):
    """How often codes are asked for has a limit of its own, which is tried below."""
    settings.ACCOUNT_RATE_LIMITS = False


def code_in_mail() -> str:
    return mail.outbox[-1].subject.split()[0]


def ask(client: Client, email: str = "anna@example.org"):
    return client.post(reverse(ASK), {"email": email})


def guess(client: Client, code: str = "WRONG"):
    return client.post(reverse(TYPE), {"code": code})


def guess_until_it_rests(email: str, address: str = "203.0.113.1") -> list[Client]:
    """Ten wrong codes, three each, as an attacker does it; the browsers that were used."""
    used = []
    for number in range(10):
        if number % 3 == 0:
            used.append(Client(REMOTE_ADDR=address))
            ask(used[-1], email)
        guess(used[-1])
    return used


def test_ten_wrong_codes_over_many_mails_and_it_rests(browser, anna):
    client = guess_until_it_rests("anna@example.org")[-1]
    right = [message.subject.split()[0] for message in mail.outbox][-2]
    refused = client.post(reverse(TYPE), {"code": right}, follow=True)  # the right one comes too late
    assert RESTS in words(refused) and "_auth_user_id" not in client.session
    asked = browser().post(reverse(ASK), {"email": "anna@example.org"})
    assert RESTS in words(asked)


def test_the_person_is_told_once_in_their_language(browser, ben):
    guess_until_it_rests("ben@example.org")
    codes = [message for message in mail.outbox if re.match(r"\w{4}-\w{4} ", message.subject)]
    assert len(mail.outbox) == len(codes) + 1 == 5
    for _ in range(5):
        ask(browser(), "ben@example.org")
    assert len(mail.outbox) == 5
    told = mail.outbox[-1]
    assert told.to == ["ben@example.org"] and "\n\n" in told.body


def test_whoever_asks_from_many_addresses_is_stopped_as_well(anna):
    for number in range(10):
        client = Client(REMOTE_ADDR=f"203.0.113.{number}")
        ask(client)
        guess(client)
    client = Client(REMOTE_ADDR="198.51.100.1")
    assert RESTS in words(ask(client))


def test_capitals_and_dashes_make_no_other_person(browser, anna):
    guess_until_it_rests("ANNA@example.org")
    assert RESTS in words(ask(browser(), "anna@example.org"))


def test_a_one_time_link_goes_on_working(browser, anna):
    guess_until_it_rests("anna@example.org")
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    client = browser()
    assert client.post(reverse("sign_in_link", args=[key])).url == reverse("home")
    assert client.session["_auth_user_id"] == str(anna.id)


def test_others_sign_in_meanwhile(browser, anna, ben):
    guess_until_it_rests("anna@example.org")
    client = Client(REMOTE_ADDR="198.51.100.1")
    ask(client, "ben@example.org")
    assert guess(client, code_in_mail()).status_code == 302
    assert client.session["_auth_user_id"] == str(ben.id)


def test_the_rest_ends_by_itself(browser, anna, monkeypatch):
    import time

    monkeypatch.setattr(sign_in_code, "OF_ONE_PERSON", Tries("sign-in-code", most=10, within=60, rests=1))
    guess_until_it_rests("anna@example.org")
    assert "Too many wrong codes" in words(ask(browser()))
    time.sleep(1.1)
    client = browser()
    ask(client)
    assert guess(client, code_in_mail()).status_code == 302
    assert client.session["_auth_user_id"] == str(anna.id)


def test_right_codes_and_a_few_slips_never_stop_anybody(browser, anna):
    for _ in range(12):
        client = browser()
        ask(client)
        assert guess(client, code_in_mail().lower().replace("-", " ")).status_code == 302
    for _ in range(9):
        client = browser()
        ask(client)
        guess(client)
    assert guess(client, code_in_mail()).status_code == 302
    assert client.session["_auth_user_id"] == str(anna.id)


def test_an_address_that_tries_many_people_is_stopped_and_nobody_elses_tries_are_used_up(db, browser):
    for number in range(10):
        client = Client(REMOTE_ADDR="203.0.113.1")
        ask(client, f"person{number}@example.org")
        for _ in range(3):
            guess(client)
    client = Client(REMOTE_ADDR="203.0.113.1")
    ask(client, "anna@example.org")
    refused = guess(client)
    assert (refused.status_code, refused["Retry-After"]) == (429, "900")
    assert sign_in_code.rests_for(sign_in_code.OF_ONE_PERSON, "anna@example.org") == 0
    cache.clear()  # as Valkey does after a quarter of an hour
    assert guess(client).status_code == 200


def answers(email: str) -> list[tuple]:
    """Everything that a browser sees of asking, guessing and being stopped, and how many queries it took."""
    seen = []
    cache.clear()
    client = Client()
    for number in range(13):
        for step in (ask, guess):
            if step is ask and number % 3:
                continue
            with CaptureQueriesContext(connection) as queries:
                answer = client.post(
                    reverse(ASK if step is ask else TYPE), {"email": email} if step is ask else {"code": "WRONG"}
                )
            told = words(answer).replace(email, "the address")
            seen.append((answer.status_code, answer.get("Location", "").replace("%40", "@"), told, len(queries)))
    return seen


def test_an_unknown_address_is_answered_word_for_word_alike(anna):
    known, unknown = answers("anna@example.org"), answers("nobody@example.org")
    assert [each[:3] for each in known] == [each[:3] for each in unknown]
    assert any(RESTS in each[2] for each in unknown)
    assert {message.to[0] for message in mail.outbox} == {"anna@example.org"}


def test_nor_does_the_work_behind_the_answer_tell(anna):
    """Queries are the part of the time that differed; mails go when the answer is out."""
    known, unknown = answers("anna@example.org"), answers("nobody@example.org")
    assert [each[3] for each in known] == [each[3] for each in unknown]


def test_a_mail_goes_when_the_answer_is_out(anna, monkeypatch):
    order = []
    monkeypatch.setattr("server.web.sign_in.AccountAdapter.render_mail", lambda *_all: Mail(order))
    client = Client()
    monkeypatch.setattr(client, "handler", WatchedHandler(client.handler, order))
    ask(client)
    assert order == ["answered", "mailed"]


class Mail:
    def __init__(self, order: list[str]) -> None:
        self.order = order

    def send(self) -> None:
        self.order.append("mailed")


class WatchedHandler:
    """Notes when the site has its answer ready, before the server closes it."""

    def __init__(self, handler, order: list[str]) -> None:
        handler.load_middleware()
        get_response = handler.get_response

        def watched(request):
            response = get_response(request)
            order.append("answered")
            return response

        handler.get_response = watched
        self.handler = handler

    def __call__(self, environ):
        return self.handler(environ)


def test_a_mail_that_can_not_be_sent_is_told_to_the_log_and_to_nobody_else(anna, settings, caplog):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    assert ask(Client()).status_code == 302
    assert "What was left for after an answer failed" in caplog.text


def test_codes_are_not_asked_for_without_end(settings, anna):
    """A mailbox that isn't one's own can't be filled."""
    del settings.ACCOUNT_RATE_LIMITS
    from server.settings import ACCOUNT_RATE_LIMITS

    settings.ACCOUNT_RATE_LIMITS = ACCOUNT_RATE_LIMITS
    for _ in range(10):
        last = ask(Client())
    assert len(mail.outbox) == 3
    assert "That was tried too often. Wait five minutes" in words(last)


def test_all_wrong_phone_codes_together_have_a_ceiling_and_right_ones_do_not_count(anna, northfield, monkeypatch):
    monkeypatch.setattr(limits, "PHONE_CODES", Tries("phone-codes", most=5, within=60, rests=60))

    def typed(code: str, address: int) -> int:
        return Client(REMOTE_ADDR=f"203.0.113.{address}").post(reverse("phone"), {"code": code}).status_code

    for number in range(8):
        with acting(anna):
            code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
        assert typed(code, number) == 302
    assert [typed("12345678", number) for number in range(7)] == [422] * 5 + [429] * 2
    refused = Client(REMOTE_ADDR="203.0.113.99").post(
        "/api/v1/phone", {"code": "12345678"}, content_type="application/json"
    )
    assert (refused.status_code, refused["Retry-After"]) == (429, "900")
    cache.clear()
    assert typed("12345678", 1) == 422


def test_an_account_that_is_switched_off_is_told_nothing(anna):
    User.objects.filter(id=anna.id).update(is_active=False)
    guess_until_it_rests("anna@example.org")
    assert mail.outbox == []
