"""What the report says of each part, and which columns its tables show."""

from collections.abc import Mapping
from dataclasses import dataclass, field

HEAD = """\
# What the statistics promise, measured

Written by `python3 manage.py calibrate`; the same command gives the same report. All farms are simulated: what was
so is known, so it can be counted how often a statement about it held. Nothing here says that real farms behave like
simulated ones; the section on weather shows how far the statements hold where nothing is as they assume.

Unless it is said otherwise a farm's counts are negative-binomial with k 1.5 about a mean of 40 a station and week,
places differ by a log standard deviation of 0.6, and in each week a shock moves all stations of a farm together: its
log has the standard deviation named *shock* and the named *correlation* with the week before. *Missing* is the share
of cards lost. What a farm borrows comes from the twelve weeks of an earlier quarter of its network, in which 40 % of
the farms were level, 30 % rose and 30 % fell. Figures are in per cent; "s.e." is the standard error of simulation."""


@dataclass(frozen=True)
class Table:
    """Rows of the figures as a table: names of columns and their headings; `plain` ones are not in per cent."""

    rows: str
    title: str
    columns: Mapping[str, str]
    plain: frozenset[str] = frozenset()
    about: str = ""


@dataclass(frozen=True)
class Section:
    """A part of the report; `about` may name {size} and other figures of the part."""

    title: str
    about: str
    tables: tuple[Table, ...] = field(default_factory=tuple)


CELL = {"stations": "stations", "shock": "shock", "correlation": "correlation", "weeks": "weeks", "missing": "missing"}
_PLAIN = frozenset(CELL)


def _of_cells(rows: str, title: str, measured: Mapping[str, str], about: str = "") -> Table:
    return Table(rows, title, {**CELL, **measured}, _PLAIN, about)


_TREND = Section(
    "The trend's 95 % interval",
    "{size} farms a cell, half of them level, the others growing or falling by up to a quarter a week. A large network "
    "has 5,000 farms; small ones are many networks of that size, each with figures of its own.",
    (
        _of_cells(
            "coverage",
            "Intervals that hold the true growth",
            {
                "large_network": "large network",
                "level": "its level farms",
                "growing": "its growing farms",
                "of_100": "of 100",
                "of_30": "of 30",
                "no_network": "no network",
            },
        ),
    ),
)
_RISE = Section(
    "The farm's own test",
    "{size} farms a cell. A level farm is called rising by chance in one check of twenty, so within three checks more "
    "often: that stands in the table of power.",
    (
        _of_cells(
            "power",
            "Farms named within three weekly checks",
            {
                "network": "rising",
                "level_network": "level",
                "printed": "rising, printed figures",
                "level_printed": "level, printed figures",
            },
            "The rising ones double every two weeks, from the week before the first check on.",
        ),
        _of_cells(
            "false_alarms",
            "Level farms called rising in one check",
            {"network": "with a network", "printed": "printed figures"},
        ),
        _of_cells(
            "unlike",
            "The same where farms' shocks differ (log sd 0.5)",
            {"quietest": "quietest third", "noisiest": "noisiest third", "all": "all"},
            "Thirds by the true shock. Bars are for correlation 0.",
        ),
        _of_cells(
            "few_catches",
            "The same where little is caught",
            {f"{what}_{catch}": f"{name} {catch}" for catch in (1, 3, 10, 40) for what, name in
             (("told", "told at"), ("catch", "alarms at"))},
            "By the mean catch a station and week: farms of which anything is told, and alarms among them.",
        ),
    ),
)  # fmt: skip
_TWO_WEEKS = {
    "covers": "80 % holds",
    "level": "level",
    "rising": "rising",
    "falling": "falling",
    "gain": "CRPS less by",
    "over_now": "error, over now",
    "over_in_two_weeks": "error, over in two weeks",
}
_FORECAST = Section(
    "Forecasts two weeks ahead",
    "{size} farms a cell, 40 % level, 30 % rising, 30 % falling, changes going on. What is foretold is the mean that a "
    "full round counts on the stations of the newest week. It is compared with this week's level carried forward with "
    "the farm's own scatter, by the continuous ranked probability score (CRPS) of the log. The error of a chance is "
    "the expected calibration error over tenths, with action levels from half to twice the usual mean.",
    (
        _of_cells("two_weeks", "With a large network", _TWO_WEEKS),
        _of_cells("printed", "Without a network: printed figures", _TWO_WEEKS),
    ),
)
_GROUP_LIST = Section(
    "The group's list",
    "{size} simulated weeks of groups of 20 and 300 farms, a fifth of it of 20,000. Farms have nine stations and a "
    "shock of 0.3 of their own; *shared* is the standard deviation of a shock that all farms share. What is lent is "
    "fitted beside it. Risers have doubled every two weeks for three weeks. False names are the mean over weeks of "
    "false names / max(1, names): where none rise, every name is false, and the figure is the share of weeks with any "
    "name. In groups of 20,000 errors of counting come from a stock of fitted farms, and the list is the same whatever "
    "shock they share.",
    (
        Table(
            "lists",
            "False names, and risers named",
            {
                "farms": "farms",
                "window": "weeks",
                "correlation": "correlation",
                "shared": "shared",
                "rising": "rise",
                "simulated": "simulated",
                "false_share": "false names",
                "false_share_error": "s.e.",
                "names": "names a week",
                "power": "risers named",
            },
            frozenset({"farms", "window", "correlation", "shared", "simulated", "names"}),
        ),
    ),
)


_OWN_PAST = Section(
    "The farm against its own past",
    "Without bars. {size} level farms a cell, followed for 150 weeks: how many weeks on average until the smoothed "
    "line first leaves its limits, which are drawn for 50; and how many farms that begin to double every two weeks are "
    "above them within three and four weeks. Alone, the printed correlation of weeks stands in for the network's.",
    (
        Table(
            "chart",
            "Weeks to the first signal of a level farm, and farms that rise seen",
            {name: heading for name, heading in CELL.items() if name != "weeks"}
            | {
                "run_length": "weeks, with a network",
                "after_3": "seen in 3",
                "after_4": "seen in 4",
                "alone_run_length": "weeks, alone",
                "alone_after_3": "alone in 3",
                "alone_after_4": "alone in 4",
            },
            _PLAIN | {"run_length", "alone_run_length"},
        ),
    ),
)


def _shares(rows: str, title: str, about: str = "") -> Table:
    return Table(rows, title, {"what": "", "share": "share", "of": "of"}, frozenset({"of"}), about)


_WEATHER = Section(
    "Where weather drives the flies",
    "Without bars. {seasons} simulated seasons of groups of {size} farms: eggs, maggots and flies follow each day's "
    "temperatures, which neighbouring regions share; places are seen unlike, cards are lost, only a quarter of full "
    "ones is counted; a tenth of the farms leave a corner uncleaned, a fifth clean out, a fifth spray. In June the "
    "printed figures hold, from July on those of the spring's weeks. The list has {names_a_week:.2f} names a week.",
    (
        _shares(
            "own_test",
            "Farms called rising by their own test",
            "By what the farm's flies really did over three weeks. Weather moves all farms, rightly told.",
        ),
        _shares("forecast", "80 % forecasts two weeks ahead that held what was counted"),
        _shares(
            "by_a_summer",
            "The same with figures of another season's summer",
            "A quiet spring lends no growth; forecasts then take that of the printed figures.",
        ),
        _shares("list", "The group's list"),
        _shares("corner", "Farms with a corner that is not cleaned any more, named within eight weeks"),
    ),
)
_WHO = {"kind": "group", "setting": "numbers", "rule": "rule"}
_ALERTS = Section(
    "A season's alerts",
    "Without bars. {seasons} simulated seasons of each kind of group of {size} farms with nine cards, checked each "
    "Monday by the weekly check's own functions; figures are means over seasons. *Level* farms stay about a usual "
    "level of their own (log sd 0.4, shocks 0.3, correlation 0.2); of *outbreaks* a fifth multiply by four for some "
    "weeks; *shared* have a shock of 0.3 that all of them share besides; *weather* has the 22 weeks of the section "
    "above under an action level of 35, since its flies leave fewer specks. There the true level is that of usual "
    "cards without the farm's own shocks, so that what is counted says more of its alerts. Until the 13th week the "
    "printed figures are borrowed, from then on the group's own. Numbers are *usual*, or *fewer* (soon within 1 week, "
    "rising at a false share of 5 %, jump at a chance of 0.1 %, a station 6 times the others) and *more* (3 weeks, "
    "20 %, 2 %, 3 times) alerts.",
    (
        Table(
            "alerts",
            "Alerts, and what came of them",
            _WHO
            | {
                "alerts": "a farm",
                "again": "again",
                "followed": "followed",
                "followed_error": "s.e.",
                "counted": "by count",
                "by_chance": "any week",
                "announced": "announced",
                "announced_error": "s.e.",
                "always": "any week",
                "lasting_announced": "of lasting ones",
                "lasting_announced_error": "s.e.",
                "lead": "lead",
                "lead_error": "s.e.",
            },
            frozenset({"alerts", "again", "lead", "lead_error"}),
            "*A farm*: opened a farm and season, and opened *again* within three weeks of their end. *Followed*: by a "
            "true mean over the level within two weeks, or *by count*; beside them how often any counted week that is "
            "not over is. *Announced*: exceedances (the true mean passes the level after two weeks that were not over) "
            "with an alert of the rule in the four weeks before; beside it how many weeks not over have one, and the "
            "same of exceedances that last three weeks. *Lead* is the median, in weeks between the week judged and the "
            "week that is over.",
        ),
        Table(
            "mails",
            "Mails, and what is open",
            {
                "kind": "group",
                "exceedances": "exceedances",
                "weekly": "weekly mails",
                "when_needed": "when needed",
                "when_needed_error": "s.e.",
                "news": "weeks with news",
                "unannounced": "over unannounced",
                "unannounced_error": "s.e.",
                "open": "open",
            },
            frozenset(
                {
                    "exceedances",
                    "weekly",
                    "when_needed",
                    "when_needed_error",
                    "news",
                    "unannounced",
                    "unannounced_error",
                    "open",
                }
            ),
            "A farm and season; *open* alerts a farm and week. One weekly mail an owner, or, where its reader chose "
            "so, *when needed* only. An alert over the level that nothing announced is all that could be worth a mail "
            "between two Mondays: *over unannounced* is the most that there can be of them.",
        ),
        Table(
            "places",
            "Stations that stand out, beside their true places",
            {
                "kind": "group",
                "setting": "numbers",
                "alerts": "a farm",
                "twice": "truly twice",
                "three_times": "truly three times",
                "found": "found",
            },
            frozenset({"alerts"}),
            "How many times the mean of the others the named stations truly catch, and how many farms with one of "
            "three times and more were told of a station. Their places differ by a log standard deviation of 0.6.",
        ),
    ),
)
_MEAN = {"devices": "devices", "way": "counted", "mean": "mean"}
_MEAN_PLAIN = frozenset({"devices", "mean", "k", "cap", "factor"})
_COVERS = {"covers": "holds", "too_high": "too high", "too_low": "too low", "factor": "upper / lower"}
_AT_LEAST = _MEAN | {"cap": "at least from"} | _COVERS
_FARM_MEAN = Section(
    "The farm's mean and its 95 % interval",
    "{size} farms a cell; *counted* says how: all, a quarter of each card, a quarter of full ones, traps by the cup.",
    (
        Table("averages", "Averaged over k from 0.8 to 4", _MEAN | {"covers": "holds"}, _MEAN_PLAIN),
        Table("counted", "By k", _MEAN | {"k": "k"} | _COVERS, _MEAN_PLAIN),
        Table("at_least", "With at-least counts, k varying as the network's", _AT_LEAST, _MEAN_PLAIN),
        Table("at_least_uneven", "With at-least counts, k 0.8", _AT_LEAST, _MEAN_PLAIN),
        Table("places", "Places that differ by 0.6, k 1.5", _AT_LEAST, _MEAN_PLAIN),
    ),
)
_LEGS = {
    "k": "k",
    "planned_k": "planned k",
    "level": "level",
    "share": "mean / level",
    "day_sd": "day",
    "wrong": "wrong",
}
_LEGS_PLAIN = frozenset({"k", "planned_k", "level", "share", "day_sd", "animals"})
_LEG_VERDICT = Section(
    "The running verdict on leg counts",
    "{size} sessions a cell. *Day* is the standard deviation of an effect of the day that all animals share: the "
    "verdict is one about these animals today, and *wrong today* is judged by the day's own mean.",
    (
        Table(
            "as_used",
            "Ten to 15 animals",
            _LEGS | {"wrong_today": "wrong today", "not_clear": "not clear", "animals": "animals"},
            _LEGS_PLAIN,
        ),
        Table("without_truncation", "Until a line is crossed", _LEGS | {"animals": "animals"}, _LEGS_PLAIN),
    ),
)
_WORK = {
    "stations": "stations",
    "others": "others",
    "places": "places",
    "before": "weeks before",
    "after": "weeks after",
    "mean": "mean",
    "k": "k",
    "missing": "missing",
    "correlation": "correlation",
    "own": "own shock",
    "own_correlation": "its correlation",
    "left": "left",
    "covers": "holds",
    "factor": "times, over",
    "shown": "fewer shown",
    "shown_more": "more shown",
    "told": "told",
}
_WORK_PLAIN = frozenset(_WORK) - {"covers", "shown", "shown_more", "missing", "told", "left"}


def _of_works(rows: str, title: str, about: str = "") -> Table:
    return Table(rows, title, _WORK, _WORK_PLAIN, about)


_WORK_EFFECT = Section(
    "Whether a work helped",
    "{size} farms a cell, with a work that leaves the share named *left* of the flies: how often the 95 % interval "
    "holds that share, half its width as a factor, how often it shows fewer or more flies at all, and of how many "
    "farms anything is told. *Stations* stand where the work was done, *others* in the other *places* (barns, lots); "
    "an *own shock* moves one place alone.",
    (
        _of_works("asked", "Beside stations where nothing was done"),
        _of_works(
            "places",
            "Farms of two to five places",
            "From few cards to many, even and uneven counts. Where one barn alone is moved by what lasts for weeks, no "
            "counts of two or three weeks can tell that from the work: intervals hold a little less often there, and a "
            "little more often where nothing does.",
        ),
        _of_works("nothing", "The same with a work that does nothing", "Each side should be shown 2.5 times in 100."),
        _of_works("beyond", "Further from what is usual"),
        _of_works("alone", "Before and after alone"),
        _of_works("when_high", "Done because a week was high"),
        _of_works("not_known", "Where it can't be known", "What is *told* of the rest is all that should be."),
    ),
)

SECTIONS: Mapping[str, Section] = {
    "trend": _TREND,
    "rise": _RISE,
    "forecast": _FORECAST,
    "group_list": _GROUP_LIST,
    "own_past": _OWN_PAST,
    "weather": _WEATHER,
    "alerts": _ALERTS,
    "farm_mean": _FARM_MEAN,
    "leg_verdict": _LEG_VERDICT,
    "work_effect": _WORK_EFFECT,
}
