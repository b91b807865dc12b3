"""What columns may be called, in English and Spanish. Upper case, accents, spaces and underlines don't matter."""

from collections.abc import Callable, Mapping, Sequence

from django.utils.translation import gettext as _

from monitoring.errors import ColumnsMissing, ColumnsUnclear, ColumnUnknown
from monitoring.rules.stations import plain
from monitoring.rules.table import shown

# The first two are the ones we tell people; `method` and `number` together may stand for `station`.
HEADERS: Mapping[str, Sequence[str]] = {
    "station": ("station", "tarjeta o trampa", "card or trap", "place", "lugar"),
    "method": ("method", "metodo"),
    "number": ("number", "numero", "no", "no."),
    "hung_on": ("hung on", "colgada el", "hung", "colgada", "colgado", "colgado el"),
    "taken_on": (
        "taken on", "quitada el", "taken", "taken down", "counted on", "quitada", "quitado", "contada el", "day",
        "date", "fecha", "dia",
    ),
    "count": ("count", "conteo", "counted", "specks", "manchitas", "flies", "moscas"),
    "reason": ("missing", "motivo", "note of missing", "reason", "why missing", "falta", "sin conteo"),
    "fraction": ("part", "parte", "fraction", "fraccion"),
    "how": ("how", "como"),
    "cups": ("cups", "tazas"),
    "at_least": ("at least", "al menos", "por lo menos"),
    "animals": ("animals", "animales", "flies on each animal", "moscas en cada animal"),
    "sides": ("sides", "lados"),
    "pen": ("pen", "corral"),
    "time_of_day": ("time", "hora", "time of day"),
    "weather": ("weather", "tiempo", "clima"),
    "bunching": ("bunching", "amontonadas", "amontonados"),
    "sprayed": ("sprayed", "rociadas", "rociados", "poured"),
    "device": ("device", "pieza"),
    "id": ("id",),
}  # fmt: skip
COLUMNS = {plain(name): column for column, names in HEADERS.items() for name in (*names, column)}
MOST_LISTED = 10
FOUND_SOMETHING = ("count", "animals", "cups", "reason")


def column_named(header: str) -> str | None:
    """Our name of the column that a header stands for; None for no column of ours."""
    return COLUMNS.get(plain(header))


def columns_of(headers: Sequence[str], is_empty: Callable[[int], bool]) -> dict[str, int]:
    """Where each column stands. A column without a name that is empty, too, is passed over.

    Raises ColumnUnknown, ColumnsUnclear or ColumnsMissing.
    """
    places: dict[str, int] = {}
    unknown: list[str] = []
    for place, header in enumerate(headers):
        column = column_named(header)
        if column is None:
            nameless = not header and is_empty(place)
            unknown += [] if nameless else [header or _("(column %(number)d)") % {"number": place + 1}]
        elif column in places:
            both = [headers[places[column]], header]
            raise ColumnsUnclear(column=HEADERS[column][0], headers=_listed(both))
        else:
            places[column] = place
    if unknown:
        raise ColumnUnknown(headers=_listed(unknown), known=", ".join(names[0] for names in HEADERS.values()))
    missing = _missing(places)
    if missing:
        raise ColumnsMissing(columns=", ".join(missing))
    return places


def _listed(headers: Sequence[str]) -> str:
    """The first of them, each as an error shows it."""
    return ", ".join(map(shown, headers[:MOST_LISTED])) + (", ..." if len(headers) > MOST_LISTED else "")


def _missing(places: Mapping[str, int]) -> list[str]:
    needed = []
    if "station" not in places and not {"method", "number"} <= places.keys():
        needed.append(HEADERS["station"][0])
    if "taken_on" not in places:
        needed.append(HEADERS["taken_on"][0])
    if not any(name in places for name in FOUND_SOMETHING):
        needed.append(HEADERS["count"][0])
    return needed
