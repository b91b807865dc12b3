"""The mails that were written, to the letter and with what became of them: to whom they are shown."""

import base64
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from alerts.delivery.coordinator_report import queue_coordinator_reports
from alerts.delivery.message import message_of
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import CoordinatorReport, Digest, MondayList
from farms import services
from farms.models import Consent, GroupMember, Membership
from tests.alerts.scene import check, check_time, count_week, monday
from tests.alerts.test_digest import parsed
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, acting, as_factory, as_role, make_user
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
PNG = b"\x89PNG\r\n\x1a\n a picture"
HTML = (
    '<html><head><title>t</title></head><body style="color:red"><p>118 specks</p><img src="cid:weeks@flyround"></body>'
)
LISTS = reverse("sent_lists")


@pytest.fixture
def digest(northfield, anna) -> Digest:
    row = make_digest(northfield, anna, picture=PNG, state="sent", sent_at=NOW)
    with as_factory():
        Digest.objects.filter(id=row.id).update(html=HTML, text="118 specks a card.")
    return row


@pytest.fixture
def monday_list(group, dana, northfield, cards) -> MondayList:
    """Written as the check does."""
    for number in range(4):
        count_week(cards, monday(number), [150] * 5)
        check(group, monday(number))
    with as_role("worker"):
        queue_monday_lists(group, week=monday(3), now=check_time(monday(3)))
    with as_factory():
        return MondayList.objects.select_related("recipient").get()


class TestAFarmsMails:
    def test_an_owner_finds_them_newest_first_each_with_what_became_of_it(self, browser, anna, northfield):
        states = (
            ({}, "waiting"),
            ({"attempts": 2}, "waiting, tried 2 times"),
            ({"state": "sending", "attempts": 1}, "on its way"),
            ({"state": "sent", "sent_at": NOW}, "sent on Jun 1, 2026, 07:00"),
            ({"state": "unwanted"}, "not sent: its reader chose not to get it"),
            ({"state": "refused", "reason": "address"}, "not sent: the mail server there refused the address"),
            ({"state": "refused", "reason": "stopped"}, "not sent: mails to this address don't arrive"),
            ({"state": "refused"}, "not sent"),
        )
        for number, (columns, _told) in enumerate(states):
            row = make_digest(northfield, anna, f"2026-W{10 + number}", **columns)
            with as_factory():
                Digest.objects.filter(id=row.id).update(subject=f"Mail {number}")
        page = words(browser(anna).get(at("sent_digests", northfield)))
        places = [page.index(f"Mail {number} {told}") for number, (_columns, told) in enumerate(states)]
        assert places == sorted(places, reverse=True)

    def test_one_mail_stands_there_to_the_letter_with_its_text_beside_it(self, browser, anna, northfield, digest):
        page = browser(anna).get(at("sent_digest", northfield, digest_id=digest.id))
        assert "to anna@example.org · sent on Jun 1, 2026, 07:00" in words(page) and "118 specks a card." in words(page)
        assert f'src="{at("sent_digest_html", northfield, digest_id=digest.id)}"' in page.text
        inside = browser(anna).get(at("sent_digest_html", northfield, digest_id=digest.id)).text
        picture = f"data:image/png;base64,{base64.b64encode(PNG).decode()}"
        assert inside == HTML.replace("<head>", '<head><base target="_top">').replace("cid:weeks@flyround", picture)

    def test_what_is_shown_is_what_left_but_for_the_readers_own_link(self, browser, dana, monday_list):
        inside = browser(dana).get(reverse("sent_list_html", args=[monday_list.id])).text
        left = parsed(monday_list).get_body(("html",)).get_content()
        secret = message_of([monday_list], now=NOW).extra_headers["List-Unsubscribe"].strip("<>")
        assert secret in left and "mail-choice" not in inside
        left = left.replace(secret, "http://127.0.0.1:8000/mails/").replace("\r\n", "\n")
        inside = re.sub(r"data:image/png;base64,[^\"]*", "cid:weeks@flyround", inside)
        assert inside.replace('<base target="_top">', "").strip() == left.strip()

    def test_the_frame_runs_nothing_fetches_nothing_and_stands_in_our_pages_only(
        self, browser, anna, northfield, digest
    ):
        answer = browser(anna).get(at("sent_digest_html", northfield, digest_id=digest.id))
        policy = dict(part.strip().split(" ", 1) for part in answer.headers["Content-Security-Policy"].split(";"))
        assert policy == {
            "default-src": "'none'", "style-src": "'unsafe-inline'", "img-src": "data:", "base-uri": "'none'",
            "form-action": "'none'", "frame-ancestors": "'self'", "sandbox": "allow-top-navigation-by-user-activation",
        }  # fmt: skip
        assert answer.headers["X-Frame-Options"] == "SAMEORIGIN" and "no-store" in answer.headers["Cache-Control"]
        around = browser(anna).get(at("sent_digest", northfield, digest_id=digest.id))
        assert 'sandbox="allow-top-navigation-by-user-activation"' in around.text
        assert "'unsafe-inline'" not in around.headers["Content-Security-Policy"]

    def test_an_owner_sees_their_own_an_adviser_the_farms_a_recorder_none(
        self, browser, anna, ben, dana, carla, northfield, southmead, digest
    ):
        olga = make_user("Olga")
        with as_factory():
            Membership.objects.create(farm=northfield, user=olga, role="owner", began_at=NOW)
        hers = make_digest(northfield, olga)
        both = [digest.id, hers.id]
        for user, seen in ((anna, both[:1]), (olga, both[1:]), (dana, both)):
            client = browser(user)
            listed = client.get(at("sent_digests", northfield)).text
            for each in both:
                page = at("sent_digest", northfield, digest_id=each)
                assert (page in listed) == (each in seen), user
                expected = 200 if each in seen else 404
                assert client.get(page).status_code == client.get(f"{page}html/").status_code == expected, user
        for user, status in ((ben, 403), (carla, 404), (None, 302)):
            for name, ids in (
                ("sent_digests", {}),
                ("sent_digest", {"digest_id": digest.id}),
                ("sent_digest_html", {"digest_id": digest.id}),
            ):
                assert browser(user).get(at(name, northfield, **ids)).status_code == status

    def test_another_farms_mail_is_not_under_this_farm(self, browser, carla, northfield, southmead, digest):
        page = at("sent_digest", southmead, digest_id=digest.id)
        assert browser(carla).get(page).status_code == browser(carla).get(f"{page}html/").status_code == 404

    def test_they_are_linked_from_the_farm_for_who_may_see_them(self, browser, anna, ben, northfield):
        link = f'href="{at("sent_digests", northfield)}"'
        assert link in browser(anna).get(at("farm", northfield)).text
        assert link not in browser(ben).get(at("farm", northfield)).text


class TestMondayLists:
    def test_an_adviser_finds_their_own(self, browser, dana, monday_list):
        client = browser(dana)
        assert f'href="{LISTS}"' in client.get(reverse("monday")).text
        assert "1 farm to call" in words(client.get(LISTS))
        page = words(client.get(reverse("sent_list", args=[monday_list.id])))
        assert "to dana@example.org · waiting" in page and "Northfield" in page

    def test_nobody_else_does(self, browser, anna, ben, carla, erik, monday_list):
        for user in (anna, ben, carla, erik):
            client = browser(user)
            assert "No list was written to you yet." in words(client.get(LISTS))
            for name in ("sent_list", "sent_list_html"):
                assert client.get(reverse(name, args=[monday_list.id])).status_code == 404
        assert browser().get(LISTS).status_code == 302

    def test_with_a_farms_consent_the_lists_that_tell_of_it_go(self, browser, anna, dana, northfield, monday_list):
        with acting(anna):
            services.withdraw_consent(consent=Consent.objects.get(adviser=dana), by=anna, now=NOW)
        client = browser(dana)
        assert "No list was written to you yet." in words(client.get(LISTS))
        assert client.get(reverse("sent_list", args=[monday_list.id])).status_code == 404
        # Row security says the same by itself.
        with acting(dana):
            assert not MondayList.objects.exists()


class TestCoordinatorReports:
    @pytest.fixture
    def report(self, group, northfield, erik) -> CoordinatorReport:
        with as_role("worker"):
            queue_coordinator_reports(group, monday(3), check_time(monday(3)))
        with as_factory():
            return CoordinatorReport.objects.get()

    def test_a_coordinator_finds_their_own(self, browser, erik, group, report):
        client, all_of_them = browser(erik), reverse("sent_reports")
        assert f'href="{all_of_them}"' in client.get(reverse("group", args=[group.id])).text
        assert "Valley Advisers: week of April 27" in words(client.get(all_of_them))
        assert "to erik@example.org · waiting" in words(client.get(reverse("sent_report", args=[report.id])))
        assert "Fewer than 5 farms" in client.get(reverse("sent_report_html", args=[report.id])).text
        assert f'href="{all_of_them}"' in client.get(reverse("your_mails")).text

    def test_nobody_else_does(self, browser, anna, ben, carla, dana, report):
        for user in (anna, ben, carla, dana):
            client = browser(user)
            assert "No report was written to you yet." in words(client.get(reverse("sent_reports")))
            for name in ("sent_report", "sent_report_html"):
                assert client.get(reverse(name, args=[report.id])).status_code == 404
        assert browser().get(reverse("sent_reports")).status_code == 302

    def test_nor_the_coordinator_once_the_role_has_ended(self, browser, erik, report):
        with as_factory():
            GroupMember.objects.filter(user=erik).update(ended_at=timezone.now())
        assert browser(erik).get(reverse("sent_report", args=[report.id])).status_code == 404
