"""A table of one's own: chosen, understood by what somebody says of its columns, seen as it will be stored, stored.

The file waits in the database, under row security and for whoever chose it, until it is stored. What is chosen travels
with the form; nothing is stored but what was seen, which a mark in the form tells.
"""

from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need, one_of
from farms.errors import FlyroundError
from farms.selectors import facilities_of
from monitoring.csv_import.own import (
    Choices,
    Grid,
    NewGround,
    Understood,
    grids_of,
    guessed,
    make_places,
    names_of,
    new_places,
    take_own,
    understand,
    understood_before,
    usual_word,
)
from monitoring.rules.stations import plain
from monitoring.rules.table import BadCell
from monitoring.selectors import own_table_reading_of, own_tables_of, stations_of
from monitoring.services import (
    ImportPlan,
    ImportResult,
    ImportSent,
    forget_own_table,
    keep_own_table,
    keep_own_table_reading,
)
from server.imports import take_in
from server.web.doors import Visit, farm_page
from server.web.forms.own_table import (
    OwnTableFileForm,
    OwnTableForm,
    as_initial,
    columns_of,
    home_choices,
    homes_of,
    pairs_sent,
    print_of,
    word_choices,
)
from server.web.forms.refusals import show_refusal
from server.web.views.file import LARGEST, tell_stored

# With more counts than this somebody would wait at a blank page: a worker stores them.
AT_ONCE = 5_000
MOST_ASKED = 60
ROWS_SHOWN, REFUSED_SHOWN, WEEKS_SHOWN = 12, 50, 80


@dataclass
class Seen:
    """What a table would bring by what was chosen; `problem` where it can't be said."""

    choices: Choices
    chosen_homes: dict[str, str]
    facilities: list[Any]
    as_above: bool = False
    understood: Understood = field(default_factory=Understood)
    result: ImportResult | None = None
    places: list[Any] = field(default_factory=list)
    problem: FlyroundError | None = None

    @property
    def mark(self) -> str:
        return print_of(self.choices, self.chosen_homes, as_above=self.as_above)

    @property
    def ground(self) -> NewGround:
        return NewGround(self.places, homes_of(self.chosen_homes, self.facilities))

    @property
    def refused(self) -> list[BadCell]:
        """Rows as the table counts them, whichever step refused them."""
        lines = self.understood.lines
        later = [replace(bad, row=lines[bad.row - 2].row) for bad in (self.result.bad if self.result else [])]
        return sorted([*self.understood.refused, *later], key=lambda bad: bad.row)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def own_table_file(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Choose a table; it is looked at before it is kept, so that what is none is refused here."""
    form = OwnTableFileForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        sent = form.cleaned_data["table"]
        content = sent.read(LARGEST + 1)
        try:
            grids_of(content)
            kept = keep_own_table(
                farm=visit.farm, user=request.user, name=sent.name, content=content, now=timezone.now()  # type: ignore[arg-type]
            )  # fmt: skip
            return redirect("own_table", farm_id=visit.farm.id, own_table_id=kept.id)
        except FlyroundError as refusal:
            show_refusal(form, refusal)
    return render(
        request, "web/own_table_file.html", {"visit": visit, "form": form}, status=422 if form.errors else 200
    )


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def own_table(request: HttpRequest, visit: Visit, own_table_id: UUID) -> HttpResponse:
    kept = one_of(own_tables_of(visit.farm, request.user, timezone.now()), own_table_id)  # type: ignore[arg-type]
    grids = grids_of(bytes(kept.content))
    form, seen = _asked(request, visit, grids)
    status = 200
    if seen is not None:
        _look(visit, grids[seen.choices.sheet], seen)
        if request.method == "POST" and seen.problem is not None:
            status = 422
        elif "store" in request.POST and request.POST.get("seen") == seen.mark:
            return _store(request, visit, kept, grids[seen.choices.sheet], seen)
        elif "store" in request.POST:
            messages.warning(request, _("Something was changed after you looked. Look at it again, then store it."))
    context = {"visit": visit, "kept": kept, "form": form, "seen": seen, **_shown(seen)}
    return render(request, "web/own_table.html", context, status=422 if form.errors else status)


def _asked(request: HttpRequest, visit: Visit, grids: list[Grid]) -> tuple[OwnTableForm, Seen | None]:
    """The form with what was sent, or with proposals: at first, and where another sheet or row of names was chosen."""
    facilities = list(facilities_of(visit.farm))
    proposed = _proposed(visit, grids, *_place_asked(request, grids))
    grid = grids[proposed.sheet]
    columns = columns_of(grid, proposed.header, names_of(grid, proposed.header))
    same = request.POST.get("shown") == f"{proposed.sheet} {proposed.header}"
    if request.method != "POST" or not same:
        form = OwnTableForm(grids=grids, columns=columns, initial=as_initial(proposed))
        return form, Seen(proposed, {}, facilities)
    form = OwnTableForm(request.POST, grids=grids, columns=columns)
    if not form.is_valid():
        return form, None
    words = pairs_sent(request.POST, "word", MOST_ASKED)
    choices = form.choices_made({word: chosen for word, chosen in words.items() if chosen})
    homes = pairs_sent(request.POST, "home", MOST_ASKED)
    return form, Seen(choices, homes, facilities, as_above=form.cleaned_data["as_above"])


def _place_asked(request: HttpRequest, grids: list[Grid]) -> tuple[int, int | None]:
    """Which sheet and row of names were chosen, as far as that makes sense; None for the row that is guessed."""
    sheet, header = request.POST.get("sheet", ""), request.POST.get("header", "")
    chosen = int(sheet) if sheet.isascii() and sheet.isdigit() and int(sheet) < len(grids) else 0
    before, _space, row = request.POST.get("shown", "").partition(" ")
    # Another sheet has its names in another row, unless that was chosen, too.
    if not (header.isascii() and header.isdigit()) or (before != str(chosen) and header == row):
        return chosen, None
    return chosen, min(int(header), len(grids[chosen].rows) - 1, 100)


def _proposed(visit: Visit, grids: list[Grid], sheet: int, header: int | None) -> Choices:
    choices = guessed(grids, sheet, header)
    names = names_of(grids[sheet], choices.header)
    return understood_before(own_table_reading_of(visit.farm), choices, names)


def _look(visit: Visit, grid: Grid, seen: Seen) -> None:
    """Say what it would bring, and store nothing."""
    try:
        seen.understood = understand(grid, seen.choices, as_above=seen.as_above)
        seen.places = new_places(seen.understood.lines, stations_of(visit.farm))
        for building in dict.fromkeys(place.building for place in seen.places):
            if not seen.chosen_homes.get(building):
                seen.chosen_homes[building] = _usual_home(building, seen.facilities)
        if seen.understood.lines:
            seen.result = _take(visit, seen, dry_run=True)
    except FlyroundError as problem:
        seen.problem = problem


def _usual_home(building: str, facilities: list[Any]) -> str:
    """The building of that name; the only one, where the table names none."""
    alike = [each for each in facilities if plain(each.name) == plain(building)]
    if not building and len(facilities) == 1:
        alike = facilities
    return str(alike[0].id) if alike else ""


def _take(visit: Visit, seen: Seen, *, dry_run: bool) -> ImportResult:
    return take_own(
        farm=visit.farm, understood=seen.understood, ground=seen.ground, actor=visit.actor, now=visit.now,
        dry_run=dry_run,
    )  # fmt: skip


@transaction.atomic
def _store(request: HttpRequest, visit: Visit, kept: Any, grid: Grid, seen: Seen) -> HttpResponse:
    names = names_of(grid, seen.choices.header)
    keep_own_table_reading(farm=visit.farm, choices=seen.choices.as_kept(names), now=timezone.now())
    forget_own_table(table=kept)
    if len(seen.understood.lines) > AT_ONCE:
        make_places(farm=visit.farm, ground=seen.ground)
        sent = ImportSent(seen.understood.content(), "csv", ImportPlan(source="file"), get_language() or "en")
        made = take_in(farm=visit.farm, sent=sent, who=visit.who, now=visit.now)
        return redirect("import_progress", farm_id=visit.farm.id, import_id=made.id)
    result = _take(visit, seen, dry_run=False)
    refused = {(bad.row, bad.column) for bad in seen.understood.refused}
    tell_stored(request, replace(result, refused=result.refused + len(refused)))
    return redirect("rounds", farm_id=visit.farm.id)


def _shown(seen: Seen | None) -> dict[str, Any]:
    """What the page shows of it."""
    if seen is None:
        return {}
    understood, refused = seen.understood, seen.refused
    wide = bool(seen.choices.meanings) and "of_one_station" in seen.choices.meanings
    words = [
        (word, number, seen.choices.words.get(word, usual_word(word, wide=wide)))
        for word, number in understood.words.most_common()
    ]
    weeks = understood.weeks()
    return {
        "lines": understood.lines[:ROWS_SHOWN],
        "refused": refused[:REFUSED_SHOWN],
        "more_refused": max(len(refused) - REFUSED_SHOWN, 0),
        "weeks": weeks[-WEEKS_SHOWN:],
        "words": words,
        "word_choices": word_choices(),
        "homes": [
            (building, [each for each in seen.places if each.building == building], chosen)
            for building, chosen in seen.chosen_homes.items()
            if any(each.building == building for each in seen.places)
        ],
        "home_choices": home_choices(seen.facilities),
        "to_store": seen.result.stored if seen.result else 0,
    }
