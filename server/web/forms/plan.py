"""Drawing a plan: a picture to lay under it, a rectangle to draw without scripts, and where each station is."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from monitoring.services.plan import Drawn, Place, PlanRefused

if TYPE_CHECKING:
    from farms.models import Facility
    from monitoring.models import Station

MOST_PAGES = 9_999
SIDES = ("left", "top")
NOT_A_PLACE = gettext_lazy("{label}: give both numbers, each from 0 to 100, or neither.")
NO_SUCH_STATION = gettext_lazy(
    "One of the stations isn't this farm's. Load the page again, and place those shown there."
)
NO_JSON = gettext_lazy("The outlines came in pieces. Load the page again, and draw them anew.")


class PictureForm(forms.Form):
    """A sketch, a photo from above or a page of a PDF."""

    picture = forms.FileField(
        label=gettext_lazy("Sketch, photo or PDF"),
        help_text=gettext_lazy(
            "JPEG, PNG, WebP or PDF, at most 10 MB and 25 million points. Where and when it was taken is not kept."
        ),
        error_messages={
            "required": gettext_lazy("Choose a file."),
            "empty": gettext_lazy("This file is empty. Choose the picture again."),
        },
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp,application/pdf"}),
    )
    page = forms.IntegerField(
        label=gettext_lazy("Page of the PDF"), min_value=1, max_value=MOST_PAGES, initial=1, required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )  # fmt: skip


class PercentField(forms.FloatField):
    """A number typed with a point or a comma, whatever the language."""

    def to_python(self, value: Any) -> float | None:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class RectangleForm(forms.Form):
    """One outline by its corner and its size, in percent of the sheet; left empty, none is added."""

    what = forms.ChoiceField(label=gettext_lazy("What it is"), required=False)
    name = forms.CharField(label=gettext_lazy("or its name"), max_length=60, required=False)
    from_left = PercentField(label=gettext_lazy("From the left, %"))
    from_top = PercentField(label=gettext_lazy("From the top, %"))
    width = PercentField(label=gettext_lazy("Width, %"))
    height = PercentField(label=gettext_lazy("Height, %"))

    NUMBERS = ("from_left", "from_top", "width", "height")

    def __init__(self, *args: Any, facilities: "Sequence[Facility]", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [(str(facility.id), facility.name) for facility in facilities]
        self.fields["what"].choices = [*known, ("", gettext_lazy("something else"))]  # type: ignore[attr-defined]
        for name in self.NUMBERS:
            number = self.fields[name]
            number.required = False
            number.widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
            number.error_messages["invalid"] = gettext_lazy("Type a number from 0 to 100.")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        numbers = [given.get(name) for name in self.NUMBERS]
        if self.errors or all(each is None for each in numbers):
            return given
        if any(each is None or not math.isfinite(each) or not 0 <= each <= 100 for each in numbers):
            raise forms.ValidationError(_("Give all four numbers of the rectangle, each from 0 to 100."))
        left, top, width, height = (each or 0.0 for each in numbers)
        if not width or not height or left + width > 100 or top + height > 100:
            raise forms.ValidationError(_("The rectangle has no room or runs over the sheet. Make it smaller."))
        return given

    @property
    def outline(self) -> dict[str, Any] | None:
        """As the outlines of a plan are sent; None where nothing was typed."""
        numbers = [self.cleaned_data.get(name) for name in self.NUMBERS]
        if all(each is None for each in numbers):
            return None
        left, top, width, height = (each / 100 for each in numbers)
        right, foot = min(left + width, 1.0), min(top + height, 1.0)
        corners = [[left, top], [right, top], [right, foot], [left, foot]]
        return {"name": self.cleaned_data["name"], "facility_id": self.cleaned_data["what"] or None, "points": corners}


@dataclass
class SheetTyped:
    """What was sent from the board: the form's own fields, whoever filled them. `errors` are sentences."""

    sent: Mapping[str, str]
    drop: Sequence[str]
    errors: list[str] = field(default_factory=list)

    def drawn(self, stations: "Sequence[Station]", spots: Mapping[UUID, Place], rectangle: RectangleForm) -> Drawn:
        """What of it is new; outlines that come with the board, without those to drop, with the rectangle added."""
        outlines = self._outlines()
        if outlines is not None:
            outlines = [each for place, each in enumerate(outlines) if str(place) not in self.drop]
            if rectangle.is_valid() and rectangle.outline:
                outlines.append(rectangle.outline)
        return Drawn(outlines, self._places(stations, spots), on=self.sent.get("on"))

    def refuse(self, refusal: PlanRefused) -> None:
        self.errors += [each.detail for each in refusal.errors if each.detail not in self.errors]

    def _outlines(self) -> list[Any] | None:
        try:
            found = json.loads(self.sent.get("outlines") or "[]")
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, list):
            self.errors.append(str(NO_JSON))
            return None
        return found

    def _places(self, stations: "Sequence[Station]", spots: Mapping[UUID, Place]) -> dict[UUID, Place]:
        """Of each station whose numbers are others than the page showed: where it is now, None for off the plan."""
        labels = {station.id: station.label for station in stations}
        found: dict[UUID, Place] = {}
        for name in self.sent:
            if not name.startswith("left-"):
                continue
            station_id = _uuid(name.removeprefix("left-"))
            if station_id is None:
                self.errors.append(str(NO_SUCH_STATION))
                continue
            typed = [self.sent.get(f"{side}-{station_id}", "").strip() for side in SIDES]
            if typed != list(typed_of(spots.get(station_id))):
                self._place(found, station_id, typed, labels.get(station_id, ""))
        return found

    def _place(self, found: dict[UUID, Place], station_id: UUID, typed: list[str], label: str) -> None:
        if not any(typed):
            found[station_id] = None
            return
        numbers = [_percent(each) for each in typed]
        if None in numbers:
            self.errors.append(str(NOT_A_PLACE).format(label=label or "?"))
            return
        found[station_id] = (numbers[0] or 0.0, numbers[1] or 0.0)


def typed_of(spot: Place) -> tuple[str, str]:
    """A place as the fields show it: percent to a tenth, with a point in every language; empty for none."""
    return (f"{100 * spot[0]:.1f}", f"{100 * spot[1]:.1f}") if spot else ("", "")


def _percent(typed: str) -> float | None:
    try:
        value = float(typed.replace(",", ".")) / 100
    except ValueError:
        return None
    return round(value, 4) if math.isfinite(value) and 0 <= value <= 1 else None


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None
