"""The guide's forms: a farm, its buildings, its numbered places, its people; each a whole page at once."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from monitoring.methods import METHODS
from server.web.choices import choices_of
from server.web.forms.farm import day_field
from server.web.forms.invitation import farm_roles, zones
from server.web.proposals import ProposedStation, proposed_names, usual_number

MOST_OF_A_KIND = 20
MOST_OF_A_METHOD = 30
MOST_ROWS = 300
PEOPLE = 6
NUMERIC = {"inputmode": "numeric", "autocomplete": "off"}


def _number(label: Any, most: int, **kwargs: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, min_value=0, max_value=most, required=False, widget=forms.TextInput(attrs=NUMERIC), **kwargs
    )  # fmt: skip


class FarmForm(forms.Form):
    """Time zone only before the first round, season only before the first season."""

    name = forms.CharField(label=_("Name of the farm"), max_length=120)
    language = forms.ChoiceField(
        label=_("Language"), choices=settings.LANGUAGES, help_text=_("Of cards and sheets on paper.")
    )
    time_zone = forms.ChoiceField(label=_("Time zone"), help_text=_("Days and weeks of the farm go by it."))
    opens_on = day_field(_("First day of the season"), help_text=_("From then on a round is due every seven days."))

    def __init__(self, *args: Any, rounds: bool, season: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if rounds:
            del self.fields["time_zone"]
        else:
            self.fields["time_zone"].choices = zones()  # type: ignore[attr-defined]
        if season:
            del self.fields["opens_on"]


class KindsForm(forms.Form):
    """How many of each kind of building."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, label in choices_of("farms.Facility", "kind"):
            self.fields[kind] = _number(label, MOST_OF_A_KIND)

    @property
    def wanted(self) -> dict[str, int]:
        return {kind: number for kind, number in self.cleaned_data.items() if number}


class BuildingsForm(forms.Form):
    """A name for each building; a row without one is left out."""

    def __init__(self, data: Any = None, *, proposed: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__(data)
        kinds = data.getlist("kind")[:MOST_ROWS] if data is not None else [kind for kind, _name in proposed]
        known = dict(choices_of("farms.Facility", "kind"))
        self.kinds = [kind for kind in kinds if kind in known]
        for place, kind in enumerate(self.kinds):
            name = proposed[place][1] if proposed else ""
            self.fields[f"name-{place}"] = forms.CharField(
                label=known[kind], max_length=120, required=False, initial=name
            )  # fmt: skip

    @property
    def rows(self) -> list[tuple[str, Any]]:
        """Each kind with its field."""
        return [(kind, self[f"name-{place}"]) for place, kind in enumerate(self.kinds)]

    @property
    def buildings(self) -> list[tuple[str, str]]:
        typed = [(kind, self.cleaned_data[f"name-{place}"].strip()) for place, kind in enumerate(self.kinds)]
        return [(kind, name) for kind, name in typed if name]


def buildings_proposed(wanted: dict[str, int], taken: Sequence[str]) -> BuildingsForm:
    return BuildingsForm(proposed=proposed_names(wanted, taken))


class HowManyForm(forms.Form):
    """How many of each method in each building."""

    def __init__(self, data: Any = None, *, facilities: Sequence[Any], stations: Sequence[Any]) -> None:
        super().__init__(data)
        self.places = [(facility, method) for facility in facilities for method in METHODS]
        for facility, method in self.places:
            usual = usual_number(facility, method, stations)
            self.fields[f"{method}-{facility.id}"] = _number(
                METHODS[method].name, MOST_OF_A_METHOD, initial=usual or None
            )  # fmt: skip

    @property
    def rows(self) -> list[tuple[Any, list[Any]]]:
        """Each building with its fields, one a method."""
        buildings = {facility.id: facility for facility, _method in self.places}
        return [(each, [self[f"{method}-{each.id}"] for method in METHODS]) for each in buildings.values()]

    @property
    def wanted(self) -> list[tuple[Any, str, int]]:
        typed = [(each, method, self.cleaned_data[f"{method}-{each.id}"]) for each, method in self.places]
        return [(facility, method, number) for facility, method, number in typed if number]


class PlacesForm(forms.Form):
    """The numbered places, changed before they are made. One without a number is left out."""

    def __init__(
        self, data: Any = None, *, facilities: Sequence[Any], proposed: Sequence[ProposedStation] = ()
    ) -> None:
        super().__init__(data)
        by_id = {str(each.id): each for each in facilities}
        if data is None:
            self.places = [(each.facility, each.method) for each in proposed]
        else:
            told = [text.partition(" ") for text in data.getlist("place")[:MOST_ROWS]]
            self.places = [(by_id[where], what) for what, _space, where in told if what in METHODS and where in by_id]
        near = choices_of("monitoring.Siting", "near")
        for row, (_facility, method) in enumerate(self.places):
            first = proposed[row].number if proposed else None
            self.fields[f"number-{row}"] = _number(METHODS[method].name, 999, initial=first)
            self.fields[f"near-{row}"] = forms.ChoiceField(label=_("What is near that draws flies"), choices=near)

    @property
    def rows(self) -> list[dict[str, Any]]:
        return [
            {"facility": facility, "method": METHODS[method], "number": self[f"number-{row}"],
             "near": self[f"near-{row}"], "place": f"{method} {facility.id}"}
            for row, (facility, method) in enumerate(self.places)
        ]  # fmt: skip

    @property
    def typed(self) -> list[tuple[Any, str, int, str]]:
        rows = [
            (facility, method, self.cleaned_data[f"number-{row}"], self.cleaned_data[f"near-{row}"])
            for row, (facility, method) in enumerate(self.places)
        ]
        return [each for each in rows if each[2]]


class PeopleForm(forms.Form):
    """Some people at once: a name to tap each, and, where an address is typed, an invitation by mail."""

    def __init__(self, *args: Any, owner: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for row in range(PEOPLE):
            self.fields[f"name-{row}"] = forms.CharField(label=_("Name"), max_length=120, required=False)
            self.fields[f"initials-{row}"] = forms.CharField(label=_("Initials"), max_length=6, required=False)
            self.fields[f"email-{row}"] = forms.EmailField(label=_("E-mail address"), max_length=254, required=False)
            self.fields[f"role-{row}"] = forms.ChoiceField(
                label=_("As"), choices=[(code, code_label(code)) for code, _told in farm_roles(owner=owner)],
                required=False, initial="recorder",
            )  # fmt: skip

    @property
    def rows(self) -> list[list[Any]]:
        return [[self[f"{name}-{row}"] for name in ("name", "initials", "email", "role")] for row in range(PEOPLE)]

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        for row in range(PEOPLE):
            if typed.get(f"email-{row}") and not typed.get(f"name-{row}"):
                self.add_error(f"name-{row}", _("Give the name that the farm uses."))
        if not any(typed.get(f"name-{row}") for row in range(PEOPLE)) and not self.errors:
            self.add_error(None, _("Type a name, or go on without."))
        return typed

    @property
    def people(self) -> list[dict[str, str]]:
        found = []
        for row in range(PEOPLE):
            typed = {
                name: self.cleaned_data.get(f"{name}-{row}") or "" for name in ("name", "initials", "email", "role")
            }
            if typed["name"]:
                typed["initials"] = typed["initials"] or initials_of(typed["name"])
                found.append(typed)
        return found


def code_label(code: str) -> Any:
    return dict(choices_of("farms.Membership", "role"))[code]


def initials_of(name: str) -> str:
    """The first letters of a name's first three words.

    >>> initials_of("Rosa del Campo Alto")
    'RdC'
    """
    return "".join(word[0] for word in name.split()[:3])
