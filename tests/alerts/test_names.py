"""The group's list of a Monday: what it names, what leaves it as it was, and who may see it."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.db import ProgrammingError, connection, transaction
from django.utils import timezone

from alerts.checks.group_week import judge_late_readings
from alerts.models import ListedRise
from alerts.selectors.listed import listed_of
from farms.models import Consent, Farm, Group, Membership, Region, User
from farms.models.access import ConsentKind, FarmRole, GroupRole
from farms.services import make_token
from monitoring.models import Reading, Station
from tests.alerts.large_group import count_weeks, make_group_of, make_places
from tests.alerts.scene import check, check_time, correct, count_week, monday, result
from tests.cast import NOW, acting, acting_token, as_factory, as_role, make_group_member

pytestmark = pytest.mark.django_db
WEEKS = [monday(number) for number in range(1, 9)]
WEEK = WEEKS[-1]
FARMS, RISERS = 14, (0, 1)
# Warm and cold weeks that all farms share, up to twice the usual in the last.
SHARED = np.array([1.0, 1.2, 0.8, 1.1, 0.9, 1.0, 1.4, 2.0])
RISE = np.array([1.0, 1, 1, 1, 1, 2, 4, 8])


@pytest.fixture
def farms(region: Region) -> list[Farm]:
    return make_group_of(region, FARMS)


@pytest.fixture
def cards(farms: list[Farm]) -> list[list[Station]]:
    """Eight weeks of five cards on fourteen farms that share their weeks; the first two double each week at the end."""
    places = make_places(farms, "card", 5)
    mean = 30 * SHARED * np.array([RISE if farm in RISERS else np.ones(8) for farm in range(FARMS)])
    counts = np.random.default_rng(3).poisson(mean[:, None, :] * np.array([0.6, 0.8, 1, 1.2, 1.4])[None, :, None])
    count_weeks(places, WEEKS, counts.astype(float))
    return places


def advise(farm: Farm, adviser: User, owner: User) -> None:
    with as_factory():
        Consent.objects.create(
            farm=farm, kind=ConsentKind.ADVISER, adviser=adviser, given_by=owner, given_at=NOW, entry=1
        )


def listed() -> list[ListedRise]:
    with as_factory():
        return list(ListedRise.objects.order_by("farm_id", "method", "week"))


def seen_by(user: User, farms: list[Farm]) -> set[Any]:
    with acting(user):
        return set(ListedRise.objects.filter(farm__in=[farm.id for farm in farms]).values_list("farm_id", flat=True))


def test_the_list_names_what_rises_beyond_the_week_that_all_share(group: Group, farms: list[Farm], cards: Any):
    check(group, WEEK)
    rows = listed()
    assert {row.farm_id for row in rows} == {farms[number].id for number in RISERS}
    assert {(row.method, row.week, row.compared, row.borrowed) for row in rows} == {("card", WEEK, FARMS, "printed")}
    # Benjamini and Hochberg 1995: the largest p-value named is at most 0.1 times the share of farms named.
    assert max(row.p_value for row in rows) <= 0.1 * len(rows) / FARMS


def test_a_warm_week_for_all_names_nobody(group: Group, farms: list[Farm]):
    mean = np.tile(30 * SHARED * np.array([1.0, 1, 1, 1, 1, 1.5, 2.2, 3.4]), (FARMS, 5, 1))
    count_weeks(
        make_places(farms, "card", 5), WEEKS, np.random.default_rng(7).poisson(mean).astype(float)
    )  # fmt: skip
    check(group, WEEK)
    assert listed() == []


def test_a_farm_that_was_not_counted_this_week_is_not_compared(group: Group, farms: list[Farm]):
    places = make_places(farms, "card", 5)
    counts = np.full((FARMS, 5, 8), 30.0)
    counts[0] *= RISE
    count_weeks(places[1:], WEEKS, counts[1:])
    count_weeks(places[:1], WEEKS[:-1], counts[:1])
    check(group, WEEK)
    assert listed() == []


def test_each_method_has_its_own_list(group: Group, farms: list[Farm], cards: Any):
    traps = make_places(farms[2:4], "trap", 2)
    count_weeks(traps, WEEKS, np.full((2, 2, 8), 50.0) * np.array([RISE, np.ones(8)])[:, None, :])
    check(group, WEEK)
    named = {(row.farm_id, row.method): row.compared for row in listed()}
    assert named[farms[2].id, "trap"] == 2
    assert {method for farm, method in named if farm in (farms[0].id, farms[1].id)} == {"card"}


def test_late_readings_leave_the_list_of_that_monday(group: Group, farms: list[Farm], cards: Any):
    # Farm 2's traps come late, and rise; the last week of farm 0 was miscounted, and did not.
    check(group, WEEK)
    before = [(row.id, row.farm_id, row.p_value, row.compared) for row in listed()]
    late = check_time(WEEK) + timedelta(hours=3)
    more = make_places(farms[2:3], "trap", 3)[0]
    for number, week in enumerate(WEEKS):
        count_week(more, week, [20 * int(RISE[number])] * 3, received=late)
    with as_factory():
        miscounted = list(Reading.objects.filter(farm=farms[0], hung_on=WEEK))
    for reading in miscounted:
        correct(reading, 30, received=late)
    with as_role("worker"):
        judge_late_readings(group, late + timedelta(days=1))
    assert result(farms[0], WEEK).revision == 2
    assert [(row.id, row.farm_id, row.p_value, row.compared) for row in listed()] == before


def test_a_week_judged_twice_names_once(group: Group, farms: list[Farm], cards: Any):
    check(group, WEEK)
    before = [row.id for row in listed()]
    with as_factory():
        connection.cursor().execute("UPDATE alerts_checkrun SET state = 'due'")
    check(group, WEEK)
    assert [row.id for row in listed()] == before


def test_a_run_that_broke_off_after_its_list_adds_no_name(group: Group, farms: list[Farm], cards: Any):
    check(group, WEEK)
    before = [row.id for row in listed()]
    # Its worker died before the run was done, and a third farm's traps came before another one took it up.
    more = make_places(farms[2:3], "trap", 3)[0]
    for number, week in enumerate(WEEKS):
        count_week(more, week, [20 * int(RISE[number])] * 3)
    with as_factory():
        connection.cursor().execute("UPDATE alerts_checkrun SET state = 'due'")
    check(group, WEEK)
    assert result(farms[2], WEEK, "trap").weeks_observed == len(WEEKS)
    assert [row.id for row in listed()] == before


def test_an_adviser_sees_the_rows_of_the_farms_that_named_them(
    group: Group, farms: list[Farm], cards: Any, dana: User, anna: User
):
    frida = make_group_member("Frida", group, GroupRole.ADVISER)
    advise(farms[0], dana, anna)
    advise(farms[2], dana, anna)
    advise(farms[1], frida, anna)
    check(group, WEEK)
    assert seen_by(dana, farms) == {farms[0].id}
    assert seen_by(frida, farms) == {farms[1].id}
    with acting(dana):
        assert listed_of([farm.id for farm in farms], WEEK) == {farms[0].id: {"card"}}
        assert listed_of([farm.id for farm in farms], WEEKS[-2]) == {}


def test_what_is_withdrawn_or_ended_is_seen_no_more(
    group: Group, farms: list[Farm], cards: Any, dana: User, anna: User
):
    advise(farms[0], dana, anna)
    advise(farms[1], dana, anna)
    check(group, WEEK)
    with as_factory():
        Consent.objects.filter(farm=farms[0]).update(withdrawn_at=NOW)
    assert seen_by(dana, farms) == {farms[1].id}
    with as_factory():
        group.members.update(ended_at=NOW)
    assert seen_by(dana, farms) == set()


@pytest.mark.parametrize("role", [FarmRole.OWNER, FarmRole.RECORDER])
def test_the_farms_own_people_never_do(
    group: Group, farms: list[Farm], cards: Any, anna: User, dana: User, role: FarmRole
):
    with as_factory():
        Membership.objects.create(farm=farms[0], user=anna, role=role, began_at=NOW)
        # Nor an adviser who belongs to the farm: what rests on other farms' weeks stays off its own people's pages.
        Membership.objects.create(farm=farms[1], user=dana, role=role, began_at=NOW)
    advise(farms[1], dana, anna)
    check(group, WEEK)
    assert seen_by(anna, farms) == seen_by(dana, farms) == set()


@pytest.mark.parametrize("scope", ["read", "write"])
def test_the_farms_keys_never_do(group: Group, farms: list[Farm], cards: Any, anna: User, scope: str):
    with as_factory():
        Membership.objects.create(farm=farms[0], user=anna, role=FarmRole.OWNER, began_at=NOW)
    check(group, WEEK)
    now = timezone.now()  # keys live by the real clock
    with acting(anna):
        token, _key = make_token(
            farm=farms[0], name="program", scope=scope, by=anna, expires_at=now + timedelta(days=30), now=now
        )
    with acting_token(token):
        assert not ListedRise.objects.exists()


def test_strangers_and_the_coordinator_see_none(group: Group, farms: list[Farm], cards: Any, carla: User, erik: User):
    check(group, WEEK)
    assert len(listed()) == 2
    assert seen_by(carla, farms) == seen_by(erik, farms) == set()
    assert not ListedRise.objects.exists()


@pytest.mark.parametrize(
    ("role", "statement"),
    [
        ("app", "INSERT INTO alerts_listedrise SELECT * FROM alerts_listedrise"),
        ("app", "UPDATE alerts_listedrise SET p_value = 1"),
        ("app", "DELETE FROM alerts_listedrise"),
        ("worker", "UPDATE alerts_listedrise SET p_value = 1"),
        ("worker", "DELETE FROM alerts_listedrise"),
        ("cohort", "SELECT * FROM alerts_listedrise"),
        ("region", "SELECT * FROM alerts_listedrise"),
    ],
)
def test_the_list_is_append_only_and_the_checks_alone_to_write(group: Group, role: str, statement: str):
    with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        connection.cursor().execute(statement)
