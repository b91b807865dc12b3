"""How numbers, days and weeks are written on a page, in the reader's language. Templates: {% load words %}."""

from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID

from django import template
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.models.alert import EventKind
from alerts.wording import amount, growth_phrase
from alerts.wording.matters import TELLERS, matter_phrase
from alerts.wording.numbers import dated_label, day_label, day_phrase, weekday_phrase
from alerts.wording.regions import NOT_TOLD
from alerts.wording.regions import ratio as ratio_in_figures
from alerts.wording.results import heading
from monitoring.charts import weeks_line
from monitoring.methods import METHODS
from server.web.choices import label_of

register = template.Library()
# What somebody did about an open matter, as it stands behind its weeks.
WHAT_WAS_DONE = {
    "seen": gettext_lazy("seen"),
    "acknowledged": gettext_lazy("taken on"),
    "snoozed": gettext_lazy("put off"),
    "work_linked": gettext_lazy("work noted"),
    "escalated": gettext_lazy("adviser told"),
}


@register.filter
def rate(value: float | None) -> str:
    """118; 2.4 below ten; an empty text for no count, which the page explains in words."""
    return "" if value is None else amount(value)


@register.filter
def whole(number: int) -> str:
    """A whole number with its thousands apart: 12,500."""
    return number_format(number, force_grouping=True)


@register.filter
def short_day(day: date) -> str:
    """Jun 29; 29 jun."""
    return day_label(day)


@register.filter(expects_localtime=True)
def moment(at: datetime) -> str:
    """Aug 17, 05:30, in the time zone of the page; on one line."""
    return _on_one_line(f"{short_day(at)}, {at:%H:%M}") if at else ""


@register.filter(expects_localtime=True)
def full_day(day: date | datetime | None) -> str:
    """Jun 29, 2026; 29 jun 2026: a day that may lie in another year. Nothing for none."""
    return dated_label(day.date() if isinstance(day, datetime) else day) if day else ""


@register.filter(expects_localtime=True)
def full_moment(at: datetime | None) -> str:
    """Aug 17, 2026, 05:30, in the time zone of the page; on one line. Nothing for none."""
    return _on_one_line(f"{full_day(at)}, {at:%H:%M}") if at else ""


def _on_one_line(told: str) -> str:
    return told.replace(" ", "\N{NO-BREAK SPACE}")


@register.filter
def long_day(day: date) -> str:
    """Monday, June 29."""
    return weekday_phrase(day)


@register.filter
def week_of(monday: date) -> str:
    """Week of June 29."""
    return _("week of %(day)s") % {"day": day_phrase(monday)}


@register.filter
def week_span(monday: date) -> str:
    """June 29 to July 5, for the one place where it helps."""
    ends = monday + timedelta(days=6)
    return _("%(first)s to %(last)s") % {"first": short_day(monday), "last": short_day(ends)}


@register.filter
def method_name(code: str) -> str:
    """Spot cards."""
    return str(METHODS[code].name)


@register.filter
def unit(code: str) -> str:
    """Specks a card."""
    return str(METHODS[code].unit)


@register.filter
def days_up(days: int | None) -> str:
    if days is None:
        return ""
    return ngettext("up for %(days)d day", "up for %(days)d days", days) % {"days": days}


@register.filter
def line_of_weeks(weeks: Any, level: str | None = None) -> SafeString:
    """The small line beside a sentence; the sentence says what it shows."""
    return _line_of_weeks(tuple(weeks), level) if len(weeks) else mark_safe("")


@lru_cache(maxsize=2_000)
def _line_of_weeks(weeks: tuple[float | None, ...], level: str | None) -> SafeString:
    """The same weeks give the same line, so it is drawn once: a Monday list has 300, and is looked at again."""
    return mark_safe(weeks_line(weeks, level=level))  # type: ignore[arg-type]  # noqa: S308 - drawn by us, texts escaped


@register.filter
def at(mapping: dict[Any, Any], key: str | UUID) -> Any:
    """mapping[key], for a template."""
    return mapping.get(key)


@register.filter
def level_name(result: str) -> str:
    """below; near; at or over; not counted."""
    return str(label_of("alerts.Assessment", "result", result))


@register.filter
def alert_title(alert: Any) -> str:
    """Cards over the action level, calf barn."""
    rule = str(label_of("alerts.Alert", "rule", alert.rule))
    what = f"{heading(alert.method)}: {rule}" if alert.method else rule
    title = f"{what}, {alert.facility.name}" if alert.facility_id and alert.facility else what
    return title[:1].upper() + title[1:]


@register.filter
def share_of_card(fraction: Any) -> str:
    """half; a quarter; 0.33 of it."""
    words = {0.5: _("half of it"), 0.25: _("a quarter of it"), 0.125: _("an eighth of it")}
    part = float(fraction)
    return words.get(part) or _("%(part)s of it") % {"part": number_format(part, 2)}


@register.filter
def exposure_of(reading: Any) -> str:
    """In 7 days."""
    days = (reading.taken_on - reading.hung_on).days
    return ngettext("in %(days)d day", "in %(days)d days", days) % {"days": days}


@register.filter
def band(contributors: str) -> str:
    """A report's band of owners, as the report stores it in English."""
    bands = {"10 to 14": _("10 to 14"), "15 to 19": _("15 to 19"), "20 or more": _("20 or more")}
    return bands.get(contributors, contributors)


@register.filter
def region_word(word: str) -> str:
    words = {"low": _("low"), "middle": _("middle"), "high": _("high")}
    return words.get(word, word)


@register.filter
def soft_mark(told: str) -> str:
    """What is told as it is; the mark of what isn't in soft letters, wherever it stands."""
    return format_html('<span class="soft">{}</span>', told) if told == str(NOT_TOLD) else told


@register.filter
def share_or_mark(share: float | str | None) -> str:
    """About 3 in 10; not told, for whatever reason: also where a template found no report."""
    if share is None or isinstance(share, str):
        return soft_mark(str(NOT_TOLD))
    return _("about %(tenths)d in 10") % {"tenths": round(share * 10)}


@register.filter
def ratio(value: float) -> str:
    """1.3 times the own normal, without the times."""
    return ratio_in_figures(value)


@register.filter
def third_name(third: int) -> str:
    """Lower third; middle third; upper third."""
    return str(label_of("monitoring.Contribution", "third", third))


@register.filter
def evidence_in_words(event: Any) -> str:
    """What was known when an alert opened, stayed or closed: mean 118, action level 100."""
    known = event.evidence
    if known.get("until"):
        return _("to %(day)s") % {"day": long_day(date.fromisoformat(known["until"]))}
    if known.get("rule") in TELLERS:
        return _signal_in_words(known)
    if known.get("growth") is not None:
        return _growth_in_words(event)
    if known.get("mean") is not None and known.get("level") is not None:
        return _("mean %(mean)s, action level %(level)s") % {"mean": rate(known["mean"]), "level": rate(known["level"])}
    if known.get("days") is not None:
        days = int(known["days"])
        return ngettext("%(days)d day without a round", "%(days)d days without a round", days) % {"days": days}
    return ""


def _signal_in_words(known: dict[str, Any]) -> str:
    """What a rule that is a yes or no each week went by; of a no, the mean."""
    told = matter_phrase(known["rule"], known["method"], known)
    if told or known.get("mean") is None:
        return told
    return _("mean %(mean)s") % {"mean": rate(known["mean"])}


def _says_how_fast(event: Any) -> bool:
    low, high = event.evidence.get("growth_low"), event.evidence.get("growth_high")
    return low is not None and high is not None and (low > 0 or high < 0)


def _growth_in_words(event: Any) -> str:
    """How fast it rose, where its range holds no standstill, as the result itself says it."""
    if _says_how_fast(event):
        return growth_phrase(event.evidence["growth"])
    return _("no clear trend") if event.kind == EventKind.CLOSED else _("how fast is too early to say")


@register.filter
def days_short(days: int) -> str:
    """7 days."""
    return ngettext("%(days)d day", "%(days)d days", days) % {"days": days}


@register.filter
def few_counted(row: Any) -> str:
    """Few cards: what a mean of fewer than five is marked with."""
    words = {"card": _("few cards"), "trap": _("few traps"), "leg": _("few animals")}
    return words[row.method]


@register.filter
def says_something(siting: Any) -> bool:
    """Whether how a station hangs is worth a word beside its count."""
    return siting is not None and (siting.near != "nothing" or siting.windy or siting.out_of_reach is False)


@register.filter
def history_in_words(events: Any) -> str:
    """Since the week of April 20 (mean 112, action level 100); stayed for 3 weeks; seen."""
    began = max(place for place, event in enumerate(events) if event.kind in ("opened", "reopened"))
    first, kinds = events[began], [event.kind for event in events[began:]]
    stayed = kinds.count("stayed")
    # How fast it rises may have been too early to say when it opened; that is no news weeks later.
    outdated = stayed and first.evidence.get("growth") is not None and not _says_how_fast(first)
    known = "" if outdated else evidence_in_words(first)
    parts = [_("since the %(week)s") % {"week": week_of(first.week)} + (f" ({known})" if known else "")]
    if stayed:
        parts.append(ngettext("stayed for %(weeks)d week", "stayed for %(weeks)d weeks", stayed) % {"weeks": stayed})
    parts += [str(WHAT_WAS_DONE[kind]) for kind in WHAT_WAS_DONE if kind in kinds]
    return "; ".join(parts)
