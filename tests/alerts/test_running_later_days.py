"""What is counted of mails that go out on a later day than Monday, and that nothing is counted for none."""

from datetime import datetime, timedelta

import pytest

from alerts.checks import running
from alerts.delivery import outbox
from alerts.delivery.due_digests import queue_due_digests
from alerts.selectors.running import Kind
from alerts.services import set_mail_day
from farms.models import Farm, Group, Region, Season, User
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import MINUTE, kinds, note, owned, run_monday  # noqa: F401  owned is a fixture
from tests.cast import NOW, acting, as_factory, as_role, make_farm

pytestmark = pytest.mark.django_db


def send(now: datetime) -> None:
    with as_role("worker"):
        outbox.send_due(now)


def test_a_mail_of_a_later_day_is_counted_then_and_the_farms_are_not_counted_again(
    group: Group, owned: Farm, elsewhere: Region, anna: User, carla: User  # noqa: F811
):  # fmt: skip
    with acting(anna):
        set_mail_day(farm=owned, weekday=3, by=anna, now=NOW)
    now = check_time(monday(0))
    wednesday = now + timedelta(days=2)
    run_monday(group, now)
    send(now)
    assert note(now, group).owed == 0
    make_farm("Latecomer", elsewhere, carla)
    row = note(wednesday, group)
    assert (row.to_judge, row.owed, row.written, kinds(row, wednesday)) == (1, 1, 0, [Kind.NOT_WRITTEN])
    with as_role("worker"):
        queue_due_digests(group, now=wednesday)
    row = note(wednesday + MINUTE, group)
    assert (row.to_judge, row.owed, row.written, kinds(row, wednesday)) == (1, 1, 1, [])


@pytest.mark.parametrize("why", ["nobody_to_write_to", "no_news"])
def test_a_chosen_day_on_which_no_mail_is_owed_has_nothing_counted_again(
    group: Group, owned: Farm, elsewhere: Region, anna: User, carla: User, why: str,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    with acting(anna):
        set_mail_day(farm=owned, weekday=3, by=anna, now=NOW)
    with as_factory():
        if why == "nobody_to_write_to":
            User.objects.filter(id=anna.id).update(email="anna@northfield.invalid")
        else:
            Season.objects.filter(farm=owned).update(opens_on=monday(1))
    make_farm("Windy Lea", elsewhere, carla)
    now = check_time(monday(0))
    thursday = now + timedelta(days=3)
    run_monday(group, now)
    send(now)
    settled = note(now, group).settled_at
    make_farm("Latecomer", elsewhere, carla)
    monkeypatch.setattr(running, "_expected", lambda *_: pytest.fail("the whole group was counted again"))
    row = note(thursday, group)
    assert (row.settled_at, kinds(row, thursday)) == (settled, [])
