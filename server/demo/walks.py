"""Fly walks of the invented season, what became of what they found, and one complaint with its answer."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction

from farms.ids import uuid7
from farms.models import Facility
from farms.tenancy.acting import act_for_user
from monitoring.models import Finding, Station
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import complaints_of, findings_of
from monitoring.services import (
    AnswerTyped,
    ComplaintTyped,
    StepSent,
    WalkSent,
    answer_complaint,
    record_complaint,
    record_step,
    record_walk,
)
from server.demo import scenario
from server.demo.clockwork import evening_of
from server.demo.farmyard import Yard

WEEK = timedelta(days=7)


def note_walks(yard: Yard, monday: date) -> None:
    """What the week before a Monday brought on a farm."""
    for walked in scenario.WALKS.get(yard.dairy.name, ()):
        if monday - WEEK <= walked.on < monday:
            _walk(yard, walked)
    for heard in scenario.COMPLAINTS.get(yard.dairy.name, ()):
        if monday - WEEK <= heard.on < monday:
            _complaint(yard, heard)


def _walk(yard: Yard, walked: scenario.Walked) -> None:
    building = yard.buildings[walked.building]
    cards = {station.number: station for station, _building in yard.stations if station.method == "card"}
    now = evening_of(walked.on)
    found = [(each, _found(each, building, cards)) for each in walked.found]
    with transaction.atomic():
        act_for_user(yard.owner.id)
        sent = WalkSent(uuid7(), walked.on, [sent for _each, sent in found], building, cards.get(walked.near or 0))
        record_walk(farm=yard.farm, sent=sent, actor=yard.actor(), now=now)
        for each, finding in found:
            for kind, on in each.steps:
                _step(yard, finding.id, StepSent(kind, on), max(now, evening_of(on)))


def _found(each: scenario.FoundThere, building: Facility, cards: Mapping[int, Station]) -> FindingSent:
    said = Said(each.words, each.to_do, each.by_whom)
    return FindingSent(
        uuid7(), each.place, each.nothing, building, cards.get(each.near or 0), each.material, each.moisture,
        each.larvae, each.pupae, each.due_on, said=said,
    )  # fmt: skip


def _step(yard: Yard, finding_id: UUID, step: StepSent, now: datetime) -> None:
    finding: Finding = findings_of(yard.farm).get(known=finding_id)
    record_step(finding=finding, step=step, actor=yard.actor(), now=now)


def _complaint(yard: Yard, heard: scenario.Heard) -> None:
    with transaction.atomic():
        act_for_user(yard.owner.id)
        typed = ComplaintTyped(heard.on, "call", "neighbour", heard.said, heard.sender, heard.place)
        record_complaint(farm=yard.farm, typed=typed, actor=yard.actor(), now=evening_of(heard.on))
        complaint = complaints_of(yard.farm).filter(heard_on=heard.on).get()
        answer = AnswerTyped(heard.answered_on, "visit", heard.answered, "the owner")
        answer_complaint(
            complaint=complaint, typed=answer, actor=yard.actor(), now=evening_of(heard.answered_on)
        )  # fmt: skip
