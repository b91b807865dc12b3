"""What a record of a pesticide application may be. Pure functions."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.application import AmountUnit, AreaUnit, Target
from monitoring.rules.label import choice_faults, line_faults

# What the column holds.
MOST = Decimal("99999999.9999")
MOST_ANIMALS = 1_000_000
# Records are kept two years and longer; nobody types one that is older than most farms' binders.
FURTHEST_BACK = timedelta(days=15 * 366)
LONGEST = timedelta(days=7)
# A phone's clock and ours may differ by a little.
CLOCKS_DIFFER = timedelta(minutes=5)
FUTURE = _(
    "Only what was applied is noted, and this time is still to come. Correct the day and the time; what is still to be "
    "done can be planned."
)
TOO_OLD = _("This is more than fifteen years ago. Check the day and its year.")
ENDS_FIRST = _("It ended before it began. Correct one of the two times.")
TOO_LONG = _("That is more than seven days. Note each day's application by itself.")
AMOUNT_WRONG = _("Type the total amount that was used, above 0 and with at most four decimals, such as 2.5.")
AREA_WRONG = _("Type the size above 0 and with at most four decimals, such as 450.")
AREA_OR_ANIMALS = _("Type the size of the area or the number of animals: a full record has one of them.")
ANIMALS_WRONG = _("Type how many animals, a whole number from 1 to {most}.")
UNIT_UNKNOWN = _("There is no such unit here. Use one of: {kinds}.")
AREA_UNIT_MISSING = _("Say in which unit the size is. Use one of: {kinds}.")
TARGET_UNKNOWN = _("Say against what it was applied. Use one of: {kinds}.")
APPLICATOR_MISSING = _("Type the name of whoever applied it.")
WHY_MISSING = _("Say why it is changed: what was typed first stays on record, and both are shown.")
WHY_NOT_MISSING = _("Say in a few words what is not so: the record stays as it was filled in, with your words.")


@dataclass(frozen=True)
class People:
    """Who applied, by what certificate, and for whom; kept apart, so that names can be erased."""

    applicator: str
    certificate: str = ""
    uncertified: str = ""
    done_for: str = ""


@dataclass(frozen=True)
class Measured:
    """How much of it, on what: a total amount, and the size of an area or a number of animals."""

    amount: Decimal
    amount_unit: str
    area: Decimal | None = None
    area_unit: str = ""
    animals: int | None = None


def people_faults(people: People) -> list[Detail]:
    """What can't be right about the names."""
    return (
        line_faults("applicator", people.applicator, 120, APPLICATOR_MISSING)
        + line_faults("certificate", people.certificate, 60)
        + line_faults("uncertified", people.uncertified, 120)
        + line_faults("done_for", people.done_for, 120)
    )


def measured_faults(measured: Measured) -> list[Detail]:
    """What can't be right about amount, area and animals."""
    faults = []
    if not _is_size(measured.amount):
        faults.append(Detail("/amount", str(AMOUNT_WRONG), "amount_wrong"))
    faults += choice_faults("amount_unit", measured.amount_unit, AmountUnit.values, UNIT_UNKNOWN)
    if measured.area is not None:
        if not _is_size(measured.area):
            faults.append(Detail("/area", str(AREA_WRONG), "area_wrong"))
        unknown = UNIT_UNKNOWN if measured.area_unit else AREA_UNIT_MISSING
        faults += choice_faults("area_unit", measured.area_unit, AreaUnit.values, unknown)
    if measured.animals is not None and not 1 <= measured.animals <= MOST_ANIMALS:
        faults.append(Detail("/animals", str(ANIMALS_WRONG).format(most=MOST_ANIMALS), "animals_wrong"))
    if measured.area is None and measured.animals is None:
        faults.append(Detail("/area", str(AREA_OR_ANIMALS), "area_or_animals_missing"))
    return faults


def when_faults(begins_at: datetime, ends_at: datetime, now: datetime) -> list[Detail]:
    """What can't be right about its day and time."""
    if begins_at > now + CLOCKS_DIFFER:
        return [Detail("/begins_at", str(FUTURE), "future_date")]
    if ends_at > now + CLOCKS_DIFFER:
        return [Detail("/ends_at", str(FUTURE), "future_date")]
    if ends_at < begins_at:
        return [Detail("/ends_at", str(ENDS_FIRST), "ends_before_it_begins")]
    if ends_at - begins_at > LONGEST:
        return [Detail("/ends_at", str(TOO_LONG), "too_long")]
    return [Detail("/begins_at", str(TOO_OLD), "too_old")] if begins_at < now - FURTHEST_BACK else []


def target_faults(target: str) -> list[Detail]:
    return choice_faults("target", target, Target.values, TARGET_UNKNOWN)


def _is_size(size: Decimal) -> bool:
    return size.is_finite() and 0 < size <= MOST and size == round(size, 4)
