"""A table stored part by part is stored as if it had come at once, wherever it is cut."""

import json
from contextlib import contextmanager

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from farms.ids import uuid7
from farms.models import LedgerEntry
from monitoring.models import Placement, Reading, WeeklySummary
from monitoring.services import (
    HungSent,
    ImportPlan,
    RoundSent,
    judged_table,
    record_part,
    record_round,
    record_table,
    table_of_rows,
)
from tests.cast import NOW, acting, as_factory
from tests.monitoring.sending import HUNG, STAFF, TODAY, chain_holds, reading, send

pytestmark = pytest.mark.django_db
OLDER = "2026-05-18"


@contextmanager
def undone():
    """So that what follows begins with the farm as it was."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def in_parts(farm, rows, size):
    batch, since, results = judged_table(farm=farm, table=table_of_rows(rows), now=NOW), None, []
    for first in range(0, len(rows), size):
        result, since = record_part(
            batch=batch, places=range(first, min(first + size, len(rows))), since=since, plan=ImportPlan(),
            actor=STAFF, now=NOW,
        )  # fmt: skip
        results += texts(result)
    return results


def at_once(farm, rows):
    return texts(record_table(farm=farm, table=table_of_rows(rows), plan=ImportPlan(), actor=STAFF, now=NOW))


def texts(result):
    return [text for piece in result.items.pieces(2) for text in piece]


def told(items):
    """What became of each row, but for the row that an error names: that is one's own table."""
    return [(each["outcome"], each["id"], [bad["code"] for bad in each["errors"]]) for each in map(json.loads, items)]


def outcome(farm, user, way, *args):
    """What a way tells and stores, undone again."""
    with undone():
        with acting(user):
            said = told(way(farm, *args))
        assert chain_holds(farm)
        with as_factory():
            stored = sorted(
                Reading.objects.filter(farm=farm).values_list(
                    "id", "round_id", "station_id", "placement_id", "count", "reason", "hung_on", "taken_on"
                ),
                key=str,
            )
            hung = sorted(Placement.objects.filter(farm=farm).values_list("id", "station_id", "hung_on"), key=str)
            weeks = sorted(WeeklySummary.objects.filter(farm=farm).values_list("method", "week", "mean", "missing"))
    return said, stored, hung, weeks


ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "station": st.sampled_from(["Card 1", "Card 2", "Card 99"]),
            "hung_on": st.sampled_from([OLDER, str(HUNG)]),
            "taken_on": st.sampled_from([str(HUNG), str(TODAY)]),
            "device": st.sampled_from([1, 2]),
        },
        optional={"count": st.sampled_from([7, 8]), "reason": st.sampled_from(["not_visited", "lost"])},
    ),
    min_size=1,
    max_size=9,
)


@given(ROWS, st.integers(1, 4))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_cut_anywhere_it_is_the_same(northfield, anna, cards, rows, size):
    """Beside what a phone sent: a card that hangs at each station, and one that was read."""
    with undone():
        with acting(anna):
            hung = (HungSent(uuid7(), cards[0].id, HUNG), HungSent(uuid7(), cards[1].id, HUNG))
            record_round(farm=northfield, sent=RoundSent(uuid7(), HUNG, "form", hung=hung), actor=STAFF, now=NOW)
            send(northfield, reading(cards[0], 7))
        whole = outcome(northfield, anna, at_once, rows)
        parts = outcome(northfield, anna, in_parts, rows, size)
        assert parts == whole


def test_each_part_is_an_entry_of_the_chain(northfield, anna):
    rows = [
        {"station": f"Card {number}", "hung_on": str(HUNG), "taken_on": str(TODAY), "count": number}
        for number in range(1, 6)
    ]
    with acting(anna):
        assert [each for each, *_ in told(in_parts(northfield, rows, 2))] == ["stored"] * 5
        entries = LedgerEntry.objects.filter(kind="import").order_by("number")
        # The first brings the round too.
        assert [entry.rows for entry in entries] == [5, 4, 2]
    assert chain_holds(northfield)
