"""Short ways to note walks, findings and steps in these tests."""

from datetime import date
from typing import Any

from farms.ids import uuid7
from farms.models import Farm
from monitoring.models import Finding, FindingStep, Walk
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import findings_of
from monitoring.services import StepSent, WalkSent, record_step, record_walk
from tests.cast import NOW
from tests.monitoring.sending import STAFF, TODAY


def found(place: str = "waterers", **more: Any) -> FindingSent:
    """A wet place with some maggots, unless something else is said."""
    said = Said(**{name: more.pop(name) for name in ("place_words", "to_do", "by_whom", "note") if name in more})
    seen = {"material": "bedding", "moisture": "wet", "larvae": "some"} if not more.get("nothing") else {}
    return FindingSent(uuid7(), place, **{**seen, **more}, said=said)


def walk(farm: Farm, *findings: FindingSent, on: date = TODAY, **more: Any) -> Walk:
    actor, now = more.pop("actor", STAFF), more.pop("now", NOW)
    sent = WalkSent(more.pop("id", None) or uuid7(), on, findings, **more)
    return record_walk(farm=farm, sent=sent, actor=actor, now=now)


def only_finding(farm: Farm) -> Finding:
    """The farm's one finding as it stands now."""
    finding: Finding = findings_of(farm).get()
    return finding


def step(farm: Farm, kind: str, on: date = TODAY, due_on: date | None = None, **more: Any) -> FindingStep:
    """A step of the farm's one finding."""
    sent = StepSent(kind, on, due_on, more.pop("note", ""))
    actor = more.pop("actor", STAFF)
    return record_step(finding=only_finding(farm), step=sent, actor=actor, now=more.pop("now", NOW), **more)
