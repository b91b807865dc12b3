"""How the report shows values, and who recorded: by roles, never by names."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.formats import number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from alerts.wording.numbers import amount, dated_label
from server.season_report.blocks import Value

NONE = "\N{EN DASH}"
ROLES = {
    "farm_staff": gettext_lazy("farm staff"),
    "phone": gettext_lazy("farm staff"),
    "adviser": gettext_lazy("adviser"),
    "coordinator": gettext_lazy("coordinator"),
    "program": gettext_lazy("program"),
    "service": gettext_lazy("the weekly check"),
}


def shown(value: Value) -> str:
    """A value as paper and page write it."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, datetime):
        return f"{dated_label(value.date())}, {value:%H:%M}"
    if isinstance(value, date):
        return dated_label(value)
    if isinstance(value, Decimal):
        plain = value.normalize()
        return number_format(plain, max(0, -int(plain.as_tuple().exponent)), force_grouping=True)
    return number_format(value, force_grouping=True) if isinstance(value, int) else amount(value)


def exact(level: float | None) -> Decimal | None:
    """An action level as it was set, not rounded."""
    return None if level is None else Decimal(str(level))


def role(actor_kind: str, source: str = "") -> str:
    """Farm staff; adviser; typed from paper; program."""
    if source == "paper":
        return _("typed from paper")
    return str(ROLES.get(actor_kind, actor_kind))


def whole_farm() -> str:
    return capfirst(_("the whole farm"))


def yes_no(value: bool | None) -> str:  # noqa: FBT001 - the value itself
    return "" if value is None else str(_("yes") if value else _("no"))


def first_up(text: Any) -> str:
    return capfirst(str(text))
