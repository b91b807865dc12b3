"""A region's past season in words, for a group's meeting: from stored reports only, no farm named, nobody ranked."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.wording.numbers import day_phrase
from alerts.wording.regions import AS_USUAL, RegionsWeek, ratio

Weeks = Sequence[tuple[date, RegionsWeek | None]]


def season_sentences(weeks: Weeks) -> list[str]:
    """What a method's season was: how many weeks were told, how many over, when the peak was."""
    numbers = [(week, row) for week, row in weeks if row is not None and row.disclosure == "numbers"]
    told = [_told(len(numbers), len(weeks))]
    normals = [(row.normal, week) for week, row in numbers if row.normal is not None]
    if normals:
        over = sum(normal > AS_USUAL[1] for normal, _week in normals)
        told.append(_of_weeks(_("Above their own normal: in {n} of {all} weeks."), over, len(normals)))
        told.append(_peak(*max(normals)))
    usual = [row for _week, row in numbers if row.normal is not None and row.usual_normal_high is not None]
    if usual:
        more = sum((row.normal or 0) > (row.usual_normal_high or 0) for row in usual)
        told.append(_of_weeks(_("More than in other years: in {n} of {all} weeks."), more, len(usual)))
    judged = [row for _week, row in weeks if row is not None and row.word]
    if judged:
        high = sum(row.word == "high" for row in judged)
        told.append(_of_weeks(_("Mean over the action level: in {n} of {all} weeks."), high, len(judged)))
    return told


def participation_sentence(share: float | None) -> str:
    """About 8 in 10 of the rounds that were due came."""
    if share is None:
        return _("How many rounds came: not told.")
    if share >= 0.9:
        return _("Nine in ten of the rounds that were due came, or more.")
    if share <= 0.1:
        return _("One in ten of the rounds that were due came, or fewer.")
    return _("About {tenths} in 10 of the rounds that were due came.").format(tenths=round(share * 10))


def no_prize() -> str:
    return _(
        "No farm is named here, nobody is ranked, and there is no prize for low counts: who counts honestly in a week "
        "of many flies helps all the others."
    )


def _told(numbers: int, weeks: int) -> str:
    words = ngettext("Told in numbers: {n} of {all} week.", "Told in numbers: {n} of {all} weeks.", weeks)
    return _of_weeks(words, numbers, weeks)


def _of_weeks(words: str, number: int, weeks: int) -> str:
    return words.format(n=number, all=weeks)


def _peak(normal: float, week: date) -> str:
    words = _("Highest in the week of {day}: {ratio} times their own normal.")
    return words.format(day=day_phrase(week), ratio=ratio(normal))
