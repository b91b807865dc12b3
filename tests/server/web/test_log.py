"""The page of the farm's log, and the sign-ins in it."""

from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from farms.models import LogEvent, User
from farms.services import LogKind, add_member, make_sign_in_link, make_token, note_in_all_logs
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def sign_ins() -> list[tuple]:
    with as_factory():
        found = LogEvent.objects.filter(kind="sign_in").order_by("farm__name", "at")
        return [(each.farm.name, each.actor_kind, each.actor_id, each.about) for each in found]


def test_a_sign_in_by_mailed_code_stands_in_the_log_of_every_farm_that_person_sees(
    browser, northfield, southmead, carla, ben
):
    with acting(carla):
        add_member(farm=southmead, user=ben, role="recorder", by=carla, now=NOW)
    client = browser()
    asked = client.post(reverse("account_request_login_code"), {"email": "ben@example.org"})
    assert sign_ins() == []
    client.post(asked.url, {"code": mail.outbox[-1].subject.split()[0]})
    assert "_auth_user_id" in client.session
    assert sign_ins() == [(name, "farm_staff", ben.id, "code") for name in ("Northfield", "Southmead")]


def test_a_sign_in_by_link_too_and_an_advisers_as_an_advisers(browser, northfield, southmead, dana):
    key = make_sign_in_link(user=dana, now=timezone.now(), valid_for=timedelta(hours=1))
    browser().post(reverse("sign_in_link", args=[key]))
    browser().post(reverse("sign_in_link", args=[key]))  # spent
    assert sign_ins() == [("Northfield", "adviser", dana.id, "link")]


def test_the_owner_reads_names_for_people_and_kinds_for_who_is_gone(browser, anna, ben, dana, carla, northfield):
    now = timezone.now()
    with acting(anna):
        make_token(farm=northfield, name="Herd", scope="read", by=anna, expires_at=now + timedelta(days=9), now=now)
        add_member(farm=northfield, user=carla, role="recorder", by=anna, now=now)
    with acting(dana):
        note_in_all_logs(user=dana, kind=LogKind.SIGN_IN, now=now, about="link")
    with acting(anna):
        note_in_all_logs(user=User(), kind=LogKind.EXPORT, now=now, about="readings.csv")
    page = words(browser(anna).get(at("log", northfield)))
    assert "Key made: Herd Anna (somebody of the farm)" in page
    assert "Role given: Carla, recorder Anna (somebody of the farm)" in page
    assert "Signed in: by a one-time link Dana (adviser)" in page
    assert "Agreed to: Dana, sees the farm as its adviser Anna (somebody of the farm)" in page
    assert "Data taken out: readings.csv adviser" in page
    only = words(browser(anna).get(at("log", northfield), {"kind": "token_made"}))
    assert "Key made" in only and "Role given:" not in only
    assert browser(anna).get(at("log", northfield), {"kind": "gossip", "page": "x"}).status_code == 200


def test_a_long_log_comes_in_pages_that_keep_what_was_chosen(browser, anna, northfield):
    with acting(anna):
        for minutes in range(60):
            note_in_all_logs(user=anna, kind=LogKind.SIGN_IN, now=NOW + timedelta(minutes=minutes), about="code")
    first = browser(anna).get(at("log", northfield), {"kind": "sign_in"})
    assert words(first).count("Signed in:") == 50 and "?kind=sign_in&amp;page=2" in first.content.decode()


def test_the_log_is_the_owners_page_alone(browser, ben, dana, carla, northfield, southmead):
    for user, status in ((ben, 403), (dana, 403), (carla, 404)):
        assert browser(user).get(at("log", northfield)).status_code == status
    assert at("log", northfield) not in browser(dana).get(at("settings", northfield)).content.decode()
