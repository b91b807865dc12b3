"""A line of the Monday list: whether to call a farm first, and why. Told in the active language.

The order is ours: over the action level first, surest and furthest over first; then what can only be asked; then what
is fine.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from alerts.models import Alert, Assessment, Told
from alerts.models.alert import Rule
from alerts.models.assessment import LevelWord, TrendWord
from alerts.selectors.farm_weeks import FarmWeek, share_of_level
from alerts.selectors.reasons import Proof, Reason, reason_of
from alerts.wording.numbers import day_phrase
from alerts.wording.outlook import weeks_to_crossing
from alerts.wording.places import facility_name
from alerts.wording.results import against_level, mean_phrase, methods_phrase, weeks_up_phrase

if TYPE_CHECKING:
    from farms.models import Farm

RECENT_WORK = timedelta(days=14)
SOON = 2  # weeks
NOT_TOLD = "untold"


class Verdict(StrEnum):
    """What to do about a farm, in the order of the list."""

    CALL = "call"
    ASK = "ask"
    FINE = "fine"


@dataclass(frozen=True)
class MondayRow:
    """One farm of the list: the verdict, the reasons in words, and the figures behind them.

    `weeks` are the last eight weekly means of what is told of, None = not counted; `level_word` its level this week.
    `closed`: to visits, by itself or with its region. `judged`: the week has a result. `told`: when
    and how the farm was told it, where that was noted. `last_round`: its day, None where none was walked; `days` since
    then or since the season opened, None out of season; `has_not_sent`: a round was due before today; `open_since`: the
    week from which on something is open.
    """

    farm: "Farm"
    verdict: Verdict
    reasons: tuple[Reason, ...]
    numbers: str
    facility_name: str
    weeks: tuple[float | None, ...]
    level_word: str
    alerts: tuple[Alert, ...]
    closed: bool = False
    judged: bool = True
    gets_mail: bool = True
    told: Told | None = None
    last_round: date | None = None
    days: int | None = None
    has_not_sent: bool = False
    open_since: date | None = None

    @property
    def untold(self) -> bool:
        """Whether there is a result that nobody of the farm has been told."""
        return self.judged and not self.gets_mail and self.told is None


def by_verdict(rows: Sequence[MondayRow]) -> list[tuple[Verdict, str, list[MondayRow]]]:
    """The list by its verdicts: verdict, heading, rows; without empty ones."""
    headings = {Verdict.CALL: _("Call first"), Verdict.ASK: _("Ask"), Verdict.FINE: _("Nothing pressing")}
    parts = [(verdict, headings[verdict], [row for row in rows if row.verdict == verdict]) for verdict in Verdict]
    return [part for part in parts if part[2]]


def in_parts(rows: Sequence[MondayRow]) -> list[tuple[str, str, list[MondayRow]]]:
    """The list as page and mail show it: ahead of the verdicts those who get no mail and were not told yet.

    They keep the list's order among themselves, and each says its verdict.
    """
    headings = {row.farm.id: heading for _verdict, heading, some in by_verdict(rows) for row in some}
    untold = [_with_verdict(row, headings[row.farm.id]) for row in rows if row.untold]
    parts: list[tuple[str, str, list[MondayRow]]] = [(NOT_TOLD, _("Not told yet"), untold)] if untold else []
    others = by_verdict([row for row in rows if not row.untold])
    return [*parts, *((verdict.value, heading, some) for verdict, heading, some in others)]


def _with_verdict(row: MondayRow, heading: str) -> MondayRow:
    told = () if row.verdict == Verdict.FINE else (Reason(heading[:1].lower() + heading[1:]),)
    return replace(row, reasons=(*row.reasons, *told))


def row_of(told: FarmWeek) -> MondayRow:
    """A farm's line of the list."""
    verdict, row = verdict_of(told), _row_told_of(told)
    place = facility_name(told.facilities[row.facility_id]) if row and row.facility_id else ""
    series = told.series[row.facility_id, row.method] if row else ()
    return MondayRow(
        farm=told.farm,
        verdict=verdict,
        reasons=tuple(reason for reason in _reasons(told, verdict, place) if reason),
        numbers=_numbers(row) if row else "",
        facility_name=place,
        weeks=tuple(each.mean if each else None for each in series),
        level_word=row.result if row else LevelWord.NONE.value,
        alerts=tuple(told.alerts),
        closed=told.closed,
        judged=bool(told.farm_rows),
        last_round=told.walks.last_round,
        days=told.days_without,
        has_not_sent=told.due_on is not None and told.due_on < told.day,
        open_since=min((alert.reopened_week or alert.opened_week for alert in told.alerts), default=None),
    )


def verdict_of(told: FarmWeek) -> Verdict:
    """Call where something is over its level, or rises towards it; ask where it can't be told or only watched.

    Rising is what the group's list names: beyond the week that all its farms share.
    """
    if (told.over and told.put_off_to is None) or _rising_near(told):
        return Verdict.CALL
    unknown = told.failed or told.is_overdue or _mostly_missing(told) or _is_unseen(told)
    watched = _rising(told) or _soon_over(told) or _open(told, Rule.OVER) is not None or _has_jumped(told)
    return Verdict.ASK if unknown or watched else Verdict.FINE


def _is_unseen(told: FarmWeek) -> bool:
    return any(_nobody_looked(alert) for alert in told.asking)


def _nobody_looked(alert: Alert) -> bool:
    """Whether a matter was told to the adviser since nobody on the farm looked at it, and still nobody has."""
    return alert.escalated_at is not None and getattr(alert, "seen_at", None) is None


def _has_jumped(told: FarmWeek) -> bool:
    return any(alert.rule == Rule.JUMP and alert.id in told.evidence for alert in told.alerts)


def _rising(told: FarmWeek) -> list[Assessment]:
    return [row for row in told.farm_rows.values() if row.method in told.listed and row.mean is not None]


def _rising_near(told: FarmWeek) -> list[Assessment]:
    return [row for row in _rising(told) if row.result == LevelWord.NEAR]


def _soon_over(told: FarmWeek) -> list[Assessment]:
    """What is likelier over its level than not within two weeks, if it goes on."""
    counted = [row for row in told.farm_rows.values() if row.mean is not None]
    return [row for row in counted if (weeks_to_crossing(row) or SOON + 1) <= SOON]


def order_of(told: FarmWeek) -> tuple[object, ...]:
    """Where a farm stands in the list: what sorts it among the others."""
    place = list(Verdict).index(verdict_of(told))
    return place, not told.over, not _is_sure(told), -_weight(told), told.farm.name


def _is_sure(told: FarmWeek) -> bool:
    """Whether the whole range of something over its level lies over it."""
    return any(row.low is not None and row.level is not None and row.low >= row.level for row in told.over)


def _weight(told: FarmWeek) -> float:
    """How far over, half as much again where it rises; else how near, else how long nobody who may come was there."""
    rows = told.over or [*told.facility_rows, *told.farm_rows.values()]
    share = max((share_of_level(row) for row in rows), default=0.0)
    days = 0 if told.closed else told.days_without or 0
    return share * (1.5 if _rising(told) else 1.0) + days / 1000


def _row_told_of(told: FarmWeek) -> Assessment | None:
    """What a farm's line is about: what is over, else what rises, else what is highest against its level."""
    first = next(iter((*told.over, *_rising(told), *_soon_over(told))), None)
    if first is not None:
        return first
    counted = [row for row in told.farm_rows.values() if row.mean is not None]
    return max(counted or told.farm_rows.values(), key=share_of_level, default=None)


def _reasons(told: FarmWeek, verdict: Verdict, place: str) -> list[Reason]:
    if told.failed:
        return [Reason(_("the check failed here and is tried again"))]
    rises = [Reason(words, Proof.SEASON, _rising_method(told)) for words in _rise(told)]
    days, unseen = Reason(_days(told) if told.is_overdue else "", Proof.ROUNDS), _unseen(told)
    if verdict == Verdict.CALL:
        doubt = Reason(_doubt(told), Proof.BUILDINGS)
        work = Reason(_work(told), Proof.WORK)
        return [_levels(told), *rises, Reason(place, Proof.BUILDINGS), doubt, days, unseen, work]
    if verdict == Verdict.ASK:
        jumped = _("a jump against its own past") if _has_jumped(told) else ""
        return [
            days,
            unseen,
            reason_of(told, _put_off(told), Rule.OVER),
            reason_of(told, jumped, Rule.JUMP),
            reason_of(told, _watched(told), Rule.OVER),
            Reason(_missing(told), Proof.ROUNDS),
            *rises,
            reason_of(told, _soon(told), Rule.SOON, _soon_over(told)),
            _last_seen(told),
        ]
    return [Reason(_fine(told), Proof.BUILDINGS)]


def _rising_method(told: FarmWeek) -> str:
    return next((row.method for row in (*_rising(told), *told.rising)), "")


def _unseen(told: FarmWeek) -> Reason:
    alert = next((alert for alert in told.asking if _nobody_looked(alert)), None)
    return Reason(_("nobody there has looked for a week"), Proof.MATTER, alert.id) if alert else Reason("")


def _levels(told: FarmWeek) -> Reason:
    """Cards over; cards near."""
    if told.over:
        return reason_of(told, _("{methods} over").format(methods=methods_phrase(told.over)), Rule.OVER, told.over)
    near = _rising_near(told)
    return Reason(_("{methods} near and rising").format(methods=methods_phrase(near)), Proof.SEASON, near[0].method)


def _rise(told: FarmWeek) -> list[str]:
    """Traps rising, where the reason before has not named them; third week up."""
    # What is over its level is told with its own weeks; what is not, only by the group's list.
    rising = told.rising if told.over else _rising(told)
    if not rising:
        return []
    named = {row.method for row in told.over or _rising_near(told)}
    others = [row for row in rising if row.method not in named]
    weeks = max(told.weeks_up(row.method) for row in rising)
    if others:
        return [_("{methods} rising").format(methods=methods_phrase(others)), weeks_up_phrase(weeks)]
    return [weeks_up_phrase(weeks) or (_("rising") if told.over else "")]


def _soon(told: FarmWeek) -> str:
    """Cards likely over within two weeks, where nothing before has named them."""
    rows = [] if told.over else [row for row in _soon_over(told) if row.method not in told.listed]
    return _("{methods} likely over within two weeks").format(methods=methods_phrase(rows)) if rows else ""


def _doubt(told: FarmWeek) -> str:
    return _("not certain") if told.over and not _is_sure(told) and _has_range(told) else ""


def _has_range(told: FarmWeek) -> bool:
    return any(row.low is not None for row in told.over)


def _days(told: FarmWeek) -> str:
    days = told.days_without
    return _("no round for {days} days").format(days=days) if days is not None else ""


def _work(told: FarmWeek) -> str:
    """Nothing noted since June 18; clean-out June 18."""
    if told.work is None:
        return _("no work noted")
    day = day_phrase(told.work.done_on)
    if told.day - told.work.done_on <= RECENT_WORK:
        return _("{work} {day}").format(work=told.work.label, day=day)
    return _("nothing noted since {day}").format(day=day)


def _put_off(told: FarmWeek) -> str:
    """Cards over, put off to July 14."""
    if not told.over or told.put_off_to is None:
        return ""
    words = _("{methods} over, put off to {day}")
    return words.format(methods=methods_phrase(told.over), day=day_phrase(told.put_off_to))


def _watched(told: FarmWeek) -> str:
    alert = _open(told, Rule.OVER)
    return _("was over, now below") if alert is not None and not told.over and not _not_counted(told) else ""


def _missing(told: FarmWeek) -> str:
    if not _mostly_missing(told):
        return ""
    missing = sum(row.missing for row in told.farm_rows.values())
    return _("{missing} of {all} without a count").format(missing=missing, all=missing + _devices(told))


def _last_seen(told: FarmWeek) -> Reason:
    """Last seen falling: what the trend was when it was last counted, where nothing was counted this week."""
    if not _not_counted(told):
        return Reason("")
    for method in told.farm_rows:
        before = told.before(method)
        if before is not None and before.trend in (TrendWord.RISING, TrendWord.FALLING):
            words = _("last seen rising") if before.trend == TrendWord.RISING else _("last seen falling")
            return Reason(words, Proof.SEASON, method)
        if before is not None and before.result == LevelWord.OVER:
            return Reason(_("last seen over"), Proof.SEASON, method)
    return Reason("")


def _fine(told: FarmWeek) -> str:
    counted = [row for row in told.farm_rows.values() if row.mean is not None]
    near = [row for row in counted if row.result == LevelWord.NEAR]
    if near:
        return _("{methods} near").format(methods=methods_phrase(near))
    if counted:
        return _("{methods} below").format(methods=methods_phrase(counted))
    if told.days_without is None:
        return _("out of season")
    return _("nothing counted") if told.closed else _("cards and traps hang, first counts to come")


def _numbers(row: Assessment) -> str:
    """118 specks a card (98 to 142), level 100."""
    return f"{mean_phrase(row)}{against_level(row)}" if row.mean is not None else ""


def _open(told: FarmWeek, rule: Rule) -> Alert | None:
    return next((alert for alert in told.alerts if alert.rule == rule), None)


def _devices(told: FarmWeek) -> int:
    return sum(row.devices for row in told.farm_rows.values())


def _mostly_missing(told: FarmWeek) -> bool:
    return sum(row.missing for row in told.farm_rows.values()) > _devices(told)


def _not_counted(told: FarmWeek) -> bool:
    return all(row.mean is None for row in told.farm_rows.values())


def count_of(rows: Sequence[MondayRow], verdict: Verdict) -> int:
    return sum(row.verdict == verdict for row in rows)
