"""What a farm's digest says of an adviser who left, in English, and that it says it once."""

from datetime import date, timedelta

import pytest

from alerts.delivery.digest import queue_digests
from alerts.models import Digest
from alerts.services import let_adviser_leave
from farms.models import Farm, Group, GroupMember, User
from farms.services import Successor, give_consent
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import acting, as_factory, as_role, make_group_member

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29
BEGINS = date(2026, 7, 20)


@pytest.fixture
def counted(northfield: Farm, group: Group, cards) -> Farm:
    for number in (11, 12, 13):
        count_week(cards, monday(number), [40] * 5)
        check(group, monday(number))
    return northfield


def leave(dana: User, erik: User, successor: User | None) -> None:
    follows = Successor(successor, BEGINS) if successor else None
    with acting(erik):
        role = GroupMember.objects.get(user=dana)
        let_adviser_leave(role=role, successor=follows, by=erik, now=check_time(WEEK) - timedelta(hours=1))


def mail(farm: Farm, group: Group, week: date) -> str:
    with as_role("worker"):
        queue_digests(group, [farm], week=week, now=check_time(week))
    with as_factory():
        row = Digest.objects.get(farm=farm, occasion=f"2026-W{week.isocalendar().week}", language="en")
        assert ("has left" in row.html) == ("has left" in row.text)
        return " ".join(row.text.split())


def test_the_next_mail_says_who_is_next_and_later_ones_do_not(counted: Farm, group: Group, dana, erik):
    leave(dana, erik, make_group_member("Fay", group, "adviser"))
    told = mail(counted, group, WEEK)
    assert "Your adviser Dana has left. Fay would take over from July 20, once you say yes; you may say no." in told
    assert "has left" not in mail(counted, group, monday(13))


def test_where_whoever_follows_was_agreed_it_says_that_a_no_is_enough(counted: Farm, group: Group, anna, erik):
    gus = make_group_member("Gus", group, "adviser")
    with acting(anna):
        give_consent(
            farm=counted, kind="adviser", adviser=gus, whoever_follows=True, by=anna,
            now=check_time(WEEK) - timedelta(days=9),
        )  # fmt: skip
    leave(gus, erik, make_group_member("Fay", group, "adviser"))
    told = mail(counted, group, WEEK)
    assert "Your adviser Gus has left. Fay would take over from July 20; you may say no." in told


def test_nobody_named_yet(counted: Farm, group: Group, dana, erik):
    leave(dana, erik, None)
    assert "Your adviser Dana has left. Nobody is named yet to take over." in mail(counted, group, WEEK)
