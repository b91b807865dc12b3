"""The list of a farm's tables, its order and their kinds, held against the database's own catalogue."""

import pytest

from server.erasing.kinds import KINDS, kind_of
from server.erasing.tables import farm_tables
from tests.farms.test_catalogue import farm_tables as tables_by_catalogue
from tests.farms.test_catalogue import rows

pytestmark = pytest.mark.django_db
# The farm's own row goes last, by itself. Rows of persons that name no farm are theirs.
NO_TABLE_OF_A_FARM = {"farms_farm"}


def naming_a_farm() -> set[str]:
    found = rows(
        "SELECT DISTINCT c.relname::text FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid"
        " WHERE a.attname = 'farm_id' AND c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')"
        " AND NOT c.relispartition"
    )
    return {name for (name,) in found}


def test_every_table_that_names_a_farm_is_emptied():
    assert set(farm_tables()) == naming_a_farm()
    assert len(farm_tables()) == len(set(farm_tables())) and NO_TABLE_OF_A_FARM.isdisjoint(farm_tables())
    assert set(farm_tables()) <= tables_by_catalogue()


def test_no_table_is_emptied_while_another_points_at_it():
    """By the foreign keys that PostgreSQL has, whatever the models say of them."""
    place = {name: number for number, name in enumerate(farm_tables())}
    keys = rows(
        "SELECT here.relname::text, there.relname::text FROM pg_constraint k"
        " JOIN pg_class here ON here.oid = k.conrelid JOIN pg_class there ON there.oid = k.confrelid"
        " WHERE k.contype = 'f' AND here.relname = ANY(%s) AND there.relname = ANY(%s) AND here.oid <> there.oid",
        list(place), list(place),
    )  # fmt: skip
    assert len(keys) > 30
    assert [(here, there) for here, there in keys if place[here] > place[there]] == []


def test_the_eraser_may_empty_each_of_them_for_the_farm_it_named():
    able = rows(
        "SELECT t FROM unnest(%s::text[]) AS t WHERE has_table_privilege('flyround_eraser', t, 'SELECT')"
        " AND has_table_privilege('flyround_eraser', t, 'DELETE')",
        list(farm_tables()),
    )
    assert {name for (name,) in able} == set(farm_tables())
    named = rows(
        "SELECT tablename::text FROM pg_policies WHERE 'flyround_eraser' = ANY(roles) AND cmd = 'DELETE'"
        " AND qual LIKE '%%app.farm_id%%' AND tablename = ANY(%s)", list(farm_tables()),
    )  # fmt: skip
    assert {name for (name,) in named} == set(farm_tables())


def test_every_table_of_a_farm_has_one_kind():
    listed = [table for tables in KINDS.values() for table in tables.split()]
    assert sorted(listed) == sorted(farm_tables()), "say in server/erasing/kinds.py what a new table holds"
    with pytest.raises(LookupError, match="nothing_known"):
        kind_of("nothing_known")
