"""The whole database against its chains and the heads outside: what holds, and what each kind of change is called."""

from collections import Counter
from datetime import date, time, timedelta
from decimal import Decimal

import pytest

from farms.chained import chained_tables
from farms.chained_rows import hashes_of, rows_of
from farms.chained_sql import statement_of
from monitoring.models import Reading, Round
from server.evidence.whole import outside_in, verify_all
from tests.cast import as_factory
from tests.server.evidence.conftest import Signed
from tests.server.evidence.scene import noon

pytestmark = pytest.mark.django_db


def test_postgresql_hashes_rows_as_python_does(signed: Signed, leg_station, cards):
    """Of the same rows, among them letters, quotation marks and line breaks that JSON escapes, legs, and a clock."""
    odd = '"q\\uote" \t\n\x1f\x7f \u00e9 \u2028 \U0001fab0'
    at = noon(date(2026, 5, 29)) + timedelta(microseconds=1)
    with as_factory():
        one = Reading.objects.filter(farm=signed.farm, method="card").order_by("id").last()
        same = {"farm": signed.farm, "round_id": one.round_id, "zone": one.zone, "received_at": at, "entry": 1}
        Reading.objects.create(
            **same, method="leg", station_id=leg_station.id, count=15, animals=[0, 3, 12], pen=odd, weather="/",
            time_of_day=time(8, 30, 0, 5), bunching=True, taken_on=at.date(),
        )  # fmt: skip
        Reading.objects.create(
            **same, method="card", station_id=cards[0].id, how="part", count=61, fraction=Decimal("0.25"),
            hung_on=date(2026, 4, 27), taken_on=at.date(), corrects_id=one.id, correction_kind="mistyped",
        )  # fmt: skip
        Round.objects.create(
            farm=signed.farm,
            walked_on=at.date(),
            source="form",
            actor_kind="phone",
            received_at=at,
            clock_ahead=-3,
            entry=1,
        )
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
