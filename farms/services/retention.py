"""A coordinator sets how long the group keeps a kind of record."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail, Invalid
from farms.models import Group, GroupRetention, User
from farms.models.retention import KeptKind
from farms.retention import KEPT, LONGEST, months_kept

TOO_SHORT = _("Choose {least} months or more, at most {most}, or leave it empty: kept for as long as the farm is here.")


@transaction.atomic
def set_retention(
    *, group: Group, months: Mapping[KeptKind, int | None], by: User, now: datetime
) -> list[GroupRetention]:  # fmt: skip
    """Keep these kinds for so many months from now on; None: for as long as the farm is here. Raises Invalid.

    The entry point lets coordinators in only. What changes nothing is not written.
    """
    wrong = [
        Detail(f"/{kind}", str(TOO_SHORT).format(least=KEPT[kind].least, most=LONGEST), "kept_too_short")
        for kind, number in months.items()
        if number is not None and not KEPT[kind].least <= number <= LONGEST
    ]
    if wrong:
        raise Invalid(errors=wrong)
    before = months_kept(group.id)
    changed = {kind: number for kind, number in months.items() if number != before[kind]}
    return GroupRetention.objects.bulk_create(
        GroupRetention(group=group, kind=kind, months=number, set_by=by, set_at=now) for kind, number in changed.items()
    )
