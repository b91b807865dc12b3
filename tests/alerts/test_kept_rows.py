"""Lines of the Monday list that are kept: the same as if they were made now, whatever happens on a farm."""

from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.translation import override

from alerts.checks.group_week import judge_late_readings
from alerts.models import Alert, AlertEvent, CheckFailure
from alerts.selectors import MondayRow, monday_rows
from alerts.selectors.monday_rows import MADE_OF
from alerts.services import acknowledge, mark_seen, snooze
from farms import services
from farms.kept import forget
from farms.ledger import Actor, append, lock_heads
from farms.models import Facility, Farm, Group, Region, RegionClosure, Season, User
from monitoring.models import Application, ApplicationCheck, Reading, Round, Work, WorkTakenBack
from monitoring.services import ReentryTyped, WorkDone, record_reentry, record_work, skip_round
from tests.alerts.scene import check, correct, monday
from tests.alerts.test_monday_list import add_farm
from tests.cast import acting, as_factory, as_role
from tests.tables_read import tables_read

module = import_module("alerts.selectors.monday_rows")  # its name is also that of its main function
pytestmark = pytest.mark.django_db
WEEK = monday(12)
DAY = WEEK + timedelta(days=16)  # the last round was nine days ago
NOW = datetime.combine(DAY, datetime.min.time(), UTC) + timedelta(hours=15)
BY_THE_CHAIN = (Round, Work, WorkTakenBack, Application, ApplicationCheck, AlertEvent)


@pytest.fixture
def farms(group: Group, region: Region, dana: User) -> list[Farm]:
    made = [add_farm("Over", region, dana, [90] * 7 + [130]), add_farm("Quiet", region, dana, [30] * 8)]
    check(group, WEEK)
    return made


def told(user: User) -> list[dict[str, Any]]:
    """The list's rows, field by field."""
    with acting(user):
        rows = monday_rows(user, WEEK, day=DAY)
    return [{field.name: _plain(row, field.name) for field in fields(MondayRow)} for row in rows]


def _plain(row: MondayRow, name: str) -> Any:
    value = getattr(row, name)
    if name == "farm":
        return value.id, value.name, value.region.name
    return [vars_of(alert) for alert in value] if name == "alerts" else value


def vars_of(alert: Alert) -> dict[str, Any]:
    return {name: value for name, value in vars(alert).items() if not name.startswith("_")}


@pytest.fixture
def owner(farms: list[Farm]) -> User:
    with as_factory():
        return User.objects.get(memberships__farm=farms[0])


@pytest.fixture
def by_owner(owner: User) -> Actor:
    return Actor("farm_staff", owner.id)


def walk(farm: Farm, by: Actor) -> None:
    with as_factory():
        Round.objects.create(
            farm=farm, walked_on=DAY - timedelta(days=1), source="form", actor_kind=by.kind, received_at=NOW, entry=0
        )
        # As every way in does, in the transaction of the round.
        append(lock_heads([farm.id])[farm.id], kind="round", actor=by, row_hashes=[], now=NOW)


def note_work(farm: Farm, by: Actor) -> None:
    record_work(farm=farm, work=WorkDone("clean_out", DAY - timedelta(days=1)), actor=by, now=NOW)


def skip(farm: Farm, by: Actor) -> None:
    skip_round(farm=farm, skipped_on=DAY, next_round_on=DAY + timedelta(days=7), actor=by, now=NOW)


def keep_out(farm: Farm, by: Actor) -> None:
    typed = ReentryTyped(NOW - timedelta(days=1), NOW + timedelta(days=2), "keep out until dry", None)
    record_reentry(farm=farm, typed=typed, actor=by, now=NOW)


def close(farm: Farm, by: Actor) -> None:
    services.close_farm(farm=farm, from_on=DAY, by=User.objects.get(id=by.id), now=NOW)


def close_the_region(farm: Farm, by: Actor) -> None:
    with as_factory():
        RegionClosure.objects.create(region=farm.region, closed=True, from_on=DAY, set_by_id=by.id, set_at=NOW)


def look(farm: Farm, by: Actor) -> None:
    mark_seen(alert=open_one(farm), actor=by, now=NOW)


def take_on(farm: Farm, by: Actor) -> None:
    acknowledge(alert=open_one(farm), note="", actor=by, now=NOW)


def put_off(farm: Farm, by: Actor) -> None:
    snooze(alert=open_one(farm), until=DAY + timedelta(days=9), actor=by, now=NOW)


def tell_the_adviser(farm: Farm, by: Actor) -> None:
    with as_factory():
        Alert.objects.filter(farm=farm).update(escalated_at=NOW)


def correct_a_count(farm: Farm, by: Actor) -> None:
    with as_factory():
        newest = Reading.objects.filter(farm=farm).order_by("-taken_on").first()
    correct(newest, 900, received=NOW)
    with as_role("worker"):
        judge_late_readings(farm.group, NOW)


def rename(farm: Farm, by: Actor) -> None:
    with as_factory():
        Facility.objects.filter(farm=farm).update(name="Nursery")


def rename_the_farm(farm: Farm, by: Actor) -> None:
    with as_factory():
        Farm.objects.filter(id=farm.id).update(name="Zuletzt")


def close_the_season(farm: Farm, by: Actor) -> None:
    with as_factory():
        Season.objects.filter(farm=farm).update(closes_on=DAY - timedelta(days=3))


def fail(farm: Farm, by: Actor) -> None:
    with as_factory():
        CheckFailure.objects.create(farm=farm, week=WEEK, error="", failed_at=NOW, retry_at=NOW)


def open_one(farm: Farm) -> Alert:
    return Alert.objects.get(farm=farm, rule="over", closed_at__isnull=True)


SEEN_IN_ITS_LINE = (
    walk, note_work, keep_out, close, close_the_region, look, put_off, tell_the_adviser, correct_a_count, rename,
    rename_the_farm, close_the_season, fail, skip, take_on,
)  # fmt: skip


@pytest.mark.parametrize("change", SEEN_IN_ITS_LINE)
def test_a_kept_line_is_the_line_of_now(
    change: Callable[[Farm, Actor], None], farms: list[Farm], owner: User, by_owner: Actor, dana: User
):
    before = told(dana)
    with acting(owner):
        change(farms[0], by_owner)
    kept = told(dana)
    forget()
    assert kept == told(dana)
    assert kept != before


def test_only_what_changed_is_made_anew(farms: list[Farm], owner: User, by_owner: Actor, dana: User, monkeypatch: Any):
    made: list[str] = []
    really = module._made
    monkeypatch.setattr(module, "_made", lambda some, *when: made.extend(f.name for f in some) or really(some, *when))
    forget()
    told(dana)
    told(dana)
    assert sorted(made) == ["Over", "Quiet"]
    with acting(owner):
        note_work(farms[0], by_owner)
    told(dana)
    assert made[2:] == ["Over"]


def test_a_line_reads_nothing_but_what_it_is_known_by(farms: list[Farm], owner: User, by_owner: Actor, dana: User):
    """Whoever lets a line tell something new, of another table, learns here that its versions are to be asked for."""
    with acting(owner):
        keep_out(farms[0], by_owner)
    known = {some.table for some in MADE_OF} | {model._meta.db_table for model in BY_THE_CHAIN}
    with acting(dana), CaptureQueriesContext(connection) as asked:
        module._made(farms, WEEK, DAY)
    read = tables_read(asked.captured_queries)
    assert read <= known and len(read) > 10


def test_of_what_is_only_counted_nothing_can_be_changed():
    """Neither by the site nor by the checks; who erases and who restores ends their processes or waits for the next."""
    only_added = [some.table for some in MADE_OF if some.only_added]
    with connection.cursor() as cursor:
        for table in only_added:
            for role in ("flyround_app", "flyround_worker"):
                cursor.execute("SELECT has_table_privilege(%s, %s, 'UPDATE, DELETE')", [role, table])
                assert not cursor.fetchone()[0], (role, table)
    assert only_added == ["alerts_assessment"]


def test_what_the_chain_stands_for_has_an_entry_in_it():
    assert all(model._meta.get_field("entry") for model in BY_THE_CHAIN)


def test_another_adviser_and_another_language_have_their_own(farms: list[Farm], dana: User, erik: User):
    english = told(dana)
    with override("es"):
        spanish = told(dana)
    assert spanish[0]["reasons"] != english[0]["reasons"] and told(dana) == english
    assert told(erik) == []
