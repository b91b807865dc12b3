"""What a label's re-entry time may be, and which days it takes out of a farm's rounds. Pure functions."""

from collections.abc import Collection, Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_lazy as _

from farms.clock import local_date
from farms.errors import Detail

LONGEST = timedelta(days=60)
FURTHEST_BACK = timedelta(days=366)
LONGEST_WORDS = 200
DAY = timedelta(days=1)
ENDS_FIRST = _("It ends before it begins, or at once. Read the label again and type until when nobody may go in.")
TOO_LONG = _(
    "That is more than 60 days. Read the label again; where it really says so, keep people out by other means."
)
TOO_FAR = _("It begins more than 60 days ahead or a year back. Check the day and its year.")
SAYS_NOTHING = _("Type what the label says about going in again, in a few of its own words.")
TOO_MANY_WORDS = _("This is longer than 200 characters. Type what the label says about going in again, no more.")
NO_TEXT = _("This holds characters that are no text. Type it again, on one line.")
WHY_MISSING = _("Say why it is changed: what was typed first stays, and both are shown.")
NO_SUCH_HOUR = _("This time doesn't exist on that day: the clock is put forward over it. Type the hour after it.")


def reentry_faults(begins_at: datetime, until: datetime, label_says: str, now: datetime) -> list[Detail]:
    """What can't be right about a time typed from a label."""
    faults = []
    if until <= begins_at:
        faults.append(Detail("/until", str(ENDS_FIRST), "ends_before_it_begins"))
    elif until - begins_at > LONGEST:
        faults.append(Detail("/until", str(TOO_LONG), "too_long"))
    if not now - FURTHEST_BACK <= begins_at <= now + LONGEST:
        faults.append(Detail("/begins_at", str(TOO_FAR), "too_far"))
    return faults + words_faults("label_says", label_says, SAYS_NOTHING)


def words_faults(name: str, words: str, missing: object) -> list[Detail]:
    """What can't be right about a line of words that has to be there."""
    if not words:
        return [Detail(f"/{name}", str(missing), f"{name}_missing")]
    if len(words) > LONGEST_WORDS:
        return [Detail(f"/{name}", str(TOO_MANY_WORDS), "text_too_long")]
    return [] if words.isprintable() else [Detail(f"/{name}", str(NO_TEXT), "not_text")]


def on_the_clock(naive: datetime, zone: str, *, later: bool) -> datetime | None:
    """The moment at which a farm's clock shows this; None where it never does, since it is put forward over it.

    Where the clock is put back and shows it twice, `later` says which: an end is the later, a beginning the earlier.
    """
    moment = naive.replace(tzinfo=ZoneInfo(zone), fold=int(later))
    # In UTC: moments of one zone are compared and subtracted as its clock shows them.
    plain = moment.astimezone(UTC)
    return plain if plain.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == naive else None


def days_of(begins_at: datetime, until: datetime, zone: str) -> Iterator[date]:
    """The farm's days that a re-entry time takes; not the one on which it ends: a round can be walked then."""
    day, last = local_date(begins_at, zone), local_date(until, zone)
    while day < last:
        yield day
        day += DAY


def after_kept_out(due: date, today: date, kept_out: Collection[date]) -> date:
    """When a round is due whose day, or today, is one on which nobody goes in: on the first day after it."""
    if today in kept_out:
        due = max(due, today)
    while due in kept_out:
        due += DAY
    return due
