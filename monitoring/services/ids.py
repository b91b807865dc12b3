"""Ids that follow from what they name, where no client gave one: the same row sent twice has the same id.

UUIDs of version 8 (RFC 9562, section 5.8): 60 bits of a hash of the station (or the farm, for a round), so that the
rows of a station lie together in every index, then two bits for the kind of row, 22 for each of its days and 16 for
its number among several.
"""

import hashlib
from datetime import date
from enum import IntEnum
from uuid import UUID


class Named(IntEnum):
    PLACEMENT = 0
    READING = 1
    ROUND = 2


def front(owner: UUID) -> str:
    """The first three groups of the ids of a station's (or a farm's) rows, with the version in its place."""
    digest = hashlib.sha256(owner.bytes).hexdigest()
    return f"{digest[:8]}-{digest[8:12]}-8{digest[12:15]}-"


def back(kind: Named, hung_on: date | None, taken_on: date | None, number: int) -> str:
    """The last two groups: the variant, the kind, the days (0 for none) and the number, from 0."""
    hung, taken = hung_on.toordinal() if hung_on else 0, taken_on.toordinal() if taken_on else 0
    digits = f"{2 << 62 | kind << 60 | hung << 38 | taken << 16 | number:016x}"
    return f"{digits[:4]}-{digits[4:]}"


def placement_id(station_id: UUID, hung_on: date, number: int) -> UUID:
    """The id of the number-th card or trap, from 0, hung at a station on a day."""
    return UUID(front(station_id) + back(Named.PLACEMENT, hung_on, None, number))


def round_id(farm_id: UUID, walked_on: date) -> UUID:
    """The id of the round that the readings of one day in a table make."""
    return UUID(front(farm_id) + back(Named.ROUND, None, walked_on, 0))
