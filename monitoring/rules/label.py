"""What somebody may type from a product's label. Pure functions; the label is the law, and no dose is among it."""

import re
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.product import NOT_GROUPED, ProductKind
from monitoring.rules.reentry import NO_TEXT

# As IRAC's mode-of-action classification writes its groups: a number, with a letter where it is divided; UN, UNB and
# the like for what works in an unknown way.
IRAC_GROUP = re.compile(r"[1-9][0-9]?[A-F]?|UN[A-Z]{0,2}")
MOST_GROUPS = 4
# With an application of seven days it stays within what a kept-out time may be (monitoring.rules.reentry).
LONGEST_REENTRY_HOURS, LONGEST_MILK_HOURS, LONGEST_MEAT_DAYS = 53 * 24, 90 * 24, 365
NAME_MISSING = _("Type the product's name as its label has it.")
NUMBER_MISSING = _("Type the registration number from the label, such as the EPA's or the national one.")
SUBSTANCE_MISSING = _("Type the active substance from the label; several with commas between them.")
GROUPS_MISSING = _("Type the IRAC group from the label, such as 3A; several with commas between them, or none.")
GROUP_UNKNOWN = _("“{group}” is written like no IRAC group. Type it as on the label, such as 3A or 28, or none.")
NONE_ALONE = _("Type either the groups or none, not both.")
TOO_MANY_GROUPS = _("These are more than four groups. Type those that stand on the label.")
KIND_UNKNOWN = _("There is no such kind of product. Use one of: {kinds}.")
HOURS_WRONG = _("Type whole hours from 1 to {most} as the label has them, or leave it empty where it names none.")
DAYS_WRONG = _("Type whole days from 1 to {most} as the label has them, or leave it empty where it names none.")
TOO_LONG = _("Shorten this to {most} characters.")


@dataclass(frozen=True)
class Label:
    """What was typed from a label. Times are None where it names none in hours or days."""

    name: str
    registration_number: str
    substances: str
    irac_groups: tuple[str, ...]
    kind: str
    reentry_hours: int | None = None
    reentry_words: str = ""
    milk_hours: int | None = None
    meat_days: int | None = None


def groups_of(text: str) -> tuple[str, ...]:
    """IRAC groups from a line as people type it, each once, in its order.

    >>> groups_of("3a, 15 ,3A")
    ('3A', '15')
    """
    found = [part.strip() for part in re.split(r"[,;+/]", text) if part.strip()]
    written = [NOT_GROUPED if part.lower() == NOT_GROUPED else part.upper() for part in found]
    return tuple(dict.fromkeys(written))


def label_faults(label: Label) -> list[Detail]:
    """What can't be right about a label as typed."""
    return (
        line_faults("name", label.name, 120, NAME_MISSING)
        + line_faults("registration_number", label.registration_number, 40, NUMBER_MISSING)
        + line_faults("substances", label.substances, 200, SUBSTANCE_MISSING)
        + _group_faults(label.irac_groups)
        + choice_faults("kind", label.kind, ProductKind.values, KIND_UNKNOWN)
        + line_faults("reentry_words", label.reentry_words, 200)
        + _time_faults("reentry_hours", label.reentry_hours, LONGEST_REENTRY_HOURS, HOURS_WRONG)
        + _time_faults("milk_hours", label.milk_hours, LONGEST_MILK_HOURS, HOURS_WRONG)
        + _time_faults("meat_days", label.meat_days, LONGEST_MEAT_DAYS, DAYS_WRONG)
    )


def line_faults(name: str, words: str, most: int, missing: object = None) -> list[Detail]:
    """What can't be right about one line of words; `missing` is the sentence for one that has to be there."""
    if not words.strip():
        return [Detail(f"/{name}", str(missing), f"{name}_missing")] if missing is not None else []
    if len(words) > most:
        return [Detail(f"/{name}", str(TOO_LONG).format(most=most), "text_too_long")]
    return [] if words.isprintable() else [Detail(f"/{name}", str(NO_TEXT), "not_text")]


def choice_faults(name: str, word: str, known: list[str], unknown: object) -> list[Detail]:
    """What can't be right about one of some words; `unknown` has a place for them, {kinds}."""
    if word in known:
        return []
    return [Detail(f"/{name}", str(unknown).format(kinds=", ".join(known)), f"{name}_unknown")]


def _group_faults(groups: tuple[str, ...]) -> list[Detail]:
    if not groups:
        return [Detail("/irac_groups", str(GROUPS_MISSING), "irac_groups_missing")]
    if len(groups) > MOST_GROUPS:
        return [Detail("/irac_groups", str(TOO_MANY_GROUPS), "too_many_groups")]
    if NOT_GROUPED in groups and len(groups) > 1:
        return [Detail("/irac_groups", str(NONE_ALONE), "none_alone")]
    strange = [group for group in groups if group != NOT_GROUPED and not IRAC_GROUP.fullmatch(group)]
    return [
        Detail("/irac_groups", str(GROUP_UNKNOWN).format(group=group[:20]), "irac_group_unknown") for group in strange
    ]


def _time_faults(name: str, typed: int | None, most: int, sentence: object) -> list[Detail]:
    if typed is None or 1 <= typed <= most:
        return []
    return [Detail(f"/{name}", str(sentence).format(most=most), "out_of_bounds")]
