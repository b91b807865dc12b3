"""Where a farm's counts are going, in words: its trend, the weeks ahead, and how sure that is."""

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.models import Assessment
from alerts.models.assessment import WEEKS_FOR_A_TREND, TrendWord
from alerts.wording.numbers import amount, growth_phrase
from monitoring.analysis.forecast import HORIZON, IN_SIGHT, NOT_IN_SIGHT, OVER_NOW

# Chances nearer to certain than this are not told as doubt.
SURE = 0.95
TWO_WEEKS = 2


def trend_text(row: Assessment) -> str:
    """Where the farm's counts are going, or why that can't be told yet."""
    if row.trend == TrendWord.TOO_EARLY:
        return _why_too_early(row)
    if row.trend == TrendWord.RISING:
        return _rising(row)
    if row.trend == TrendWord.FALLING:
        return _falling(row)
    if row.trend and is_steady(row) and row.growth is not None:
        return _("Slowly, but steadily: {growth}, over the last eight weeks.").format(growth=growth_phrase(row.growth))
    return _("No clear trend over the last eight weeks.") if row.trend else ""


def _why_too_early(row: Assessment) -> str:
    why = row.evidence.get("trend", "")
    if why == "too_few_counts":
        return _("Trend: can't tell, too few were caught.")
    if row.weeks_observed >= WEEKS_FOR_A_TREND:
        return _("Trend: can't tell, too few cards or traps were counted in more than one week.")
    counted = {"weeks": row.weeks_observed, "needed": WEEKS_FOR_A_TREND}
    return _("Trend: too early, {weeks} of {needed} weeks.").format(**counted)


def _rising(row: Assessment) -> str:
    if row.growth is None or row.growth_low is None or row.growth_low <= 0:
        return _("Rising, more than this farm's own weeks explain; how fast is too early to say.")
    return _("Rising: {growth}, over the last eight weeks.").format(growth=growth_phrase(row.growth))


def _falling(row: Assessment) -> str:
    if row.growth is None or row.growth_high is None or row.growth_high >= 0:
        return _("Falling, more than this farm's own weeks explain; how fast is too early to say.")
    return _("Falling: {growth}, over the last eight weeks.").format(growth=growth_phrase(row.growth))


def is_steady(row: Assessment) -> bool:
    """Whether the range of the growth over eight weeks holds no standstill."""
    if row.growth_low is None or row.growth_high is None:
        return False
    return row.growth_low > 0 or row.growth_high < 0


def chances_phrase(probability: float) -> str:
    """7 chances in 10."""
    if probability < 1 - SURE:
        return _("less than 1 chance in 10")
    if probability > SURE:
        return _("more than 9 chances in 10")
    tenths = min(max(round(10 * probability), 1), 9)
    return ngettext("{n} chance in 10", "{n} chances in 10", tenths).format(n=tenths)


def over_chance_phrase(row: Assessment) -> str:
    """About 7 chances in 10 that the true mean is over it; empty where it is as good as certain, or can't be told."""
    probability = row.over_probability
    if probability is None or not 1 - SURE <= probability <= SURE:
        return ""
    return _("About {chances} that the true mean is over it.").format(chances=chances_phrase(probability))


def crossing_phrase(row: Assessment) -> str:
    """If it goes on like this it is likely over your action level in two weeks; empty where that is not in sight."""
    weeks = weeks_to_crossing(row)
    if weeks is None or row.level is None:
        return ""
    told = ngettext(
        "If it goes on like this, it is likely over your action level of {level} in a week.",
        "If it goes on like this, it is likely over your action level of {level} in {weeks} weeks.",
        weeks,
    )
    return told.format(level=amount(row.level), weeks=weeks)


def back_below_phrase(row: Assessment) -> str:
    """In two weeks it is likelier below than over; empty where it is not over now, or will hardly be below."""
    ahead = weeks_ahead(row, TWO_WEEKS)
    if row.outlook.get("crossing", {}).get("word") != OVER_NOW or ahead is None:
        return ""
    over = ahead["over"]
    return _("In two weeks it is likelier below than over.") if over is not None and over < 1 / 2 else ""


def weeks_ahead(row: Assessment, weeks: int) -> dict[str, Any] | None:
    """What is expected so many weeks ahead, as stored: median, low, high, over; None where nothing can be said."""
    return next((each for each in row.outlook.get("ahead", ()) if each["weeks"] == weeks), None)


def weeks_to_crossing(row: Assessment) -> int | None:
    """In how many weeks the level is likely crossed; None where that is not in sight."""
    crossing = row.outlook.get("crossing", {})
    return int(crossing["weeks"]) if crossing.get("word") == IN_SIGHT else None


def crossing_in_words(row: Assessment) -> str:
    """When the level is likely crossed, with its range: Likely over the level of 100 in 2 weeks (1 to more than 6)."""
    crossing = row.outlook.get("crossing", {})
    word, level = crossing.get("word"), amount(row.level) if row.level is not None else ""
    if word == OVER_NOW:
        return _("Over the level of {level} now; {chances} in three weeks.").format(level=level, chances=_last(row))
    if word == NOT_IN_SIGHT:
        words = _("Not likely over the level of {level} within six weeks; {chances} in three weeks.")
        return words.format(level=level, chances=_last(row))
    if word != IN_SIGHT:
        return ""
    latest = str(crossing["latest"]) if crossing["latest"] else _("more than {weeks}").format(weeks=HORIZON)
    told = ngettext(
        "Likely over the level of {level} in {weeks} week ({soonest} to {latest}).",
        "Likely over the level of {level} in {weeks} weeks ({soonest} to {latest}).",
        crossing["weeks"],
    )
    return told.format(level=level, weeks=crossing["weeks"], soonest=crossing["soonest"], latest=latest)


def _last(row: Assessment) -> str:
    """The chances to be over in the last of the weeks told."""
    return chances_phrase(row.outlook["ahead"][-1]["over"] or 0.0)


def list_promise() -> str:
    """What the adviser's list promises of the rises that it names."""
    return _(
        "A farm is named as rising where it rises beyond the week that all farms of the group share. On average over "
        "many weeks about one such name in ten is false; in a week in which no farm rises, every name is."
    )
