"""A table of one's own: the file, then what its columns and words mean and where its new stations are."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.csv_import.own import LEAVE_OUT, REFUSE, Choices, Grid, Layout, Meaning, NewBuilding
from monitoring.methods import METHOD_CHOICES
from server.web.choices import choices_of

MEANINGS = [
    (Meaning.NOTHING, _("(leave it out)")),
    (Meaning.DATE, _("day of the count")),
    (Meaning.STATION, _("card or trap")),
    (Meaning.COUNT, _("count")),
    (Meaning.REASON, _("why there is no count")),
    (Meaning.HUNG_ON, _("day it was hung")),
    (Meaning.DAYS, _("days up")),
    (Meaning.METHOD, _("card, trap or leg count")),
    (Meaning.BUILDING, _("barn or lot")),
    (Meaning.OF_ONE_STATION, _("counts of one card or trap, which it names")),
]
UPS = [
    (Layout.COLUMN, _("as its column says")),
    (Layout.BEFORE, _("since the count before it; the first ones for seven days")),
    (Layout.SEVEN, _("for seven days, all of them")),
]
NEW = "new "


class OwnTableFileForm(forms.Form):
    table = forms.FileField(
        label=_("Table"),
        help_text=_("A workbook (.xlsx) or CSV, with whatever columns it has. At most 5 MB and 50,000 rows."),
        error_messages={"required": _("Choose a file."), "empty": _("This file is empty. Choose another one.")},
        widget=forms.ClearableFileInput(attrs={"accept": ".xlsx,.csv,.txt,.tsv,text/csv"}),
    )


@dataclass(frozen=True)
class Columns:
    """The columns of a sheet as the form shows them: their names, and the first cells of each."""

    names: Sequence[str]
    samples: Sequence[Sequence[str]]


def columns_of(grid: Grid, header: int, names: Sequence[str]) -> Columns:
    body = grid.rows[header:]
    samples = [[row[place] for row in body if row[place]][:3] for place in range(grid.width)]
    return Columns(names, samples)


class OwnTableForm(forms.Form):
    """Everything that is chosen about a table; rendered with proposals, and sent as a whole each time."""

    sheet = forms.TypedChoiceField(label=_("Sheet"), coerce=int)
    header = forms.IntegerField(
        label=_("Row with the names of the columns"), min_value=0, max_value=100,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}), help_text=_("0 where no row names them."),
    )  # fmt: skip
    method = forms.ChoiceField(label=_("Where no column says it, these are"), choices=METHOD_CHOICES)
    up = forms.ChoiceField(label=_("A card or trap was up"), choices=UPS)
    order = forms.ChoiceField(
        label=_("Dates such as 3/4/2026"),
        choices=[("", _("are clear from the table")), ("day_first", _("day first")), ("month_first", _("month first"))],
        required=False,
    )
    as_above = forms.BooleanField(
        label=_("An empty cell under a day or a barn means the same as above it"), required=False
    )  # fmt: skip

    def __init__(self, data: Any = None, *, grids: Sequence[Grid], columns: Columns, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.columns = columns
        named = [(place, grid.name or _("the table")) for place, grid in enumerate(grids)]
        self.fields["sheet"].choices = named  # type: ignore[attr-defined]
        for place, name in enumerate(columns.names):
            self.fields[f"column-{place}"] = forms.ChoiceField(label=name, choices=MEANINGS, required=False)

    @property
    def column_rows(self) -> list[tuple[str, Sequence[str], Any]]:
        """Each column's name, its first cells and its field."""
        fields = [self[f"column-{place}"] for place in range(len(self.columns.names))]
        return list(zip(self.columns.names, self.columns.samples, fields, strict=True))

    def choices_made(self, words: Mapping[str, str]) -> Choices:
        typed = self.cleaned_data
        meanings = [typed[f"column-{place}"] for place in range(len(self.columns.names))]
        plain = {name: typed[name] for name in ("sheet", "header", "method", "up", "order")}
        return Choices(**plain, meanings=meanings, words=dict(words))


def as_initial(choices: Choices) -> dict[str, Any]:
    """A form's first values."""
    columns = {f"column-{place}": meaning for place, meaning in enumerate(choices.meanings)}
    return {name: getattr(choices, name) for name in ("sheet", "header", "method", "up", "order")} | columns


def pairs_sent(data: Any, name: str, most: int) -> dict[str, str]:
    """What was chosen for each text: the texts stand in hidden fields of one name, the choices are numbered."""
    return {text: data.get(f"{name}-{place}", "") for place, text in enumerate(data.getlist(name)[:most])}


def word_choices() -> list[tuple[str, Any]]:
    reasons = [(code, label) for code, label in choices_of("monitoring.Reading", "reason") if code]
    return [*reasons, (LEAVE_OUT, _("(nothing hung there: leave it out)")), (REFUSE, _("(a mistake: refuse the row)"))]


def home_choices(facilities: Sequence[Any]) -> list[tuple[str, Any]]:
    """The farm's buildings, then a new one of each kind."""
    new = [(f"{NEW}{kind}", _("a new one: %(kind)s") % {"kind": label}) for kind, label in kinds()]
    return [("", _("(choose)")), *((str(each.id), each.name) for each in facilities), *new]


def kinds() -> list[tuple[str, Any]]:
    return choices_of("farms.Facility", "kind")


def homes_of(chosen: Mapping[str, str], facilities: Sequence[Any]) -> dict[str, Any]:
    """The building, or the one to be made, for each text that a table has for one."""
    by_id, known = {str(each.id): each for each in facilities}, dict(kinds())
    homes: dict[str, Any] = {}
    for text, value in chosen.items():
        kind = value.removeprefix(NEW)
        if value in by_id:
            homes[text] = by_id[value]
        elif value.startswith(NEW) and kind in known:
            label = str(known[kind])
            homes[text] = NewBuilding(text[:120] or label[:1].upper() + label[1:], kind)
    return homes


def print_of(choices: Choices, chosen: Mapping[str, str], *, as_above: bool) -> str:
    """A short mark of everything that was chosen: what is stored is what was seen."""
    told = [asdict(choices), sorted(chosen.items()), as_above]
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()[:24]
