"""The report's pictures, drawn from the figures as SVG text: statements about weeks and farms, a season's alerts."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.charts.palette import LIGHT
from server.calibrate.cells import Row
from server.calibrate.drawing import DASHES, MARGIN, WIDTH, Axis, Panel, line, percent, sheet, text

Figures = Mapping[str, Any]

# Where the plots begin below the title, and the height of a line of a strip of dots.
TOP, STEP = 70.0, 40.0
WINDOWS = (6, 8, 12)
LASTING = {0.0: "correlation 0", 0.5: "correlation 0.5"}
# Left and right half of the sheet, with room for the labels of values at the left of each.
HALVES = ((58.0, 338.0), (412.0, 692.0))

Strip = tuple[str, list[Row], str, tuple[float, float]]


def coverage(figures: Figures) -> str:
    """Every cell's coverage of the trend's intervals, a line for each kind of network and correlation."""
    kinds = {"large_network": "large network", "of_100": "networks of 100", "of_30": "networks of 30"}
    asked, rows = {0.0: (0.93, 0.97), 0.5: (0.92, 0.98)}, figures["trend"]["coverage"]
    strips: list[Strip] = [
        (f"{who}, {words}", _of(rows, correlation=lasts), kind, asked[lasts])
        for kind, who in kinds.items()
        for lasts, words in LASTING.items()
    ]
    strips += [
        (f"no network, {words}", _of(rows, correlation=lasts), "no_network", (0.92, 0.99))
        for lasts, words in LASTING.items()
    ]
    return _strips(
        "95 % intervals of the trend that hold the true growth",
        "A dot is a cell; in each line windows of 6, 8 and 12 weeks from above. The band is what was asked.",
        strips,
        (0.9, 1.0, 0.02),
    )


def gain(figures: Figures) -> str:
    """Every cell's gain over this week's level carried forward."""
    asked, rows = {0.0: (0.07, 1.0), 0.5: (0.03, 1.0)}, figures["forecast"]["two_weeks"]
    strips: list[Strip] = [
        (f"{words}, {stations} stations", _of(rows, correlation=lasts, stations=stations), "gain", asked[lasts])
        for lasts, words in LASTING.items()
        for stations in sorted({row["stations"] for row in rows})
        if _of(rows, correlation=lasts, stations=stations)
    ]
    return _strips(
        "How much better than carrying this week forward",
        "Less CRPS of the log, two weeks ahead. A dot is a cell; windows of 6, 8 and 12 weeks from above.",
        strips,
        (0.0, 0.3, 0.05),
    )


def _strips(title: str, about: str, strips: Sequence[Strip], ends: tuple[float, float, float]) -> str:
    """A line of dots for each strip: its name, rows, the figure, and what was asked of it."""
    first, last, step = ends
    bottom = TOP + STEP * len(strips)
    panel = Panel(Axis(first, last, 236, WIDTH - MARGIN - 14), Axis(0, len(strips), bottom, TOP))
    bands, dots = "", ""
    for place, (name, rows, figure, (low, high)) in zip(range(len(strips) - 1, -1, -1), strips, strict=True):
        bands += panel.area((low, place + 0.1), (high, place + 0.9))
        dots += text(name, MARGIN, panel.y(place + 0.5) + 5)
        for row in rows:
            aside = 8.0 * (WINDOWS.index(row["weeks"]) - 1)
            dots += panel.dot(row[figure], place + 0.5, radius=2.2, aside=aside)
    ticks = [first + step * number for number in range(round((last - first) / step) + 1)]
    return sheet(title, about, bottom + 34, bands, panel.posts(ticks, percent), dots)


def power(figures: Figures) -> str:
    """Farms named by their own test in the weeks after a rise began, beside level farms named meanwhile."""
    rows = _of(figures["rise"]["power"], missing=0.0)
    drawn = ""
    for (begin, end), lasts in zip(HALVES, LASTING, strict=True):
        panel = Panel(Axis(0.8, 5.3, begin, end), Axis(0.0, 1.0, 330, TOP + 34))
        drawn += panel.heading(LASTING[lasts]) + panel.rules((0, 0.25, 0.5, 0.75, 1), percent)
        drawn += panel.posts((1, 2, 3), lambda week: f"{week:g}") + text(
            "weekly checks since it began", begin, 376, soft=True
        )
        drawn += _power_lines(panel, _of(rows, correlation=lasts, weeks=8))
    about = "Farms double every two weeks after eight level weeks. Beside the lines: stations, sd of the shock."
    return sheet("Rising farms named by their own test", about, 386, drawn)


def _power_lines(panel: Panel, rows: list[Row]) -> str:
    drawn, ends = "", []
    for row, dash in zip(rows, DASHES, strict=False):
        for which, colour in (("", LIGHT.ink), ("level_", LIGHT.soft)):
            shares = [row[f"{which}network_after_1"], row[f"{which}network_after_2"], row[f"{which}network"]]
            pairs = list(enumerate(shares, start=1))
            drawn += panel.path(pairs, dash=dash, colour=colour)
            drawn += "".join(panel.dot(*pair, colour=colour, radius=2.4) for pair in pairs)
        ends.append((row["network"], f"{row['stations']} stations, {row['shock']:g}"))
    drawn += text("level farms", panel.x(3) + 8, panel.y(rows[0]["level_network"]) + 5, soft=True) if rows else ""
    return drawn + _labels(panel, ends)


def _labels(panel: Panel, ends: list[tuple[float, str]]) -> str:
    """Name lines at their right ends, kept apart."""
    drawn, lowest = "", -100.0
    for value, words in sorted(ends, reverse=True):
        lowest = max(panel.y(value) + 5, lowest + 15)
        drawn += text(words, panel.x(3) + 8, lowest)
    return drawn


def reliability(figures: Figures) -> str:
    """Probabilities beside how often it came, by the weeks of the window."""
    rows, drawn = figures["forecast"]["reliability"], ""
    names = {"over_now": "over the action level now", "over_in_two_weeks": "over it in two weeks"}
    for (begin, end), (what, words) in zip(HALVES, names.items(), strict=True):
        panel = Panel(Axis(0.0, 1.0, begin, end), Axis(0.0, 1.0, TOP + 34 + end - begin, TOP + 34))
        drawn += panel.heading(words) + panel.rules((0, 0.25, 0.5, 0.75, 1), percent)
        drawn += panel.posts((0, 0.25, 0.5, 0.75, 1), percent) + panel.below("chance told")
        drawn += line((panel.x(0), panel.y(0)), (panel.x(1), panel.y(1)), stroke=LIGHT.soft, dash="2 3")
        for number, row in enumerate(_of(rows, what=what)):
            pairs = [(told, came) for told, came, many in _steps(row) if many]
            drawn += panel.path(pairs, dash=DASHES[number % 3])
            drawn += "".join(panel.dot(*pair, radius=2.6) for pair in pairs)
            place = panel.y(0.26 - 0.09 * number)
            drawn += line(
                (panel.x(0.56), place - 5), (panel.x(0.66), place - 5), stroke=LIGHT.ink, dash=DASHES[number % 3]
            )
            drawn += text(f"{row['weeks']} weeks", panel.x(0.69), place)
    about = "How often it came, of farms that were told a chance. On the dotted line both are the same."
    return sheet("Chances that were told, and what came", about, TOP + 34 + HALVES[0][1] - HALVES[0][0] + 60, drawn)


def _steps(row: Row) -> list[tuple[float, float, float]]:
    return list(zip(row["told"], row["came"], row["number"], strict=True))


def false_names(figures: Figures) -> str:
    """False names on the group's list, by size of group and share of farms that rise."""
    rows, drawn = figures["group_list"]["lists"], ""
    highest = {0.0: 0.12, 0.5: 0.18}
    for (begin, end), lasts in zip(HALVES, LASTING, strict=True):
        sizes = sorted({row["farms"] for row in rows})
        panel = Panel(Axis(-0.5, len(sizes) - 0.5, begin, end), Axis(0.0, 0.25, 330, TOP + 34))
        drawn += panel.area((-0.5, 0.0), (len(sizes) - 0.5, highest[lasts]))
        drawn += panel.heading(LASTING[lasts]) + panel.rules((0, 0.05, 0.1, 0.15, 0.2, 0.25), percent)
        drawn += panel.below("farms in the group")
        for place, size in enumerate(sizes):
            drawn += text(f"{size:,}", panel.x(place), panel.y.begin + 20, anchor="middle", soft=True)
            for row in _of(rows, farms=size, correlation=lasts):
                drawn += _false_dot(panel, place, row)
    about = "From the left 0, 5 and 20 % of farms rise. The band is what was asked; lines: two standard errors."
    return sheet("False names on a group's list", about, 386, drawn)


def _false_dot(panel: Panel, place: int, row: Row) -> str:
    """A dot with its error, beside others of the group: by the share that rises, the shared shock, the window."""
    across = place + {0.0: -0.27, 0.05: 0.0, 0.2: 0.27}[row["rising"]]
    across += 0.06 * (row["shared"] > 0) + 0.03 * (row["window"] > 8) - 0.045
    low, high = (row["false_share"] + sign * 2 * row["false_share_error"] for sign in (-1, 1))
    return panel.whisker(across, max(low, 0.0), high) + panel.dot(across, row["false_share"], radius=2.4)


def fans(figures: Figures) -> str:
    """Three farms: what was counted, what was foretold, and what then came; each with values of its own size."""
    drawn, width = "", (WIDTH - MARGIN) / 3
    for number, farm in enumerate(figures["forecast"]["fans"]):
        top = 1.08 * max(farm["high"] + farm["counted"] + farm["came"])
        step = next(step for step in (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 10_000) if top / step <= 5)
        many, begin = len(farm["counted"]), 46 + width * number
        panel = Panel(Axis(1.0 - many, len(farm["came"]), begin, begin + width - 62), Axis(0, top, 300, TOP + 34))
        drawn += panel.heading(f"a {farm['kind']} farm")
        drawn += panel.rules([step * tick for tick in range(int(top / step) + 1)], lambda tick: f"{tick:g}")
        drawn += panel.posts((-8, -4, 0, 3), lambda week: f"{week:+g}".replace("-", "\u2212") if week else "now")
        drawn += panel.below("weeks")
        drawn += _fan(panel, farm)
    about = "Mean catch a station and week, the 80 % forecast three weeks ahead, and (rust) what was then counted."
    return sheet("What was foretold and what came", about, 356, drawn)


def _fan(panel: Panel, farm: Row) -> str:
    now = farm["counted"][-1]
    counted = [(week - len(farm["counted"]) + 1, value) for week, value in enumerate(farm["counted"])]
    low, middle, high = ([(0, now), *enumerate(farm[name], start=1)] for name in ("low", "median", "high"))
    drawn = panel.surface([*high, *reversed(low)])
    drawn += panel.path(middle, dash="2 3", colour=LIGHT.soft)
    drawn += panel.path(counted) + "".join(panel.dot(*pair, radius=2.6) for pair in counted)
    return drawn + "".join(panel.dot(*pair, colour=LIGHT.accent) for pair in enumerate(farm["came"], start=1))


def alerts(figures: Figures) -> str:
    """How often alerts of each rule were followed, and how early exceedances were announced, by the kind of group."""
    rows, rules, drawn = _of(figures["alerts"]["alerts"], setting="usual"), ("soon", "rising", "jump"), ""
    kinds = list(dict.fromkeys(row["kind"] for row in rows))
    many = len(kinds) * len(rules)
    bottom = TOP + 34 + 24.0 * many
    panel = Panel(Axis(0.0, 1.0, 150, 350), Axis(0.0, many, bottom, TOP + 34))
    drawn += panel.heading("alerts that were followed") + panel.posts((0, 0.25, 0.5, 0.75, 1), percent)
    for number, (kind, rule) in enumerate((kind, rule) for kind in kinds for rule in rules):
        (row,) = _of(rows, kind=kind, rule=rule)
        drawn += _followed(panel, many - number - 0.5, row, first=rule == rules[0])
    ahead = Panel(Axis(0.8, 4.2, 420, 600), Axis(0.0, 0.75, bottom, TOP + 34))
    drawn += ahead.heading("exceedances announced") + ahead.rules((0, 0.25, 0.5, 0.75), percent)
    drawn += ahead.posts((1, 2, 3, 4), lambda week: f"{week:g}") + ahead.below("weeks before, or more")
    drawn += _announced(ahead, _of(rows, rule="soon or rising"))
    about = "Left: over the level within two weeks; rust: any week not over. Right: by soon or rising."
    return sheet("What a season's alerts are worth", about, bottom + 60, drawn)


def _followed(panel: Panel, up: float, row: Row, *, first: bool) -> str:
    """A rule's line: its share with two standard errors, and a mark of rust for chance alone."""
    place = panel.y(up) + 5
    drawn = text(row["kind"], MARGIN, place, weight=600) if first else ""
    drawn += text(row["rule"], 96, place, soft=True)
    if row["by_chance"] is not None:
        drawn += panel.dot(row["by_chance"], up, colour=LIGHT.accent, radius=2.6)
    if row["followed"] is None:
        return drawn + text("none opened", panel.x(0.3), place, soft=True)
    off = 2 * (row["followed_error"] or 0.0)
    ends = [(panel.x(max(0.0, row["followed"] + sign * off)), panel.y(up)) for sign in (-1, 1)]
    return drawn + line(ends[0], ends[1]) + panel.dot(row["followed"], up)


def _announced(panel: Panel, rows: list[Row]) -> str:
    drawn, highest = "", panel.y.begin + 20
    for row in sorted(rows, key=lambda row: row["ahead_4"] or 0.0):
        pairs = [(float(week), row[f"ahead_{week}"] or 0.0) for week in (1, 2, 3, 4)]
        drawn += panel.path(pairs) + "".join(panel.dot(*pair, radius=2.4) for pair in pairs)
        # From below upwards, each name a line above the one before it.
        highest = min(panel.y(pairs[-1][1]) + 5, highest - 17)
        drawn += text(row["kind"], panel.x(4) + 10, highest)
    return drawn


def _of(rows: list[Row], **wanted: Any) -> list[Row]:
    return [row for row in rows if all(row[column] == value for column, value in wanted.items())]


@dataclass(frozen=True)
class Picture:
    """The part whose figures a picture needs, what it shows, and how it is drawn."""

    part: str
    shows: str
    draw: Callable[[Figures], str]


PICTURES: Mapping[str, Picture] = {
    "coverage": Picture("trend", "How many of the trend's intervals hold, cell by cell", coverage),
    "power": Picture("rise", "Rising and level farms named, check by check", power),
    "gain": Picture("forecast", "How much better forecasts are than this week carried forward", gain),
    "reliability": Picture("forecast", "Chances that were told beside how often it came", reliability),
    "fans": Picture("forecast", "Three farms: counted, foretold, and what came", fans),
    "alerts": Picture("alerts", "Alerts that were followed, and exceedances announced, by kind of group", alerts),
    "false-names": Picture("group_list", "False names by size of the group and share of risers", false_names),
}
