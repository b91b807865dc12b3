"""Half a season at the action level: what wavers about it is told once, by one mail a week."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from django.core import mail

from alerts.delivery.midweek import queue_midweek_mails
from alerts.delivery.outbox import send_due
from alerts.models import Alert, CheckRun, Digest
from alerts.models.outbox import DeliveryState
from alerts.monday import check_group, judge_again
from farms.models import Farm, Group, Membership, Season, User
from farms.models.access import FarmRole
from monitoring.models import Station
from tests.alerts.scene import alerts, check_time, count_week, events, monday
from tests.cast import NOW, as_factory, as_role
from tests.full import FULL

pytestmark = pytest.mark.django_db(databases=["default", "cohort", "owner"])
WEEKS, LEVEL, WOBBLE = 26, 100, 0.1
SEEDS = (1, 2, 3) if FULL else (1,)


@pytest.fixture(autouse=True)
def judged_from_its_first_week(group: Group, northfield: Farm) -> None:
    """The season opens with the first week, and nothing before it is due."""
    with as_factory():
        Season.objects.filter(farm=northfield).update(opens_on=monday(0))


@pytest.fixture
def owners(northfield: Farm, anna: User, carla: User) -> list[User]:
    """Anna, and Carla, who owns Northfield too here."""
    with as_factory():
        Membership.objects.create(farm=northfield, user=carla, role=FarmRole.OWNER, began_at=NOW)
    return [anna, carla]


def wobbling(seed: int) -> list[list[int]]:
    """Weeks of five cards whose mean is drawn about the level with a standard deviation of a tenth of it."""
    rng = np.random.default_rng(seed)
    means = LEVEL * (1 + WOBBLE * rng.standard_normal(WEEKS))
    return [[round(each) + step for step in (-4, -2, 0, 2, 4)] for each in means]


def live_late(group: Group, cards: list[Station], weeks: list[list[int]]) -> None:
    """The same weeks, each counted some hours after Monday's mail about it was written."""
    for number, counts in enumerate(weeks):
        morning = check_time(monday(number))
        with as_role("worker"):
            check_group(group, morning)
        count_week(cards, monday(number), counts, received=morning + timedelta(hours=3))
        in_between(group, morning + timedelta(hours=4))


def live(group: Group, cards: list[Station], weeks: list[list[int]]) -> None:
    """Week after week: counted on Monday, checked at half past five, looked at again on Thursday; mails leave."""
    for number, counts in enumerate(weeks):
        count_week(cards, monday(number), counts)
        morning = check_time(monday(number))
        with as_role("worker"):
            check_group(group, morning)
            send_due(morning)
        in_between(group, morning + timedelta(days=3))


def in_between(group: Group, now: datetime) -> None:
    """What the ticks of a day between two Mondays do. Whatever writes mails in mid-week has its call here."""
    with as_role("worker"):
        judge_again(group, now)
        queue_midweek_mails(group, now)
        send_due(now)


def sent_to(person: User) -> list[str]:
    """The subjects of what was sent to somebody, whatever kind of mail it was."""
    return [str(message.subject) for message in mail.outbox if person.email in message.to]


def over_alerts(farm: Farm) -> list[Alert]:
    return alerts(farm, rule="over")


@pytest.mark.parametrize("seed", SEEDS)
def test_weeks_about_the_level_are_two_episodes_at_most(
    group: Group, northfield: Farm, cards: list[Station], anna: User, seed: int
):
    weeks = wobbling(seed)
    crossings = np.sum(np.diff([np.mean(week) > LEVEL for week in weeks]))
    assert crossings >= 5, "the series wavers about the level indeed"
    live(group, cards, weeks)
    told = over_alerts(northfield)
    openings = [kind for alert in told for kind, _ in events(alert) if kind in ("opened", "reopened")]
    assert 1 <= len(openings) <= 2
    assert {alert.episode for alert in told} <= {1, 2}
    with as_factory():
        digests = list(Digest.objects.filter(farm=northfield).order_by("queued_at"))
    assert len(digests) == WEEKS == len({each.occasion for each in digests})
    assert {each.recipient_id for each in digests} == {anna.id}
    assert {each.queued_at for each in digests} == {check_time(monday(number)) for number in range(WEEKS)}
    assert {each.state for each in digests} == {DeliveryState.SENT}
    assert len(sent_to(anna)) == WEEKS
    with as_factory():
        assert CheckRun.objects.filter(looked_to__isnull=False).count() == WEEKS, "looked at between Mondays indeed"


def test_counted_after_mondays_mail_they_make_none_between_two_mondays(
    group: Group, northfield: Farm, cards: list[Station]
):
    live_late(group, cards, wobbling(1))
    opened = [alert.opened_at for alert in over_alerts(northfield)]
    assert opened and not set(opened) & {check_time(monday(number)) for number in range(WEEKS)}
    with as_factory():
        assert Digest.objects.count() == WEEKS
        assert not Digest.objects.filter(occasion__endswith="-midweek").exists()


def test_a_sharp_week_among_them_makes_one(group: Group, northfield: Farm, cards: list[Station]):
    live_late(group, cards, [[60] * 5, [60] * 5, [200, 220, 190, 230, 210], [90] * 5])
    with as_factory():
        told = Digest.objects.filter(occasion__endswith="-midweek")
        assert [mail.queued_at for mail in told] == [check_time(monday(2)) + timedelta(hours=4)]


def test_each_owner_gets_one_mail_a_week(group: Group, northfield: Farm, cards: list[Station], owners: list[User]):
    live(group, cards, wobbling(5)[:8])
    assert [len(sent_to(owner)) for owner in owners] == [8, 8]
