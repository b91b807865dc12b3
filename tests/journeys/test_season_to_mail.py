"""The whole way: a program posts a season over HTTP, a worker judges it week by week, an SMTP server takes the mails.

Nothing is doubled: servers, worker and mails are real, only the clock is moved. The alert opens in the right week,
stays quiet while it stays, and closes.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import pairwise

import pytest
from django.utils import timezone

from alerts.models import Alert, AlertEvent
from alerts.models.alert import EventKind, Rule
from farms import ledger, services
from farms.ids import uuid7
from farms.models.access import TokenScope
from tests.cast import acting, as_factory
from tests.journeys.world import ZONE, World, world

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")

FIRST_HUNG = date(2026, 4, 6)
# Specks on each of the five cards, week after week. More than 100 first in the fifth; below 80 twice at the end.
SEASON = [60, 62, 80, 95, 130, 160, 150, 104, 70, 64]
OPENS, CLOSES = 4, 9  # the weeks, from 0, in which the alert must open and close


@pytest.fixture
def running_world(tmp_path) -> Iterator[World]:
    with world(tmp_path) as made:
        yield made


@pytest.fixture
def key(northfield, anna, ben, dana):
    with acting(anna):
        now = timezone.now()
        _, made = services.make_token(
            farm=northfield, name="Ben's program", scope=TokenScope.WRITE, by=anna,
            expires_at=now + timedelta(days=365), now=now,
        )  # fmt: skip
    return made


def monday_after(index: int) -> datetime:
    """The Monday morning on which the week of a round is judged: half past five at the farm."""
    day = FIRST_HUNG + timedelta(days=7 * (index + 1))
    return datetime(day.year, day.month, day.day, 5, 30, tzinfo=ZONE)


def post_round(program, world, farm, cards, index):
    """Walk on Sunday: take the cards down, hang fresh ones."""
    walked = FIRST_HUNG + timedelta(days=7 * (index + 1) - 1)
    world.at(datetime(walked.year, walked.month, walked.day, 18, tzinfo=ZONE))
    hung_on = FIRST_HUNG if index == 0 else walked - timedelta(days=7)
    readings = [
        {"id": str(uuid7()), "station_id": str(card.id), "hung_on": str(hung_on), "count": count}
        for card, count in zip(cards, spread(SEASON[index]), strict=True)
    ]
    hung = [{"id": str(uuid7()), "station_id": str(card.id), "hung_on": str(walked)} for card in cards]
    body = {"walked_on": str(walked), "readings": readings, "hung": hung}
    answer = program.put(f"/farms/{farm.id}/rounds/{uuid7()}", json=body)
    assert answer.status_code == 201, answer.text


def spread(mean: int) -> list[int]:
    """Five counts with this mean."""
    return [mean - 12, mean - 5, mean, mean + 4, mean + 13]


def test_a_season_goes_from_the_program_to_the_right_mails(running_world, northfield, cards, key, anna, dana):
    opened = []
    with running_world.program(key) as program:
        for index in range(len(SEASON)):
            post_round(program, running_world, northfield, cards, index)
            running_world.judge(FIRST_HUNG + timedelta(days=7 * index), monday_after(index))
            opened.append(open_over_alerts(northfield))
    assert [bool(each) for each in opened] == [OPENS <= index < CLOSES for index in range(len(SEASON))]
    assert_one_episode(northfield)
    assert_mails(running_world, anna, dana, northfield)
    with as_factory():
        assert ledger.verify_links(northfield.id) == []


def open_over_alerts(farm):
    with as_factory():
        return list(Alert.objects.filter(farm_id=farm.id, rule=Rule.OVER, closed_at__isnull=True))


def assert_one_episode(farm):
    """The farm's alert and its barn's: each opened once, stayed while it stayed, closed once."""
    with as_factory():
        alerts = list(Alert.objects.filter(farm_id=farm.id, rule=Rule.OVER))
        assert alerts and {alert.episode for alert in alerts} == {1}
        for alert in alerts:
            events = AlertEvent.objects.filter(farm_id=farm.id, alert_id=alert.id).order_by("at", "id")
            kinds = list(events.values_list("kind", flat=True))
            assert kinds.count(EventKind.OPENED) == kinds.count(EventKind.CLOSED) == 1
            assert kinds[0] == EventKind.OPENED and kinds[-1] == EventKind.CLOSED
            assert alert.opened_week == FIRST_HUNG + timedelta(days=7 * OPENS)
            assert alert.closed_week == FIRST_HUNG + timedelta(days=7 * CLOSES)


def assert_mails(running_world, anna, dana, farm):
    """One digest a week to the owner, one list a week to the adviser, and nobody else."""
    digests, lists = running_world.mailbox.to(anna.email), running_world.mailbox.to(dana.email)
    assert len(digests) == len(lists) == len(SEASON) == len(running_world.mailbox.mails) / 2
    assert all(farm.name in str(mail["Subject"]) for mail in digests)
    for mail in [*digests, *lists]:
        assert {"text/plain", "text/html"} <= {part.get_content_type() for part in mail.walk()}
    over = [b"over" in text_of(mail).lower().encode() for mail in digests]
    assert over[OPENS] and not over[0]
    assert farm.name in text_of(lists[OPENS])
    assert all(first["Date"].datetime <= second["Date"].datetime for first, second in pairwise(digests))


def text_of(mail) -> str:
    return mail.get_body(("plain",)).get_content()
