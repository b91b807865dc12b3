"""The fresh cards and traps of a round."""

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.errors import RoundDiffers
from monitoring.methods import LEG
from monitoring.rules.cells import WrongCell, day, identity
from monitoring.rules.readings import Calendar, StationFacts, day_text
from monitoring.services.ground import Ground
from monitoring.services.placing import Hanging, Hangings
from monitoring.services.sent import HungSent

UNKNOWN_STATION = _("This farm has no such station. Check its number, or ask the owner or the adviser to add it.")
LEGS_DO_NOT_HANG = _("{label} is a leg count: nothing hangs there. Leave it away.")
FUTURE = _("{day} is still to come on this farm. Correct the day.")
CLOSED = _("No season of this farm holds {day}. Correct the day, or ask the owner or the adviser to open a season.")
NOT_IN_USE = _("{label} isn't in use on {day}. Correct the day or the station.")


def hang_all(hung: Sequence[HungSent], ground: Ground, hangings: Hangings) -> list[Detail]:
    """Add what was hung to the hangings, and say what can't be right. A known id with other values raises RoundDiffers.

    Two people may send the same round: of what was hung at one station on one day, only what goes beyond what is
    stored is added.
    """
    details: list[Detail] = []
    new: list[HungSent] = []
    beyond = Counter((each.station_id, each.hung_on) for each in hangings.by_id.values())
    for place, sent in enumerate(hung):
        wrong = _wrong(sent, ground)
        details += [Detail(f"/hung/{place}/{name}", reason, code) for name, code, reason in wrong]
        known = hangings.by_id.get(sent.id)
        if known is not None and (known.station_id, known.hung_on) != (sent.station_id, sent.hung_on):
            raise RoundDiffers(pointer=f"/hung/{place}", stored=_label(ground, known))
        if known is not None:
            beyond[known.station_id, known.hung_on] -= 1
        elif not wrong:
            new.append(sent)
    for sent in new:
        beyond[sent.station_id, sent.hung_on] -= 1
        if beyond[sent.station_id, sent.hung_on] < 0 and sent.id not in hangings.by_id:
            hangings.add(Hanging(sent.id, sent.station_id, sent.hung_on, is_new=True))
    return details


def _wrong(sent: HungSent, ground: Ground) -> list[tuple[str, str, str]]:
    """What is wrong with one: the value's name, a code, a sentence."""
    try:
        identity(sent.id)
        hung_on = day(sent.hung_on)
        station = ground.station_named(identity(sent.station_id))
    except WrongCell as error:
        name = {"not_a_date": "hung_on"}.get(error.code, "station_id")
        return [(name, error.code, str(error.reason))]
    if station is None:
        return [("station_id", "unknown_station", str(UNKNOWN_STATION))]
    if station.method == LEG.code:
        return [("station_id", "wrong_method", str(LEGS_DO_NOT_HANG).format(label=station.label))]
    if not station.since <= hung_on <= (station.until or date.max):
        reason = str(NOT_IN_USE).format(label=station.label, day=day_text(hung_on))
        return [("hung_on", "station_not_in_use", reason)]
    return day_faults("hung_on", hung_on, ground.calendar)


def day_faults(name: str, on: date, calendar: Calendar) -> list[tuple[str, str, str]]:
    """What is wrong with a day on which something was done in the barn."""
    if on > calendar.today:
        return [(name, "future_date", str(FUTURE).format(day=day_text(on)))]
    if not calendar.holds(on):
        return [(name, "closed_season", str(CLOSED).format(day=day_text(on)))]
    return []


def _label(ground: Ground, hanging: Hanging) -> str:
    station: StationFacts | None = ground.station_named(str(hanging.station_id))
    return f"{station.label if station else ''}, {day_text(hanging.hung_on)}"


def station_ids(*sent: Sequence[Any]) -> set[UUID]:
    """The stations that these name, as far as they are ids at all."""
    return {each.station_id for part in sent for each in part if isinstance(each.station_id, UUID)}
