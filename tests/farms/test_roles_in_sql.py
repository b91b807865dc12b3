"""Raw SQL as each role of the database shows and changes only what that role may. No door stands before these."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.utils import timezone

from alerts.models import FarmLevel
from farms import services
from farms.models import Consent, Farm, LedgerEntry, User
from farms.tenancy.acting import act_for_nobody, act_for_user
from monitoring.models import Placement, Reading, Round, WeeklySummary
from tests.cast import NOW, SEASON_OPENS, acting, acting_token, as_factory, as_role

pytestmark = pytest.mark.django_db

FARM_TABLES = (
    "farms_facility", "farms_season", "farms_membership", "farms_ledgerhead", "monitoring_station",
    "monitoring_siting", "monitoring_placement", "monitoring_round", "monitoring_reading", "monitoring_weeklysummary",
    "alerts_farmlevel",
)  # fmt: skip


def sql(statement: str, *parameters: object) -> list[tuple]:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return cursor.fetchall() if cursor.description else [(cursor.rowcount,)]


def farms_in(table: str) -> set:
    column = "id" if table == "farms_farm" else "farm_id"
    return {farm for (farm,) in sql(f"SELECT DISTINCT {column} FROM {table}")}


def refused(statement: str, *parameters: object, because: str = "permission denied") -> None:
    with pytest.raises(ProgrammingError, match=because):
        sql(statement, *parameters)


def fill(farm: Farm, user: User) -> None:
    """A row of each kind on a farm, past services and row security."""
    with as_factory():
        station = sql("SELECT id FROM monitoring_station WHERE farm_id = %s AND number = 1 LIMIT 1", farm.id)[0][0]
        walked = Round.objects.create(
            farm=farm, walked_on=SEASON_OPENS + timedelta(7), source="form", actor_kind="farm_staff", received_at=NOW,
            entry=1,
        )  # fmt: skip
        placed = Placement.objects.create(farm=farm, station_id=station, hung_on=SEASON_OPENS, zone="UTC", entry=1)
        Reading.objects.create(
            farm=farm, round_id=walked.id, station_id=station, placement_id=placed.id, method="card", count=40,
            hung_on=SEASON_OPENS, taken_on=SEASON_OPENS + timedelta(7), zone="UTC", received_at=NOW, entry=1,
        )  # fmt: skip
        WeeklySummary.objects.create(
            farm=farm, method="card", week=SEASON_OPENS, stations=1, devices=1, missing=0, counted=40, days=7,
            animals=0, mean=40, at_least=False, last_received_at=NOW,
        )  # fmt: skip
        FarmLevel.objects.create(
            farm=farm, method="card", value=80, unit="specks a card", valid_from=SEASON_OPENS, reason="invented",
            set_by=user, set_at=NOW, entry=1,
        )  # fmt: skip


@pytest.fixture
def both(northfield: Farm, southmead: Farm, anna: User, carla: User) -> tuple[Farm, Farm]:
    fill(northfield, anna)
    fill(southmead, carla)
    return northfield, southmead


@pytest.mark.parametrize("table", ["farms_farm", *FARM_TABLES])
@pytest.mark.parametrize("who", ["anna", "ben", "dana", "carla"])
def test_everybody_sees_their_own_farms_rows(both, request, table, who):
    user = request.getfixturevalue(who)
    with acting(user):
        assert farms_in(table) == {both[1].id if who == "carla" else both[0].id}


@pytest.mark.parametrize("table", ["farms_farm", *FARM_TABLES, "farms_apitoken", "farms_consent"])
def test_the_coordinator_and_nobody_see_no_farms_row(both, erik: User, table):
    with acting(erik):
        assert farms_in(table) == set()
    act_for_nobody()
    assert farms_in(table) == set()


def test_without_any_setting_nothing_is_seen(both):
    """A transaction in which nobody said for whom it acts: it fails closed."""
    with connection.cursor() as cursor:
        cursor.execute("RESET app.user_id; RESET app.token_id; RESET app.token_farm_id")
    assert farms_in("farms_farm") == set()


@pytest.mark.parametrize("table", ["farms_farm", *FARM_TABLES])
def test_bens_token_shows_the_farm_it_was_made_for(both, anna: User, ben: User, carla: User, table):
    """Made by ben, who records on both farms."""
    northfield, southmead = both
    with acting(carla):
        services.add_member(farm=southmead, user=ben, role="recorder", by=carla, now=NOW)
    today = timezone.now()
    with acting(ben):
        token, _key = services.make_token(
            farm=northfield, name="Barn script", scope="write", by=ben, expires_at=today + timedelta(1), now=today
        )
        assert farms_in(table) == {northfield.id, southmead.id}
    with acting_token(token):
        assert farms_in(table) == {northfield.id}


def test_carla_changes_nothing_of_northfield(both, carla: User):
    northfield, southmead = both
    with acting(carla):
        assert sql("UPDATE farms_farm SET name = 'Hers'") == [(1,)]
        assert sql("UPDATE farms_season SET closes_on = '2026-06-01' WHERE farm_id = %s", northfield.id) == [(0,)]
        assert sql("UPDATE farms_ledgerhead SET number = 9 WHERE farm_id = %s", northfield.id) == [(0,)]
        refused(
            "INSERT INTO farms_facility (farm_id, id, name, kind, position) VALUES (%s, uuidv7(), 'Hers', 'other', 0)",
            northfield.id, because="row-level security",
        )  # fmt: skip
        # Nor can she move a row of her own over.
        refused(
            "UPDATE farms_facility SET farm_id = %s WHERE farm_id = %s",
            northfield.id, southmead.id, because="row-level security",
        )  # fmt: skip
    with as_factory():
        assert Farm.objects.get(id=northfield.id).name == "Northfield"


def test_a_reading_cannot_name_another_farms_station(both, carla: User):
    """Even the ids of another farm, once known, lead nowhere: the key names the farm."""
    northfield, southmead = both
    with as_factory():
        (station,) = sql(
            "SELECT id FROM monitoring_station WHERE farm_id = %s AND method = 'trap' LIMIT 1", northfield.id
        )[0]
    with acting(carla), pytest.raises(IntegrityError, match="station_id_in_farm"):
        Placement.objects.create(farm=southmead, station_id=station, hung_on=SEASON_OPENS, zone="UTC", entry=1)


@pytest.mark.parametrize("statement", [
    "UPDATE monitoring_reading SET count = 0",
    "DELETE FROM monitoring_reading",
    "DELETE FROM farms_ledgerentry",
    "UPDATE farms_ledgerentry SET kind = 'other'",
    "DELETE FROM farms_consent",
    "UPDATE farms_consent SET kind = 'regional'",
    "TRUNCATE monitoring_reading",
    "SELECT * FROM monitoring_reading_0",
    "SELECT * FROM monitoring_weeklysummary_0",
    "SELECT * FROM monitoring_regionreport",
    "SELECT * FROM monitoring_cohort",
    "INSERT INTO alerts_alert DEFAULT VALUES",
    "UPDATE farms_user SET id = id; SET ROLE flyround_owner; DELETE FROM farms_farm",
    "ALTER TABLE monitoring_reading DISABLE ROW LEVEL SECURITY",
    "CREATE TABLE mine (id int)",
    "SET ROLE flyround_definer",
])  # fmt: skip
def test_the_app_may_not(both, anna: User, statement):
    with acting(anna):
        refused(statement, because="permission denied|must be owner")


def test_the_worker_reads_every_farm_and_writes_no_reading(both):
    with as_role("worker"):
        for table in ("farms_farm", *FARM_TABLES):
            assert farms_in(table) == {farm.id for farm in both}
        refused("INSERT INTO monitoring_reading SELECT * FROM monitoring_reading")
        refused("UPDATE monitoring_reading SET count = 0")
        refused("UPDATE farms_farm SET name = 'X'")
        refused("INSERT INTO farms_membership SELECT * FROM farms_membership")
        refused("DELETE FROM alerts_alert")
        # Region reports it may read: the coordinator's mail tells as what each was published.
        for secret in ("farms_apitoken", "farms_phonecode", "farms_signinlink", "farms_person", "monitoring_note",
                       "monitoring_cohort"):  # fmt: skip
            refused(f"SELECT * FROM {secret}")


def test_the_cohort_reads_the_summaries_of_consenting_farms(both, anna: User):
    northfield, _southmead = both
    with as_role("cohort"):
        assert farms_in("monitoring_weeklysummary") == set()
    with acting(anna):
        services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
    with as_role("cohort"):
        assert farms_in("farms_farm") == farms_in("monitoring_weeklysummary") == {northfield.id}
        for table in ("monitoring_reading", "monitoring_station", "farms_membership", "farms_user", "farms_consent",
                      "alerts_assessment", "farms_ledgerentry"):  # fmt: skip
            refused(f"SELECT * FROM {table}")
        refused("UPDATE monitoring_weeklysummary SET mean = 0")
        refused("UPDATE monitoring_regionreport SET mean = 0")
        refused("DELETE FROM monitoring_regionreport")


def test_the_region_role_reads_region_reports_and_nothing_of_a_farm(both):
    with as_role("region"):
        assert sql("SELECT count(*) FROM monitoring_regionreport") == [(0,)]
        assert sql("SELECT count(*) FROM farms_region") == [(2,)]
        for table in ("farms_farm", *FARM_TABLES, "farms_holding", "farms_user", "monitoring_cohort"):
            refused(f"SELECT * FROM {table}")
        refused("DELETE FROM monitoring_regionreport")


def test_the_eraser_reaches_the_one_farm_it_was_told_of(both):
    northfield, southmead = both
    with as_role("eraser"):
        assert farms_in("monitoring_reading") == set()
        assert sql("DELETE FROM monitoring_reading") == [(0,)]
        sql("SELECT set_config('app.farm_id', %s, true)", str(northfield.id))
        assert farms_in("monitoring_reading") == {northfield.id}
        assert sql("DELETE FROM monitoring_reading") == [(1,)]
        refused("UPDATE monitoring_reading SET count = 0")
        refused("INSERT INTO monitoring_reading SELECT * FROM monitoring_reading")
        # People are erased to an empty shell: it reads them, and makes none.
        refused("INSERT INTO farms_user SELECT * FROM farms_user")
    with as_factory():
        assert Reading.objects.get().farm_id == southmead.id


def test_acting_ends_with_the_transaction(both, anna: User):
    """Nested, it ends where a savepoint is undone."""
    act_for_nobody()
    with transaction.atomic():
        act_for_user(anna.id)
        assert Farm.objects.count() == 1
        transaction.set_rollback(True)
    assert Farm.objects.count() == 0


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_acting_needs_a_transaction(northfield: Farm, anna: User):
    with transaction.atomic():
        act_for_user(anna.id)
        assert Farm.objects.count() == 1
    assert Farm.objects.count() == 0
    with pytest.raises(transaction.TransactionManagementError):
        act_for_user(anna.id)


def test_consents_and_entries_are_seen_by_the_farms_own_people(both, anna: User, carla: User):
    with acting(anna):
        assert (Consent.objects.count(), LedgerEntry.objects.count()) == (1, 1)
    with acting(carla):
        assert (Consent.objects.count(), LedgerEntry.objects.count()) == (0, 0)
