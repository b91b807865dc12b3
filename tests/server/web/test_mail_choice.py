"""The address in a mail and the page behind it: one click does it (RFC 8058), and looking does nothing."""

import re
from urllib.parse import urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from alerts.delivery.choice_address import Reader, choice_address, choice_token
from alerts.models import Digest, DigestChoice, MondayList, MondayListChoice
from alerts.models.mail_choice import MailKind
from alerts.services.choice_key import keys_to_sign
from farms.models import Farm, GroupMember, Membership, User
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, as_factory, make_farm
from tests.server.api.bodies import everything_stored
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db
ONE_CLICK = "List-Unsubscribe=One-Click"
FORM = "application/x-www-form-urlencoded"


def path_of(mail: Digest | MondayList) -> str:
    return urlsplit(choice_address([mail], NOW)).path


@pytest.fixture
def digest(northfield, anna) -> str:
    """The path of the address in Anna's mail of Northfield."""
    return path_of(make_digest(northfield, anna))


@pytest.fixture
def monday_list(group, dana, northfield) -> str:
    with as_factory():
        row = MondayList.objects.create(
            group=group, recipient=dana, occasion="2026-W22", language="en", subject="", text="", html="",
            queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
    return path_of(row)


def choices() -> list[tuple[str, str, str]]:
    with as_factory():
        rows = [*DigestChoice.objects.order_by("id"), *MondayListChoice.objects.order_by("id")]
        return [(row.recipient.name, row.how_often, row.way) for row in rows]


class TestOneClick:
    """RFC 8058, section 3.1 (what the sender's server does) and 3.2 (what a mail program sends)."""

    @pytest.mark.parametrize(
        ("body", "kind"),
        [
            (ONE_CLICK, FORM),
            (
                '--b\r\nContent-Disposition: form-data; name="List-Unsubscribe"\r\n\r\nOne-Click\r\n--b--\r\n',
                "multipart/form-data; boundary=b",
            ),
        ],
        ids=["urlencoded", "multipart"],
    )
    def test_a_post_of_either_form_stops_the_mail_without_cookie_or_token(self, digest, body, kind):
        client = Client(enforce_csrf_checks=True)
        answer = client.post(digest, body, content_type=kind)
        assert choices() == [("Anna", "none", "mail")]
        # A server must not redirect: a POST that is redirected becomes a GET in many programs.
        assert answer.status_code == 200 and "Location" not in answer.headers
        assert not client.cookies and "Set-Cookie" not in answer.headers

    def test_asked_twice_it_is_done_once(self, digest):
        answers = [Client().post(digest, ONE_CLICK, content_type=FORM) for _ in range(3)]
        assert [answer.status_code for answer in answers] == [200] * 3
        assert choices() == [("Anna", "none", "mail")]

    def test_a_monday_list_is_stopped_as_a_digest_is(self, monday_list):
        assert Client().post(monday_list, ONE_CLICK, content_type=FORM).status_code == 200
        assert choices() == [("Dana", "none", "mail")]

    def test_cookies_of_somebody_else_change_nothing_about_whose_mail_it_is(self, browser, carla, southmead, digest):
        assert browser(carla).post(digest, ONE_CLICK, content_type=FORM).status_code == 200
        assert choices() == [("Anna", "none", "mail")]

    @pytest.mark.parametrize("body", ["", "List-Unsubscribe=", "List-Unsubscribe=Two-Clicks", "how_often=monthly"])
    def test_any_other_post_is_told_what_to_choose_and_changes_nothing(self, digest, body):
        answer = Client().post(digest, body, content_type=FORM)
        assert answer.status_code == 422 and "Choose every_week, when_needed or none." in words(answer)
        assert choices() == []


class TestOfSeveralFarms:
    @pytest.fixture
    def three(self, northfield, region, anna) -> list[Farm]:
        return [northfield, *(make_farm(name, region, anna) for name in ("Sorrel Flats", "Windy Lea"))]

    def joined(self, farms: list[Farm], to: User) -> str:
        return urlsplit(choice_address([make_digest(farm, to) for farm in farms], NOW)).path

    def chosen(self) -> dict[str, str]:
        with as_factory():
            return dict(DigestChoice.objects.values_list("farm__name", "how_often"))

    def test_the_page_names_those_of_the_message_and_chooses_for_them_alone(self, three, anna):
        address = self.joined(three[:2], anna)
        page = words(Client().get(address))
        assert "The weekly mail of Northfield and Sorrel Flats" in page and "Windy Lea" not in page
        Client().post(address, {"how_often": "when_needed"})
        assert self.chosen() == {"Northfield": "when_needed", "Sorrel Flats": "when_needed"}

    def test_a_farm_that_she_left_meanwhile_is_left_out(self, three, anna):
        address = self.joined(three[:2], anna)
        with as_factory():
            Membership.objects.filter(user=anna, farm=three[0]).update(ended_at=NOW)
        assert "Northfield" not in words(Client().get(address))
        Client().post(address, ONE_CLICK, content_type=FORM)
        assert self.chosen() == {"Sorrel Flats": "none"}

    def test_carlas_address_chooses_nothing_of_farms_that_are_not_hers(self, three, carla, southmead):
        address = self.joined([*three, southmead], carla)
        assert Client().post(address, ONE_CLICK, content_type=FORM).status_code == 200
        assert self.chosen() == {"Southmead": "none"}

    def test_an_address_of_before_that_says_all_in_the_group_still_does_that(self, three, group, anna):
        token = choice_token(Reader(anna.id, MailKind.DIGEST, group.id, every=True), keys_to_sign(NOW))
        Client().post(reverse("mail_choice", args=[token]), ONE_CLICK, content_type=FORM)
        assert self.chosen() == dict.fromkeys((farm.name for farm in three), "none")


@pytest.mark.parametrize("method", ["get", "head", "options", "trace", "put", "delete", "patch"])
def test_a_scanner_of_mails_that_fetches_the_address_changes_nothing(northfield, digest, method):
    before = everything_stored(northfield)
    for _ in range(2):
        answer = getattr(Client(), method)(digest)
        assert answer.status_code == (200 if method in ("get", "head") else 405)
    # Nor does one that follows what stands on the page.
    for address in re.findall(r'href="(/[^"]+/)"', Client().get(digest).text):
        Client().get(address)
    assert everything_stored(northfield) == before and choices() == []


def test_the_page_says_what_holds_and_its_buttons_choose(digest):
    client = Client(enforce_csrf_checks=True)
    page = words(client.get(digest))
    assert "The weekly mail of Northfield" in page and "It comes every week." in page
    for how_often, said in (
        ("when_needed", "It comes only in a week in which something is over its action level, rising, or overdue."),
        ("none", "You get no mail of this kind."),
        ("every_week", "It comes every week."),
    ):
        page = client.get(digest).text
        assert f'name="how_often" value="{how_often}"' in page
        assert said in words(client.post(digest, {"how_often": how_often})) and said in words(client.get(digest))
    assert [row[1] for row in choices()] == ["when_needed", "none", "every_week"] and not client.cookies


def test_it_speaks_its_readers_language_whatever_the_browser_says(anna, digest):
    User.objects.filter(id=anna.id).update(language="es")
    answer = Client().get(digest, headers={"accept-language": "en"})
    assert answer.headers["Content-Language"] == "es" and '<html lang="es">' in answer.text


def test_the_address_is_kept_out_of_caches_referrers_indexes_and_frames(digest):
    for answer in (Client().get(digest), Client().post(digest, ONE_CLICK, content_type=FORM)):
        assert "no-store" in answer.headers["Cache-Control"]
        assert (answer.headers["Referrer-Policy"], answer.headers["X-Robots-Tag"]) == ("no-referrer", "noindex")
        assert answer.headers["X-Frame-Options"] == "DENY" and digest not in answer.text


class TestWhatOpensNothing:
    def addresses(self, digest: str) -> list[str]:
        token = digest.split("/")[2]
        said, signature = token.split(".")
        wrong = (signature, f"{said}.", f".{signature}", f"{said}.{signature[::-1]}", "x" * 43, token + "x", "ñ")
        return [reverse("mail_choice", args=[each]) for each in wrong]

    def test_wrong_addresses_answer_alike_whoever_asks_and_change_nothing(self, browser, anna, digest):
        answers = [
            getattr(client, method)(address)
            for address in self.addresses(digest)
            for client in (browser(), browser(anna))
            for method in ("get", "post")
        ]
        assert {answer.status_code for answer in answers} == {404}
        assert len({answer.content for answer in answers}) == 1 and choices() == []

    @pytest.mark.parametrize("how", ["left the farm", "switched off"])
    def test_who_gets_no_mail_any_more_is_answered_as_a_wrong_address_is(self, anna, digest, how):
        with as_factory():
            if how == "left the farm":
                Membership.objects.filter(user=anna).update(ended_at=NOW)
            else:
                User.objects.filter(id=anna.id).update(is_active=False)
        wrong = Client().get(self.addresses(digest)[0])
        for answer in (Client().get(digest), Client().post(digest, ONE_CLICK, content_type=FORM)):
            assert (answer.status_code, answer.content) == (404, wrong.content)
        assert choices() == []

    def test_an_adviser_who_left_the_group_chooses_nothing(self, dana, monday_list):
        with as_factory():
            GroupMember.objects.filter(user=dana).update(ended_at=NOW)
        assert Client().post(monday_list, ONE_CLICK, content_type=FORM).status_code == 404 and choices() == []

    def test_who_tries_many_is_told_to_wait_and_the_right_one_still_works(self, digest):
        wrong = self.addresses(digest)[0]
        assert [Client().get(wrong).status_code for _ in range(31)][-2:] == [404, 429]
        assert Client().post(digest, ONE_CLICK, content_type=FORM).status_code == 200


class TestYourMails:
    """The same choice for whoever is signed in."""

    PAGE = "/mails/"

    def post(self, client: Client, about: object, how_often: str, kind: str = "digest") -> int:
        sent = {"kind": kind, "about": str(about), "how_often": how_often}
        return int(client.post(self.PAGE, sent).status_code)

    def test_it_shows_each_of_ones_mails_and_changes_them(self, browser, anna, northfield):
        client = browser(anna)
        page = words(client.get(self.PAGE))
        assert "They go to anna@example.org." in page and "Weekly mail of Northfield It comes every week." in page
        assert self.post(client, northfield.id, "none") == 302
        page = words(client.get(self.PAGE))
        assert "You get no mail of this kind. Chosen on Jun 1, 2026." in page and "Noted." in page
        assert choices() == [("Anna", "none", "page")]

    def test_an_adviser_finds_the_list(self, browser, dana, group, northfield):
        client = browser(dana)
        page = words(client.get(self.PAGE))
        assert "Monday list of Valley Advisers" in page and "Northfield" not in page
        assert self.post(client, group.id, "when_needed", "monday_list") == 302
        assert choices() == [("Dana", "when_needed", "page")]

    def test_who_gets_none_is_told_who_does(self, browser, ben, northfield):
        assert "the owners of a farm get its weekly mail" in words(browser(ben).get(self.PAGE))

    def test_what_is_made_up_is_refused(self, browser, anna, northfield):
        client = browser(anna)
        assert self.post(client, northfield.id, "monthly") == 422
        assert self.post(client, "nonsense", "none") == self.post(client, northfield.id, "none", "letter") == 404
        assert choices() == []

    def test_carla_changes_nothing_of_northfield(self, browser, carla, group, northfield, southmead):
        client = browser(carla)
        assert self.post(client, northfield.id, "none") == 404
        assert self.post(client, group.id, "none", "monday_list") == 404
        assert "Northfield" not in words(client.get(self.PAGE)) and choices() == []

    def test_who_is_not_signed_in_is_asked_to_and_finds_it_from_every_page(self, browser, anna, northfield):
        assert browser().get(self.PAGE).status_code == browser().post(self.PAGE, {}).status_code == 302
        assert 'href="/mails/"' in browser(anna).get(reverse("farms")).text
