"""Notes on calls: the adviser's words and next step, read by the farm's people, chained by a salted hash."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction
from django.db.utils import ProgrammingError

from alerts.models import CallNote
from alerts.selectors import call_notes_of, last_notes_of_farms, steps_of_farms
from alerts.selectors.promised import Notes, promised_of_farms
from alerts.services import (
    CallNoteEmpty,
    CallNoteTooLong,
    NoStepOpen,
    Noted,
    StepDayWrong,
    StepWithoutDay,
    mark_step_done,
    note_call,
)
from alerts.services.call_note import call_note_hash
from farms.errors import Forbidden
from farms.ledger import verify_links
from farms.models import ApiToken, Farm, LedgerEntry, OpenPromise, User
from farms.services import Plan, plan_visit
from farms.visits import visits_of_adviser
from tests.cast import NOW, acting, acting_token, as_factory, as_role

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
BY_FRIDAY = Noted("Spoke to Anna: the back wall is wet.", "ask about the leaking waterer", TODAY + timedelta(days=4))


def test_a_note_and_its_step_stand_until_the_step_is_done(northfield: Farm, dana: User):
    with acting(dana):
        note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
        note_call(farm=northfield, noted=Noted("Called again, nobody there."), by=dana, now=NOW)
        assert last_notes_of_farms([northfield.id])[northfield.id].text == "Called again, nobody there."
        # A note without a step leaves the one before open.
        assert steps_of_farms([northfield.id])[northfield.id].step == BY_FRIDAY.step
        mark_step_done(farm=northfield, by=dana, now=NOW)
        assert steps_of_farms([northfield.id]) == {}
        with pytest.raises(NoStepOpen):
            mark_step_done(farm=northfield, by=dana, now=NOW)
        assert [row.done for row in call_notes_of(northfield)] == [True, False, False]


def test_a_new_step_takes_the_place_of_an_open_one(northfield: Farm, dana: User):
    with acting(dana):
        note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
        note_call(farm=northfield, noted=Noted(step="  look \n together ", step_on=TODAY), by=dana, now=NOW)
        assert steps_of_farms([northfield.id])[northfield.id].step == "look together"
        assert last_notes_of_farms([northfield.id])[northfield.id].text == BY_FRIDAY.text


def test_the_chain_holds_a_note_by_a_salted_hash_and_stays_whole_when_it_is_erased(northfield: Farm, dana: User):
    with acting(dana):
        row = note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
        mark_step_done(farm=northfield, by=dana, now=NOW)
        kinds = LedgerEntry.objects.filter(farm=northfield, number__gte=row.entry).order_by("number")
        assert list(kinds.values_list("kind", flat=True)) == ["call_noted", "step_done"]
    other = CallNote(**{field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if
                        field.attname != "pk"} | {"salt": bytes(16)})  # fmt: skip
    assert call_note_hash(row) != call_note_hash(other)
    with as_factory():
        CallNote.objects.filter(farm=northfield).delete()
        assert verify_links(northfield.id) == []


@pytest.mark.parametrize(("noted", "error"), [
    (Noted(" \n "), CallNoteEmpty),
    (Noted("x" * 501), CallNoteTooLong),
    (Noted("Called.", "x" * 201, TODAY), CallNoteTooLong),
    (Noted("Called.", "look again"), StepWithoutDay),
    (Noted("Called.", "", TODAY), StepWithoutDay),
    (Noted("Called.", "look again", TODAY - timedelta(days=1)), StepDayWrong),
    (Noted("Called.", "look again", TODAY + timedelta(days=367)), StepDayWrong),
])  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_stored(northfield: Farm, dana: User, noted: Noted, error):
    with acting(dana), pytest.raises(error):
        note_call(farm=northfield, noted=noted, by=dana, now=NOW)
    with as_factory():
        assert not CallNote.objects.exists()


def test_the_database_knows_what_a_row_must_say(northfield: Farm, dana: User):
    plain = {"farm": northfield, "salt": bytes(16), "by": dana, "at": NOW, "noted_on": TODAY, "entry": 7}
    for wrong in ({}, {"text": "x", "step": "y"}, {"text": "x", "step_on": TODAY}, {"text": "x", "done": True}):
        with as_factory(), pytest.raises(IntegrityError), transaction.atomic():
            CallNote.objects.create(**plain, **wrong)


def test_only_its_adviser_writes_and_the_farms_people_read(northfield: Farm, anna, ben, carla, dana, erik, fay):
    for user in (anna, ben, carla, erik, fay):
        with acting(user), pytest.raises(Forbidden):
            note_call(farm=northfield, noted=BY_FRIDAY, by=user, now=NOW)
    with acting(dana):
        row = note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
    for user, seen in ((anna, True), (ben, True), (dana, True), (carla, False), (erik, False), (fay, False)):
        with acting(user):
            assert CallNote.objects.exists() == seen
            if not seen:
                assert last_notes_of_farms([northfield.id]) == steps_of_farms([northfield.id]) == {}
    with pytest.raises(ProgrammingError, match="permission denied"), as_role("app"):
        CallNote.objects.update(text="other")
    for user in (anna, fay):  # the second wall alone: not in another's name, not where one doesn't advise
        with acting(user), pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            CallNote.objects.bulk_create([CallNote(
                farm=northfield, text="x", salt=row.salt, by=user, at=NOW, noted_on=TODAY, entry=99,
            )])  # fmt: skip


def test_no_key_reads_a_note(northfield: Farm, anna: User, dana: User):
    with acting(dana):
        note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
    with as_factory():
        key = ApiToken.objects.create(
            farm=northfield, name="Program", scope="read", key_hash=bytes(32), made_by=anna, made_at=NOW,
            last_used_on=TODAY, expires_at=NOW + timedelta(days=30),
        )  # fmt: skip
    with acting_token(key):
        assert not CallNote.objects.exists()


def promised(farm: Farm, user: User, today: date) -> list[tuple[str, date, str]]:
    with acting(user):
        notes = Notes(last_notes_of_farms([farm.id]), steps_of_farms([farm.id]))
        visits = visits_of_adviser(user, [farm], today - timedelta(days=14), today + timedelta(days=14))
        found = promised_of_farms(user, [farm.id], visits, notes, today)
    return [(each.kind, each.day, each.words or each.left) for each in found.get(farm.id, [])]


def test_what_was_promised_stands_by_its_day(northfield: Farm, dana: User, fay: User):
    day = TODAY + timedelta(days=1)
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("call", day), by=dana, now=NOW)
        note_call(farm=northfield, noted=BY_FRIDAY, by=dana, now=NOW)
    with as_factory():
        OpenPromise.objects.create(farm=northfield, left=fay, kind="visit", day=TODAY, noted_at=NOW)
    assert promised(northfield, dana, TODAY) == [
        ("visit", TODAY, "Fay"),
        ("call", day, ""),
        ("step", BY_FRIDAY.step_on, BY_FRIDAY.step),
    ]


def test_a_planned_call_stays_until_something_is_noted(northfield: Farm, dana: User):
    later = NOW + timedelta(days=3)
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("call", TODAY), by=dana, now=NOW)
    assert promised(northfield, dana, later.date()) == [("call", TODAY, "")]
    with acting(dana):
        note_call(farm=northfield, noted=Noted("Called."), by=dana, now=later)
    assert promised(northfield, dana, later.date()) == []
