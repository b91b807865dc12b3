"""The farm's chain under writers that really run at the same time, each on a connection of its own."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from threading import Barrier
from uuid import UUID

import pytest
from django.db import connections, transaction

from farms import ledger
from farms.errors import Missing
from farms.ledger import Actor, verify_links
from farms.models import Farm, LedgerEntry, LedgerHead, User
from farms.models.access import FarmRole, Membership
from farms.tenancy.acting import act_for_user
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
WRITERS, ENTRIES = 8, 20


def write(user: User, farm_ids: list[UUID], writer: int, number: int) -> None:
    """One entry on each of these farms, in one transaction, as a round or an import makes it."""
    with transaction.atomic():
        act_for_user(user.id)
        heads = ledger.lock_heads(farm_ids)
        for farm_id in farm_ids:
            row = ledger.row_hash("invented", {"writer": writer, "number": number})
            ledger.append(heads[farm_id], kind="round", actor=Actor("farm_staff", user.id), row_hashes=[row], now=NOW)


def at_once(work: Callable[[int], None]) -> None:
    """Run `work` for each writer in a thread of its own, all released at the same moment; the first error is raised."""
    barrier = Barrier(WRITERS)

    def start(writer: int) -> None:
        try:
            connections["default"].ensure_connection()
            barrier.wait(timeout=30)
            work(writer)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(WRITERS) as pool:
        for done in [pool.submit(start, writer) for writer in range(WRITERS)]:
            done.result(timeout=120)


def require_whole_chain(farm: Farm, entries: int) -> None:
    with as_factory():
        assert verify_links(farm.id) == []
        links = list(LedgerEntry.objects.filter(farm=farm).order_by("number"))
        assert [link.number for link in links] == list(range(1, entries + 1))
        assert all(bytes(later.previous) == bytes(former.hash) for former, later in pairwise(links))
        assert len({bytes(link.previous) for link in links}) == entries
        head = LedgerHead.objects.get(farm=farm)
        assert (head.number, bytes(head.hash)) == (entries, bytes(links[-1].hash))


def test_eight_writers_on_one_farm_make_one_chain(northfield: Farm, anna: User):
    with as_factory():
        before = LedgerEntry.objects.filter(farm=northfield).count()

    def work(writer: int) -> None:
        for number in range(ENTRIES):
            write(anna, [northfield.id], writer, number)

    at_once(work)
    require_whole_chain(northfield, before + WRITERS * ENTRIES)


def test_eight_writers_on_two_farms_in_both_orders_wait_and_never_deadlock(northfield: Farm, southmead: Farm, anna):
    with as_factory():
        Membership.objects.create(farm=southmead, user=anna, role=FarmRole.RECORDER, began_at=NOW)
        before = LedgerEntry.objects.filter(farm=northfield).count()
    there = [northfield.id, southmead.id]

    def work(writer: int) -> None:
        for number in range(ENTRIES):
            write(anna, there if writer % 2 else there[::-1], writer, number)

    at_once(work)
    require_whole_chain(northfield, before + WRITERS * ENTRIES)
    require_whole_chain(southmead, WRITERS * ENTRIES)


def test_an_undone_writer_leaves_no_gap(northfield: Farm, anna: User):
    """A round refused in the middle, between two that are stored."""
    with as_factory():
        before = LedgerEntry.objects.filter(farm=northfield).count()

    def work(writer: int) -> None:
        for number in range(ENTRIES):
            with transaction.atomic():
                write(anna, [northfield.id], writer, number)
                if number % 2:
                    transaction.set_rollback(True)

    at_once(work)
    require_whole_chain(northfield, before + WRITERS * ENTRIES // 2)


def test_carla_locks_no_head_of_northfield(northfield: Farm, southmead: Farm, carla: User):
    with acting(carla):
        with pytest.raises(Missing):
            ledger.lock_heads([northfield.id])
        with pytest.raises(Missing):
            ledger.lock_heads([northfield.id, southmead.id])
        assert set(ledger.lock_heads([southmead.id])) == {southmead.id}


@pytest.mark.parametrize(("change", "fault"), [
    ({"kind": "other"}, "changed after"),
    ({"rows_hash": bytes(32)}, "changed after"),
    ({"previous": bytes(32)}, "does not follow"),
    ({"number": 99}, "does not follow"),
])  # fmt: skip
def test_a_changed_entry_is_found(northfield: Farm, anna: User, change, fault):
    for number in range(3):
        write(anna, [northfield.id], 0, number)
    with as_factory():
        LedgerEntry.objects.filter(farm=northfield, number=3).update(**change)
        assert any(fault in found.why for found in verify_links(northfield.id))


def test_a_missing_last_entry_is_found(northfield: Farm, anna: User):
    write(anna, [northfield.id], 0, 0)
    with as_factory():
        LedgerEntry.objects.filter(farm=northfield).order_by("-number").first().delete()
        assert [found.why for found in verify_links(northfield.id)] == ["the head of the chain is not its last entry"]
