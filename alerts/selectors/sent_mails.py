"""The mails that were written, as they may be shown: to whom, and their place among the others."""

from typing import TYPE_CHECKING

from django.db.models import QuerySet

from alerts.models import CoordinatorReport, Digest, MondayList
from farms.access import ADVISER, Role, farms_of
from farms.selectors import group_roles_of

if TYPE_CHECKING:
    from farms.models import Farm, User


# What a list of mails needn't read: some ten kilobytes each.
CONTENT = ("text", "html", "picture", "picture_text")
NEWEST_FIRST = ("-queued_at", "-id")


def digests_shown(farm: "Farm", user: "User", role: Role) -> QuerySet[Digest]:
    """A farm's digests for somebody who may manage it, newest first: an owner's own ones, for an adviser all of them.

    What an adviser reads by the farm's consent are the results in it and whether it went out. A recorder gets no mail
    and is shown none: a mail is a letter to its reader. Nor is a key or a farm phone.
    """
    digests = Digest.objects.filter(farm_id=farm.id).select_related("recipient").order_by(*NEWEST_FIRST)
    return digests if role == ADVISER else digests.filter(recipient_id=user.id)


def lists_shown(user: "User") -> QuerySet[MondayList]:
    """An adviser's own Monday lists, newest first.

    A list tells of many farms. Once one of them has withdrawn its consent, or the adviser left the group, lists with
    that farm on them are shown no more: consent ends at once, for what was written too.
    """
    seen = list(farms_of(user).order_by().values_list("id", flat=True))
    lists = MondayList.objects.filter(recipient_id=user.id, farm_ids__contained_by=seen)
    return lists.select_related("group", "recipient").order_by(*NEWEST_FIRST)


def reports_shown(user: "User") -> QuerySet[CoordinatorReport]:
    """A coordinator's own reports, newest first: of the groups that they coordinate now."""
    groups = group_roles_of(user).filter(role="coordinator").order_by().values("group_id")
    reports = CoordinatorReport.objects.filter(recipient_id=user.id, group_id__in=groups)
    return reports.select_related("group", "recipient").order_by(*NEWEST_FIRST)
