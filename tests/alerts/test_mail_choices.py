"""How often a mail comes: what its reader chose holds when it would leave, and what isn't wanted is still written."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail as django_mail
from django.db import ProgrammingError, transaction

from alerts.delivery import outbox
from alerts.delivery.digest import queue_digests
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import Digest, DigestChoice, MondayList, MondayListChoice
from alerts.models.mail_choice import ChoiceWay, HowOften
from alerts.selectors.mail_choices import subscription_for, subscriptions_of
from alerts.services import HowOftenUnknown, choose_how_often
from farms.errors import Missing
from farms.models import Farm, Group, Membership, User
from monitoring.models import Station
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import NOW, acting, as_factory, as_role

pytestmark = pytest.mark.django_db
WEEK = monday(7)


def choose(user: User, kind: str, about: Farm | Group, how_often: str, **more: Any) -> None:
    with acting(user):
        subscription = subscription_for(user, kind, about.id)
        values = {"way": ChoiceWay.PAGE, "now": NOW} | more
        choose_how_often(subscription=subscription, by=user, how_often=how_often, **values)


def send(now: Any) -> dict[str, int]:
    with as_role("worker"):
        return dict(outbox.send_due(now))


@pytest.fixture
def judged(group: Group, northfield: Farm, cards: list[Station]) -> Callable[[int], None]:
    """Judge weeks of cards that all show the same count, and write the mails of the last."""

    def write(count: int) -> None:
        for number in range(4, 8):
            count_week(cards, monday(number), [count] * 5)
            check(group, monday(number))
        with as_role("worker"):
            queue_digests(group, [northfield], week=WEEK, now=check_time(WEEK))
            queue_monday_lists(group, week=WEEK, now=check_time(WEEK))

    return write


@pytest.mark.parametrize(
    ("how_often", "count", "sent"),
    [
        ("every_week", 20, True),
        ("every_week", 150, True),
        ("when_needed", 20, False),
        ("when_needed", 150, True),
        ("none", 20, False),
        ("none", 150, False),
    ],
)
def test_a_mail_leaves_when_its_reader_wants_it_and_is_written_anyhow(
    anna, dana, group, northfield, judged, how_often, count, sent
):
    choose(anna, "digest", northfield, how_often)
    choose(dana, "monday_list", group, how_often)
    judged(count)
    assert send(check_time(WEEK)) == ({"sent": 2} if sent else {"unwanted": 2})
    assert len(django_mail.outbox) == (2 if sent else 0)
    with as_factory():
        rows = [Digest.objects.get(), MondayList.objects.get()]
    assert {row.state for row in rows} == {"sent" if sent else "unwanted"}
    assert all(row.text and row.html and row.needs_a_look == (count == 150) for row in rows)


def test_who_never_chose_gets_every_week(anna, northfield, judged):
    with acting(anna):
        (only,) = subscriptions_of(anna)
    assert (only.kind, only.about, only.how_often, only.chosen_at) == ("digest", northfield, "every_week", None)
    judged(20)
    assert send(check_time(WEEK)) == {"sent": 2}


def test_a_round_that_is_overdue_needs_a_look(anna, dana, group, northfield, cards, judged):
    choose(anna, "digest", northfield, "when_needed")
    count_week(cards, monday(4), [20] * 5)
    for number in range(4, 8):
        check(group, monday(number))
    with as_role("worker"):
        queue_digests(group, [northfield], week=WEEK, now=check_time(WEEK))
    assert send(check_time(WEEK)) == {"sent": 1}


def test_a_choice_holds_for_what_waits_already(anna, northfield, judged):
    judged(150)
    choose(anna, "digest", northfield, "none")
    assert send(check_time(WEEK)) == {"sent": 1, "unwanted": 1}
    # Nor does it leave later, once the reader wants mails again.
    choose(anna, "digest", northfield, "every_week")
    assert send(check_time(WEEK) + timedelta(days=1)) == {}


def test_choices_are_rows_that_stay_and_the_same_twice_is_one(anna, northfield):
    for how_often in ("none", "none", "when_needed", "every_week", "none"):
        choose(anna, "digest", northfield, how_often, way=ChoiceWay.MAIL)
    with as_factory():
        rows = list(DigestChoice.objects.order_by("chosen_at", "id").values_list("recipient", "how_often", "way"))
    assert rows == [(anna.id, each, "mail") for each in ("none", "when_needed", "every_week", "none")]


def test_one_farms_choice_says_nothing_of_another(anna, region, northfield, judged):
    from tests.cast import make_farm

    choose(anna, "digest", make_farm("Fallow", region, anna), "none")
    judged(20)
    assert send(check_time(WEEK)) == {"sent": 2}


def test_a_made_up_answer_is_refused(anna, northfield):
    with pytest.raises(HowOftenUnknown, match="Choose every_week, when_needed or none"):
        choose(anna, "digest", northfield, "monthly")


def test_only_who_gets_a_mail_chooses_it(anna, ben, carla, dana, erik, group, northfield, southmead):
    with acting(dana):
        assert [(each.kind, each.about.id) for each in subscriptions_of(dana)] == [("monday_list", group.id)]
    for user in (ben, carla, dana, erik):
        with pytest.raises(Missing):
            choose(user, "digest", northfield, "none")
    for user in (anna, ben, carla, erik):
        with pytest.raises(Missing):
            choose(user, "monday_list", group, "none")
    with as_factory():
        Membership.objects.filter(user=anna).update(ended_at=NOW)
    with pytest.raises(Missing):
        choose(anna, "digest", northfield, "none")


class TestRowSecurityAlone:
    """Without the door: a choice is its reader's, on a farm that they may see."""

    def test_nobody_reads_another_readers_choice(self, anna, ben, dana, group, northfield):
        choose(anna, "digest", northfield, "none")
        choose(dana, "monday_list", group, "none")
        for user, digests, lists in ((anna, 1, 0), (ben, 0, 0), (dana, 0, 1)):
            with acting(user):
                assert (DigestChoice.objects.count(), MondayListChoice.objects.count()) == (digests, lists)

    @pytest.mark.parametrize("who", ["ben", "carla", "dana"])
    def test_nobody_chooses_for_somebody_else(self, request, anna, northfield, who):
        values = {"how_often": HowOften.NONE, "chosen_at": NOW, "way": "api"}
        someone, refused = request.getfixturevalue(who), pytest.raises(ProgrammingError, match="row-level security")
        with acting(someone), refused, transaction.atomic():
            DigestChoice.objects.create(farm=northfield, recipient=anna, **values)

    def test_nobody_chooses_for_a_farm_that_they_may_not_see(self, carla, northfield):
        values = {"how_often": HowOften.NONE, "chosen_at": NOW, "way": "api"}
        refused = pytest.raises(ProgrammingError, match="row-level security")
        with acting(carla), refused, transaction.atomic():
            DigestChoice.objects.create(farm=northfield, recipient=carla, **values)
