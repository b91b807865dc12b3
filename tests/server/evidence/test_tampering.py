"""Whoever owns the database is found: every change of what was signed, and no erasure that was rightly made."""

import json
import random
from collections import Counter
from itertools import islice

import pytest
from django.db import connection, transaction

from farms.models import ErasedRow, HeadLeaf, LedgerEntry
from farms.services import erase_rows
from farms.tenancy.acting import erase_on_farm
from monitoring.models import Note
from server.evidence.whole import outside_in, verify_all
from tests.cast import NOW, as_factory, as_role
from tests.full import FULL
from tests.server.evidence.conftest import Signed
from tests.server.evidence.tampering import KINDS, Tamperer, tampered

pytestmark = pytest.mark.django_db
MANY = 200 if FULL else 30
SEED = 20260530


def test_every_change_of_what_was_signed_is_found(signed: Signed, record_property):
    """Figures of a run with --full: 200 of 200 found (seed 20260530)."""
    rng = random.Random(SEED)  # noqa: S311 - the same every time
    outside = outside_in(signed.heads)
    missed, done = [], Counter()
    kinds = [kind for _round in range(MANY) for kind in rng.sample(list(KINDS), len(KINDS))]
    with as_factory(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        for number, kind in enumerate(islice(kinds, MANY)):
            by = Tamperer(rng, [signed.farm.id, signed.neighbour.id])
            before = transaction.savepoint()
            what = tampered(by, kind)
            faults = verify_all(outside).faults
            # The next change meets what was there.
            transaction.savepoint_rollback(before)
            done[kind] += 1
            if not faults:
                missed.append(f"{number}: {what}")
        assert verify_all(outside).faults == []
        cursor.execute("SET LOCAL session_replication_role = origin")
    record_property("tampered", json.dumps(done))
    print(f"{MANY - len(missed)} of {MANY} changes found: {dict(done)}")
    assert missed == [] and set(done) == set(KINDS)


def test_a_person_s_words_are_erased_and_all_of_it_still_holds(signed: Signed):
    with as_role("eraser"):
        erase_on_farm(signed.farm.id, using="default")
        notes = list(Note.objects.filter(farm_id=signed.farm.id))
        assert len(notes) > 3
        assert erase_rows(notes, now=NOW) == len(notes)
        assert not Note.objects.exists()
    with as_factory():
        report = verify_all(outside_in(signed.heads))
        assert report.faults == [] and report.found.erased == len(notes)
        # Without its hash a note that is gone is missed.
        ErasedRow.objects.filter(farm_id=signed.farm.id).first().delete()
        assert len(verify_all(outside_in(signed.heads)).faults) == 1


def test_a_neighbour_s_farm_is_erased_and_nothing_of_others_breaks(signed: Signed):
    gone = signed.neighbour.id
    with as_factory(), connection.cursor() as cursor:
        # Whole, as the eraser will; here past the order in which tables hang on each other.
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "SELECT DISTINCT k.relname FROM pg_attribute a JOIN pg_class k ON k.oid = a.attrelid"
            " WHERE a.attname = 'farm_id' AND NOT k.relispartition AND k.relkind IN ('r', 'p')"
        )
        for (table,) in cursor.fetchall():
            cursor.execute(f'DELETE FROM "{table}" WHERE farm_id = %s', [gone])
        cursor.execute("DELETE FROM farms_farm WHERE id = %s", [gone])
        cursor.execute("SET LOCAL session_replication_role = origin")
        assert not LedgerEntry.objects.filter(farm_id=gone).exists()
        outside = outside_in(signed.heads)
        report = verify_all(outside, erased=1)
        assert report.faults == [] and report.found.farms == 1
        assert set(report.unclaimed.values()) == {1}
        # Nobody said that a farm was erased: then it is asked.
        (asked,) = verify_all(outside).faults
        assert "1 are no longer there" in str(asked)


def test_the_eraser_takes_a_farm_s_leaves_and_no_other_s(signed: Signed):
    with as_role("eraser"):
        erase_on_farm(signed.neighbour.id, using="default")
        assert HeadLeaf.objects.all().delete()[0] == 2
    with as_factory():
        assert HeadLeaf.objects.filter(farm_id=signed.farm.id).count() == 2
