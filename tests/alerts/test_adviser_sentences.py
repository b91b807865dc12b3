"""What a farm's digest says of an adviser who left, in English, and that it says it once."""

from datetime import date, datetime, timedelta
from hashlib import sha256

import pytest
from django.db import ProgrammingError
from django.utils import timezone

from alerts.delivery.digest import queue_digests
from alerts.models import Digest
from alerts.services import let_adviser_leave
from farms.models import ApiToken, Farm, Group, GroupMember, User
from farms.selectors import consents_of
from farms.services import Successor, begin_due, give_consent, withdraw_consent
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import NOW, acting, as_factory, as_role, make_group_member

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29
BEGINS = date(2026, 7, 20)


@pytest.fixture
def counted(northfield: Farm, group: Group, cards) -> Farm:
    for number in (11, 12, 13):
        count_week(cards, monday(number), [40] * 5)
        check(group, monday(number))
    return northfield


def leave(dana: User, erik: User, successor: User | None, hours: int = -1) -> None:
    """On the Monday after the week, an hour before its mail or, with `hours`, some after it."""
    follows = Successor(successor, BEGINS) if successor else None
    with acting(erik):
        role = GroupMember.objects.get(user=dana)
        let_adviser_leave(role=role, successor=follows, by=erik, now=check_time(WEEK) + timedelta(hours=hours))


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
    gus = agreed_to_whoever_follows(counted, group, anna)
    leave(gus, erik, make_group_member("Fay", group, "adviser"))
    told = mail(counted, group, WEEK)
    assert "Your adviser Gus has left. Fay would take over from July 20; you may say no." in told


def agreed_to_whoever_follows(farm: Farm, group: Group, anna: User) -> User:
    gus = make_group_member("Gus", group, "adviser")
    with acting(anna):
        give_consent(
            farm=farm, kind="adviser", adviser=gus, whoever_follows=True, by=anna,
            now=check_time(WEEK) - timedelta(days=9),
        )  # fmt: skip
    return gus


def begin(group: Group) -> None:
    with as_role("worker"):
        assert begin_due(group_id=group.id, today=BEGINS, now=check_time(monday(14)) - timedelta(hours=5)) == 1


BEGUN = (
    "Your adviser Gus has left. Fay took over on July 20, as the farm had agreed, and sees it. You can end that at "
    "any time, in the farm's settings under “Who may see what”."
)


def test_named_just_after_a_mail_for_the_first_day_allowed_a_farm_is_told_before_and_after(
    counted: Farm, group: Group, cards, anna, erik
):
    """The mail of the Monday between the two comes in time for a no, and that of the day itself says what began."""
    count_week(cards, monday(14), [40] * 5)
    gus = agreed_to_whoever_follows(counted, group, anna)
    mail(counted, group, WEEK)
    leave(gus, erik, make_group_member("Fay", group, "adviser"), hours=4)
    assert "Fay would take over from July 20; you may say no." in mail(counted, group, monday(13))
    begin(group)
    assert BEGUN in mail(counted, group, monday(14))
    assert "has left" not in mail(counted, group, monday(15))


def test_what_no_mail_told_before_is_told_when_there_is_one_again(counted: Farm, group: Group, anna, erik):
    leave(agreed_to_whoever_follows(counted, group, anna), erik, make_group_member("Fay", group, "adviser"))
    begin(group)
    told = mail(counted, group, monday(14))
    assert BEGUN in told and "would take over" not in told


def test_what_was_ended_again_is_not_told_any_more(counted: Farm, group: Group, anna, erik):
    fay = make_group_member("Fay", group, "adviser")
    leave(agreed_to_whoever_follows(counted, group, anna), erik, fay)
    begin(group)
    with acting(anna):
        withdraw_consent(consent=consents_of(counted).get(adviser=fay), by=anna, now=check_time(monday(14)))
    assert "Fay" not in mail(counted, group, monday(14))


def test_a_mail_between_two_mondays_tells_nothing_of_it(counted: Farm, group: Group, anna, dana, erik):
    leave(dana, erik, make_group_member("Fay", group, "adviser"), hours=4)
    at = check_time(WEEK) + timedelta(days=2)
    with as_factory():
        Digest.objects.create(
            farm=counted, recipient=anna, occasion="2026-W28-midweek", language="en", queued_at=at, next_try_at=at
        )
    assert "Fay would take over" in mail(counted, group, monday(13))


@pytest.mark.parametrize("state", ["unwanted", "refused"])
def test_a_mail_that_nobody_got_told_nobody(counted: Farm, group: Group, dana, erik, state):
    leave(dana, erik, make_group_member("Fay", group, "adviser"))
    assert "Fay would take over" in mail(counted, group, WEEK)
    with as_factory():
        Digest.objects.update(state=state)
    assert "Fay would take over" in mail(counted, group, monday(13))


def test_phones_that_joined_by_the_codes_of_who_left_are_named(counted: Farm, group: Group, anna, dana, erik):
    joined(counted, dana, "Feed room phone")
    joined(counted, dana, "Old <phone>")
    joined(counted, anna, "Anna's")
    joined(counted, dana, "Switched off", revoked_at=NOW)
    joined(counted, dana, "Of last year", expires_at=NOW)
    leave(dana, erik, None)
    told = mail(counted, group, WEEK)
    assert (
        "Farm phones that joined by a code of Dana go on counting: Feed room phone and Old <phone>. Switch off any "
        "that you don't know, in the farm's settings under “Farm phones”."
    ) in told
    with as_factory():
        assert "Old &lt;phone&gt;" in Digest.objects.get().html


def test_the_worker_reads_no_key(northfield: Farm, anna: User):
    joined(northfield, anna, "Phone")
    joined(northfield, anna, "Program", scope="read")
    with as_role("worker"):
        assert list(ApiToken.objects.values_list("name", flat=True)) == ["Phone"]
    with pytest.raises(ProgrammingError, match="permission denied"), as_role("worker"):
        ApiToken.objects.values_list("key_hash").get()


def joined(farm: Farm, by: User, name: str, scope: str = "count", **more: datetime) -> None:
    """A phone whose code somebody made; it lives by the real clock."""
    with as_factory():
        ApiToken.objects.create(
            farm=farm, name=name, scope=scope, key_hash=sha256(name.encode()).digest(), made_by=by, made_at=NOW,
            **{"expires_at": timezone.now() + timedelta(days=30), **more},
        )  # fmt: skip


def test_nobody_named_yet(counted: Farm, group: Group, dana, erik):
    leave(dana, erik, None)
    assert "Your adviser Dana has left. Nobody is named yet to take over." in mail(counted, group, WEEK)
