"""Groups take turns with their mails: however many are slow, a group that has waited longer comes first.

Time is virtual: a mail of a slow group takes ten seconds, so that a turn is over after three.
"""

from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from uuid import UUID

import pytest
from django.core.mail.backends.locmem import EmailBackend
from django.db.models import Count

from alerts.delivery import outbox
from alerts.models import Digest
from farms.models import Farm, Group, Region
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, as_factory, as_role, make_farm, make_user

pytestmark = pytest.mark.django_db
TURN = timedelta(seconds=30)
SLOW = timedelta(seconds=10)


def valley(name: str, mails: int, *, waits: timedelta = timedelta(0)) -> Farm:
    """A group of its own with so many mails, which were written so long ago."""
    with as_factory():
        group = Group.objects.create(name=name, slug=name.lower(), time_zone="America/Chicago")
        region = Region.objects.create(group=group, name=name, slug=name.lower())
    owner = make_user(name)
    farm = make_farm(f"{name} Farm", region, owner)
    for number in range(mails):
        make_digest(farm, owner, f"mail {number}")
    with as_factory():
        Digest.objects.filter(farm=farm).update(next_try_at=NOW - waits)
    return farm


@pytest.fixture
def slow_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever's name begins with Slow has a server that takes ten seconds a mail."""
    clock = SimpleNamespace(seconds=0.0)
    taken = EmailBackend.send_messages

    def send(self: EmailBackend, messages: list) -> int:
        clock.seconds += SLOW.total_seconds() if messages[0].to[0].startswith("slow") else 0.01
        return int(taken(self, messages))

    monkeypatch.setattr(EmailBackend, "send_messages", send)
    monkeypatch.setattr(outbox, "time", SimpleNamespace(monotonic=lambda: clock.seconds, sleep=lambda _seconds: None))


def sent() -> dict[UUID, int]:
    with as_factory():
        rows = Digest.objects.filter(state="sent").order_by().values("farm__group_id")
        return {row["farm__group_id"]: row["mails"] for row in rows.annotate(mails=Count("id"))}


@pytest.fixture
def rings(slow_line: None) -> Callable[[int], None]:
    """So many rings, of which two processes hear the first two groups each; the others' is lost."""

    def heard(number: int) -> None:
        for beat in range(number):
            now = NOW + beat * TURN
            with as_role("worker"):
                for group_id in list(outbox.groups_with_mail(now))[:2]:
                    outbox.send_due(now, group_id)

    return heard


def test_five_slow_groups_whose_mails_are_older_starve_no_other(db: None, rings: Callable[[int], None]):
    slow = [valley(f"Slow{number}", 20, waits=timedelta(minutes=5)) for number in range(5)]
    quick = valley("Quick", 20)
    rings(4)
    assert sent()[quick.group_id] == 20
    rings(16)
    turns = [sent()[farm.group_id] for farm in slow]
    assert max(turns) - min(turns) <= 3 and min(turns) >= 9


def test_the_group_that_has_waited_longest_is_rung_first_and_goes_behind_after_its_turn(
    db: None, rings: Callable[[int], None]
):
    late, early = valley("SlowLate", 9), valley("SlowEarly", 9, waits=timedelta(minutes=1))
    with as_role("worker"):
        assert outbox.groups_with_mail(NOW) == [early.group_id, late.group_id]
        assert outbox.send_due(NOW + TURN, early.group_id) == {"sent": 3}
        assert outbox.groups_with_mail(NOW + TURN) == [late.group_id, early.group_id]


def test_what_is_put_off_keeps_its_own_pause(db: None, slow_line: None):
    farm = valley("Slow", 5)
    later = NOW + timedelta(hours=1)
    with as_factory():
        put_off = Digest.objects.filter(farm=farm, occasion="mail 4").update(next_try_at=later)
    with as_role("worker"):
        assert put_off == 1 and outbox.send_due(NOW + TURN, farm.group_id) == {"sent": 3}
    with as_factory():
        waiting = dict(Digest.objects.filter(state="queued").values_list("occasion", "next_try_at"))
    assert waiting == {"mail 3": NOW + TURN, "mail 4": later}
