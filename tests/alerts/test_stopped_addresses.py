"""An address whose mail server refuses it gets no more mails, until its person says that it works again."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.core import mail as django_mail

from alerts.delivery import outbox
from alerts.models import Digest, StoppedAddress
from alerts.models.stopped_address import StopReason
from alerts.selectors.monday_rows import monday_rows
from alerts.selectors.stopped_addresses import farms_not_reached, stop_of
from alerts.services import address_works_again
from alerts.services.stopped_address import Failure, stop_address
from farms.models import Farm, Membership, User
from server.demo.processes import free_port
from tests.alerts.scene import monday
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, acting, as_factory, as_role

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def stop(user: User, why: StopReason = StopReason.BOUNCED, **more: Any) -> bool:
    values = {"why": why, "code": "550 5.1.1", "happened_at": NOW} | more
    return stop_address(user=user, failure=Failure(**values), now=NOW)


def send(now: Any = NOW) -> dict[str, int]:
    with as_role("worker"):
        return dict(outbox.send_due(now))


def stored(row: Digest) -> Digest:
    with as_factory():
        return Digest.objects.get(id=row.id)


class MailServer:
    """A real mail server that answers RCPT and DATA as it is told to."""

    rcpt, data = "250 OK", "250 OK"

    def __init__(self) -> None:
        self.taken: list[bytes] = []

    async def handle_RCPT(self, *given: Any) -> str:  # noqa: N802 - aiosmtpd's name
        _server, _session, envelope, address, _options = given
        if self.rcpt.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.rcpt

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802 - aiosmtpd's name
        self.taken.append(envelope.content)
        return self.data


@pytest.fixture
def mail_server(settings: Any) -> Iterator[MailServer]:
    handler, port = MailServer(), free_port(0)
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", port, False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    yield handler
    controller.stop()


class TestWhatAMailServerSays:
    @pytest.mark.parametrize(
        "answer", ["550 5.1.1 <anna@example.org> unknown at mx7", "550 no such user", "553 5.1.3 ?"]
    )
    def test_a_permanent_refusal_of_the_recipient_stops_the_address(self, mail_server, northfield, anna, answer):
        mail_server.rcpt = answer
        first = make_digest(northfield, anna)
        assert send() == {"refused": 1}
        assert (stored(first).reason, mail_server.taken) == ("address", [])
        with as_factory():
            row = StoppedAddress.objects.get()
        assert (row.user_id, row.address, row.why) == (anna.id, "anna@example.org", "refused")
        kept = f"{row.code} {stored(first).error}"
        assert not any(word in kept for word in ("mx7", "unknown", "user", "<"))
        # And the next is not even tried.
        mail_server.rcpt = "250 OK"
        second = make_digest(northfield, anna, "2026-W23")
        assert send(NOW + DAY) == {"refused": 1}
        assert (stored(second).reason, stored(second).attempts, mail_server.taken) == ("stopped", 1, [])

    @pytest.mark.parametrize(
        ("rcpt", "data", "state"),
        [
            ("250 OK", "554 5.6.0 not wanted", "refused"),
            ("250 OK", "550 5.1.1 not wanted", "refused"),
            ("550 5.2.2 mailbox full", "250 OK", "refused"),
            ("550 5.7.1 your server is on a list", "250 OK", "queued"),
            ("554 no", "250 OK", "queued"),
            ("452 4.2.2 mailbox full", "250 OK", "queued"),
            ("250 OK", "451 later", "queued"),
            ("250 OK", "250 OK", "sent"),
        ],
    )
    def test_anything_else_stops_no_address(self, mail_server, northfield, anna, rcpt, data, state):
        mail_server.rcpt, mail_server.data = rcpt, data
        row = make_digest(northfield, anna)
        assert send() == {state: 1} and stored(row).reason == ("mail" if state == "refused" else "")
        with as_factory():
            assert not StoppedAddress.objects.exists()

    @pytest.mark.parametrize("answer", ["554 5.7.1 relay access denied", "554 no"])
    def test_a_server_of_ours_that_refused_everybody_loses_no_mail_once_it_is_set_right(
        self, mail_server, northfield, southmead, anna, carla, answer
    ):
        rows = [make_digest(northfield, anna), make_digest(southmead, carla)]
        mail_server.rcpt = answer
        for hour in range(30):
            send(NOW + hour * HOUR)
        assert [stored(row).state for row in rows] == ["queued", "queued"] and stored(rows[0]).attempts < 15
        mail_server.rcpt = "250 OK"
        for hour in range(30, 37):
            send(NOW + hour * HOUR)
        assert [stored(row).state for row in rows] == ["sent", "sent"] and len(mail_server.taken) == 2

    def test_who_sends_is_refused_for_two_days_at_most_and_no_address_is_stopped(self, mail_server, northfield, anna):
        mail_server.rcpt = "554 no"
        row = make_digest(northfield, anna)
        ended = [hour for hour in range(24 * 7) if send(NOW + hour * HOUR) == {"refused": 1}]
        assert len(ended) == 1 and 48 <= ended[0] <= 54
        assert (stored(row).reason, stored(row).error) == ("mail", "SMTPRecipientsRefused 554")
        assert stored(row).attempts < 18
        with as_factory():
            assert not StoppedAddress.objects.exists()

    def test_what_leaves_over_a_real_line_has_the_way_out(self, mail_server, northfield, anna, settings):
        settings.SITE_URL, settings.SECURE = "https://flies.example.org", True
        make_digest(northfield, anna)
        assert send() == {"sent": 1}
        (content,) = mail_server.taken
        assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in content
        assert content.count(b"<https://flies.example.org/mail-choice/") == 1


def test_a_stopped_address_gets_no_mail_and_the_others_get_theirs(northfield, southmead, anna, carla):
    hers, other = make_digest(northfield, anna), make_digest(southmead, carla)
    assert stop(anna)
    assert send() == {"refused": 1, "sent": 1}
    assert (stored(hers).reason, stored(other).state) == ("stopped", "sent")
    assert [message.to for message in django_mail.outbox] == [["carla@example.org"]]


def test_once_it_works_again_the_next_mail_goes(northfield, anna):
    make_digest(northfield, anna)
    stop(anna)
    send()
    with acting(anna):
        assert address_works_again(user=anna, now=NOW + DAY)
        assert not address_works_again(user=anna, now=NOW + DAY)
    make_digest(northfield, anna, "2026-W23")
    assert send(NOW + DAY) == {"sent": 1}
    with as_factory():
        assert StoppedAddress.objects.get().ended_at == NOW + DAY


def test_it_is_stopped_once_and_an_old_report_does_not_stop_it_again(anna):
    assert stop(anna) and not stop(anna)
    with acting(anna):
        address_works_again(user=anna, now=NOW + DAY)
    # Mail services repeat reports for days.
    assert not stop(anna, happened_at=NOW)
    assert stop(anna, happened_at=NOW + 2 * DAY)
    with as_factory():
        assert StoppedAddress.objects.count() == 2


def test_a_new_address_of_the_same_person_is_not_stopped(northfield, anna):
    stop(anna)
    User.objects.filter(id=anna.id).update(email="anna2@example.org")
    anna.refresh_from_db()
    assert stop_of(anna) is None
    make_digest(northfield, anna)
    assert send() == {"sent": 1}


class TestTheAdviserIsTold:
    def reasons(self, dana: User) -> tuple[str, ...]:
        with acting(dana):
            (row,) = monday_rows(dana, monday(7))
        return row.reasons

    def test_on_the_monday_list(self, northfield: Farm, anna: User, dana: User):
        assert "mails to the owner don't arrive" not in self.reasons(dana)
        stop(anna)
        assert self.reasons(dana)[-1] == "mails to the owner don't arrive"
        with acting(anna):
            address_works_again(user=anna, now=NOW)
        assert "mails to the owner don't arrive" not in self.reasons(dana)

    def test_of_several_owners_one(self, northfield: Farm, anna: User, ben: User, dana: User):
        with as_factory():
            Membership.objects.filter(user=ben).update(role="owner")
        stop(anna)
        assert self.reasons(dana)[-1] == "mails to one of the owners don't arrive"

    def test_of_who_is_no_owner_nothing(self, northfield: Farm, ben: User, dana: User):
        stop(ben)
        assert farms_not_reached([northfield.id]) == {} and "mails" not in " ".join(self.reasons(dana))
