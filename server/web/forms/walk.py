"""A fly walk, one place below the other, and what became of a finding. Rules lie in the services."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.ids import uuid7
from monitoring.rules.walk import LONGEST, FindingSent, Said
from server.web.choices import choices_of
from server.web.forms.farm import day_field
from server.web.forms.words import words_field

NOTHING, FOUND = "nothing", "found"
LOOKED = [
    ("", _("Not looked at")),
    (NOTHING, pgettext_lazy("looked at a place", "Nothing found")),
    (FOUND, pgettext_lazy("looked at a place", "Found something")),
]
SAY_LOOKED = _("Something is noted below. Say whether something was found there, or empty it.")
WHAT = ("material", "moisture", "larvae", "pupae")
WORDS = ("place_words", "to_do", "by_whom", "note")
MOST_PLACES = 60
PHOTO = {"accept": "image/jpeg,image/png"}


def photo_field(**kwargs: Any) -> forms.FileField:
    return forms.FileField(
        label=_("Photo"),
        help_text=_("A JPEG or PNG of at most 10 MB and 25 megapixels. Where and with what it was taken is not kept."),
        error_messages={
            "required": _("Choose a photo."),
            "empty": _("This file is empty. Choose the photo again, or take it anew."),
        },
        widget=forms.FileInput(attrs=PHOTO),
        **kwargs,
    )


class FoundForm(forms.Form):
    """What was found at a place."""

    place_words = words_field(_("Which place"), LONGEST["place_words"])
    larvae = forms.ChoiceField(label=_("Maggots"), required=False, widget=forms.RadioSelect)
    pupae = forms.ChoiceField(label=_("Pupae"), required=False, widget=forms.RadioSelect)
    moisture = forms.ChoiceField(label=_("Wet or dry"), required=False, widget=forms.RadioSelect)
    material = forms.ChoiceField(label=_("What lies there"), required=False)
    to_do = words_field(_("What to do"), LONGEST["to_do"])
    due_on = day_field(_("By when"), required=False)
    by_whom = words_field(_("By whom"), LONGEST["by_whom"])
    note = words_field(_("Note"), LONGEST["note"], rows=2)
    station_id = forms.ChoiceField(label=_("Near which card, trap or leg count"), required=False)
    across = forms.FloatField(label=_("On the plan, from the left (%)"), required=False, min_value=0, max_value=100)
    down = forms.FloatField(label=_("On the plan, from the top (%)"), required=False, min_value=0, max_value=100)

    def __init__(self, *args: Any, stations: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stations = {str(each.id): each for each in stations}
        unsaid = {"larvae": _("not looked for"), "pupae": _("not looked for"), "moisture": _("not said")}
        for name in WHAT:
            self._offer(name, choices_of("monitoring.Finding", name, first=unsaid.get(name, _("not said"))))
        self._offer("station_id", [("", _("none of them")), *((key, one.label) for key, one in self.stations.items())])

    def _offer(self, name: str, choices: Any) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def found(self, finding_id: Any, place: str, facility: Any, *, nothing: bool) -> FindingSent:
        """What was typed, as the service takes it."""
        typed = self.cleaned_data
        x, y = (None if typed.get(name) is None else round(typed[name] / 100, 4) for name in ("across", "down"))
        return FindingSent(
            finding_id, place, nothing, facility, self.stations.get(typed["station_id"]),
            **{name: typed[name] for name in WHAT}, due_on=typed["due_on"], x=x, y=y,
            said=Said(**{name: typed[name] for name in WORDS}),
        )  # fmt: skip


class PlaceForm(FoundForm):
    """One place of a walk: whether it was looked at, and what was found."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    place = forms.ChoiceField(widget=forms.HiddenInput)
    looked = forms.ChoiceField(label=_("What is there"), choices=LOOKED, required=False, widget=forms.RadioSelect)
    photo = photo_field(required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._offer("place", choices_of("monitoring.Finding", "place"))
        # What was looked for and not seen says no more than that; else each radio begins with nothing chosen.
        for name in ("looked", "larvae", "pupae", "moisture"):
            self.initial.setdefault(name, "")

    @property
    def name(self) -> str:
        """As the checklist calls it; nothing for a place in own words."""
        code = self["place"].value()
        return "" if code == "other" else str(dict(self.fields["place"].choices).get(code, ""))  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or self.cleaned_data
        told = [name for name in (*WHAT, *WORDS, "due_on", "photo", "station_id") if typed.get(name)]
        told += [name for name in ("across", "down") if typed.get(name) is not None]
        if told and not typed.get("looked") and "looked" not in self.errors:
            self.add_error("looked", SAY_LOOKED)
        return typed

    @property
    def was_looked_at(self) -> bool:
        return bool(self.cleaned_data.get("looked"))

    def finding(self, facility: Any) -> FindingSent:
        typed = self.cleaned_data
        return self.found(typed["id"], typed["place"], facility, nothing=typed["looked"] == NOTHING)


class WalkForm(forms.Form):
    """When it was walked; the id was made with the page, so that a form sent twice is one walk."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    walked_on = day_field(_("Walked on"))


def place_forms(
    places: Sequence[str], stations: Sequence[Any], data: Mapping[str, Any] | None = None, files: Any = None
) -> list[PlaceForm]:
    """A form a place; of a form that was sent, as many as it had."""
    if data is not None:
        sent = (f"p{number}" for number in range(MOST_PLACES))
        return [PlaceForm(data, files, prefix=name, stations=stations) for name in sent if f"{name}-place" in data]
    return [
        PlaceForm(prefix=f"p{number}", stations=stations, initial={"id": uuid7(), "place": place})
        for number, place in enumerate(places)
    ]


class CorrectFindingForm(FoundForm):
    """A finding noted anew, or taken back, with the reason."""

    place = forms.ChoiceField(label=_("Place"))
    facility_id = forms.ChoiceField(label=_("Where"), required=False)
    seen_on = day_field(_("Looked at on"))
    nothing = forms.BooleanField(label=_("Nothing was found there"), required=False)
    withdrawn = forms.BooleanField(
        label=_("It was noted by mistake"), required=False,
        help_text=_("It is listed no longer; that it was noted stays on record."),
    )  # fmt: skip
    reason = words_field(_("Why it is changed"), LONGEST["reason"])

    def __init__(self, *args: Any, facilities: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.facilities = {str(each.id): each for each in facilities}
        self._offer("place", choices_of("monitoring.Finding", "place"))
        everywhere = [("", _("the whole farm")), *((key, one.name) for key, one in self.facilities.items())]
        self._offer("facility_id", everywhere)
        self.order_fields(["place", "place_words", "facility_id", "seen_on", "nothing"])

    def sent(self) -> FindingSent | None:
        typed = self.cleaned_data
        if typed["withdrawn"]:
            return None
        facility = self.facilities.get(typed["facility_id"])
        return self.found(None, typed["place"], facility, nothing=typed["nothing"])


class StepForm(forms.Form):
    """What became of a finding."""

    kind = forms.ChoiceField(label=_("What became of it"), widget=forms.RadioSelect)
    on = day_field(_("On"))
    due_on = day_field(_("Next look, or by when"), required=False)
    note = words_field(_("Note"), LONGEST["note"], rows=2)

    def __init__(self, *args: Any, kinds: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = dict(choices_of("monitoring.FindingStep", "kind"))
        self.fields["kind"].choices = [(kind, named[kind]) for kind in kinds]  # type: ignore[attr-defined]


class MendStepForm(StepForm):
    reason = words_field(_("Why it is changed"), LONGEST["reason"])


class FindingPhotoForm(forms.Form):
    id = forms.UUIDField(widget=forms.HiddenInput)
    file = photo_field()


def percent(part: float | None) -> float | None:
    return None if part is None else round(100 * part, 2)


def as_noted(row: Any, words: Mapping[str, str]) -> dict[str, Any]:
    """What a form of a finding begins with, as it was noted."""
    kept: dict[str, Any] = {name: getattr(row, name) for name in (*WHAT, "place", "nothing", "seen_on", "due_on")}
    return kept | {
        **{name: words.get(name, "") for name in WORDS},
        "facility_id": str(row.facility_id or ""), "station_id": str(row.station_id or ""),
        "across": percent(row.x), "down": percent(row.y),
    }  # fmt: skip
