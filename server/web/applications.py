"""Sprays, pour-ons and baits as pages tell them: what was typed from a label is told as typed, and nothing more."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from alerts.wording.numbers import dated_weekday_phrase
from farms.errors import Detail, FlyroundError
from farms.selectors import facilities_of, names_in_log
from monitoring.rules.application import Measured, People
from monitoring.rules.stewardship_words import sentence_of
from monitoring.selectors import Stewardship, people_of, withheld_at
from monitoring.services import Applied
from monitoring.services import label_of as label_on_list
from server.web.choices import label_of
from server.web.doors import Visit
from server.web.kept_out import long_clock, who_typed

# As long as a kept-out time is told after its end.
ABOUT = timedelta(hours=24)
# What the service names otherwise than the form.
FIELDS = {"/begins_at": "/begins_on", "/ends_at": "/ends_clock", "/reason": "/why"}


@dataclass(frozen=True)
class ApplicationLine:
    """One record: the row, its moments by the farm's clock, its amounts in words, what is to be thought of."""

    row: Any
    when: str
    amount: str
    on_what: str
    warnings: list[str]
    who: str
    recorded: str
    people: Any = None

    @property
    def place(self) -> str:
        """Calf barn, north wall; the whole farm."""
        name = self.row.facility.name if self.row.facility else capfirst(_("the whole farm"))
        return f"{name}, {self.row.place}" if self.row.place else name

    @property
    def groups(self) -> str:
        return ", ".join(self.row.irac_groups)


@dataclass(frozen=True)
class Withheld:
    """What a label withholds until when, a sentence a line. `running` until the end of the last of them."""

    row: Any
    running: bool
    sentences: list[str]
    typed: str = field(default="")


def application_lines(visit: Visit, rows: Sequence[Any], past: Stewardship | None = None) -> list[ApplicationLine]:
    """The records, each with names where its reader may know them. Some queries, however many rows.

    `past`: the farm's, where another list of the page asks for it too.
    """
    past, people = past or Stewardship(visit.farm), people_of(rows)
    names = names_in_log(visit.farm, {row.typed_by for row in rows if row.typed_by})
    return [_line(visit, row, past, people.get(row.id), names) for row in rows]


def _line(visit: Visit, row: Any, past: Stewardship, people: Any, names: Any) -> ApplicationLine:
    zone = visit.farm.time_zone
    certificate = people.certificate if people else None
    return ApplicationLine(
        row=row,
        when=from_to(row.begins_at, row.ends_at, zone),
        amount=measured(row.amount, label_of("monitoring.Application", "amount_unit", row.amount_unit)),
        on_what=on_what(row),
        warnings=[sentence_of(each) for each in past.warnings(row, certificate)],
        who=_("a hired sprayer") if row.through_link else who_typed(row, names),
        recorded=long_clock(row.recorded_at, zone),
        people=people,
    )


def from_to(begins: datetime, ends: datetime, zone: str) -> str:
    """Sunday, August 16, 2026, 08:00 to 09:00, by the farm's clock; the second day too where it went over midnight."""
    first, last = begins.astimezone(ZoneInfo(zone)), ends.astimezone(ZoneInfo(zone))
    day = "" if first.date() == last.date() else f"{dated_weekday_phrase(last.date())}, "
    begun = f"{dated_weekday_phrase(first.date())}, {first:%H:%M}"
    return _("{begins} to {ends}").format(begins=begun, ends=f"{day}{last:%H:%M}")


def on_what(row: Any) -> str:
    """450 square meters; 80 animals; both with a comma."""
    parts = []
    if row.area is not None:
        parts.append(measured(row.area, label_of("monitoring.Application", "area_unit", row.area_unit)))
    if row.animals is not None:
        parts.append(_("{number} animals").format(number=number_format(row.animals, force_grouping=True)))
    return ", ".join(parts)


def measured(size: Decimal, unit: Any) -> str:
    """2.5 gallons: as many decimals as were typed."""
    plain = size.normalize()
    decimals = max(0, -int(plain.as_tuple().exponent))
    return f"{number_format(plain, decimals, force_grouping=True)} {unit}"


def withheld_told(visit: Visit) -> list[Withheld]:
    """The labels' times for milk and meat that run, or ended within a day."""
    rows = withheld_at(visit.farm, visit.now, ABOUT)
    names = names_in_log(visit.farm, {row.typed_by for row in rows if row.typed_by})
    return [_withheld(visit, row, names) for row in rows]


def _withheld(visit: Visit, row: Any, names: Any) -> Withheld:
    zone = visit.farm.time_zone
    ends = [(_("Milk"), row.milk_until), (_("Meat"), row.meat_until)]
    recent = [(what, until) for what, until in ends if until is not None and until > visit.now - ABOUT]
    who = _("a hired sprayer") if row.through_link else who_typed(row, names)
    return Withheld(
        row=row,
        running=any(until > visit.now for _what, until in recent),
        sentences=[withheld_sentence(what, until, visit.now, zone) for what, until in recent],
        typed=_("Typed by {name} on {moment}.").format(name=who, moment=long_clock(row.recorded_at, zone)),
    )


def withheld_sentence(what: str, until: datetime, now: datetime, zone: str) -> str:
    """Told as the label's time. What has ended is told as ended, and nothing about the milk or the animals."""
    ends = long_clock(until, zone)
    if until > now:
        return _("{what}: the label's time typed here runs until {ends}.").format(what=what, ends=ends)
    return _("{what}: the label's time typed here has ended on {ends}. Read the label, ask whoever applied it.").format(
        what=what, ends=ends
    )


def applied_in(form: Any) -> Applied:
    """What a valid form says."""
    found, product = form.cleaned_data, form.product
    sizes = {name: found[name] for name in Measured.__dataclass_fields__}
    return Applied(
        label=label_on_list(product) if product is not None else form.label_typed(),
        measured=Measured(**sizes),
        people=People(**{name: found[name] for name in People.__dataclass_fields__}),
        target=found["target"],
        begins_at=found["begins_at"],
        ends_at=found["ends_at"],
        facility=form.facilities.get(found["facility_id"]),
        place=found["place"],
        product_id=product.id if product is not None else None,
        from_paper=found["from_paper"],
    )


def form_knows(farm: Any) -> dict[str, Any]:
    """What every form of an application is told of the farm."""
    return {"facilities": list(facilities_of(farm)), "zone": farm.time_zone}


def usual_times(now: datetime, zone: str) -> dict[str, Any]:
    """Begun and ended now, until somebody types otherwise."""
    here = now.astimezone(ZoneInfo(zone))
    return {"begins_on": here.date(), "begins_clock": here.time(), "ends_clock": here.time()}


def as_typed(row: Any, people: Any, zone: str) -> dict[str, Any]:
    """A record as it fills a form, to be typed anew."""
    begins, ends = row.begins_at.astimezone(ZoneInfo(zone)), row.ends_at.astimezone(ZoneInfo(zone))
    plain = ("name", "registration_number", "substances", "kind", "reentry_words", "reentry_hours", "milk_hours")
    sizes = ("meat_days", "place", "target", "amount_unit", "area_unit", "animals", "from_paper")
    return {
        **{name: getattr(row, name) for name in plain + sizes},
        **({name: getattr(people, name) for name in People.__dataclass_fields__} if people else {}),
        "irac_groups": ", ".join(row.irac_groups),
        "facility_id": str(row.facility_id or ""),
        "amount": row.amount.normalize(),
        "area": row.area.normalize() if row.area is not None else None,
        "begins_on": begins.date(), "begins_clock": begins.time(), "ends_clock": ends.time(),
        "ends_on": ends.date() if ends.date() != begins.date() else None,
    }  # fmt: skip


def named_for_form(refusal: FlyroundError) -> list[Detail]:
    """The refusal's details under the names that the form has."""
    return [Detail(_field_of(each), each.detail, each.code) for each in refusal.errors]


def _field_of(fault: Detail) -> str:
    """Its day is wrong where it went on for too long, its clock otherwise."""
    return "/ends_on" if fault.code == "too_long" else FIELDS.get(fault.pointer, fault.pointer)
