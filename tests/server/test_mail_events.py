"""Where the mail service reports bounces and complaints. The report is in the service's own form, read by anymail."""

import base64
import json
from typing import Any

import pytest
from django.test import Client

from alerts.models import StoppedAddress
from server.mail_events import services
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db
# As documented by the service for its bounce webhook; the address and the texts are ours.
BOUNCE = {
    "RecordType": "Bounce", "Type": "HardBounce", "TypeCode": 1, "ID": 42, "MessageID": "m-1",
    "Email": "Anna@example.org",
    "Description": "The server was unable to deliver your message.", "Details": "smtp;550 5.1.1 no such user at mx7",
    "BouncedAt": "2026-06-01T10:00:00Z", "Tag": "", "Metadata": {},
}  # fmt: skip
COMPLAINT = BOUNCE | {"RecordType": "SpamComplaint", "Type": "SpamComplaint", "TypeCode": 512, "Details": ""}


SAME = "service:its-secret"


@pytest.fixture(autouse=True)
def reporting(settings: Any, standing_clock: Any) -> None:
    settings.MAIL_EVENTS, settings.ANYMAIL = "postmark", {"WEBHOOK_SECRET": SAME}


def report(event: dict[str, Any], login: str = SAME) -> int:
    headers = {"authorization": f"Basic {base64.b64encode(login.encode()).decode()}"} if login else {}
    client = Client(enforce_csrf_checks=True, raise_request_exception=False)
    answer = client.post("/mail-events/", json.dumps(event), content_type="application/json", headers=headers)
    return int(answer.status_code)


def stopped() -> list[tuple[str, str, str]]:
    with as_factory():
        return [(row.user.name, row.why, row.code) for row in StoppedAddress.objects.order_by("id")]


def test_a_bounce_stops_the_address_and_keeps_the_code_alone(anna):
    assert report(BOUNCE) == report(BOUNCE) == 200
    assert stopped() == [("Anna", "bounced", "550 5.1.1")]


def test_a_complaint_stops_it_too(anna):
    assert report(COMPLAINT) == 200 and stopped() == [("Anna", "complained", "")]


@pytest.mark.parametrize(
    "event",
    [
        BOUNCE | {"Email": "nobody@example.org"},
        BOUNCE | {"Type": "Transient", "Details": "smtp;452 4.2.2 mailbox full"},
        BOUNCE | {"Details": "smtp;550 5.7.1 your server is on a list"},
        {"RecordType": "Delivery", "MessageID": "m-1", "Recipient": "anna@example.org"},
        {"RecordType": "Open", "MessageID": "m-1", "Recipient": "anna@example.org"},
    ],
)
def test_what_is_no_refusal_of_one_of_our_readers_is_taken_and_left(anna, event):
    assert report(event) == 200 and stopped() == []


@pytest.mark.parametrize("login", ["", "service:wrong", "its-secret"])
def test_who_has_not_the_secret_reports_nothing(anna, login):
    assert report(BOUNCE, login) == 400 and stopped() == []


def test_without_a_service_there_is_no_such_address(anna, settings):
    settings.MAIL_EVENTS = ""
    assert report(BOUNCE) == 404 and stopped() == []


def test_looking_reports_nothing(anna):
    for method in ("get", "head", "options", "put"):
        assert getattr(Client(), method)("/mail-events/").status_code in (200, 405)
    assert stopped() == []


def test_every_service_that_anymail_knows_has_its_view():
    assert len(services()) > 10 and all(hasattr(view, "parse_events") for view in services().values())


class TestOneThatSendsItsLoginWhenAsked:
    """As anymail's documentation says of Amazon's service: a report without a login must be answered 401 first."""

    NOTICE = {"notificationType": "Bounce", "mail": {"messageId": "m-1"}, "bounce": {
        "bounceType": "Permanent", "bounceSubType": "General",
        "bouncedRecipients": [{"emailAddress": "anna@example.org", "diagnosticCode": "smtp; 550 5.1.1 user unknown"}],
    }}  # fmt: skip
    REPORT = {"Type": "Notification", "MessageId": "n-1", "Timestamp": "2026-06-01T10:00:00.000Z"}

    @pytest.fixture(autouse=True)
    def amazon(self, settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        """Its package, which only confirms a subscription by itself, is not among ours."""
        settings.MAIL_EVENTS = "amazon_ses"
        monkeypatch.setattr("anymail.webhooks.amazon_ses._get_anymail_boto3_params", lambda kwargs: ({}, {}))

    def report(self, login: str) -> Any:
        headers = {"x-amz-sns-message-type": "Notification", "x-amz-sns-message-id": "n-1"}
        if login:
            headers["authorization"] = f"Basic {base64.b64encode(login.encode()).decode()}"
        body = json.dumps(self.REPORT | {"Message": json.dumps(self.NOTICE)})
        client = Client(enforce_csrf_checks=True, raise_request_exception=False)
        return client.post("/mail-events/", body, content_type="text/plain", headers=headers)

    def test_without_it_it_is_asked_for_it_and_nothing_is_done(self, anna):
        answer = self.report("")
        assert answer.status_code == 401 and answer.headers["WWW-Authenticate"].startswith("Basic ")
        assert stopped() == []

    def test_with_it_the_report_is_taken(self, anna):
        assert self.report("service:wrong").status_code == 400 and stopped() == []
        assert self.report(SAME).status_code == 200 and stopped() == [("Anna", "bounced", "550 5.1.1")]


class TestItsPersonIsTold:
    def test_above_every_page_with_a_button(self, anna, northfield):
        client = Client()
        client.force_login(anna)
        banner = "No mail has gone to anna@example.org since"
        assert banner not in client.get("/farms/").text
        report(BOUNCE)
        for page in ("/farms/", "/mails/", f"/farms/{northfield.id}/", f"/farms/{northfield.id}/rounds/"):
            text = client.get(page).text
            assert banner in text and "nobody has this address" in text and "550 5.1.1" in text
            assert 'action="/mails/works/"' in text
        assert client.get("/mails/works/").status_code == 405
        answer = client.post("/mails/works/", follow=True)
        assert "The next mail goes to anna@example.org again." in answer.text and banner not in answer.text
        with as_factory():
            assert StoppedAddress.objects.get().ended_at == NOW

    def test_and_nobody_else(self, anna, ben, carla, northfield, southmead):
        report(BOUNCE)
        for other in (ben, carla):
            client = Client()
            client.force_login(other)
            assert "No mail has gone" not in client.get("/farms/").text
            client.post("/mails/works/")
        with acting(anna):
            assert StoppedAddress.objects.filter(ended_at__isnull=True).exists()
        assert Client().post("/mails/works/").status_code == 302

    def test_a_sign_in_code_goes_out_all_the_same(self, anna, mailoutbox):
        report(BOUNCE)
        Client().post("/sign-in/", {"email": "anna@example.org"})
        assert [message.to for message in mailoutbox] == [["anna@example.org"]]
