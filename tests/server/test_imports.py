"""Long imports in the worker's hands: claimed once, done part by part, taken up again, ended when a right ends."""

import json
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from farms.ids import uuid7
from farms.models import ApiToken, Farm, LedgerEntry, Membership, User
from farms.services import make_token
from monitoring.models import Import, ImportContent, ImportPart, Reading
from monitoring.selectors import import_results
from monitoring.services import ImportPlan, ImportSent, Waiting, ring_due
from server import imports, tasks
from tests.cast import NOW, acting, acting_token, as_factory, as_role
from tests.monitoring.sending import chain_holds

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]
ROWS = [
    {"station": f"Card {number}", "hung_on": "2026-05-25", "taken_on": "2026-06-01", "count": number}
    for number in range(1, 6)
]
BAD = {"station": "Card 99", "hung_on": "2026-05-25", "taken_on": "2026-06-01", "count": 1}


@pytest.fixture(autouse=True)
def rung(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, Waiting]]:
    """What was rung for, in place of a broker."""
    heard: list[tuple[str, Waiting]] = []
    monkeypatch.setattr(imports, "ring", lambda task, waiting: heard.append((task, waiting)))
    return heard


@pytest.fixture
def two_a_part(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "ROWS_IN_A_PART", 2)
    monkeypatch.setattr("monitoring.services.imports.ROWS_IN_A_PART", 2)


def ask(farm: Farm, who: User | ApiToken, rows: Any = ROWS, **plan: Any) -> Waiting:
    content = rows if isinstance(rows, bytes) else json.dumps({"readings": rows}).encode()
    sent = ImportSent(content, "json", ImportPlan(source="program", **plan), "es")
    with acting(who) if isinstance(who, User) else acting_token(who):
        made = imports.take_in(farm=farm, sent=sent, who=who, now=NOW)
    return Waiting(made.farm_id, made.id, made.user_id, made.token_id)


def do(waiting: Waiting) -> None:
    tasks.do_import(*(str(each) if each else None for each in vars(waiting).values()))


def row_of(waiting: Waiting) -> Import:
    with as_factory():
        return Import.objects.get(id=waiting.id)


def fall_silent(waiting: Waiting) -> None:
    with as_factory():
        Import.objects.filter(id=waiting.id).update(due_at="2026-01-01T00:00:00Z")


def told(waiting: Waiting) -> list[tuple[int, str]]:
    with as_factory():
        return [(each["row"], each["outcome"]) for each in import_results(row_of(waiting), 0, 100)]


def count(model: Any) -> int:
    with as_factory():
        return int(model.objects.count())


def test_it_is_done_part_by_part_and_what_was_sent_is_deleted(northfield, anna, two_a_part):
    waiting = ask(northfield, anna, [*ROWS[:2], BAD, *ROWS[2:]])
    do(waiting)
    done = row_of(waiting)
    assert (done.state, done.rows, done.rows_done, done.ended_at) == ("done", 6, 6, NOW)
    assert (done.stored, done.known, done.refused, done.rounds) == (5, 0, 1, 1)
    assert told(waiting) == [(n, "refused" if n == 2 else "stored") for n in range(6)]
    assert (count(ImportContent), count(ImportPart)) == (0, 3)
    with as_factory():
        assert LedgerEntry.objects.filter(kind="import").count() == 3
        # In the language of whoever sent it.
        assert "Revise el número" in import_results(row_of(waiting), 2, 1)[0]["errors"][0]["reason"]
    assert chain_holds(northfield)


def test_sent_again_it_is_known(northfield, anna, two_a_part):
    do(ask(northfield, anna))
    again = ask(northfield, anna)
    do(again)
    assert (row_of(again).stored, row_of(again).known, count(Reading)) == (0, 5, 5)


def test_all_or_nothing_is_one_transaction(northfield, anna, two_a_part):
    refused, taken = ask(northfield, anna, [*ROWS, BAD], atomic=True), ask(northfield, anna, atomic=True)
    do(refused)
    told_of = row_of(refused)
    assert (told_of.state, told_of.stored, count(Reading), count(ImportContent)) == ("refused", 0, 0, 1)
    assert (told_of.problem["code"], told_of.problem["errors"][0]["pointer"]) == (
        "table_refused", "/readings/5/station",
    )  # fmt: skip
    do(taken)
    assert (row_of(taken).stored, len(told(taken))) == (5, 5)
    with as_factory():
        assert LedgerEntry.objects.filter(kind="import").count() == 1


def test_a_dry_run_stores_nothing(northfield, anna, two_a_part):
    waiting = ask(northfield, anna, [*ROWS, BAD], dry_run=True)
    do(waiting)
    assert (row_of(waiting).stored, row_of(waiting).refused, count(Reading)) == (5, 1, 0)


def test_what_is_no_table_is_refused(northfield, anna):
    waiting = ask(northfield, anna, b'{"readings": 7}')
    do(waiting)
    assert (row_of(waiting).state, row_of(waiting).problem["errors"][0]["code"]) == ("refused", "not_a_list")
    empty = ask(northfield, anna, [])
    do(empty)
    assert (row_of(empty).state, row_of(empty).rows) == ("done", 0)


def test_a_killed_worker_leaves_it_to_the_next_one(northfield, anna, two_a_part, rung):
    waiting = ask(northfield, anna)
    run = imports.begin(waiting, NOW)
    assert imports.go_on(run, NOW) and imports.go_on(run, NOW)
    assert (row_of(waiting).rows_done, count(Reading)) == (2, 2)
    # Somebody has it: nobody else takes it up, and beat doesn't ring.
    do(waiting)
    with as_role("worker"):
        assert ring_due() == []
    fall_silent(waiting)
    rung.clear()
    with as_role("worker"):
        tasks.ring_for_imports()
    assert rung == [("do_import", waiting)]
    do(waiting)
    # The first worker only slept: what it does now comes to nothing.
    assert imports.go_on(run, NOW) is False
    done = row_of(waiting)
    assert (done.state, done.stored, done.known, count(Reading), done.attempts) == ("done", 5, 0, 5, 2)
    assert told(waiting) == [(n, "stored") for n in range(5)]
    assert chain_holds(northfield)


def test_a_worker_that_crashes_gives_it_back_and_after_five_times_it_has_failed(northfield, anna, monkeypatch):
    waiting = ask(northfield, anna)

    def crash(**_kwargs: Any) -> None:
        raise RuntimeError("out of luck")

    with monkeypatch.context() as patched:
        patched.setattr(imports, "record_part", crash)
        for _ in range(5):
            with pytest.raises(RuntimeError):
                do(waiting)
            assert row_of(waiting).state == "running"
            fall_silent(waiting)
    do(waiting)
    failed = row_of(waiting)
    assert (failed.state, imports.problem_of_import(failed)["code"]) == ("failed", "import_failed")
    assert (count(ImportContent), count(Reading)) == (0, 0)


def test_who_was_let_out_stores_nothing_more(northfield, ben, two_a_part, rung):
    waiting = ask(northfield, ben)
    run = imports.begin(waiting, NOW)
    assert imports.go_on(run, NOW) and imports.go_on(run, NOW)
    with as_factory():
        Membership.objects.filter(user=ben).update(ended_at=NOW)
    assert imports.go_on(run, NOW) is False
    assert rung[-1] == ("shut_import", waiting)
    with as_role("worker"):
        imports.shut(waiting, NOW)
    ended = row_of(waiting)
    assert (ended.state, ended.problem["code"], ended.stored, count(Reading)) == ("refused", "forbidden", 2, 2)
    assert count(ImportContent) == 0


def test_a_token_that_was_switched_off_stores_nothing(northfield, anna, rung):
    now = timezone.now()
    with acting(anna):
        token, _ = make_token(
            farm=northfield, name="P", scope="write", by=anna, expires_at=now + timezone.timedelta(days=1), now=now
        )
    waiting = ask(northfield, token)
    with as_factory():
        ApiToken.objects.filter(id=token.id).update(revoked_at=now)
    do(waiting)
    assert rung[-1] == ("shut_import", waiting)
    assert (row_of(waiting).state, count(Reading)) == ("waiting", 0)


def test_a_token_stores_for_itself(northfield, anna, rung):
    now = timezone.now()
    with acting(anna):
        token, _ = make_token(
            farm=northfield, name="P", scope="write", by=anna, expires_at=now + timezone.timedelta(days=1), now=now
        )
    waiting = ask(northfield, token)
    do(waiting)
    with as_factory():
        assert LedgerEntry.objects.get(kind="import").actor_kind == "program"


def test_a_message_in_somebody_elses_name_comes_to_nothing(northfield, southmead, anna, ben, carla):
    waiting = ask(northfield, anna)
    for user in (ben, carla):
        do(Waiting(waiting.farm_id, waiting.id, user.id, None))
    do(Waiting(waiting.farm_id, waiting.id, None, None))
    do(Waiting(southmead.id, waiting.id, carla.id, None))
    assert (row_of(waiting).state, row_of(waiting).attempts) == ("waiting", 0)


def test_the_worker_rings_for_every_farm_and_learns_nothing_of_what_is_in_them(northfield, southmead, anna, carla):
    asked = [ask(northfield, anna), ask(southmead, carla)]
    for waiting in asked:
        fall_silent(waiting)
    with as_role("worker"):
        assert {each.id for each in ring_due()} == {each.id for each in asked}
        # Rung for once; not again at once.
        assert ring_due() == []
    for table, column in (("import", "stored"), ("importcontent", "content"), ("importpart", "results")):
        with as_role("worker"), connection.cursor() as cursor:
            cursor.execute("SELECT has_column_privilege(%s, %s, 'SELECT')", [f"monitoring_{table}", column])
            assert cursor.fetchone() == (False,)


def test_the_results_of_a_month_ago_make_room(northfield, anna):
    old = ask(northfield, anna)
    do(old)
    with as_factory():
        Import.objects.filter(id=old.id).update(ended_at="2026-04-01T00:00:00Z")
    ask(northfield, anna)
    assert (told(old), row_of(old).stored) == ([], 5)


def test_the_id_of_no_import(northfield, anna, rung):
    do(Waiting(northfield.id, uuid7(), anna.id, None))
    with as_factory():
        assert (rung, Import.objects.count(), Reading.objects.count()) == ([], 0, 0)
