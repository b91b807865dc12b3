"""A round as a person sends it: one small form a station, and one for the whole walk. Rules lie in the service."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from monitoring.methods import METHODS
from monitoring.services import HungSent, ReadingSent
from server.web.choices import choices_of
from server.web.forms.animals import AnimalsField, boxes_of

# About 250 flies fill a cup (common practice, no source).
FLIES_IN_A_CUP = 250
PARTS = [("1", _("all of it")), ("0.5", _("half")), ("0.25", _("a quarter")), ("0.125", _("an eighth"))]
YES_NO = [("", _("not looked")), ("no", _("no")), ("yes", _("yes"))]
WHOLE_NUMBER = _("Type a whole number without signs, such as 61. Leave it empty where nothing was counted.")


def number_box(**attrs: str) -> forms.TextInput:
    """A text box with the phone's number keys: a number box would drop what it can't read."""
    return forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", **attrs})


def yes_no(value: str) -> bool | None:
    return {"yes": True, "no": False}.get(value)


@dataclass(frozen=True)
class Line:
    """A station as the form shows it, or one of two cards that hang there."""

    station: Any
    day: date
    placement_id: UUID | None = None
    hung_on: date | None = None

    @property
    def key(self) -> str:
        return str(self.placement_id or self.station.id)

    @property
    def facility(self) -> str:
        return str(self.station.facility.name)

    @property
    def days(self) -> int | None:
        """Days up on the day of the round."""
        return None if self.hung_on is None else (self.day - self.hung_on).days

    @property
    def as_text(self) -> str:
        """What a hidden field says of this line, so that it comes back as it was shown."""
        hung_on = self.hung_on.isoformat() if self.hung_on else ""
        return f"{self.station.id}.{self.placement_id or ''}.{hung_on}"

    @property
    def hangs(self) -> bool:
        return METHODS[self.station.method].hangs

    def kept_out_values(self, kept_out: Collection[UUID | None]) -> dict[str, Any]:
        """What stands in the form where a label keeps people out of its building, or (None) of the whole farm."""
        if None not in kept_out and self.station.facility_id not in kept_out:
            return {}
        found = {"reason": "kept_out", "preset": "kept_out"}
        # Nobody could hang anything there, unless somebody says that they did.
        return found | {"fresh": False} if self.first else found

    @property
    def first(self) -> bool:
        """Nothing hangs here yet: this visit only hangs."""
        return self.hangs and self.placement_id is None


class LineForm(forms.Form):
    """What was found at one station. The ids are made when the form is shown, so sending twice stores once."""

    reading_id = forms.UUIDField(widget=forms.HiddenInput)
    hung_id = forms.UUIDField(widget=forms.HiddenInput)
    placement_id = forms.UUIDField(widget=forms.HiddenInput, required=False)
    count = forms.IntegerField(
        required=False, min_value=0, label=_("Count"), widget=number_box(),
        error_messages={"invalid": WHOLE_NUMBER, "min_value": WHOLE_NUMBER},
    )  # fmt: skip
    part = forms.ChoiceField(choices=PARTS, required=False, label=_("How much of it was counted"))
    at_least = forms.BooleanField(required=False, label=_("too many to count: at least this number"))
    cups = forms.DecimalField(
        required=False, max_digits=5, decimal_places=2, min_value=0, localize=True,
        label=_("Or measured: cups of flies"), widget=number_box(inputmode="decimal"),
        error_messages={"invalid": _("Type the number of cups, such as 2 or 1.5.")},
    )  # fmt: skip
    animals = AnimalsField(required=False)
    reason = forms.ChoiceField(required=False, widget=forms.RadioSelect, label=_("What happened to it?"))
    # The reason that the page itself chose when it was shown.
    preset = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    fresh = forms.BooleanField(required=False, label=_("a fresh one hangs here now"))
    hung_on = forms.DateField(
        required=False, label=_("Hung on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    pen = forms.CharField(required=False, max_length=60, label=_("Pen"))
    time_of_day = forms.TimeField(
        required=False, label=_("Time of day"), widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    weather = forms.CharField(required=False, max_length=60, label=_("Weather"))
    bunching = forms.ChoiceField(required=False, choices=YES_NO, widget=forms.RadioSelect, label=_("Animals bunching"))
    sprayed = forms.ChoiceField(
        required=False, choices=YES_NO, widget=forms.RadioSelect, label=_("Animals sprayed or poured this week")
    )
    keep_first = forms.BooleanField(required=False, label=_("Leave the first count as it is, and drop mine"))

    def __init__(self, *args: Any, line: Line, compact: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, prefix=line.key, **kwargs)
        self.line = line
        self.method = line.station.method
        self.taken_already = False
        # When a leg count is enough; server.web.leg_verdict sets it where the form is counted on.
        self.leg_plan: Any = None
        if compact:
            self.fields["reason"].widget = forms.Select()
            del self.fields["preset"]
        reasons = choices_of("monitoring.Reading", "reason", first="" if compact else _("counted"))
        self.fields["reason"].choices = reasons  # type: ignore[attr-defined]
        for name in self._not_for_this_method():
            del self.fields[name]

    def _not_for_this_method(self) -> list[str]:
        legs_only = ["animals", "pen", "time_of_day", "weather", "bunching", "sprayed"]
        if self.method == "leg":
            return ["count", "part", "at_least", "cups", "fresh", "hung_on", "placement_id"]
        return legs_only + ([] if self.method == "trap" else ["cups"])

    @staticmethod
    def fresh_values(line: Line, *, hung: bool) -> dict[str, Any]:
        """What stands in the form when it is first shown: new ids, and whether a fresh card is taken as hung."""
        return {
            "reading_id": uuid7(),
            "hung_id": uuid7(),
            "placement_id": line.placement_id,
            "fresh": hung,
            "part": "1",
        }

    @property
    def boxes(self) -> list[str]:
        return boxes_of(self["animals"])

    @property
    def more_is_open(self) -> bool:
        """Whether the part below the number is unfolded: something in it was filled in or is wrong."""
        filled = any(self.data.get(self.add_prefix(name)) for name in ("reason", "at_least", "cups", "pen", "weather"))
        wrong = any(name not in ("count", "animals") for name in self.errors)
        if not self.is_bound and self.initial.get("reason"):
            return True
        return filled or self.data.get(self.add_prefix("part"), "1") != "1" or wrong

    def clean(self) -> dict[str, Any]:
        """A number, or a card hung where none was, takes away the reason that nobody but the page chose; fields.js does
        so while it is typed.
        """
        found = super().clean() or self.cleaned_data
        was_there = self._has_number() or (self.line.first and found.get("fresh"))
        if found.get("preset") and found.get("reason") == found["preset"] and was_there:
            found["reason"] = ""
        return found

    def sent_reading(self) -> ReadingSent | None:
        """The reading; None where the station was left alone, which stores nothing: empty is not zero."""
        found = self.cleaned_data
        if found.get("keep_first") or not self._has_something():
            return None
        if self.method == "leg":
            return self._sent_legs()
        cups = found.get("cups")
        part = Decimal(found["part"] or "1")
        how = "cup" if cups is not None else "part" if part < 1 else "counted"
        count = round(cups * FLIES_IN_A_CUP) if cups is not None else found["count"]
        return ReadingSent(
            id=found["reading_id"], station_id=self.line.station.id, how=how, count=count,
            fraction=part if how == "part" else Decimal(1), at_least=found["at_least"], reason=found["reason"],
            placement_id=found.get("placement_id"), hung_on=found["hung_on"],
        )  # fmt: skip

    def _sent_legs(self) -> ReadingSent:
        found = self.cleaned_data
        animals: list[int] | None = found["animals"]
        clock: time | None = found["time_of_day"]
        return ReadingSent(
            id=found["reading_id"], station_id=self.line.station.id, animals=animals,
            count=None if animals is None else sum(animals), reason=found["reason"], pen=found["pen"],
            time_of_day=clock, weather=found["weather"], bunching=yes_no(found["bunching"]),
            sprayed=yes_no(found["sprayed"]),
        )  # fmt: skip

    def _has_something(self) -> bool:
        return bool(self.cleaned_data.get("reason")) or self._has_number()

    def _has_number(self) -> bool:
        return any(self.cleaned_data.get(name) is not None for name in ("count", "cups", "animals"))

    def sent_hung(self, day: date) -> HungSent | None:
        """The fresh card, where the old one came down or nothing hung; never where the old one was left up."""
        found = self.cleaned_data
        if not self.line.hangs or not found["fresh"] or found["reason"] in LEFT_UP or found.get("keep_first"):
            return None
        if self.line.placement_id and not self._has_something():
            return None
        return HungSent(id=found["hung_id"], station_id=self.line.station.id, hung_on=day)


LEFT_UP = ("kept_out", "not_visited")


class WalkForm(forms.Form):
    """The whole round: its id, its day, who counted."""

    round_id = forms.UUIDField(widget=forms.HiddenInput)
    walked_on = forms.DateField(
        label=_("Day of the round"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={
            "required": _("Say on which day the round was walked."),
            "invalid": _("Type the day as year-month-day, such as 2026-07-06."),
        },
    )
    counted_by = forms.ChoiceField(required=False, label=_("Who counts?"), widget=forms.RadioSelect)
    note = forms.CharField(
        required=False, max_length=2000, label=_("Anything worth knowing"), widget=forms.Textarea(attrs={"rows": 2})
    )
    note_id = forms.UUIDField(widget=forms.HiddenInput)
    # By the phone's clock, filled in by its script; `by_clock` says that the day was read off it and not typed.
    observed_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    submitted_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    sent_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    by_clock = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, people: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, prefix="walk", **kwargs)
        names = [(str(person.id), person.name) for person in people]
        self.fields["counted_by"].choices = [*names, ("", _("somebody else"))]  # type: ignore[attr-defined]

    @property
    def counted_by_id(self) -> UUID | None:
        chosen = self.cleaned_data["counted_by"]
        return UUID(chosen) if chosen else None


class TypedForm(forms.Form):
    """Who typed a paper sheet in, and when."""

    typed_by = forms.ChoiceField(required=False, label=_("Typed by"))
    typed_on = forms.DateField(label=_("Typed on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))

    def __init__(self, *args: Any, people: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [(str(person.id), person.name) for person in people]
        self.fields["typed_by"].choices = [*names, ("", _("somebody else"))]  # type: ignore[attr-defined]

    def typed(self) -> dict[str, Any]:
        chosen = self.cleaned_data["typed_by"]
        return {"typed_by": UUID(chosen) if chosen else None, "typed_on": self.cleaned_data["typed_on"]}
