"""What do a season's alerts say, how often are they right, and how many exceedances are announced? Without bars."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import django
import numpy as np
from django.apps import apps

from monitoring.analysis.shapes import Bools, Floats
from server.calibrate.cells import PROCESSES, Row, over_cells
from server.calibrate.group_seasons import KINDS, GroupSeason, simulate_group

if TYPE_CHECKING:
    from server.calibrate.checked_season import ToldSeason

SEASONS, QUICK_SEASONS = 5, 2
# An alert is right where the level is exceeded within so many weeks; an exceedance is announced where an alert opened
# in so many weeks before it; it begins after so many weeks that were not over.
FOLLOWED_WITHIN, ANNOUNCED_BEFORE, WEEKS_BELOW = 2, 4, 2
ANNOUNCING = ("soon", "rising")
RULES = (*ANNOUNCING, "jump", "over", "hot_station")
LASTS = 3  # weeks over: no weekly shock alone
# The rules' numbers as they usually are, and on both sides of that: what more or fewer alerts would give.
NUMBERS: Mapping[str, Mapping[str, Mapping[str, float]]] = {
    "usual": {},
    "fewer": {
        "soon": {"weeks": 1}, "rising": {"false_share": 0.05}, "jump": {"chance": 0.001}, "hot_station": {"times": 6},
    },
    "more": {
        "soon": {"weeks": 3}, "rising": {"false_share": 0.2}, "jump": {"chance": 0.02}, "hot_station": {"times": 3},
    },
}  # fmt: skip


@dataclass(frozen=True)
class SeasonOf:
    """A simulated season of a group: what kind, and its number, which is part of its seed."""

    kind: str
    number: int


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Run the weekly check through seasons of groups of so many farms; figures are means over seasons.

    "alerts" has a row a kind of group, setting of the rules' numbers, and rule: `alerts` a farm and season and how many
    more opened `again`; of all those that opened in a week with two weeks to come, the share `followed` by a true mean
    over the action level within two weeks, and by a `counted` one, beside `by_chance`, the same of all weeks of farms
    that were counted and not over; the share of exceedances `announced` by an alert of the rule in the four weeks
    before, beside `always`, the share of all such weeks that have one, and of those that last three weeks
    (`lasting_announced`); `lead`, the median weeks between both, and
    `ahead_1` to `ahead_4`, the share announced so many weeks before or more. "mails" has a row a kind: `exceedances` a
    farm and season, weekly mails a farm and season (`weekly`; of weeks that need a look, `when_needed`), weeks in which
    something opened (`news`), in which the level was passed unannounced (`unannounced`), and `open` alerts a farm and
    week. Each has its standard error over seasons under `..._error`. "places" tells how unlike the station that
    stands out really is.
    """
    cells = [SeasonOf(*each) for each in product(KINDS, range(QUICK_SEASONS if quick else SEASONS))]
    told = over_cells(measure, cells, farms, seed, processes)
    tables = {name: _together(each[name] for each in told) for name in ("alerts", "mails", "places")}
    return {"farms": farms, "seasons": len(cells) // len(KINDS), "seed": seed} | tables


def measure(rng: np.random.Generator, cell: SeasonOf, farms: int) -> dict[str, list[Row]]:
    """Check one season by each setting of the rules' numbers."""
    # The check's own modules need Django, which a process of the pool has not set up.
    if not apps.ready:
        django.setup()
    from alerts.rules import GroupRules, RuleSetting, usual
    from server.calibrate.checked_season import check_season

    season = simulate_group(rng, cell.kind, farms)
    rows: dict[str, list[Row]] = {"alerts": [], "mails": [], "places": []}
    for setting, numbers in NUMBERS.items():
        changed = {
            rule: RuleSetting(rule, is_on=True, numbers={**usual(rule).numbers, **own}) for rule, own in numbers.items()
        }
        told, named = check_season(season, GroupRules(changed)), {"kind": cell.kind, "setting": setting}
        rows["alerts"] += [named | {"rule": rule} | _of_rule(season, told, [rule]) for rule in RULES]
        rows["alerts"].append(named | {"rule": "soon or rising"} | _of_rule(season, told, ANNOUNCING))
        rows["places"] += _places(season, told, named)
        if setting == "usual":
            rows["mails"].append({"kind": cell.kind} | _mails(season, told))
    return rows


def exceedances(true: Floats, level: float) -> Bools:
    """Mark the weeks in which a farm's true mean passes the level after two weeks that were not over it."""
    over, begins = true > level, np.zeros(true.shape, np.bool_)
    begins[:, WEEKS_BELOW:] = over[:, WEEKS_BELOW:]
    for back in range(1, WEEKS_BELOW + 1):
        begins[:, WEEKS_BELOW:] &= ~over[:, WEEKS_BELOW - back : over.shape[1] - back]
    return begins


def within(marks: Bools, weeks: int) -> Bools:
    """Mark the weeks after which a marked one comes within so many."""
    found = np.zeros(marks.shape, np.bool_)
    for ahead in range(1, weeks + 1):
        found[:, :-ahead] |= marks[:, ahead:]
    return found


def after_each_of(marks: Bools, weeks: int) -> Bools:
    """Mark the weeks after which so many marked ones follow."""
    found = np.ones(marks.shape, np.bool_)
    found[:, marks.shape[1] - weeks :] = False
    for ahead in range(1, weeks + 1):
        found[:, :-ahead] &= marks[:, ahead:]
    return found


def lead(opened: Bools) -> Floats:
    """How many weeks before each week, up to four, the earliest alert opened; 0 = none."""
    found = np.zeros(opened.shape)
    for back in range(1, ANNOUNCED_BEFORE + 1):
        found[:, back:] = np.where(opened[:, :-back], back, found[:, back:])
    return found


def _of_rule(season: GroupSeason, told: "ToldSeason", rules: Sequence[str]) -> Row:
    farms = len(season.true)
    first, again = (np.any([marks[rule] for rule in rules], axis=0) for marks in (told.opened, told.again))
    opened = np.asarray(first | again, np.bool_)
    row: Row = {"alerts": first.sum() / farms, "again": again.sum() / farms}
    if rules[0] in ("over", "hot_station"):
        return row
    counted_over, quiet = told.mean > season.level, ~np.isnan(told.mean) & ~told.over
    ended = np.arange(season.weeks) < season.weeks - FOLLOWED_WITHIN
    true_next = within(season.true > season.level, FOLLOWED_WITHIN)
    row |= {
        "followed": _share(true_next, opened & ended),
        "counted": _share(within(counted_over, FOLLOWED_WITHIN), opened & ended),
        "by_chance": _share(true_next, quiet & ended),
    }
    begins, weeks = exceedances(season.true, season.level), lead(opened)
    could = ~(season.true > season.level)
    could[:, :WEEKS_BELOW] = False
    lasts = begins & after_each_of(season.true > season.level, LASTS - 1)
    row |= {"announced": _share(weeks > 0, begins), "always": _share(weeks > 0, could)}
    row["lasting_announced"] = _share(weeks > 0, lasts)
    row["lead"] = float(np.median(weeks[begins & (weeks > 0)])) if (begins & (weeks > 0)).any() else np.nan
    return row | {f"ahead_{each}": _share(weeks >= each, begins) for each in range(1, ANNOUNCED_BEFORE + 1)}


def _mails(season: GroupSeason, told: "ToldSeason") -> Row:
    farms = len(season.true)
    opened = {rule: told.opened[rule] | told.again[rule] for rule in RULES}
    warned = lead(np.asarray(opened["soon"] | opened["rising"], np.bool_)) > 0
    counts = {
        "exceedances": exceedances(season.true, season.level),
        "weekly": np.ones(told.mean.shape, np.bool_),
        "when_needed": told.over | told.rising,
        "news": np.any(list(opened.values()), axis=0),
        "unannounced": opened["over"] & ~warned,
    }
    return {name: marks.sum() / farms for name, marks in counts.items()} | {"open": float(told.open.mean())}


def _places(season: GroupSeason, told: "ToldSeason", named: Row) -> list[Row]:
    """How many times the others' true mean the stations that stand out really have, where places stay as they are."""
    if season.places is None:
        return []
    mean = np.exp(season.places)
    times = (mean.shape[1] - 1) * mean / (mean.sum(axis=1, keepdims=True) - mean)
    farm, week = np.nonzero(told.opened["hot_station"] | told.again["hot_station"])
    really = times[farm, told.apart[farm, week] - 1]
    has, found = times.max(axis=1) >= 3, told.opened["hot_station"].any(axis=1)
    row = {"twice": _mean(really >= 2), "three_times": _mean(really >= 3), "found": _share(found, has)}
    return [named | {"alerts": len(really) / len(mean)} | row]


def _share(marks: Bools, of: Bools) -> float:
    return float((marks & of).sum() / of.sum()) if of.any() else np.nan


def _mean(marks: Bools) -> float:
    return float(marks.mean()) if marks.size else np.nan


def _together(seasons: Iterable[Sequence[Row]]) -> list[Row]:
    """Rows of the same words become one: the mean of each figure and its standard error, over seasons that have it."""
    alike: dict[tuple[tuple[str, str], ...], list[Row]] = {}
    for row in (row for rows in seasons for row in rows):
        words = tuple((name, value) for name, value in row.items() if isinstance(value, str))
        alike.setdefault(words, []).append(row)
    return [dict(words) | _means(rows) for words, rows in alike.items()]


def _means(rows: Sequence[Row]) -> Row:
    found: Row = {}
    for name in (name for name, value in rows[0].items() if not isinstance(value, str)):
        values = np.array([row[name] for row in rows], np.float64)
        values = values[~np.isnan(values)]
        found[name] = float(values.mean()) if values.size else None
        found[f"{name}_error"] = float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else None
    return found
