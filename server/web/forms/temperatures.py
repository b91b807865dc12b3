"""Daily temperatures: a few days typed, or a file of them."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.rules.temperatures import CELSIUS, FAHRENHEIT, TemperatureTable, table_of_days
from server.web.forms.farm import ImportForm

ENDS = ("min", "max")


class TypedDaysForm(forms.Form):
    """The lowest and highest temperature of some days, in one unit. A day left empty stores nothing."""

    unit = forms.ChoiceField(
        label=_("Which degrees?"),
        choices=[(CELSIUS, _("degrees Celsius (°C)")), (FAHRENHEIT, _("degrees Fahrenheit (°F)"))],
        widget=forms.RadioSelect,
        error_messages={"required": _("Say whether these are °C or °F.")},
    )

    def __init__(self, *args: Any, days: Sequence[date], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.days = days
        for day in days:
            self.fields |= {name_of(end, day): _degrees() for end in ENDS}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors and not self._typed(cleaned):
            self.add_error(None, _("Type the lowest and the highest temperature of at least one day."))
        for day in self.days:
            given = [cleaned.get(name_of(end, day)) is not None for end in ENDS]
            missing = next((end for end, there in zip(ENDS, given, strict=True) if not there), None)
            if any(given) and missing and name_of(missing, day) not in self.errors:
                self.add_error(name_of(missing, day), _("Type both, the lowest and the highest."))
        return cleaned

    def _typed(self, cleaned: dict[str, Any]) -> list[date]:
        return [day for day in self.days if any(cleaned.get(name_of(end, day)) is not None for end in ENDS)]

    def table(self) -> TemperatureTable:
        """What was typed, of a form without errors."""
        values = self.cleaned_data
        days = ((day, *(values[name_of(end, day)] for end in ENDS)) for day in self._typed(values))
        return table_of_days(days, values["unit"])

    def refuse(self, details: Sequence[Detail]) -> None:
        """Put what a service refused beside the day that it names."""
        typed = self._typed(self.cleaned_data)
        for detail in details:
            row, column = detail.pointer.split("/")[-2:]
            self.add_error(name_of(column if column in ENDS else "min", typed[int(row)]), detail.detail)

    def rows(self) -> list[tuple[date, list[Any]]]:
        """Each day with its two fields, for the page."""
        return [(day, [self[name_of(end, day)] for end in ENDS]) for day in self.days]


class TemperatureFileForm(ImportForm):
    """A file of days, stored as a whole or not at all."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = _("CSV, as a spreadsheet saves it. At most 4,000 days.")


def name_of(end: str, day: date) -> str:
    """The name of a field: min-2026-06-01."""
    return f"{end}-{day:%Y-%m-%d}"


def _degrees() -> forms.FloatField:
    return forms.FloatField(
        required=False,
        localize=True,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"invalid": _("Type a number, such as 12.5.")},
    )
