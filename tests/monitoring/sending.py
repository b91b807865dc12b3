"""Short ways to send rounds in these tests, and to look at what was stored."""

import hashlib
from datetime import date, timedelta
from typing import Any

from farms.chained import kept_apart
from farms.chained_rows import rows_of
from farms.ids import uuid7
from farms.ledger import Actor, salted, verify_links
from farms.models import Farm, LedgerEntry
from farms.models.chain import ActorKind
from farms.verifying import content_of
from monitoring.models import (
    Note,
    Photo,
    Placement,
    Reading,
    Round,
    Station,
)
from monitoring.services import HungSent, ReadingSent, RoundSent, record_round
from tests.cast import NOW, as_factory

# A week before NOW, and NOW's own day at Northfield.
HUNG = date(2026, 5, 25)
TODAY = date(2026, 6, 1)
STAFF = Actor(ActorKind.FARM_STAFF, None)


def hang(farm: Farm, stations: list[Station], on: date = HUNG, **more: Any) -> Round:
    """The first visit: it only hangs."""
    sent = RoundSent(uuid7(), on, "form", hung=tuple(HungSent(uuid7(), each.id, on) for each in stations), **more)
    return record_round(farm=farm, sent=sent, actor=STAFF, now=NOW)


def reading(station: Station, count: int | None = None, **more: Any) -> ReadingSent:
    return ReadingSent(uuid7(), station.id, count=count, **more)


def send(farm: Farm, *readings: ReadingSent, on: date = TODAY, **more: Any) -> Round:
    """A round with these readings, walked on a day. `id` and `now` may be given."""
    now = more.pop("now", NOW)
    sent = RoundSent(more.pop("id", uuid7()), on, more.pop("source", "form"), readings=readings, **more)
    return record_round(farm=farm, sent=sent, actor=STAFF, now=now)


def photographed(farm: Farm, *readings: ReadingSent) -> Round:
    """A round with these readings, and a photo of its first station, without a picture."""
    walked = send(farm, *readings)
    with as_factory():
        Photo.objects.create(
            farm=farm, round_id=walked.id, station_id=readings[0].station_id, kind="card", taken_at=NOW, width=2000,
            height=1500, picture_hash="0" * 64, actor_kind="phone", received_at=NOW, entry=0,
        )  # fmt: skip
    return walked


def season(farm: Farm, station: Station, counts: list[int | None], first: date = date(2026, 4, 13)) -> list[Round]:
    """A card hung on the first day and read and hung anew every seventh day after it."""
    rounds = [hang(farm, [station], first)]
    for week, count in enumerate(counts, start=1):
        day = first + timedelta(weeks=week)
        each = reading(station, count, reason="" if count is not None else "lost")
        rounds.append(send(farm, each, on=day, hung=(HungSent(uuid7(), station.id, day),)))
    return rounds


def stored(farm: Farm) -> list[Reading]:
    with as_factory():
        return list(Reading.objects.filter(farm_id=farm.id).order_by("received_at", "id"))


def nothing_stored(farm: Farm) -> bool:
    with as_factory():
        tables = (Reading, Placement, Round, Note)
        return not any(table.objects.filter(farm_id=farm.id).exists() for table in tables)


def chain_holds(farm: Farm) -> bool:
    """Every link follows the one before, and every entry's hash is that of the rows that carry its number."""
    with as_factory():
        rows: dict[int, list[bytes]] = {}
        for row in rows_of([farm.id]):
            rows.setdefault(row.entry, []).append(row.hash)
        entries = {entry.number: entry for entry in LedgerEntry.objects.filter(farm_id=farm.id)}
        same = all(
            bytes(entries[number].rows_hash) == hashlib.sha256(b"".join(sorted(hashes))).digest()
            and entries[number].rows == len(hashes)
            for number, hashes in rows.items()
        )
        return same and not verify_links(farm.id)


def words_hold(farm: Farm) -> bool:
    """What is kept apart of a record is what the record's hash says, and nothing of it is missing."""
    with as_factory():
        for model, how in kept_apart():
            owner, _, column = how.told_by.partition("__")
            rows = model._default_manager.filter(farm_id=farm.id).select_related(owner)
            if any(
                salted(content_of(getattr(row, how.content)), bytes(row.salt)) != getattr(getattr(row, owner), column)
                for row in rows
            ):
                return False
            of = model._meta.get_field(owner).related_model._default_manager.filter(farm_id=farm.id)
            if of.exclude(**{column: ""}).count() != rows.count():
                return False
    return True
