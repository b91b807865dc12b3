"""What is sent: a round with its readings, the cards hung, and notes. Plain values; the services judge them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from uuid import UUID


@dataclass(frozen=True)
class ReadingSent:
    """What was found at one station; see `monitoring.models.Reading`. None is "not given".

    For a card or trap `placement_id` names what was taken down; without it, it is what hangs at the station, or what
    was hung on `hung_on`. `taken_on` is the round's day where it isn't given. Leg counts carry `animals`, one number
    an animal, all four legs together.
    """

    id: UUID
    station_id: UUID
    how: str = "counted"
    count: int | None = None
    fraction: Decimal | float = Decimal(1)
    at_least: bool = False
    reason: str = ""
    placement_id: UUID | None = None
    hung_on: date | None = None
    taken_on: date | None = None
    sides: int | None = None
    animals: Sequence[int] | None = None
    pen: str = ""
    time_of_day: time | None = None
    weather: str = ""
    bunching: bool | None = None
    sprayed: bool | None = None


@dataclass(frozen=True)
class HungSent:
    """A fresh card or trap."""

    id: UUID
    station_id: UUID
    hung_on: date


@dataclass(frozen=True)
class NoteSent:
    """Free words about the round, or about one of its readings."""

    id: UUID
    text: str
    reading_id: UUID | None = None


@dataclass(frozen=True)
class RoundSent:
    """One walk, or a part of it: sent again, what is new is added. `source` is one of models.round.Source.

    By the sender's clock: `observed_at`, `submitted_at` when it was given up for sending, `sent_at` when this request
    left.
    """

    id: UUID
    walked_on: date
    source: str
    readings: Sequence[ReadingSent] = ()
    hung: Sequence[HungSent] = ()
    counted_by: UUID | None = None
    typed_by: UUID | None = None
    typed_on: date | None = None
    observed_at: datetime | None = None
    submitted_at: datetime | None = None
    sent_at: datetime | None = None
    notes: Sequence[NoteSent] = ()
