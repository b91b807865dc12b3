"""What the columns of somebody's own table probably mean: by the words of their names, then by what stands in them.

Proposals only: they are shown, and whoever sent the table changes them.
"""

from collections.abc import Sequence
from itertools import islice

from monitoring.csv_import.own.choices import Choices, Layout, Meaning
from monitoring.csv_import.own.dates import looks_like_day
from monitoring.csv_import.own.grid import Grid
from monitoring.methods import CARD, LEG, TRAP
from monitoring.rules.stations import MOST_STATIONS, method_named, plain, station_key

LOOKED_AT = 15
SAMPLE = 40
# Beginnings of a column's name, in plain letters; the first meaning whose word fits is proposed.
WORDS: Sequence[tuple[Meaning, Sequence[str]]] = (
    (Meaning.HUNG_ON, ("hung", "colgad", "put up", "placed", "coloc", "puesta", "installed", "start", "inicio")),
    (Meaning.DAYS, ("days", "dias", "no. of days", "exposure")),
    (Meaning.DATE, ("date", "fecha", "day", "dia", "taken", "counted on", "quitad", "read on", "contad", "week of")),
    (Meaning.REASON, ("reason", "motivo", "missing", "note", "nota", "comment", "coment", "observa", "remark", "why")),
    (Meaning.BUILDING, ("barn", "building", "lot", "nave", "corral", "establo", "edificio", "housing", "where", "place",
                        "lugar", "area", "location", "ubicaci")),
    (Meaning.METHOD, ("method", "metodo", "type", "tipo", "kind", "device")),
    (Meaning.COUNT, ("count", "conteo", "specks", "flies", "fly", "moscas", "manch", "puntos", "spots", "catch",
                     "captura", "number of", "numero de")),
    (Meaning.STATION, ("station", "card", "tarjeta", "trap", "trampa", "no", "number", "numero", "#", "id", "sitio",
                       "site", "estacion", "leg")),
)  # fmt: skip


def guessed(grids: Sequence[Grid], sheet: int = 0, header: int | None = None) -> Choices:
    """Proposals for a sheet; of a row with names that was chosen already, its columns only."""
    grid = grids[sheet]
    row = header_row(grid) if header is None else header
    names = names_of(grid, row)
    body = grid.rows[row:]
    meanings = _meanings(names, body)
    method = _method(grid.name, names)
    columns = {Meaning.HUNG_ON, Meaning.DAYS} & set(meanings)
    up = Layout.COLUMN if columns else Layout.BEFORE
    return Choices(sheet=sheet, header=row, meanings=[str(each) for each in meanings], method=method, up=str(up))


def header_row(grid: Grid) -> int:
    """The row that names the columns, as a spreadsheet counts: among the first, the one with most known words."""

    def known(row: Sequence[str]) -> int:
        found = [_by_words(cell) or (station_key(cell) and Meaning.OF_ONE_STATION) for cell in row]
        return 10 * len({each for each in found if each}) + sum(bool(cell) for cell in row)

    first = list(islice(grid.rows, LOOKED_AT))
    best: int = max(range(len(first)), key=lambda place: (known(first[place]), -place), default=0)
    return best + 1


def names_of(grid: Grid, header: int) -> Sequence[str]:
    """What the columns are called; letters, as a spreadsheet has them, where no row says so or a cell is empty."""
    named = grid.rows[header - 1] if header else [""] * grid.width
    return [name or _letter(place) for place, name in enumerate(named)]


def wide_key(name: str, method: str) -> tuple[str, int] | None:
    """The station that a column's name names: "Card 3", or a bare 3 of the table's method."""
    found = station_key(name)
    if found is not None:
        return found
    digits = name.lstrip("#").strip()
    if digits.isascii() and digits.isdigit() and len(digits) <= 5 and 1 <= int(digits) <= MOST_STATIONS:
        return method, int(digits)
    return None


def _meanings(names: Sequence[str], body: Sequence[Sequence[str]]) -> list[Meaning]:
    found = [_by_words(name) for name in names]
    # "Card 1" names a card, "Card" a column of cards.
    places = [place for place, name in enumerate(names) if wide_key(name, CARD.code)]
    if len(places) > 1:
        for place in places:
            found[place] = Meaning.OF_ONE_STATION
        found = [Meaning.NOTHING if each in (Meaning.COUNT, Meaning.STATION) else each for each in found]
    found = _once(found)
    if Meaning.DATE not in found:
        days = next((place for place in range(len(names)) if not found[place] and _holds_days(body, place)), None)
        if days is not None:
            found[days] = Meaning.DATE
    return found


def _by_words(name: str) -> Meaning:
    words = plain(name)
    for meaning, beginnings in WORDS:
        for beginning in beginnings:
            whole = len(beginning) < 4
            if words == beginning or (not whole and f" {words}".find(f" {beginning}") >= 0):
                return meaning
    return Meaning.NOTHING


def _once(meanings: Sequence[Meaning]) -> list[Meaning]:
    """The first of several columns with the same meaning keeps it, but for those of one station each."""
    seen: set[Meaning] = set()
    found = []
    for each in meanings:
        again = each in seen and each is not Meaning.OF_ONE_STATION
        found.append(Meaning.NOTHING if again else each)
        seen.add(each)
    return found


def _holds_days(body: Sequence[Sequence[str]], place: int) -> bool:
    texts = [row[place] for row in islice(body, SAMPLE) if row[place]]
    return bool(texts) and sum(looks_like_day(text) for text in texts) > len(texts) / 2


def _method(sheet: str, names: Sequence[str]) -> str:
    """The method of which most columns speak, else the sheet's; cards where nothing does."""
    told = [key[0] for name in names if (key := station_key(name))]
    told += [found for text in [*names, sheet] for word in plain(text).split() if (found := method_named(word))]
    return max((CARD.code, TRAP.code, LEG.code), key=told.count)


def _letter(place: int) -> str:
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
