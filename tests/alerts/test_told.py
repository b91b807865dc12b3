"""A farm without an address is told by its adviser: noted by week, undone by a later row, seen where it is open."""

from datetime import date, timedelta

import pytest
from django.db.utils import ProgrammingError

from alerts.checks.escalation import escalate_unseen
from alerts.delivery.digest import queue_digests
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import AlertEvent, Digest, MondayList, Told
from alerts.selectors import in_parts, monday_rows, told_of_farms
from alerts.selectors.told import farms_without_mail
from alerts.services import NotTold, Telling, ToldDayWrong, ToldHowUnknown, mark_told, take_back_told
from farms.errors import Forbidden
from farms.ledger import verify_links
from farms.models import Farm, LedgerEntry, Membership, User
from tests.alerts.scene import alerts, check, check_time, count_week, events, monday
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
WEEK = monday(7)
NOW = check_time(WEEK)
MONDAY = WEEK + timedelta(days=7)
BY_CALL = Telling(WEEK, "call", MONDAY)


@pytest.fixture
def over(group, northfield: Farm, cards) -> Farm:
    """Northfield over its level; Anna, its owner, has no address."""
    with as_factory():
        User.objects.filter(name="Anna").update(email="anna.northfield@nowhere.invalid")
    for number in (6, 7):
        count_week(cards, monday(number), [130, 140, 150, 160, 170])
        check(group, monday(number))
    return northfield


def untold(user: User) -> list[str]:
    with acting(user):
        return [row.farm.name for row in monday_rows(user, WEEK) if row.untold]


def test_telling_counts_as_seen_for_all_that_is_open(over: Farm, dana: User):
    opened = alerts(over, still_open=True)
    assert opened
    with acting(dana):
        mark_told(farm=over, telling=BY_CALL, by=dana, now=NOW)
        kinds = [event.kind for alert in opened for event in AlertEvent.objects.filter(alert_id=alert.id, kind="seen")]
        assert kinds == ["seen"] * len(opened)
        assert LedgerEntry.objects.filter(farm=over, kind="told").count() == 1
        assert verify_links(over.id) == []


def test_telling_an_old_week_shows_nobody_what_opened_since(over: Farm, group, dana: User):
    later = NOW + timedelta(days=1)
    (opened,) = alerts(over, rule="over", still_open=True)
    with acting(dana):
        mark_told(farm=over, telling=Telling(monday(5), "letter", MONDAY), by=dana, now=NOW)
    assert [kind for kind, _week in events(opened)] == ["opened", "stayed"]
    with as_role("worker"):
        escalate_unseen(group, later)
    assert [kind for kind, _week in events(opened)][-1] == "escalated"
    with acting(dana):
        mark_told(farm=over, telling=Telling(opened.opened_week, "letter", MONDAY), by=dana, now=later)
    assert [kind for kind, _week in events(opened)][-2:] == ["escalated", "seen"]


def test_it_is_undone_by_a_later_row_and_told_anew(over: Farm, dana: User):
    assert untold(dana) == ["Northfield"]
    with acting(dana):
        mark_told(farm=over, telling=BY_CALL, by=dana, now=NOW)
    assert untold(dana) == []
    with acting(dana):
        take_back_told(farm=over, week=MONDAY - timedelta(days=1), by=dana, now=NOW)
        with pytest.raises(NotTold):
            take_back_told(farm=over, week=WEEK, by=dana, now=NOW)
    assert untold(dana) == ["Northfield"]
    with acting(dana):
        mark_told(farm=over, telling=Telling(WEEK, "letter", MONDAY), by=dana, now=NOW)
        assert told_of_farms([over.id], WEEK)[over.id].how == "letter"
        assert told_of_farms([over.id], WEEK - timedelta(days=7)) == {}
    with as_factory():
        assert list(Told.objects.order_by("entry").values_list("undone", flat=True)) == [False, True, False]


@pytest.mark.parametrize(("telling", "error"), [
    (Telling(WEEK, "drum", MONDAY), ToldHowUnknown),
    (Telling(WEEK, "call", WEEK), ToldDayWrong),
    (Telling(WEEK, "call", MONDAY + timedelta(days=1)), ToldDayWrong),
])  # fmt: skip
def test_what_cannot_be(over: Farm, dana: User, telling: Telling, error: type[Exception]):
    with acting(dana), pytest.raises(error):
        mark_told(farm=over, telling=telling, by=dana, now=NOW)


def test_only_the_farms_adviser_notes_it_and_no_stranger_reads_it(over: Farm, anna, ben, carla, dana, erik):
    for user in (anna, ben, carla, erik):
        with acting(user), pytest.raises(Forbidden):
            mark_told(farm=over, telling=BY_CALL, by=user, now=NOW)
    with acting(dana):
        mark_told(farm=over, telling=BY_CALL, by=dana, now=NOW)
    for user, seen in ((anna, True), (ben, True), (dana, True), (carla, False), (erik, False)):
        with acting(user):
            assert Told.objects.exists() == seen
    with pytest.raises(ProgrammingError, match="permission denied"), as_role("app"):
        Told.objects.update(undone=True)


class TestWhoGetsNoMail:
    def test_a_farm_whose_owners_have_no_address_and_one_without_owners(self, over: Farm, southmead: Farm):
        with as_role("worker"):
            assert farms_without_mail([over.id, southmead.id], WEEK) == {over.id}
        with as_factory():
            Membership.objects.filter(farm=southmead).update(ended_at=NOW)
        with as_role("worker"):
            assert farms_without_mail([over.id, southmead.id], WEEK) == {over.id, southmead.id}

    def test_no_mail_is_written_to_an_address_that_is_none(self, over: Farm, group):
        with as_role("worker"):
            queue_digests(group, [over], week=WEEK, now=NOW)
        with as_factory():
            assert not Digest.objects.exists()

    def test_a_farm_whose_mail_was_refused(self, group, northfield: Farm, dana: User, cards):
        count_week(cards, WEEK, [130] * 5)
        check(group, WEEK)
        with as_role("worker"):
            queue_digests(group, [northfield], week=WEEK, now=NOW)
        assert untold(dana) == []
        with as_factory():
            Digest.objects.update(state="refused")
        assert untold(dana) == ["Northfield"]

    def test_a_week_without_a_result_is_not_told(self, over: Farm, dana: User):
        with acting(dana):
            assert not any(row.untold for row in monday_rows(dana, date(2026, 3, 2)))


def test_those_not_told_head_the_list_on_the_page_and_in_the_mail(over: Farm, group, dana: User):
    with acting(dana):
        rows = monday_rows(dana, WEEK)
        ((part, heading, some),) = in_parts(rows)
        assert (part, heading, some[0].reasons[-1]) == ("untold", "Not told yet", "call first")
        assert [row.verdict for row in rows] == ["call"]
    with as_role("worker"):
        queue_monday_lists(group, week=WEEK, now=NOW)
    with as_factory():
        mail = MondayList.objects.get()
    assert "NOT TOLD YET Northfield · cards over" in " ".join(mail.text.split())
    assert "call first · " in mail.text and mail.subject.startswith("1 farm to call")
    assert "Not told yet" in mail.html
