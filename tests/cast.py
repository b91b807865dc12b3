"""The cast, all invented: anna owns Northfield, ben records there, dana advises it; carla owns Southmead elsewhere.

Erik coordinates the group. And the ways to act as somebody, or as another role of the database.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections, transaction

from farms import services
from farms.models import (
    ApiToken,
    Facility,
    Farm,
    Group,
    GroupMember,
    Holding,
    LedgerHead,
    Membership,
    Region,
    Season,
    User,
)
from farms.models.access import FarmRole, GroupRole
from farms.tenancy.acting import SETTINGS, act_for_token, act_for_user
from monitoring.models import Siting, Station

# A Monday, eight weeks into Northfield's season.
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
SEASON_OPENS = date(2026, 4, 6)


@contextmanager
def as_role(name: str) -> Iterator[None]:
    """Run as flyround_<name> (app, worker, cohort, region, eraser, factory) inside one transaction, then as before."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT current_user")
        before = cursor.fetchone()[0]
        cursor.execute(f"SET LOCAL ROLE flyround_{name}")
        yield
        # After an error the rollback does it.
        if not connection.needs_rollback:
            cursor.execute(f"SET LOCAL ROLE {before}")


@contextmanager
def as_worker_process() -> Iterator[None]:
    """A thread as a worker's process: a connection of its own, in the worker's role over many transactions."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SET ROLE flyround_worker")
        yield
    finally:
        connections.close_all()


def as_factory():
    """Make or look at rows past row security, for setting a scene and for checking what was stored."""
    return as_role("factory")


@contextmanager
def acting(user: User) -> Iterator[User]:
    """Act for a user, as a signed-in request does; afterwards for whom it was before."""
    with _settings_kept():
        act_for_user(user.id)
        yield user


@contextmanager
def acting_token(token: ApiToken) -> Iterator[ApiToken]:
    """Act for a token, as a program's request does; afterwards for whom it was before."""
    with _settings_kept():
        act_for_token(token.farm_id, token.id)
        yield token


@contextmanager
def _settings_kept() -> Iterator[None]:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT " + ", ".join(f"current_setting('{name}', true)" for name in SETTINGS))
        before = cursor.fetchone()
        yield
        if connection.needs_rollback:
            return
        for name, value in zip(SETTINGS, before, strict=True):
            cursor.execute("SELECT set_config(%s, %s, true)", [name, value or ""])


def make_user(name: str, **fields: object) -> User:
    return User.objects.create_user(f"{name.lower()}@example.org", name=name, **fields)


def make_farm(name: str, region: Region, owner: User, **fields: object) -> Farm:
    """A farm with its owner, its chain and an open season; as the factory."""
    with as_factory():
        holding = Holding.objects.create(group=region.group, name=f"{name} Holding")
        values = {"name": name, "time_zone": "America/Chicago", **fields}
        farm = Farm.objects.create(group=region.group, region=region, holding=holding, **values)
        LedgerHead.objects.create(farm=farm, number=0, hash=bytes(32))
        Membership.objects.create(farm=farm, user=owner, role=FarmRole.OWNER, began_at=NOW)
        Season.objects.create(farm=farm, opens_on=SEASON_OPENS)
    return farm


def make_facility(farm: Farm, name: str, kind: str, position: int = 0) -> Facility:
    with as_factory():
        return Facility.objects.create(farm=farm, name=name, kind=kind, position=position)


def make_stations(facility: Facility, method: str, numbers: range) -> list[Station]:
    """Stations with their siting, in use since the season opened."""
    farm_id = facility.farm_id
    with as_factory():
        made = Station.objects.bulk_create(
            Station(
                farm_id=farm_id, facility_id=facility.id, method=method, number=number, position=number,
                since=SEASON_OPENS,
            )
            for number in numbers
        )  # fmt: skip
        Siting.objects.bulk_create(Siting(farm_id=farm_id, station_id=each.id, since=SEASON_OPENS) for each in made)
    return made


@pytest.fixture
def standing_clock(settings: Any, tmp_path: Path) -> Path:
    """The service's clock shows NOW, or what the file says by then; keys, links and sessions live by the real one."""
    path = tmp_path / "clock"
    path.write_text(NOW.isoformat())
    settings.CLOCK_FILE = str(path)
    return path


@pytest.fixture
def group(db: None) -> Group:
    with as_factory():
        return Group.objects.create(name="Valley Advisers", slug="valley", time_zone="America/Chicago")


@pytest.fixture
def region(group: Group) -> Region:
    with as_factory():
        return Region.objects.create(group=group, name="Lower Valley", slug="lower")


@pytest.fixture
def elsewhere(group: Group) -> Region:
    with as_factory():
        return Region.objects.create(group=group, name="Upper Valley", slug="upper")


@pytest.fixture
def anna(db: None) -> User:
    return make_user("Anna")


@pytest.fixture
def ben(db: None) -> User:
    return make_user("Ben", language="es")


@pytest.fixture
def carla(db: None) -> User:
    return make_user("Carla")


@pytest.fixture
def dana(group: Group) -> User:
    return make_group_member("Dana", group, GroupRole.ADVISER)


@pytest.fixture
def erik(group: Group) -> User:
    return make_group_member("Erik", group, GroupRole.COORDINATOR)


@pytest.fixture
def fay(group: Group) -> User:
    """Another adviser of the group."""
    return make_group_member("Fay", group, GroupRole.ADVISER)


def make_group_member(name: str, group: Group, role: str) -> User:
    user = make_user(name)
    with as_factory():
        GroupMember.objects.create(group=group, user=user, role=role)
    return user


@pytest.fixture
def northfield(region: Region, anna: User, ben: User, dana: User) -> Farm:
    """Anna's farm: Ben records, Dana advises; five cards in the calf barn, two traps, one leg count."""
    farm = make_farm("Northfield", region, anna)
    with as_factory():
        Membership.objects.create(farm=farm, user=ben, role=FarmRole.RECORDER, began_at=NOW)
    with acting(anna):
        services.give_consent(farm=farm, kind="adviser", adviser=dana, by=anna, now=NOW)
    make_stations(make_facility(farm, "Calf barn", "calf_barn", 1), "card", range(1, 6))
    make_stations(make_facility(farm, "Free-stall barn", "free_stall_barn", 2), "trap", range(1, 3))
    make_stations(make_facility(farm, "Dry lot", "dry_lot", 3), "leg", range(1, 2))
    return farm


@pytest.fixture
def southmead(elsewhere: Region, carla: User) -> Farm:
    """Carla's farm, in another region and of another holding: one calf barn with five cards."""
    farm = make_farm("Southmead", elsewhere, carla)
    make_stations(make_facility(farm, "Calf barn", "calf_barn", 1), "card", range(1, 6))
    return farm


@pytest.fixture
def calf_barn(northfield: Farm) -> Facility:
    return _facility(northfield, "Calf barn")


@pytest.fixture
def free_stall_barn(northfield: Farm) -> Facility:
    return _facility(northfield, "Free-stall barn")


@pytest.fixture
def dry_lot(northfield: Farm) -> Facility:
    return _facility(northfield, "Dry lot")


@pytest.fixture
def cards(northfield: Farm) -> list[Station]:
    """Cards 1 to 5 of Northfield's calf barn."""
    return _stations(northfield, "card")


@pytest.fixture
def traps(northfield: Farm) -> list[Station]:
    """Traps 1 and 2 of Northfield's free-stall barn."""
    return _stations(northfield, "trap")


@pytest.fixture
def leg_station(northfield: Farm) -> Station:
    """Leg count 1 on Northfield's dry lot."""
    return _stations(northfield, "leg")[0]


def _facility(farm: Farm, name: str) -> Facility:
    with as_factory():
        return Facility.objects.get(farm=farm, name=name)


def _stations(farm: Farm, method: str) -> list[Station]:
    with as_factory():
        return list(Station.objects.filter(farm=farm, method=method).order_by("number"))
