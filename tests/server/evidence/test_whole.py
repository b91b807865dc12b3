"""The whole database against its chains and the heads outside: what holds, and what each kind of change is called."""

from collections import Counter
from datetime import date, time, timedelta
from decimal import Decimal

import pytest

from farms.chained import chained_tables
from farms.chained_rows import hashes_of, rows_of
from farms.chained_sql import statement_of
from server.evidence.whole import outside_in, verify_all
from tests.cast import acting, as_factory
from tests.monitoring.sending import reading, send
from tests.server.evidence.conftest import Signed
from tests.server.evidence.scene import noon

pytestmark = pytest.mark.django_db


def test_postgresql_hashes_rows_as_python_does(signed: Signed, anna, leg_station, cards):
    """Of the same rows, among them letters, quotation marks and line breaks that JSON escapes, legs, and a clock."""
    with acting(anna):
        odd = '"q\\uote" \t\n\x1f\x7f \u00e9 \u2028 \U0001fab0'
        legs = reading(leg_station, animals=(0, 3, 12), pen=odd, weather="/", time_of_day=time(8, 30), bunching=True)
        half = reading(cards[0], 61, how="part", fraction=Decimal("0.25"), hung_on=date(2026, 4, 27))
        at = noon(date(2026, 5, 29)) + timedelta(microseconds=1)
        send(signed.farm, legs, half, on=date(2026, 5, 29), now=at, sent_at=at + timedelta(seconds=90))
    ids = [signed.farm.id, signed.neighbour.id]
    with as_factory():
        plain = Counter((row.farm_id, row.entry, row.hash) for row in rows_of(ids))
        found = Counter((farm_id, entry, each) for farm_id, entry, some, _erased in hashes_of(ids) for each in some)
    assert plain == found
    in_sql = {name for name, table in chained_tables().items() if statement_of(table)}
    assert {"monitoring_reading", "monitoring_placement", "monitoring_round", "monitoring_work"} <= in_sql
    assert set(chained_tables()) - in_sql >= {
        "monitoring_note",
        "alerts_alertevent",
        "farms_consent",
        "alerts_alertwork",
    }


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
