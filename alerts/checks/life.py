"""The life of alerts: what this week's results open, keep open and close. Decided here, stored in store.py."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from alerts.checks.alert_evidence import over_evidence, overdue_evidence, rising_evidence, signal_evidence
from alerts.checks.known import Change, KnownWeek, Matter, OpenAlert, PastResult, Result
from alerts.checks.occasion import Occasion
from alerts.checks.rules import over, overdue, quiet, rising
from alerts.checks.signals import BITS, ENDINGS
from alerts.models.alert import WAITS_FOR_VISITS, ClosedBecause, EventKind, Rule
from alerts.models.assessment import LevelWord
from alerts.rounds import season_on

# A state rather than a week's count: it is noted when it begins and when it ends.
NOT_NOTED_WEEKLY = frozenset({Rule.SITING.value})


def changes_of(known: KnownWeek, occasion: Occasion) -> list[Change]:
    """What happens to a farm's alerts this week."""
    day = occasion.day_on(known.farm)
    if season_on(known.walks.seasons, day) is None:
        return [_close(alert, ClosedBecause.SEASON_CLOSED) for alert in known.open]
    off = [alert for alert in known.open if not occasion.rules.is_on(alert.rule)]
    by_matter = {alert.matter: alert for alert in known.open if alert not in off}
    found = [_close(alert, ClosedBecause.SWITCHED_OFF) for alert in off]
    if occasion.rules.is_on(Rule.OVER):
        found += _over(known, occasion, by_matter)
    if occasion.rules.is_on(Rule.RISING):
        found += _rising(known, occasion, by_matter)
    found += _signalled(known, occasion, by_matter)
    if occasion.rules.is_on(Rule.OVERDUE):
        found += _overdue(known, occasion, by_matter.get((None, "", Rule.OVERDUE.value)), day)
    return found


def _over(known: KnownWeek, occasion: Occasion, by_matter: Mapping[Matter, OpenAlert]) -> Iterable[Change]:
    below = occasion.rules.number(Rule.OVER, "closes_below")
    for row in known.results:
        matter = (row.facility_id, row.method, Rule.OVER.value)
        alert, now = by_matter.get(matter), over_week(row)
        if alert is None:
            # Counts that all came more than two weeks late open no alert about the past.
            if over.opens(now) and not row.late and not _is_told_by_place(row, known, by_matter):
                yield _open(known, matter, over_evidence(row))
        elif alert.since_week == occasion.week and not over.opens(now):
            yield _close(alert, ClosedBecause.CORRECTED, over_evidence(row))
        elif over.closes([*(over_week(past) for past in _since(known, alert, row, occasion.week)), now], below):
            yield _close(alert, ClosedBecause.BACK_BELOW, over_evidence(row))
        else:
            yield _stay(alert, over_evidence(row))


def _is_told_by_place(row: Result, known: KnownWeek, by_matter: Mapping[Matter, OpenAlert]) -> bool:
    """Whether a farm's mean says what is told of one of its facilities: once, with its place.

    Where a method is used in one facility only, that facility's own level decides.
    """
    if row.facility_id is not None:
        return False
    hot = any(
        other.facility_id is not None and other.method == row.method and over.opens(over_week(other))
        for other in known.results
    )
    noted = any(place is not None and method == row.method and rule == Rule.OVER for place, method, rule in by_matter)
    return row.one_place or hot or noted


def _rising(known: KnownWeek, occasion: Occasion, by_matter: Mapping[Matter, OpenAlert]) -> Iterable[Change]:
    for row in known.results:
        matter = (None, row.method, Rule.RISING.value)
        if row.facility_id is not None:
            continue
        alert = by_matter.get(matter)
        if alert is None:
            if opens_by_rise(row, occasion.rise_bars):
                yield _open(known, matter, rising_evidence(row))
        elif alert.since_week == occasion.week and not rising.opens(row.trend):
            yield _close(alert, ClosedBecause.CORRECTED, rising_evidence(row))
        elif row.mean is not None and rising.closes(_trends([*_since(known, alert, row, occasion.week), row])):
            yield _close(alert, ClosedBecause.NO_LONGER_RISING, rising_evidence(row))
        else:
            yield _stay(alert, rising_evidence(row))


def opens_by_rise(row: Result, bars: Mapping[str, float] | None) -> bool:
    """Whether a farm's rise opens an alert: not before the group's bar is fixed, which holds false alarms down."""
    if bars is None or row.mean is None or row.late or row.p_rise is None:
        return False
    return rising.opens(row.trend) and row.p_rise <= bars.get(row.method, 0.0)


def _signalled(known: KnownWeek, occasion: Occasion, by_matter: Mapping[Matter, OpenAlert]) -> Iterable[Change]:
    """The rules that are a yes or no each week; they speak of whole farms."""
    for row in known.results:
        if row.facility_id is not None:
            continue
        for rule, bit in BITS.items():
            alert = by_matter.get((None, row.method, rule))
            if alert is not None:
                yield from _goes_on(known, row, alert, occasion)
            elif row.met & bit and not row.late and not (known.no_visitors and rule in WAITS_FOR_VISITS):
                yield _open(known, (None, row.method, rule), signal_evidence(row, rule))


def _goes_on(known: KnownWeek, row: Result, alert: OpenAlert, occasion: Occasion) -> Iterable[Change]:
    """What becomes of an open alert of such a rule. A week that can't say so changes nothing and isn't noted."""
    bit, ending = BITS[alert.rule], ENDINGS[alert.rule]
    met, evidence = bool(row.met & bit), signal_evidence(row, alert.rule)
    if alert.rule == Rule.SOON and row.result == LevelWord.OVER:
        yield _close(alert, ClosedBecause.OVER_NOW, evidence)
    elif not row.known & bit:
        return
    elif alert.since_week == occasion.week and not met:
        yield _close(alert, ClosedBecause.CORRECTED, evidence)
    elif quiet.ends([known.was_met.get(alert.id, True)], met=met, weeks=ending.weeks):
        yield _close(alert, ending.because, evidence)
    elif alert.rule not in NOT_NOTED_WEEKLY:
        yield _stay(alert, evidence)


def _overdue(known: KnownWeek, occasion: Occasion, alert: OpenAlert | None, day: date) -> list[Change]:
    late = overdue.opens(known.walks, day, occasion.rules.number(Rule.OVERDUE, "days"))
    evidence = overdue_evidence(known.walks, day)
    if alert is None:
        # Judged again because something arrived is no moment to say that nothing did.
        opens = late and not occasion.again and not known.no_visitors
        return [_open(known, (None, "", Rule.OVERDUE.value), evidence)] if opens else []
    if late:
        # Noted while the farm is closed to visits, too, and told to nobody: keys and feeds read what was noted, and a
        # gap in it would tell them of the closure.
        return [_stay(alert, evidence)]
    let_in = replace(known.walks, kept_out=frozenset())
    kept_out = overdue.opens(let_in, day, occasion.rules.number(Rule.OVERDUE, "days"))
    return [_close(alert, ClosedBecause.KEPT_OUT if kept_out else _why_not_overdue(known, alert), evidence)]


def _why_not_overdue(known: KnownWeek, alert: OpenAlert) -> ClosedBecause:
    """Where the last round is still the one that was noted, nobody counted: the group gives its farms more days now."""
    if known.walks.skipped_to is not None:
        return ClosedBecause.SKIPPED_AHEAD
    noted = known.last_rounds
    more_days = alert.id in noted and noted[alert.id] == known.walks.last_round
    return ClosedBecause.SWITCHED_OFF if more_days else ClosedBecause.COUNTED_AGAIN


def over_week(row: Result | PastResult) -> over.Week:
    share = None if row.mean is None or row.level is None else row.mean / row.level
    return over.Week(row.result, share, row.at_least)


def _trends(rows: Iterable[PastResult | Result]) -> list[str]:
    """The trends of the counted weeks."""
    return [row.trend for row in rows if row.mean is not None]


def _since(known: KnownWeek, alert: OpenAlert, now: Result, week: date) -> list[PastResult]:
    """The results of an alert's place after its opening and before this week, oldest first."""
    place = (now.facility_id, now.method)
    rows = [row for row in known.history if (row.facility_id, row.method) == place]
    return sorted((row for row in rows if alert.since_week < row.week < week), key=lambda row: row.week)


def _open(known: KnownWeek, matter: Matter, evidence: Mapping[str, object]) -> Change:
    return Change(EventKind.OPENED, known.farm.id, matter, evidence)


def _stay(alert: OpenAlert, evidence: Mapping[str, object]) -> Change:
    return Change(EventKind.STAYED, alert.farm_id, alert.matter, evidence, alert)


def _close(alert: OpenAlert, because: ClosedBecause, evidence: Mapping[str, object] | None = None) -> Change:
    return Change(EventKind.CLOSED, alert.farm_id, alert.matter, evidence or {}, alert, because.value)
