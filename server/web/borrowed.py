"""What the results of a group's farms borrow from one another, as the office reads it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.utils.formats import number_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.models import BorrowedFigures
from alerts.selectors.borrowed import figures_of_group
from alerts.wording.results import heading
from farms.clock import quarter_of
from monitoring.analysis.correlated_weeks import FARMS_TO_BORROW, PRINTED
from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.taylor import PUBLISHED_A, PUBLISHED_B
from monitoring.methods import LEG, METHODS

FIGURES: tuple[tuple[str, Promise, Promise], ...] = (
    (
        "shock",
        gettext_lazy("shock of a week"),
        gettext_lazy("Standard deviation of the log of what moves all stations of a farm in a week, such as weather."),
    ),
    (
        "list_shock",
        gettext_lazy("shock on the Monday list"),
        gettext_lazy("The same once the week that all farms share is taken out: for which farms rise beyond it."),
    ),
    ("stays", gettext_lazy("what stays of it"), gettext_lazy("Its correlation with the next week's.")),
    ("counting", gettext_lazy("counting"), gettext_lazy("What the scatter between stations is multiplied by.")),
    (
        "growth",
        gettext_lazy("growth"),
        gettext_lazy("Standard deviation of the log growth a week of farms that change: for the weeks ahead."),
    ),
    (
        "degrees",
        gettext_lazy("degrees of freedom"),
        gettext_lazy("What the group's scale of weeks is worth beside a farm's own."),
    ),
    (
        "weight_k",
        gettext_lazy("weight"),
        gettext_lazy("The k that counts are weighted with. It takes up what else is wrong: not the method's k."),
    ),
    (
        "leg_k",
        gettext_lazy("k of animals"),
        gettext_lazy("Of flies on an animal, from 30 or more leg counts: for how many animals are enough."),
    ),
    (
        "taylor",
        gettext_lazy("Taylor's law"),
        gettext_lazy(
            "Variance between stations: a times the mean to the power of b; for how many cards or traps are enough."
        ),
    ),
)


@dataclass(frozen=True)
class Cell:
    """A figure in use; `printed` where it does not come from the group. Empty where the method has none."""

    value: str
    printed: bool


@dataclass(frozen=True)
class Line:
    name: str
    meaning: str
    cells: list[Cell]


@dataclass(frozen=True)
class BorrowedTable:
    """The figures in use in a quarter, a column a method; `sources` says of each where its figures come from."""

    quarter: date
    methods: list[str]
    sources: list[str]
    lines: list[Line]


def borrowed_table(group_id: UUID, week: date) -> BorrowedTable:
    """What results of a week (its Monday) borrow in a group."""
    figures = figures_of_group(group_id, week)
    lines = [
        Line(str(name), str(meaning), [_cell(method, field, figures[method]) for method in METHODS])
        for field, name, meaning in FIGURES
    ]
    methods = [heading(method) for method in METHODS]
    return BorrowedTable(quarter_of(week), methods, [_source(figures[method]) for method in METHODS], lines)


def _source(row: BorrowedFigures | None) -> str:
    if row is None:
        return _("not fitted yet")
    holdings = ngettext("{holdings} holding", "{holdings} holdings", row.holdings).format(holdings=row.holdings)
    if row.scatter is None:
        return _("{holdings}, fewer than {needed}").format(holdings=holdings, needed=FARMS_TO_BORROW)
    return _("{holdings}, version {version}").format(holdings=holdings, version=row.version)


def _cell(method: str, field: str, row: BorrowedFigures | None) -> Cell:
    own = _pooled(field, row)
    return Cell(own, printed=False) if own else Cell(_printed(method, field), printed=True)


def _pooled(field: str, row: BorrowedFigures | None) -> str:
    """A stored figure as it is written; empty where there is none."""
    if row is None:
        return ""
    if field == "taylor":
        return "" if row.taylor_a is None or row.taylor_b is None else _law(row.taylor_a, row.taylor_b)
    value = getattr(row, field)
    return "" if value is None else figure(value)


def _printed(method: str, field: str) -> str:
    """What is in use where the group has none; empty where the method has no such figure."""
    if field == "leg_k":
        return figure(K_OF_LEGS) if method == LEG.code else ""
    if field == "taylor":
        return _law(PUBLISHED_A[method], PUBLISHED_B) if method in PUBLISHED_A else ""
    return figure(PRINTED.k if field == "weight_k" else getattr(PRINTED, field.removeprefix("list_")))


def figure(value: float) -> str:
    """0.21; 47; as stored, with the language's own decimal sign."""
    return str(number_format(Decimal(f"{value:g}")))


def _law(a: float, b: float) -> str:
    return f"a {figure(a)}, b {figure(b)}"
