"""A spray, pour-on or bait as somebody notes it; what stands on its label, typed. Rules lie in the service."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.rules.label import Label, groups_of
from monitoring.rules.reentry import NO_SUCH_HOUR, on_the_clock
from server.web.choices import choices_of
from server.web.forms.farm import day_field
from server.web.forms.kept_out import YEARS, clock_field

WHOLE = _("Type a whole number in digits.")
NUMBER = _("Type a number in digits, such as 2.5.")
CHOOSE = _("Choose one.")
OVER_MIDNIGHT = _("It ended before it began. If it went on after midnight, choose the day on which it ended.")


def line_field(label: Any, most: int, **more: Any) -> forms.CharField:
    """One line of words that a browser doesn't offer from elsewhere."""
    more.setdefault("required", False)
    return forms.CharField(
        label=label, max_length=most, widget=forms.TextInput(attrs={"autocomplete": "off"}), **more
    )  # fmt: skip


def whole_field(label: Any, **more: Any) -> forms.IntegerField:
    return forms.IntegerField(label=label, required=False, error_messages={"invalid": WHOLE}, **more)


def size_field(label: Any, **more: Any) -> forms.DecimalField:
    """An amount or a size. Bounds lie in the service."""
    widget = forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"})
    messages = {"invalid": NUMBER, "required": NUMBER}
    return forms.DecimalField(label=label, widget=widget, error_messages=messages, **more)


class LabelForm(forms.Form):
    """What stands on a product's label."""

    name = line_field(_("Product, as on the label"), 120, required=True)
    registration_number = line_field(
        _("Registration number"), 40, required=True, help_text=_("From the label: the EPA's, or the national one.")
    )
    substances = line_field(_("Active substance"), 200, required=True)
    irac_groups = line_field(
        _("IRAC group"), 40, required=True,
        help_text=_("The number on the label, such as 3A; several with commas between them; none where it has none."),
    )  # fmt: skip
    kind = forms.ChoiceField(label=_("What it is for"), error_messages={"required": CHOOSE})
    reentry_words = line_field(
        _("What the label says about going in again"), 200, help_text=_("Such as “until sprays have dried”.")
    )
    reentry_hours = whole_field(_("Keep out, hours"), help_text=_("Empty where the label names no hours."))
    milk_hours = whole_field(_("Milk withheld, hours"), help_text=_("Empty where the label names none."))
    meat_days = whole_field(_("Meat withheld, days"), help_text=_("Empty where the label names none."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = choices_of("monitoring.Product", "kind", first=_("choose"))
        self.fields["kind"].choices = kinds  # type: ignore[attr-defined]

    def label_typed(self) -> Label:
        typed = {name: self.cleaned_data[name] for name in Label.__dataclass_fields__}
        return Label(**typed | {"irac_groups": groups_of(typed["irac_groups"])})


class CertificateForm(forms.Form):
    """Whether the group asks for the applicator's certificate."""

    asked = forms.ChoiceField(
        label=_("Certificate number"),
        choices=[("no", _("not asked for")), ("yes", _("asked for: records without one are pointed out"))],
        widget=forms.RadioSelect,
    )


class ApplicationForm(LabelForm):
    """The full record. With a product of the group's list its label isn't typed again."""

    facility_id = forms.ChoiceField(label=_("Where"), required=False)
    place = line_field(_("Which part of it"), 200, help_text=_("Such as “north wall, pens 3 to 7”."))
    target = forms.ChoiceField(label=_("Against"), error_messages={"required": CHOOSE})
    amount = size_field(_("Total amount used"))
    amount_unit = forms.ChoiceField(label=_("Unit"), error_messages={"required": CHOOSE})
    area = size_field(_("Size of the area"), required=False)
    area_unit = forms.ChoiceField(label=_("Unit"), required=False)
    animals = whole_field(_("Or number of animals"))
    begins_on = day_field(_("Day"))
    begins_clock = clock_field(_("Begun"))
    ends_clock = clock_field(_("Ended"))
    ends_on = day_field(
        _("Day it ended"), required=False, help_text=_("Only where it went on after midnight. Empty: the same day.")
    )
    applicator = line_field(_("Who applied it"), 120, required=True)
    certificate = line_field(_("Certificate number"), 60, help_text=_("Where local rules or the group ask for it."))
    uncertified = line_field(_("Anybody without a certificate who applied it"), 120)
    done_for = line_field(_("For whom it was applied"), 120)
    from_paper = forms.BooleanField(label=_("Typed from a record on paper"), required=False)
    # Which day of which plan it stands for.
    planned = forms.UUIDField(required=False, widget=forms.HiddenInput)
    planned_for = forms.DateField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, facilities: list[Any], zone: str, product: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone, self.product = zone, product
        self.facilities = {str(each.id): each for each in facilities}
        places = [("", _("the whole farm")), *((name, each.name) for name, each in self.facilities.items())]
        self.fields["facility_id"].choices = places  # type: ignore[attr-defined]
        for name in ("target", "amount_unit", "area_unit"):
            self.fields[name].choices = choices_of("monitoring.Application", name, first=_("choose"))  # type: ignore[attr-defined]
        if product is not None:
            for name in LabelForm.base_fields:
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or self.cleaned_data
        found["begins_at"] = self._moment("begins", found.get("begins_on"), later=False)
        found["ends_at"] = self._moment("ends", found.get("ends_on") or found.get("begins_on"), later=True)
        if self._went_over_midnight(found):
            self.add_error("ends_on", OVER_MIDNIGHT)
        return found

    def _moment(self, which: str, day: date | None, *, later: bool) -> datetime | None:
        time = self.cleaned_data.get(f"{which}_clock")
        if day is None or time is None:
            return None
        if day.year not in YEARS:
            self.add_error(f"{which}_on", _("Check the day and its year."))
            return None
        moment = on_the_clock(datetime.combine(day, time), self.zone, later=later)
        if moment is None:
            self.add_error(f"{which}_clock", NO_SUCH_HOUR)
        return moment

    def _went_over_midnight(self, found: dict[str, Any]) -> bool:
        """Whether it seems to end before it began, since nobody said that it ended on the next day."""
        begins, ends = found["begins_at"], found["ends_at"]
        return "ends_on" in found and found["ends_on"] is None and None not in (begins, ends) and ends < begins


class MendApplicationForm(ApplicationForm):
    """The same, typed anew."""

    why = line_field(
        _("Why it is changed"), 200, required=True,
        help_text=_("Such as “typed the wrong day”. What was typed first stays on record, and both are shown."),
    )  # fmt: skip


class CheckForm(forms.Form):
    """What the farm says to a record that a hired sprayer filled in."""

    reason = line_field(_("What is not so"), 200, help_text=_("Only where something is not so."))
