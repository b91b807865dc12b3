"""A farm is erased: nothing of it is left anywhere, and every other farm's proofs hold."""

import json
from datetime import timedelta

import pytest
from django.db import connection

from alerts.models import MondayList
from farms.models import ErasedFarm, ErasureRequest, Farm, Holding, Membership, User
from farms.services import take_erasure_back
from server.erasing import farm as module
from server.erasing.due import look_at_due
from server.erasing.tables import farm_tables, rows_of
from server.evidence.farm import evidence_of
from server.evidence.whole import outside_in, verify_all
from tests.cast import NOW, acting, as_factory, make_farm
from tests.isolation.scene import make_group, region_of
from tests.server.erasing.conftest import ASKED, DUE, Signed, as_eraser, ask, erase
from tests.server.evidence.test_verify import run

pytestmark = pytest.mark.django_db


def everything() -> str:
    """Every row of every table, as text."""
    with as_factory(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')"
            " AND NOT relispartition ORDER BY 1"
        )
        told = []
        for (name,) in cursor.fetchall():
            cursor.execute(f'SELECT t::text FROM "{name}" t')
            told += [f"{name} {row}" for (row,) in cursor.fetchall()]
    return "\n".join(told)


def left_of(farm_id) -> dict[str, int]:
    with as_factory():
        return {table: left for table in farm_tables() if (left := rows_of(table, farm_id, using="default"))}


def test_every_row_goes_and_a_line_without_a_name_stays(asked: ErasureRequest, signed: Signed, group):
    farm = signed.farm
    with as_factory():
        before = sum(rows_of(table, farm.id, using="default") for table in farm_tables())
    assert before > 150 and erase(DUE - timedelta(seconds=1)) == []
    (told,) = erase()
    assert told.request_id == asked.id and sum(told.rows.values()) >= before + 2
    assert left_of(farm.id) == {}
    with as_factory():
        line = ErasedFarm.objects.get()
        assert not Farm.objects.filter(id=farm.id).exists() and not Holding.objects.filter(id=farm.holding_id).exists()
    assert (line.id, line.group_id, line.asked_at, line.erased_at) == (asked.id, group.id, ASKED, DUE)
    assert line.rows == sum(told.rows.values())
    told_everywhere = everything()
    for word in ("Northfield", "Pia Invented", "anna@", str(farm.id)):
        assert [line for line in told_everywhere.splitlines() if word in line] == []
    assert erase() == [], "it is done once"


def test_the_neighbours_records_chain_and_proofs_hold(asked: ErasureRequest, signed: Signed, carla: User):
    with as_factory():
        kept = {table: rows_of(table, signed.neighbour.id, using="default") for table in farm_tables()}
    erase()
    with as_factory():
        assert kept == {table: rows_of(table, signed.neighbour.id, using="default") for table in farm_tables()}
        whole = verify_all(outside_in(signed.heads), erased=1)
        assert whole.faults == [] and whole.found.farms == 1 and set(whole.unclaimed.values()) == {1}
        unsaid = verify_all(outside_in(signed.heads)).faults
    assert len(unsaid) == 1 and "are no longer there" in unsaid[0].why
    with acting(carla):
        told = evidence_of(signed.neighbour, DUE)
    path = signed.folder / "neighbour.json"
    path.write_bytes(told if isinstance(told, bytes) else told.encode())
    assert json.loads(path.read_text())["farm"] == str(signed.neighbour.id)
    assert run(path, "--key", signed.folder / "public.pem")[0] == 0


def test_taken_back_it_stays(asked: ErasureRequest, signed: Signed, anna: User):
    with acting(anna):
        take_erasure_back(asked=asked, by=anna, now=DUE)
    assert erase(DUE + timedelta(days=400)) == []
    with as_factory():
        assert Farm.objects.filter(id=signed.farm.id).exists()


def test_a_dry_run_says_what_would_go_and_erases_nothing(asked: ErasureRequest, signed: Signed):
    before = everything()
    with as_eraser():
        (told,) = look_at_due(now=DUE, using="default")
    assert everything() == before
    assert "would go" in told.sentence(dry=True) and "monitoring_reading" in told.sentence(dry=True)
    (done,) = erase()
    assert {name: number for name, number in done.rows.items() if name != "farms_holding"} == dict(told.rows)
    assert done.people == told.people == 2


def test_who_belongs_nowhere_else_goes_too_and_who_does_stays(
    asked: ErasureRequest, signed: Signed, anna, ben, dana, carla
):
    with as_factory():
        Membership.objects.create(farm=signed.neighbour, user=ben, role="recorder", began_at=NOW)
    erase()
    with as_factory():
        users = {each.id: each for each in User.objects.all()}
    assert not users[anna.id].is_active and users[anna.id].name == "erased person"
    assert users[anna.id].email == f"{anna.id}@erased.invalid"
    assert all(users[each.id].is_active for each in (ben, dana, carla))


def test_lists_that_tell_of_the_farm_go_and_others_stay(asked: ErasureRequest, signed: Signed, dana: User):
    with as_factory():
        whose = {"group": signed.farm.group, "recipient": dana, "queued_at": NOW, "next_try_at": NOW}
        ours = MondayList.objects.create(**whose, occasion="2026-W01", farm_ids=[signed.farm.id, signed.neighbour.id])
        other = MondayList.objects.create(**whose, occasion="2026-W02", farm_ids=[signed.neighbour.id])
    erase()
    with as_factory():
        left = set(MondayList.objects.values_list("id", flat=True))
    assert other.id in left and ours.id not in left


def test_a_holding_with_another_farm_keeps_its_name(asked: ErasureRequest, signed: Signed, anna: User):
    sister = make_farm("Eastfield", signed.farm.region, anna)
    with as_factory():
        Farm.objects.filter(id=sister.id).update(holding_id=signed.farm.holding_id)
    (told,) = erase()
    assert not told.failed and "farms_holding" not in told.rows and told.people == 1
    with as_factory():
        assert Holding.objects.filter(id=signed.farm.holding_id).exists()
        assert User.objects.get(id=anna.id).is_active, "she still owns the other one"


def test_one_that_fails_stops_no_other(asked: ErasureRequest, signed: Signed, carla: User, monkeypatch):
    later = ask(signed.neighbour, carla, at=ASKED + timedelta(hours=1))
    real = module.delete_rows

    def refuse(table: str, farm_id, *, using: str) -> int:
        if farm_id == signed.farm.id and table == "farms_ledgerhead":
            with connection.cursor() as cursor:
                cursor.execute("SELECT 1 / 0")
        return real(table, farm_id, using=using)

    monkeypatch.setattr(module, "delete_rows", refuse)
    told = {each.request_id: each.failed for each in erase(DUE + timedelta(hours=1))}
    assert told == {asked.id: True, later.id: False}
    assert left_of(signed.farm.id) and not left_of(signed.neighbour.id)


def test_another_groups_farm_is_not_touched(asked: ErasureRequest, signed: Signed, carla: User):
    afar = make_farm("Afarm", region_of(make_group("Oswin Advisers")), carla)
    before = everything().count(str(afar.id))
    erase()
    assert everything().count(str(afar.id)) == before > 3
