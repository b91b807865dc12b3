"""Choosing the day of a farm's weekly mail. Rows are only added."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import MailDay
from alerts.models.mail_day import MONDAY, SUNDAY
from farms.access import actor_on
from farms.errors import Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values

if TYPE_CHECKING:
    from farms.models import Farm, User


class WeekdayUnknown(Invalid):
    code = "weekday_unknown"
    message = _("There is no such weekday. Choose a number from 1, Monday, to 7, Sunday.")


@transaction.atomic
def set_mail_day(*, farm: "Farm", weekday: int, by: "User", now: datetime) -> MailDay:
    """Let the farm's weekly mail go out on another weekday (1 is Monday); an entry of the farm's chain."""
    if not MONDAY <= weekday <= SUNDAY:
        raise WeekdayUnknown(pointer="/weekday")
    head = lock_heads([farm.id])[farm.id]
    made = MailDay.objects.create(farm=farm, weekday=weekday, set_by=by, set_at=now, entry=next_number(head))
    hashes = [row_hash(made._meta.db_table, row_values(made))]
    append(head, kind="mail_day", actor=actor_on(by, farm.id), row_hashes=hashes, now=now)
    return made
