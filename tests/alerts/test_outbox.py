"""The outbox: a mail is sent once, tried again after a fault, never again after a refusal, and held back in time."""

import smtplib
from collections.abc import Callable
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.core import mail as django_mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import OperationalError
from django.db.models import QuerySet

from alerts.delivery import outbox
from alerts.models import Digest, MondayList
from alerts.tasks import MAIL_SECONDS, MOST_MAIL_SECONDS
from farms.models import Consent, Farm, Group, GroupMember, Membership, Region, User
from tests.cast import NOW, as_factory, as_role, make_farm

pytestmark = pytest.mark.django_db


def make_digest(farm: Farm, to: User, occasion: str = "2026-W22", **columns: object) -> Digest:
    with as_factory():
        return Digest.objects.create(
            farm=farm, recipient=to, occasion=occasion, language="en", subject=f"{farm.name}: week", text="Cards: 118.",
            html="<p>Cards: 118.</p>", queued_at=NOW, next_try_at=NOW, **columns,
        )  # fmt: skip


@pytest.fixture
def digest(northfield: Farm, anna: User) -> Digest:
    return make_digest(northfield, anna)


@pytest.fixture
def monday_list(group: Group, northfield: Farm, dana: User) -> MondayList:
    with as_factory():
        return MondayList.objects.create(
            group=group, recipient=dana, occasion="2026-W22", language="en", subject="1 farm to call",
            text="Northfield", html="<p>Northfield</p>", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Callable[[Exception, str], None]:
    """Let the mail server answer mails to one address with an error; the others are taken."""

    def fails(error: Exception, address: str = "anna@example.org") -> None:
        taken = EmailBackend.send_messages

        def send(self: EmailBackend, messages: list[django_mail.EmailMessage]) -> int:
            if messages[0].to == [address]:
                raise error
            return int(taken(self, messages))

        monkeypatch.setattr(EmailBackend, "send_messages", send)

    return fails


def send(now: datetime = NOW) -> dict[str, int]:
    with as_role("worker"):
        return dict(outbox.send_due(now))


def stored(row: Digest | MondayList) -> Digest | MondayList:
    with as_factory():
        return type(row).objects.get(id=row.id)


def test_what_is_due_is_sent_and_recorded_once(digest: Digest, monday_list: MondayList):
    assert send() == {"sent": 2}
    assert send(NOW + timedelta(days=1)) == {}
    assert sorted(message.to[0] for message in django_mail.outbox) == ["anna@example.org", "dana@example.org"]
    assert (stored(digest).state, stored(digest).sent_at, stored(digest).attempts) == ("sent", NOW, 1)


def test_two_workers_claim_one_mail_once(digest: Digest):
    with as_role("worker"):
        (mine,), (theirs,) = outbox.due(NOW), outbox.due(NOW)
        assert outbox.claim(mine, NOW)
        assert not outbox.claim(theirs, NOW)


def test_a_mail_whose_worker_died_is_sent_when_its_lease_ran_out(digest: Digest):
    with as_role("worker"):
        assert outbox.claim(outbox.due(NOW)[0], NOW)
        assert outbox.due(NOW + outbox.LEASE - timedelta(seconds=1)) == []
    assert send(NOW + outbox.LEASE) == {"sent": 1}


def test_a_mail_that_is_sent_is_recorded_as_soon_as_postgresql_is_back(digest: Digest, monkeypatch: pytest.MonkeyPatch):
    """Or a restart in that moment would send it twice."""
    waited: list[int] = []
    row_of = outbox._row

    def away_for_two_tries(mail: outbox.Mail) -> QuerySet[Any]:
        if django_mail.outbox and len(waited) < 2:
            raise OperationalError("terminating connection due to administrator command")
        return row_of(mail)

    monkeypatch.setattr(outbox, "_row", away_for_two_tries)
    monkeypatch.setattr(outbox, "database", SimpleNamespace(close=lambda: None))
    monkeypatch.setattr(outbox.time, "sleep", waited.append)
    assert send() == {"sent": 1}
    assert (stored(digest).state, waited) == ("sent", [1, 2])


def test_the_same_mail_is_queued_once(digest: Digest, northfield: Farm, anna: User):
    with as_role("worker"):
        again = Digest(
            farm=northfield, recipient=anna, occasion=digest.occasion, language="en", subject="again", text="",
            html="", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
        other = Digest(
            farm=northfield, recipient=anna, occasion="2026-W23", language="en", subject="another", text="",
            html="", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
        assert outbox.queue([again, other]) == 1
        assert outbox.queue([]) == 0
    with as_factory():
        assert [row.subject for row in Digest.objects.order_by("occasion")] == ["Northfield: week", "another"]


@pytest.mark.parametrize(
    "refusal",
    [
        smtplib.SMTPRecipientsRefused({"anna@example.org": (550, b"no such user")}),
        smtplib.SMTPDataError(554, b"not wanted"),
    ],
)
def test_a_mail_refused_for_good_is_never_tried_again(digest: Digest, failing: Callable, refusal: Exception):
    failing(refusal)
    assert send() == {"refused": 1}
    assert stored(digest).error.startswith(type(refusal).__name__)
    assert send(NOW + timedelta(days=30)) == {}


@pytest.mark.parametrize(
    "fault",
    [
        smtplib.SMTPRecipientsRefused({"anna@example.org": (452, b"mailbox full")}),
        smtplib.SMTPDataError(451, b"try later"),
        # Ours, and everybody's: giving these up would lose every mail.
        smtplib.SMTPSenderRefused(553, b"sender unknown", "flyround@localhost"),
        smtplib.SMTPAuthenticationError(535, b"wrong password"),
        ConnectionRefusedError(111, "nobody listens"),
        TimeoutError("too slow"),
        ValueError("something else"),
    ],
)
def test_any_other_fault_is_tried_again(digest: Digest, failing: Callable, fault: Exception):
    failing(fault)
    assert send() == {"queued": 1}
    row = stored(digest)
    assert (row.state, row.next_try_at, row.lease_until) == ("queued", NOW + timedelta(minutes=5), None)
    assert row.error.startswith(type(fault).__name__)


def test_the_pause_doubles_up_to_twenty_minutes(digest: Digest, failing: Callable):
    failing(smtplib.SMTPDataError(451, b"try later"))
    assert pauses_of(digest, 6) == [5, 10, 20, 20, 20, 20]


def test_what_a_mailbox_puts_off_for_a_day_is_tried_four_times_a_day(digest: Digest, failing: Callable):
    # RFC 5321, section 4.5.4.1: half an hour or more between tries, and not given up for four to five days.
    with as_factory():
        Digest.objects.update(attempts=outbox.PATIENT_TRIES - 1)
    failing(smtplib.SMTPDataError(452, b"mailbox full"))
    assert pauses_of(digest, 3) == [20, 360, 360]


def test_a_server_that_is_away_for_long_is_asked_every_twenty_minutes_still(digest: Digest, failing: Callable):
    with as_factory():
        Digest.objects.update(attempts=outbox.PATIENT_TRIES + 100)
    failing(ConnectionRefusedError(111, "nobody listens"))
    assert pauses_of(digest, 2) == [20, 20]


def pauses_of(digest: Digest, number: int) -> list[int]:
    """The minutes after each try until the next one."""
    now, pauses = NOW, []
    for _ in range(number):
        send(now)
        pauses.append(int((stored(digest).next_try_at - now).total_seconds() // 60))
        now = stored(digest).next_try_at
    return pauses


def test_one_bad_mail_stops_no_other(digest: Digest, monday_list: MondayList, failing: Callable):
    failing(ValueError("something else"))
    assert send() == {"queued": 1, "sent": 1}


def test_a_server_that_can_not_be_reached_is_asked_once_a_tick(
    digest: Digest, monday_list: MondayList, failing: Callable
):
    failing(ConnectionRefusedError(111, "nobody listens"))
    assert send() == {"queued": 1}
    assert stored(monday_list).attempts == 0


class TestAGroupAtATime:
    """However slow one group's recipients are, the others have their turn."""

    def test_a_ring_sends_its_own_groups_mails_only(
        self, group: Group, digest: Digest, monday_list: MondayList, carla: User
    ):
        with as_factory():
            other = Group.objects.create(name="Hill Advisers", slug="hills", time_zone="America/Denver")
            region = Region.objects.create(group=other, name="Hills", slug="hills")
        make_digest(make_farm("Highmead", region, carla), carla)
        with as_role("worker"):
            assert outbox.groups_with_mail(NOW) == [group.id, other.id]
            assert outbox.send_due(NOW, group.id) == {"sent": 2}
            assert outbox.groups_with_mail(NOW) == [other.id]
            assert outbox.send_due(NOW, other.id) == {"sent": 1}

    def test_a_group_whose_mail_is_under_way_is_left_to_the_worker_that_has_it(
        self, group: Group, digest: Digest, monday_list: MondayList
    ):
        with as_role("worker"):
            assert outbox.claim(next(mail for mail in outbox.due(NOW) if mail.id == digest.id), NOW)
            assert outbox.send_due(NOW, group.id) == {}
            # As if that worker had died.
            assert outbox.send_due(NOW + outbox.LEASE, group.id) == {"sent": 2}

    def test_a_ring_begins_no_mail_when_its_time_is_over(self, group: Group, digest: Digest):
        with as_role("worker"):
            assert outbox.send_due(NOW, group.id, seconds=0) == {}
        assert send() == {"sent": 1}

    def test_a_mail_in_hand_is_put_off_and_its_process_ended_before_another_may_take_it(self):
        assert outbox.SECONDS < MAIL_SECONDS < MOST_MAIL_SECONDS < outbox.LEASE.total_seconds()

    def test_a_ring_goes_on_beyond_the_first_hundred(self, group: Group, northfield: Farm, anna: User):
        for number in range(outbox.BATCH + 1):
            make_digest(northfield, anna, f"mail {number}")
        with as_role("worker"):
            assert outbox.send_due(NOW, group.id) == {"sent": outbox.BATCH + 1}


class TestHeldBack:
    """Consents and roles end at once, also for a mail that waits."""

    def test_an_owner_who_is_none_any_more_gets_nothing(self, digest: Digest, anna: User):
        with as_factory():
            Membership.objects.filter(user=anna).update(ended_at=NOW)
        assert send() == {"refused": 1}
        assert django_mail.outbox == []

    def test_an_adviser_gets_no_list_with_a_farm_that_withdrew_meanwhile(self, monday_list: MondayList):
        with as_factory():
            Consent.objects.update(withdrawn_at=NOW + timedelta(minutes=1))
        assert send(NOW + timedelta(minutes=5)) == {"refused": 1}
        assert "withdrawn its consent" in stored(monday_list).error

    def test_an_adviser_who_left_gets_nothing(self, monday_list: MondayList, dana: User):
        with as_factory():
            GroupMember.objects.filter(user=dana).update(ended_at=NOW)
        assert send() == {"refused": 1}


def test_the_worker_can_not_change_what_a_mail_says(digest: Digest):
    from django.db import ProgrammingError

    with pytest.raises(ProgrammingError, match="permission denied"), as_role("worker"):
        Digest.objects.update(text="something else")
