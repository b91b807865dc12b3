from datetime import timedelta
from urllib.parse import quote

import pytest
from django.conf import settings
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from farms.services import make_sign_in_link
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db


def code_in_mail() -> str:
    return mail.outbox[-1].subject.split()[0]


def test_a_mailed_code_signs_in_and_leads_back_to_the_page_asked_for(browser, anna):
    client, wanted = browser(), reverse("phone")
    asked = client.post(reverse("account_request_login_code"), {"email": "anna@example.org", "next": wanted})
    assert asked.status_code == 302 and asked.url.startswith(reverse("account_confirm_login_code"))
    assert "Type the code" in words(client.get(asked.url))
    done = client.post(asked.url, {"code": code_in_mail(), "next": wanted})
    assert (done.status_code, done.url) == (302, wanted)
    assert "Sign out" in words(client.get(wanted))


def test_the_mail_speaks_the_readers_language_and_the_browser_then_does_too(browser, ben):
    client = browser()
    asked = client.post(reverse("account_request_login_code"), {"email": "ben@example.org"})
    done = client.post(asked.url, {"code": code_in_mail()})
    assert client.cookies["django_language"].value == "es"
    assert done.status_code == 302


def test_an_unknown_address_gets_the_same_answer_and_no_mail(browser, anna):
    known = browser().post(reverse("account_request_login_code"), {"email": "anna@example.org"})
    unknown = browser().post(reverse("account_request_login_code"), {"email": "nobody@example.org"})
    assert (known.status_code, known.url) == (unknown.status_code, unknown.url)
    assert [message.to for message in mail.outbox] == [["anna@example.org"]]


def test_a_wrong_code_is_refused_beside_the_field_and_three_of_them_end_the_try(browser, anna):
    client = browser()
    asked = client.post(reverse("account_request_login_code"), {"email": "anna@example.org"})
    refused = client.post(asked.url, {"code": "WRONG1"})
    assert "That isn't the code from the latest mail." in words(refused)
    client.post(asked.url, {"code": "WRONG2"})
    assert client.post(asked.url, {"code": "WRONG3"}).status_code == 302
    assert client.post(asked.url, {"code": code_in_mail()}).status_code == 302
    assert "_auth_user_id" not in client.session


def test_nobody_signs_up(browser, db):
    assert "Nobody signs up here" in words(browser().get(reverse("account_signup")))


def test_a_one_time_link_shows_a_button_and_only_the_button_signs_in(browser, anna):
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    client, address = browser(), reverse("sign_in_link", args=[key])
    for _ in range(2):  # a mail program that looks at links changes nothing
        assert "Sign in here" in words(client.get(address))
    assert "_auth_user_id" not in client.session
    assert client.post(address).url == reverse("home")
    assert client.session["_auth_user_id"] == str(anna.id)


def test_nothing_but_the_button_acts(browser, anna):
    """Whatever a mail program, a proxy or a search for dangers sends: the link still works afterwards."""
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    client, address = browser(), reverse("sign_in_link", args=[key])
    for query in ("", "?next=/", "?submit=1&csrfmiddlewaretoken=x", "?_method=POST"):
        assert client.get(address + query).status_code == client.head(address + query).status_code == 200
        assert client.options(address + query).status_code == 405
    for method in ("put", "patch", "delete", "trace"):
        assert getattr(client, method)(address).status_code == 405
    assert client.get(address, headers={"x-http-method-override": "POST"}).status_code == 200
    assert "_auth_user_id" not in client.session
    assert client.post(address).url == reverse("home")


def test_the_button_works_from_its_own_page_only(anna):
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    client, address = Client(enforce_csrf_checks=True), reverse("sign_in_link", args=[key])
    assert client.post(address).status_code == 403
    assert "_auth_user_id" not in client.session


def test_a_link_works_once_and_not_after_its_time(browser, anna):
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    old = make_sign_in_link(user=anna, now=timezone.now() - timedelta(hours=2), valid_for=timedelta(hours=1))
    browser().post(reverse("sign_in_link", args=[key]))
    for spent in (key, old, "made-up"):
        client = browser()
        refused = client.post(reverse("sign_in_link", args=[spent]))
        assert refused.status_code == 410 and "used already or is too old" in words(refused)
        assert "_auth_user_id" not in client.session


def test_links_can_not_be_tried_without_end(browser, db):
    answers = [browser().post(reverse("sign_in_link", args=[f"guess-{number}"])).status_code for number in range(31)]
    assert set(answers[:30]) == {410} and answers[30] == 429


def test_signing_out_asks_first(browser, anna):
    client = browser(anna)
    assert "_auth_user_id" in client.session and client.get(reverse("account_logout")).status_code == 200
    assert "_auth_user_id" in client.session
    client.post(reverse("account_logout"))
    assert "_auth_user_id" not in client.session


def test_an_answer_to_the_session_of_before_leaves_the_new_cookie(browser, anna, carla):
    """A phone asks who is signed in while somebody else signs in on it: that answer comes last."""
    before = browser(carla)
    of_before = before.cookies[settings.SESSION_COOKIE_NAME].value
    before.logout()  # as a sign-in does that takes the session's place
    late = browser()
    late.cookies[settings.SESSION_COOKIE_NAME] = of_before
    for address in (reverse("waiting_session"), reverse("waiting"), reverse("farms")):
        assert settings.SESSION_COOKIE_NAME not in late.get(address).cookies
    assert "Cookie" in late.get(reverse("waiting_session"))["Vary"]
    # Signing out still takes it away.
    client = browser(anna)
    client.post(reverse("account_logout"))
    assert client.cookies[settings.SESSION_COOKIE_NAME].value == ""


def test_a_page_for_members_sends_unknown_people_to_the_sign_in_page(browser, northfield):
    address = reverse("people", args=[northfield.id])
    sent = browser().get(address)
    assert sent.url == f"{reverse('account_request_login_code')}?next={quote(address)}"


def test_another_language_is_kept_in_the_browser_and_for_mails(browser, anna):
    client = browser(anna)
    answered = client.post(reverse("set_language"), {"language": "es", "next": "/phone/"})
    assert answered.url == "/phone/" and client.cookies["django_language"].value == "es"
    anna.refresh_from_db()
    assert anna.language == "es"


@pytest.mark.parametrize("next_page", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_changing_the_language_leads_to_no_other_site(browser, db, next_page):
    assert browser().post(reverse("set_language"), {"language": "es", "next": next_page}).url == "/"


def test_an_unknown_language_changes_nothing(browser, anna):
    client = browser(anna)
    client.post(reverse("set_language"), {"language": "tlh"})
    assert "django_language" not in client.cookies
