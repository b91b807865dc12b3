"""What a digest says, sentence by sentence, in the language that is active."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.delivery.letter import Paragraph, Sentence, paragraph, strong
from alerts.models import Assessment
from alerts.models.assessment import LevelWord, TrendWord
from alerts.selectors.farm_weeks import FarmWeek
from alerts.wording.numbers import amount, day_phrase, growth_phrase, weekday_phrase
from alerts.wording.outlook import back_below_phrase, crossing_phrase, is_steady, trend_text
from alerts.wording.places import and_list, facility_phrase, places_to_look, siting_phrase, stations_phrase
from alerts.wording.results import doubt_phrase, heading, level_phrase, mean_phrase, methods_phrase
from alerts.wording.temperatures import degrees
from monitoring.methods import METHODS

MOST_NAMED = 4  # stations
MOST_PLACES_IN_SUBJECT = 2
CLEARLY_MORE = 1.5  # times an even share; our own choice
VERY_LIKELY, WEEKS_AT_TOP = 0.85, 2


def count_paragraphs(told: FarmWeek) -> list[Paragraph]:
    """One paragraph a method that was counted, and one for all that were not."""
    counted = [method for method, row in told.farm_rows.items() if row.mean is not None]
    others = [method for method in told.farm_rows if method not in counted]
    said = [_method_paragraph(told, method) for method in counted]
    return [*said, _not_counted(told, others)] if others else said


def _method_paragraph(told: FarmWeek, method: str) -> Paragraph:
    """Cards: 118 specks a card (98 to 142), up from 83. Over your action level of 100. Third week up."""
    row = told.farm_rows[method]
    level = level_phrase(row)
    over = row.result == LevelWord.OVER
    sentences = [
        f"{mean_phrase(row)}{_since_before(told, row)}.",
        strong(f"{level}.") if over and level else f"{level}." if level else "",
        doubt_phrase(row),
        *_trend(told, row),
        _few(row),
        *_marked(row),
        *_hot_facilities(told, row),
    ]
    return paragraph(*sentences, heading=heading(method), level=row.result)


def _not_counted(told: FarmWeek, methods: Sequence[str]) -> Paragraph:
    """Traps and legs: not counted this week."""
    names = [heading(method) if number == 0 else heading(method).lower() for number, method in enumerate(methods)]
    return paragraph(_("not counted this week."), heading=and_list(names), level="none")


def _since_before(told: FarmWeek, row: Assessment) -> str:
    """, up from 83. A lower count of legs that were sprayed or cold is not called a fall."""
    before = told.before(row.method)
    if before is None or before.mean is None or row.mean is None or row.at_least or before.at_least:
        return ""
    value = amount(before.mean)
    if before.week < told.week - timedelta(days=7):
        value = _("{mean} in the week of {day}").format(mean=value, day=day_phrase(before.week))
    if amount(row.mean) == amount(before.mean):
        return _(", as before")
    if row.mean > before.mean:
        return _(", up from {mean}").format(mean=value)
    return _(", after {mean}").format(mean=value) if _no_fall(row) else _(", down from {mean}").format(mean=value)


def _no_fall(row: Assessment) -> bool:
    return bool({"sprayed", "cold"} & set(row.evidence["flags"]))


def _trend(told: FarmWeek, row: Assessment) -> list[str]:
    ahead = [crossing_phrase(row), back_below_phrase(row)]
    weeks = told.weeks_up(row.method)
    if row.trend != TrendWord.RISING or row.growth is None or not is_steady(row) or weeks < 2:
        return [trend_text(row), *ahead]
    growth = growth_phrase(row.growth)
    return [
        _("Up for {weeks} weeks running; over the last eight weeks {growth}.").format(weeks=weeks, growth=growth),
        *ahead,
    ]


def _few(row: Assessment) -> str:
    """Where the figure is a rough one because little was counted."""
    if not row.few_devices:
        return ""
    if row.method == "card":
        text = ngettext(
            "Only {n} card was counted: a rough figure.", "Only {n} cards were counted: a rough figure.", row.devices
        )
    elif row.method == "trap":
        text = ngettext(
            "Only {n} trap was counted: a rough figure.", "Only {n} traps were counted: a rough figure.", row.devices
        )
    else:
        return _("Fewer than ten animals were counted: a rough figure.")
    return text.format(n=row.devices)  # fmt: skip


def _marked(row: Assessment) -> list[str]:
    flags, said = set(row.evidence["flags"]), []
    if "sprayed" in flags:
        said.append(_("Animals had been sprayed or poured that week, so a low count says little."))
    if "cold" in flags:
        cold = _("It was below {cold}, when these flies hardly feed, so a low count says little.")
        said.append(cold.format(cold=degrees(15)))
    if "late" in flags:
        said.append(_("These counts came more than two weeks late."))
    return said


def _hot_facilities(told: FarmWeek, row: Assessment) -> list[Sentence]:
    """Facilities over their level where the farm's mean does not say it: a hot barn must not vanish in it."""
    said = []
    for hot in told.over:
        if hot.method != row.method or hot.facility_id is None or told.only_place(hot):
            continue
        if row.result == LevelWord.OVER and hot.level == row.level:
            continue
        place = facility_phrase(told.facilities[hot.facility_id])
        words = _("In {place} it is {mean}. {level}.")
        said.append(strong(words.format(place=place, mean=mean_phrase(hot), level=level_phrase(hot))))
    return said


def where_paragraph(told: FarmWeek) -> Paragraph | None:
    """Most of it in the calf barn: Cards 4 and 7 hold more than half the specks. Worth a look there first: ..."""
    row = _row_to_look_at(told)
    if row is None:
        return None
    places = sorted(row.evidence["places"], key=lambda place: place["number"])
    if not _stand_out(row, places):
        return _spread(told, row)
    named = stations_phrase(row.method, [place["number"] for place in places])
    inside = {UUID(place["facility"]) for place in places}
    held = _holders(told, row, named, inside, len(places))
    sentences = [held, _lasting(told, row.method, places), *_sitings(row.method, places)]
    most = max(places, key=lambda place: place["share"])
    kind = told.facilities[UUID(most["facility"])].kind
    sentences.append(_("Worth a look there first: {places}.").format(places=places_to_look(kind)))
    return paragraph(*sentences)


def _stand_out(row: Assessment, places: Sequence[dict[str, Any]]) -> bool:
    """Whether few stations hold clearly more than their share: three cards of seven with half of it are no news."""
    share = sum(place["share"] for place in places)
    return 0 < len(places) <= MOST_NAMED and share * row.devices >= CLEARLY_MORE * len(places)


def _row_to_look_at(told: FarmWeek) -> Assessment | None:
    """Where to look is told of what is over its level, else of what rises, else of nothing.

    The whole farm's row comes first where few stations hold most of it, else that of the facility furthest over.
    """
    first = next(iter((*told.over, *told.rising)), None)
    if first is None or first.facility_id is None:
        return first
    of_farm = told.farm_rows[first.method]
    inside = {place["facility"] for place in of_farm.evidence["places"]}
    return of_farm if inside == {str(first.facility_id)} else first


def _holders(told: FarmWeek, row: Assessment, named: str, inside: set[UUID], number: int) -> str:
    if row.method == "card":
        what = ngettext("{named} holds more than half the specks", "{named} hold more than half the specks", number)
    else:
        what = ngettext("{named} holds more than half the flies", "{named} hold more than half the flies", number)
    what = what.format(named=named)
    if len(inside) > 1:
        return f"{what}."
    place = facility_phrase(told.facilities[next(iter(inside))])
    if row.facility_id is not None and not told.only_place(row):
        return _("In {place} {what}.").format(place=place, what=what)
    return _("Most of it in {place}: {what}.").format(place=place, what=what)


def _lasting(told: FarmWeek, method: str, places: Sequence[dict[str, Any]]) -> str:
    """Card 4 is very likely the highest, for 3 weeks in a row: where that is no chance of one week."""
    for place in places:
        station = told.stations.get(UUID(place["station"]))
        if station is None or station.highest is None or station.highest < VERY_LIKELY:
            continue
        if station.weeks_at_top >= WEEKS_AT_TOP:
            named = stations_phrase(method, [place["number"]])
            words = _("{named} is very likely the highest, for {weeks} weeks in a row.")
            return words.format(named=named, weeks=station.weeks_at_top)
    return ""


def _sitings(method: str, places: Sequence[dict[str, Any]]) -> list[str]:
    """What the siting of each says: it hangs near water, so flies may only rest there."""
    if not METHODS[method].hangs:
        return []
    alike: dict[tuple[str, bool], list[int]] = {}
    for place in places:
        alike.setdefault((place["near"], place["windy"]), []).append(place["number"])
    said = [
        siting_phrase(stations_phrase(method, numbers), len(numbers), near, windy=windy)
        for (near, windy), numbers in alike.items()
    ]
    return ["; ".join(said) + "."]


def _spread(told: FarmWeek, row: Assessment) -> Paragraph:
    if row.facility_id is None:
        return paragraph(_("No single place stands out: it is much the same all over the farm."))
    facility = told.facilities[row.facility_id]
    return paragraph(
        _("In {place} no single place stands out.").format(place=facility_phrase(facility)),
        _("Worth a look: {places}.").format(places=places_to_look(facility.kind)),
    )


def next_round_paragraph(told: FarmWeek) -> Paragraph | None:
    """Next round: Sunday, July 12. Card 3 was lost: hang the next one out of reach of the animals."""
    due, missing = told.due_on, [row.evidence.get("missing", []) for row in told.farm_rows.values()]
    # While no visitors come nothing is overdue.
    sentences = [_due(told, due)] if due and (due >= told.day or not told.closed) else []
    for method, stations in zip(told.farm_rows, missing, strict=True):
        sentences += _missing(method, stations)
    return paragraph(*sentences) if sentences else None


def _due(told: FarmWeek, due: date) -> str:
    if due >= told.day:
        return _("Next round: {day}.").format(day=weekday_phrase(due))
    days = told.days_without
    words = _("No round for {days} days. It was due on {day}.") if days else _("The next round was due on {day}.")
    return words.format(days=days, day=weekday_phrase(due))


def _missing(method: str, stations: Sequence[dict[str, Any]]) -> list[str]:
    reasons: dict[str, list[int]] = {}
    for station in stations:
        numbers = reasons.setdefault(station["reason"], [])
        if station["number"] not in numbers:
            numbers.append(station["number"])
    return [
        _without_count(reason, stations_phrase(method, numbers), len(numbers)) for reason, numbers in reasons.items()
    ]


def _without_count(reason: str, named: str, number: int) -> str:
    words = {
        "lost": ngettext(
            "{named} was lost: hang the next one out of reach of the animals.",
            "{named} were lost: hang the next ones out of reach of the animals.", number,
        ),
        "wet": ngettext(
            "{named} got wet: hang the next one where it stays dry.",
            "{named} got wet: hang the next ones where they stay dry.", number,
        ),
        "chewed": ngettext(
            "{named} was chewed: hang the next one out of reach of the animals.",
            "{named} were chewed: hang the next ones out of reach of the animals.", number,
        ),
        "spun": ngettext(
            "{named} spun in the wind: hang the next one in the lee, on stiff wire.",
            "{named} spun in the wind: hang the next ones in the lee, on stiff wire.", number,
        ),
        "kept_out": ngettext(
            "{named} could not be reached.", "{named} could not be reached.", number,
        ),
        "not_visited": ngettext(
            "{named} was not visited.", "{named} were not visited.", number,
        ),
    }  # fmt: skip
    return words[reason].format(named=named)


def corrected_paragraph(corrected: Sequence[tuple[Assessment, Assessment]]) -> Paragraph | None:
    """Corrected since last week's mail: cards, week of June 15: 112, not 90. What only came late was no error."""
    late = [_changed(before, now) for before, now in corrected if _came_late(before, now)]
    told = [_changed(before, now) for before, now in corrected if not _came_late(before, now)]
    came = _("Came in since: {list}.").format(list="; ".join(late)) if late else ""
    words = _("Corrected since: {list}.").format(list="; ".join(told)) if told else ""
    return paragraph(came, words) if corrected else None


def _came_late(before: Assessment, now: Assessment) -> bool:
    return before.mean is None or now.devices > before.devices


def _changed(before: Assessment, now: Assessment) -> str:
    if before.mean is None:
        words = _("{method}, week of {day}: {now}")
    elif _came_late(before, now):
        words = _("{method}, week of {day}: {now}, before that {before}")
    else:
        words = _("{method}, week of {day}: {now}, not {before}")
    return words.format(
        method=heading(now.method), day=day_phrase(now.week), now=mean_phrase(now), before=mean_phrase(before)
    )


def subject(told: FarmWeek) -> str:
    """Hollow Creek: cards over your action level, week of June 29."""
    return _("{farm}: {what}, week of {day}").format(farm=told.farm.name, what=_what(told), day=day_phrase(told.week))


def headline(told: FarmWeek) -> str:
    """The subject without its week: Hollow Creek: cards over your action level."""
    return _("{farm}: {what}").format(farm=told.farm.name, what=_what(told))


def pressing(told: FarmWeek) -> int:
    """Which of an owner's farms comes first: what its subject says, from nothing to see to up to over a level."""
    if told.over:
        return 5
    if told.is_overdue:
        return 4
    if told.rising:
        return 3
    counted = [row for row in told.farm_rows.values() if row.mean is not None]
    if any(row.result == LevelWord.NEAR for row in counted):
        return 2
    return 0 if counted else 1


def _what(told: FarmWeek) -> str:
    near = [row for row in told.farm_rows.values() if row.result == LevelWord.NEAR]
    if told.is_overdue:
        return _("no round for {days} days").format(days=told.days_without)
    if told.over:
        return _what_is_over(told)
    if told.rising:
        return _("{methods} rising").format(methods=methods_phrase(told.rising))
    if near:
        return _("{methods} near your action level").format(methods=methods_phrase(near))
    if any(row.mean is not None for row in told.farm_rows.values()):
        return _("below your action levels")
    return _("nothing counted")


def _what_is_over(told: FarmWeek) -> str:
    """Cards over your action level; where the farm's mean is not over, the place is part of it: in the calf barn."""
    over = methods_phrase(told.over)
    if any(row.facility_id is None or told.only_place(row) for row in told.over):
        return _("{methods} over your action level").format(methods=over)
    hot = list(dict.fromkeys(facility_phrase(told.facilities[row.facility_id]) for row in told.over if row.facility_id))
    if len(hot) > MOST_PLACES_IN_SUBJECT:
        return _("{methods} over your action level in {number} places").format(methods=over, number=len(hot))
    return _("{methods} over your action level in {places}").format(methods=over, places=and_list(hot))
