"""The whole database against its chains and the heads outside: what holds, and what each kind of change is called."""

import pytest

from farms.chained import chained_tables
from farms.chained_rows import rows_of
from server.evidence.whole import outside_in, verify_all
from tests.cast import as_factory
from tests.server.evidence.conftest import Signed

pytestmark = pytest.mark.django_db


def report_of(signed: Signed, **more):
    with as_factory():
        return verify_all(outside_in(signed.heads), **more)


def test_real_records_of_every_chained_table_hold(signed: Signed):
    report = report_of(signed)
    assert report.faults == []
    assert (report.found.farms, report.heads, report.last_outside.isoformat()) == (2, 2, "2026-05-30")
    assert report.found.not_covered == 0 and not report.unclaimed
    with as_factory():
        seen = {row.table for row in rows_of([signed.farm.id, signed.neighbour.id])}
    assert seen == set(chained_tables())
