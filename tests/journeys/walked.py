"""A fly walk with what became of it, and a complaint with its answer, for the pages that a journey opens."""

from datetime import timedelta
from typing import Any

from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import Farm
from monitoring.models import Station
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import complaints_of, findings_of
from monitoring.services import (
    AnswerTyped,
    ComplaintTyped,
    FindingPhotoSent,
    StepSent,
    WalkSent,
    add_finding_photo,
    answer_complaint,
    record_complaint,
    record_step,
    record_walk,
)
from tests.cast import NOW
from tests.monitoring.pictures import jpeg

TODAY = NOW.date()
DAY = timedelta(days=1)


def walked_and_complained(farm: Farm, card: Station, actor: Actor) -> dict[str, Any]:
    """The ids by which the pages are found. Whoever acts may write on the farm."""
    said = Said(to_do="Scrape the corner and bed it anew with straw", by_whom="Lucia of the long name")
    found = (
        FindingSent(uuid7(), "waterers", larvae="some", moisture="wet", material="bedding", station=card, said=said),
        FindingSent(uuid7(), "pen_corners", larvae="many", due_on=TODAY - 3 * DAY, x=0.3, y=0.4, said=said),
        FindingSent(uuid7(), "gutters", nothing=True),
    )
    walk = record_walk(farm=farm, sent=WalkSent(uuid7(), TODAY - 5 * DAY, found, None, card), actor=actor, now=NOW)
    finding = findings_of(farm).get(place="waterers")
    step = record_step(finding=finding, step=StepSent("done", TODAY - DAY, note="New float"), actor=actor, now=NOW)
    photo = add_finding_photo(finding=finding, sent=FindingPhotoSent(uuid7(), jpeg()), actor=actor, now=NOW)
    typed = ComplaintTyped(TODAY - 9 * DAY, "call", "neighbour", "Flies on the porch", "A neighbor", "half a mile east")
    made = record_complaint(farm=farm, typed=typed, actor=actor, now=NOW)
    complaint, answer = complaints_of(farm).get(), AnswerTyped(TODAY - 8 * DAY, "visit", "We showed the cards")
    answered = answer_complaint(complaint=complaint, typed=answer, actor=actor, now=NOW)
    return {
        "walk_id": walk.id, "finding_id": finding.id, "finding_step_id": step.id, "finding_photo_id": photo.id,
        "complaint_id": made.id, "complaint_answer_id": answered.id,
    }  # fmt: skip
