"""A label's re-entry time, typed as the farm's clock shows it. Rules lie in the service."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.rules.reentry import NO_SUCH_HOUR, TOO_FAR, on_the_clock
from server.web.forms.farm import day_field

YEARS = range(1900, 2200)
CLOCK = _("Type the time as hours and minutes, such as 18:30.")


def clock_field(label: Any) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"required": CLOCK, "invalid": CLOCK},
    )


class KeptOutForm(forms.Form):
    """What the label says about going in again, of one building or the whole farm."""

    facility_id = forms.ChoiceField(label=_("Where"), required=False)
    begins_on = day_field(_("From"))
    begins_clock = clock_field(_("Time"))
    ends_on = day_field(_("Until"))
    ends_clock = clock_field(_("Time"))
    label_says = forms.CharField(
        label=_("What the label says about going in again"), max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_("In its own words, such as “until sprays have dried”. No product and no name is needed."),
    )  # fmt: skip

    def __init__(self, *args: Any, facilities: list[Any], zone: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone
        self.facilities = {str(each.id): each for each in facilities}
        places = [("", _("the whole farm")), *((name, each.name) for name, each in self.facilities.items())]
        self.fields["facility_id"].choices = places  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or self.cleaned_data
        # In an hour that the clock shows twice people are kept out from the first until the second.
        found["begins_at"] = self._moment("begins", later=False)
        found["until"] = self._moment("ends", later=True)
        return found

    def _moment(self, which: str, *, later: bool) -> datetime | None:
        day, clock = self.cleaned_data.get(f"{which}_on"), self.cleaned_data.get(f"{which}_clock")
        if day is None or clock is None:
            return None
        if day.year not in YEARS:  # beyond them a clock has no moment
            self.add_error(f"{which}_on", TOO_FAR)
            return None
        moment = on_the_clock(datetime.combine(day, clock), self.zone, later=later)
        if moment is None:
            self.add_error(f"{which}_clock", NO_SUCH_HOUR)
        return moment


class MendForm(KeptOutForm):
    """The same, typed anew."""

    why = forms.CharField(
        label=_("Why it is changed"), max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_("Such as “typed the wrong day”. What was typed first stays on record, and both are shown."),
    )  # fmt: skip
