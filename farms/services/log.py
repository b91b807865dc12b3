"""The farm's own log: one line where something happens that its owner should be able to look up.

The actor is an opaque id: names are looked up when the owner reads it. `about` names a key, a table, a role or the
kind of a consent; where it is about another person than the actor, their id stands behind it.
"""

from datetime import datetime
from uuid import UUID

from django.db import connection

from farms.ledger import Actor
from farms.models import Farm, LogEvent, User
from farms.models.chain import ActorKind
from farms.models.log import LogKind

LONGEST_ABOUT = 200
# Row security gives the farms; who has a role on one is of the farm, everybody else advises it.
NOTE_ON_ALL = """
    INSERT INTO farms_logevent (farm_id, id, at, kind, actor_kind, actor_id, about)
    SELECT farm_id, uuidv7(), %(now)s, %(kind)s,
           CASE WHEN EXISTS (SELECT 1 FROM farms_membership m
                             WHERE m.farm_id = farm.farm_id AND m.user_id = %(user)s AND m.ended_at IS NULL)
                THEN %(member)s ELSE %(adviser)s END, %(user)s, %(about)s
    FROM unnest(visible_farms()) AS farm (farm_id)
"""


def note_in_log(*, farm: Farm, kind: LogKind, actor: Actor, now: datetime, about: str = "") -> None:
    """Note one event in a farm's log. Whoever acts must be able to read the farm, no more."""
    LogEvent.objects.create(
        farm_id=farm.id, at=now, kind=kind, actor_kind=actor.kind, actor_id=actor.id, about=about[:LONGEST_ABOUT]
    )


def note_in_all_logs(*, user: User, kind: LogKind, now: datetime, about: str = "") -> int:
    """Note one event of a person in the log of every farm that they may see, in one statement; how many those are.

    The transaction must act for that person already.
    """
    values: dict[str, datetime | UUID | str] = {
        "now": now,
        "kind": kind.value,
        "user": user.id,
        "about": about[:LONGEST_ABOUT],
    }
    values |= {"member": ActorKind.FARM_STAFF.value, "adviser": ActorKind.ADVISER.value}
    with connection.cursor() as cursor:
        cursor.execute(NOTE_ON_ALL, values)
        return int(cursor.rowcount)
