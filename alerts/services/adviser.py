"""An adviser leaves the group, with what they had promised written down first and, where one is named, a successor."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from alerts.selectors.promises import promises_of_adviser
from farms.clock import local_date
from farms.services import (
    AdviserLeftAlready,
    Successor,
    check_successor,
    end_adviser,
    farms_left_by,
    lock_role,
    name_successor,
)
from farms.tenancy.acting import act_for_user

if TYPE_CHECKING:
    from farms.models import GroupMember, User


@transaction.atomic
def let_adviser_leave(*, role: "GroupMember", successor: Successor | None, by: "User", now: datetime) -> "GroupMember":
    """End an adviser's role at once (farms/services/adviser.py says what ends with it), and say who would follow.

    `by` coordinates the group; the entry point has asked. Raises AdviserLeftAlready or Invalid kinds.
    """
    role = lock_role(role, beside=successor.user if successor else None)
    if role.ended_at is not None:
        raise AdviserLeftAlready()
    if successor is not None:
        check_successor(role=role, successor=successor, now=now)
    act_for_user(role.user_id)
    today = local_date(now, role.group.time_zone)
    promises = promises_of_adviser(role.user_id, farms_left_by(role), today)
    end_adviser(role=role, promises=promises, by=by, now=now)
    if successor is not None:
        name_successor(role=role, successor=successor, now=now)
    return role
