"""What the weekly mail says of planned work: what is overdue, what comes, and no more than fits a mail."""

from datetime import timedelta

import pytest

from alerts.delivery.digest import queue_digests
from alerts.models import Digest
from farms.clock import local_date
from farms.ledger import Actor
from monitoring.services import WorkPlanned, as_planned, plan_work, record_work
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
WEEK = monday(6)
# The day on which the mail is written: the Monday after.
DAY = WEEK + timedelta(days=7)


@pytest.fixture
def judged(group, northfield, cards):
    for number in range(7):
        count_week(cards, monday(number), [20, 24, 18, 30, 22])
    check(group, WEEK)
    return northfield


def plan(farm, anna, kind="clean_out", first_day=DAY, days_ago=0, **more):
    now = check_time(WEEK) - timedelta(days=days_ago)
    with acting(anna):
        return plan_work(
            farm=farm, plan=WorkPlanned(kind, first_day, **more), actor=Actor("farm_staff", anna.id), now=now
        )


def mail(group, farm):
    with as_role("worker"):
        queue_digests(group, [farm], week=WEEK, now=check_time(WEEK))
    with as_factory():
        return Digest.objects.get()


def text_of(group, farm):
    return " ".join(mail(group, farm).text.split())


def test_what_is_overdue_and_what_comes_is_told_in_two_sentences(group, judged, anna, calf_barn):
    assert local_date(check_time(WEEK), judged.time_zone) == DAY
    plan(judged, anna, facility=calf_barn, first_day=DAY + timedelta(days=3), words="ask Pia for the key")
    plan(judged, anna, "fans", DAY - timedelta(days=5), days_ago=5)
    plan(judged, anna, "screens", DAY + timedelta(days=8))
    text = text_of(group, judged)
    assert "Planned: clean-out in the calf barn, Thursday, May 28. Overdue: fans, since May 20." in text
    assert "screens" not in text and "Pia" not in text
    assert "Cattle and manure gas can hurt" in text


def test_nothing_planned_is_nothing_told(group, judged, anna):
    row = plan(judged, anna)
    with acting(anna):
        done = as_planned(row, DAY, DAY)
        record_work(farm=judged, work=done, actor=Actor("farm_staff", anna.id), now=check_time(WEEK))
    text = text_of(group, judged)
    assert "Planned:" not in text and "Overdue:" not in text


def test_a_daily_plan_is_named_once_and_many_are_counted(group, judged, anna):
    plan(judged, anna, "drying", every=1, unit="day", last_day=DAY + timedelta(days=30))
    for kind in ("fans", "screens", "bedding", "clean_out"):
        plan(judged, anna, kind, DAY + timedelta(days=1))
    text = text_of(group, judged)
    assert (
        "Planned: drying and water handling, Monday, May 25; fans, Tuesday, May 26; screens, Tuesday, May 26; 2 more."
        in text
    )


def test_it_is_told_in_spanish_too(group, judged, anna):
    with as_factory():
        type(anna).objects.filter(id=anna.id).update(language="es")
    plan(judged, anna, first_day=DAY + timedelta(days=3))
    text = text_of(group, judged)
    assert "Planeado: limpieza a fondo" in text and "Planned" not in text
