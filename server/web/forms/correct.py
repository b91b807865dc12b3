"""A reading corrected: what it should say, and why. What was stored first stays on record."""

from dataclasses import replace
from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from monitoring.services import ReadingSent
from server.web.choices import choices_of
from server.web.forms.count import Line, LineForm
from server.web.forms.farm import day_field

WITHDRAWN = "withdrawn"


class CorrectForm(LineForm):
    """One station's form with why it is corrected, and a day and a station of its own."""

    kind = forms.ChoiceField(label=_("Why?"), widget=forms.RadioSelect, error_messages={"required": _("Say why.")})
    station = forms.ChoiceField(label=_("Where it was counted"))
    taken_on = day_field(_("Taken down, or counted, on"))

    def __init__(self, *args: Any, line: Line, stations: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, line=line, compact=True, **kwargs)
        self.fields["kind"].choices = choices_of("monitoring.Reading", "correction_kind")  # type: ignore[attr-defined]
        same = [station for station in stations if station.method == line.station.method]
        self.fields["station"].choices = [(str(station.id), station.label) for station in same]  # type: ignore[attr-defined]
        self.fields["taken_on"].required = False
        for name in ("hung_id", "placement_id", "fresh", "keep_first"):
            self.fields.pop(name, None)

    @staticmethod
    def as_it_stands(reading: Any) -> dict[str, Any]:
        """The form as it is first shown: what the reading says now, under a new id."""
        names = ("count", "at_least", "reason", "hung_on", "taken_on", "pen", "time_of_day", "weather")
        shown = {name: getattr(reading, name) for name in names}
        words = {True: "yes", False: "no", None: ""}
        return shown | {
            "reading_id": uuid7(),
            "station": str(reading.station_id),
            "part": f"{float(reading.fraction):g}",
            "animals": " ".join(map(str, reading.animals or [])),
            "bunching": words[reading.bunching],
            "sprayed": words[reading.sprayed],
        }

    def clean(self) -> dict[str, Any]:
        found = super().clean() or self.cleaned_data
        if found.get("kind") != WITHDRAWN and not self.errors and not self._has_something():
            raise forms.ValidationError(_("Say what it should be: a number, or why there is none."))
        return found

    def correction(self) -> ReadingSent:
        found = self.cleaned_data
        station_id = UUID(found["station"])
        sent = None if found["kind"] == WITHDRAWN else self.sent_reading()
        if sent is None:
            return ReadingSent(id=found["reading_id"], station_id=station_id)
        return replace(sent, station_id=station_id, taken_on=found["taken_on"])
