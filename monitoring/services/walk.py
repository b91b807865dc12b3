"""Fly walks: what was found where, noted in one piece; and a finding mended by a later row."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Facility, Farm
from monitoring.errors import AlreadyMended, FindingRefused, WalkDiffers, WalkRefused
from monitoring.models import Finding, FindingWords, Station, Walk
from monitoring.rules.walk import (
    ELSEWHERE,
    NAMED_TWICE,
    NOTHING_LOOKED_AT,
    TOO_MANY,
    FindingSent,
    Said,
    day_faults,
    finding_faults,
)
from monitoring.rules.walk import why_faults as faults_of_why
from monitoring.services.words import Sealed, sealed

MOST_PLACES = 60
COLUMNS = ("place", "nothing", "material", "moisture", "larvae", "pupae", "due_on", "x", "y")


@dataclass(frozen=True)
class WalkSent:
    """A walk as it comes in; its id and those of its findings are the sender's. `alert_id`: a matter let in before."""

    id: UUID
    walked_on: date
    findings: Sequence[FindingSent]
    facility: Facility | None = None
    station: Station | None = None
    alert_id: UUID | None = None


@dataclass(frozen=True)
class FindingMended:
    """Which finding (its newest version) is mended and why. `sent` None: it was noted by mistake."""

    replaces: Finding
    reason: str
    sent: FindingSent | None = None
    seen_on: date | None = None


@transaction.atomic
def record_walk(*, farm: Farm, sent: WalkSent, actor: Actor, now: datetime) -> Walk:
    """Note a walk with its findings; one that came before under its id is given back as it is stored.

    Raises WalkRefused, or WalkDiffers where the id is another walk's.
    """
    head = lock_heads([farm.id])[farm.id]
    known = Walk.objects.filter(farm_id=farm.id, id=sent.id).first()
    if known is not None:
        return _same(known, sent)
    faults = _walk_faults(farm, sent, local_date(now, farm.time_zone))
    if faults:
        raise WalkRefused(errors=faults)
    if Finding.objects.filter(farm_id=farm.id, id__in=[each.id for each in sent.findings]).exists():
        raise WalkDiffers(pointer="/findings")
    noted = {"actor_kind": actor.kind, "noted_by": actor.id, "recorded_at": now, "entry": next_number(head)}
    walk = Walk.objects.create(farm_id=farm.id, id=sent.id, walked_on=sent.walked_on, **_about(sent), **noted)
    seals = [sealed(vars(each.said)) for each in sent.findings]
    rows = [
        Finding(
            farm_id=farm.id, id=each.id, walk_id=walk.id, seen_on=sent.walked_on, words_hash=seal.hash,
            **_columns(each), **noted,
        )
        for each, seal in zip(sent.findings, seals, strict=True)
    ]  # fmt: skip
    Finding.objects.bulk_create(rows)
    _keep_words(rows, seals)
    hashes = [hash_again(row) for row in (walk, *rows)]
    append(head, kind="walk", actor=actor, row_hashes=hashes, now=now)
    return walk


@transaction.atomic
def correct_finding(*, farm: Farm, mended: FindingMended, actor: Actor, now: datetime) -> Finding:
    """Note a finding anew, with the reason; what stood before stays. Raises FindingRefused or AlreadyMended."""
    head = lock_heads([farm.id])[farm.id]
    before, today = mended.replaces, local_date(now, farm.time_zone)
    seen_on = mended.seen_on or before.seen_on
    faults = faults_of_why(mended.reason) + day_faults("seen_on", seen_on, today)
    if mended.sent is not None:
        faults += finding_faults(mended.sent, seen_on, today) + _elsewhere(farm, mended.sent)
    if faults:
        raise FindingRefused(errors=faults)
    if Finding.objects.filter(farm_id=farm.id, replaces_id=before.id).exists():
        raise AlreadyMended()
    columns = _as_it_was(before) if mended.sent is None else _columns(mended.sent)
    said = {} if mended.sent is None else vars(mended.sent.said)
    seal = sealed({**said, "reason": mended.reason})
    row = Finding.objects.create(
        farm_id=farm.id, id=uuid7(), walk_id=before.walk_id, seen_on=seen_on, words_hash=seal.hash,
        origin_id=before.known_as, replaces_id=before.id, withdrawn=mended.sent is None, actor_kind=actor.kind,
        noted_by=actor.id, recorded_at=now, entry=next_number(head), **columns,
    )  # fmt: skip
    _keep_words([row], [seal])
    append(head, kind="walk", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


def _same(known: Walk, sent: WalkSent) -> Walk:
    """The walk as it is stored, where what was sent is the same; words that were erased count as the same."""
    rows = {row.id: row for row in Finding.objects.filter(farm_id=known.farm_id, walk_id=known.id, replaces_id=None)}
    kept = FindingWords.objects.filter(farm_id=known.farm_id, finding_id__in=list(rows))
    words = {row.finding_id: row.words for row in kept}
    same = (known.walked_on, known.facility_id, known.station_id, known.alert_id) == (
        sent.walked_on, *_about(sent).values()
    )  # fmt: skip
    if not same or {each.id for each in sent.findings} != rows.keys():
        raise WalkDiffers(pointer="/id")
    for each in sent.findings:
        row, said = rows[each.id], sealed(vars(each.said)).words
        if _columns(each) != _as_it_was(row) or words.get(each.id, said) != said:
            raise WalkDiffers(pointer="/id")
    return known


def _walk_faults(farm: Farm, sent: WalkSent, today: date) -> list[Detail]:
    faults = day_faults("walked_on", sent.walked_on, today) + _elsewhere(farm, sent)
    if not sent.findings:
        faults.append(Detail("/findings", str(NOTHING_LOOKED_AT), "nothing_looked_at"))
    if len({each.id for each in sent.findings}) < len(sent.findings):
        faults.append(Detail("/findings", str(NAMED_TWICE), "named_twice"))
    if len(sent.findings) > MOST_PLACES:
        faults.append(Detail("/findings", str(TOO_MANY), "too_many_places"))
    for number, each in enumerate(sent.findings):
        found = finding_faults(each, sent.walked_on, today) + _elsewhere(farm, each)
        faults += [replace(fault, pointer=f"/findings/{number}{fault.pointer}") for fault in found]
    return faults


def _elsewhere(farm: Farm, sent: WalkSent | FindingSent) -> list[Detail]:
    """A barn or a station of another farm."""
    named = {"facility": sent.facility, "station": sent.station}
    return [
        Detail(f"/{name}_id", str(ELSEWHERE), f"unknown_{name}")
        for name, row in named.items()
        if row is not None and row.farm_id != farm.id
    ]


def _about(sent: WalkSent) -> dict[str, UUID | None]:
    return {
        "facility_id": sent.facility.id if sent.facility else None,
        "station_id": sent.station.id if sent.station else None,
        "alert_id": sent.alert_id,
    }


def _columns(sent: FindingSent) -> dict[str, Any]:
    return {name: getattr(sent, name) for name in COLUMNS} | {
        "facility_id": sent.facility.id if sent.facility else None,
        "station_id": sent.station.id if sent.station else None,
    }


def _as_it_was(row: Finding) -> dict[str, Any]:
    return {name: getattr(row, name) for name in (*COLUMNS, "facility_id", "station_id")}


def _keep_words(rows: Sequence[Finding], seals: Sequence[Sealed]) -> None:
    FindingWords.objects.bulk_create(
        FindingWords(farm_id=row.farm_id, finding_id=row.id, words=seal.words, salt=seal.salt)
        for row, seal in zip(rows, seals, strict=True)
        if seal.words
    )


def said_of(words: dict[str, str]) -> Said:
    """Kept words of a finding, as they were sent; the reason of a change is none of them."""
    return Said(**{name: text for name, text in words.items() if name != "reason"})
