"""What to print: which stations' cards, how many of each, on what; and the round's sheet."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from monitoring.methods import METHODS
from server.reports.cards import BACKS, LABELS, TAGS, Cards
from server.web.choices import choices_of

MOST_CARDS = 600
HOW_MANY = _("Type a whole number from 1 to 600.")
PAPERS = [("letter", _("Letter")), ("a4", "A4")]
CARD_PAPERS = [
    ("letter", _("many on Letter, with cut marks")),
    ("a4", _("many on A4, with cut marks")),
    ("single", _("one a page, as for a label printer")),
]
INDEX, METRIC = ("3x5in", _("3 x 5 inch (76.2 x 127 mm)")), ("76x127mm", _("76 x 127 mm"))
BANK, A7 = ("id1", _("bank card (85.6 x 54 mm)")), ("a7", _("A7 (105 x 74 mm)"))
SIZES_OF = {BACKS: [INDEX, METRIC], TAGS: [BANK, A7], LABELS: [INDEX, A7]}
METHODS_OF = {BACKS: ("card",), TAGS: tuple(METHODS), LABELS: ("trap",)}
NUMBERS = re.compile(r"(\d{1,4})(?:\s*-\s*(\d{1,4}))?")


class CardsForm(forms.Form):
    """Cards of one kind, for the stations that have such cards."""

    size = forms.ChoiceField(label=_("Size"))
    paper = forms.ChoiceField(label=_("Paper"), choices=CARD_PAPERS)
    method = forms.ChoiceField(label=_("For"), required=False)
    building = forms.ChoiceField(label=_("Where"), required=False)
    numbers = forms.CharField(
        label=_("Only these numbers"), required=False, max_length=200, help_text=_("Such as 1-5, 8. Empty: all."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    copies = forms.IntegerField(
        label=_("How many of each"), min_value=1, max_value=MOST_CARDS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages=dict.fromkeys(("invalid", "min_value", "max_value", "required"), HOW_MANY),
    )  # fmt: skip
    language = forms.ChoiceField(label=_("Language"))

    def __init__(self, *args: Any, kind: str, stations: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"{kind}_%s", **kwargs)
        self.kind = kind
        self.stations = [each for each in stations if each.method in METHODS_OF[kind]]
        self.chosen: list[Any] = []
        buildings = {str(each.facility_id): each.facility.name for each in self.stations}
        methods = {each.method: METHODS[each.method].name for each in self.stations}
        self._offer("size", SIZES_OF[kind])
        self._offer("building", [("", _("everywhere")), *buildings.items()])
        self._offer("method", [("", _("all")), *methods.items()])
        self._offer("language", choices_of("farms.Farm", "language"))
        if len(methods) < 2:
            del self.fields["method"]

    def _offer(self, name: str, choices: list[tuple[str, Any]]) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def clean_numbers(self) -> set[int]:
        """1-5, 8 are six numbers; none at all stands for every one."""
        found: set[int] = set()
        for part in filter(None, (each.strip() for each in self.cleaned_data["numbers"].split(","))):
            fits = NUMBERS.fullmatch(part)
            if fits is None:
                raise ValidationError(_("Type numbers with commas between them, such as 1-5, 8."))
            found |= set(range(int(fits[1]), int(fits[2] or fits[1]) + 1))
        return found

    def clean(self) -> None:
        found = self.cleaned_data
        numbers, copies = found.get("numbers"), found.get("copies")
        if numbers is None or copies is None:
            return
        self.chosen = [each for each in self.stations if self._is_chosen(each)]
        if missing := sorted(numbers - {each.number for each in self.chosen}):
            listed = ", ".join(map(str, missing[:5]))
            self.add_error("numbers", _("Nothing in use there has the number %(numbers)s.") % {"numbers": listed})
        elif not self.chosen:
            self.add_error(None, _("There is nothing like that in use."))
        elif len(self.chosen) * copies > MOST_CARDS:
            told = {"number": len(self.chosen) * copies, "most": MOST_CARDS}
            self.add_error(
                "copies",
                _("That makes %(number)d, and a file holds %(most)d at most. Choose fewer of each, or one building.")
                % told,
            )

    def _is_chosen(self, station: Any) -> bool:
        found = self.cleaned_data
        return (
            (not found.get("method") or station.method == found["method"])
            and (not found.get("building") or str(station.facility_id) == found["building"])
            and (not found["numbers"] or station.number in found["numbers"])
        )

    @property
    def cards(self) -> Cards:
        found = self.cleaned_data
        return Cards(self.kind, found["size"], found["paper"], found["language"], found["copies"])


class RoundSheetForm(forms.Form):
    paper = forms.ChoiceField(label=_("Paper"), choices=PAPERS)
    language = forms.ChoiceField(label=_("Language"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="sheet_%s", **kwargs)
        self.fields["language"].choices = choices_of("farms.Farm", "language")  # type: ignore[attr-defined]
