"""A round's forms together: what is shown, what was typed, what is sent to the service, and its refusal put back."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.http import QueryDict

from farms.errors import FlyroundError, Missing
from farms.ids import uuid7
from farms.selectors import people_of
from monitoring.selectors import readings_of, round_sheet, stations_of
from monitoring.services import NoteSent, RoundSent
from server.web.forms.count import Line, LineForm, WalkForm


@dataclass
class RoundForm:
    """One walk form and a form a station. `sent_from` and `hung_from` say which form each part of the round is from."""

    walk: WalkForm
    lines: list[LineForm]
    sent_from: list[LineForm] = field(default_factory=list)
    hung_from: list[LineForm] = field(default_factory=list)

    def is_valid(self) -> bool:
        # All of them, so that every error is shown at once.
        return all([self.walk.is_valid(), *(line.is_valid() for line in self.lines)])

    @property
    def round_id(self) -> str:
        """As it stands in the form, readable or not."""
        return str(self.walk["round_id"].value() or "")

    @property
    def wrong(self) -> list[tuple[str, str]]:
        """Where something is wrong: the anchor and the name of each station."""
        return [(f"at-{line.prefix}", line.line.station.label) for line in self.lines if line.errors]

    @property
    def refusals(self) -> list[dict[str, str]]:
        """What is wrong, for a program: a pointer to the field, the station's id and name (none of the walk), why."""
        found = []
        for form in (self.walk, *self.lines):
            station = form.line.station if isinstance(form, LineForm) else None
            about = {"station_id": str(station.id), "station": station.label} if station else {}
            for name, errors in form.errors.items():
                pointer = f"/{form.add_prefix(name)}" if name in form.fields else ""
                found += [{"pointer": pointer, "code": "invalid", "detail": str(error), **about} for error in errors]
        return found

    def sent(self, source: str, **typed: Any) -> RoundSent:
        """The round as the service takes it. Stations that were left alone are not in it."""
        found, day = self.walk.cleaned_data, self.walk.cleaned_data["walked_on"]
        readings = [(line, reading) for line in self.lines if (reading := line.sent_reading()) is not None]
        hung = [(line, fresh) for line in self.lines if (fresh := line.sent_hung(day)) is not None]
        self.sent_from, self.hung_from = [line for line, _ in readings], [line for line, _ in hung]
        note = found["note"].strip()
        return RoundSent(
            id=found["round_id"], walked_on=day, source=source, readings=[reading for _, reading in readings],
            hung=[fresh for _, fresh in hung], counted_by=self.walk.counted_by_id,
            observed_at=found["observed_at"], submitted_at=found["submitted_at"], sent_at=found["sent_at"],
            notes=[NoteSent(found["note_id"], note)] if note else [], **typed,
        )  # fmt: skip

    def refuse(self, refusal: FlyroundError) -> None:
        """Put each detail of a service's refusal beside the field it is about; nothing that was typed is lost."""
        for detail in refusal.errors:
            form, name = self._place(detail.pointer)
            form.add_error(name if name in form.fields else None, detail.detail)
            if refusal.code == "already_read" and isinstance(form, LineForm):
                form.taken_already = True
        if not refusal.errors:
            self.walk.add_error(None, str(refusal))

    def _place(self, pointer: str) -> tuple[Any, str]:
        """/readings/3/count: the fourth reading's form, its field count."""
        parts = [part for part in pointer.split("/") if part]
        forms: Sequence[LineForm] = {"readings": self.sent_from, "hung": self.hung_from}.get(parts[0], [])
        if len(parts) > 1 and parts[1].isdigit() and int(parts[1]) < len(forms):
            return forms[int(parts[1])], FIELDS.get(parts[-1], parts[-1])
        return self.walk, FIELDS.get(parts[-1], parts[0] if parts[0] in self.walk.fields else "note")


# What the service names otherwise than the form.
FIELDS = {"fraction": "part", "how": "cups", "text": "note", "notes": "note"}


def blank_round(
    farm: Any,
    day: date,
    *,
    round_id: UUID | None = None,
    counted_by: UUID | None = None,
    compact: bool = False,
    kept_out: Collection[UUID | None] = (),
) -> RoundForm:
    """A round's form as it is first shown, with the ids it will be stored under; `round_id` goes on with a round.

    `kept_out` are the buildings into which nobody goes now, None for all: their stations say so unless it is changed or
    a number is typed there.
    """
    done = stations_read(farm, round_id) if round_id else set()
    first = {"round_id": round_id or uuid7(), "note_id": uuid7(), "walked_on": day, "counted_by": counted_by or ""}
    lines = lines_on(farm, day, done=done)
    # On a farm's first visit everything is hung; later, where nothing hangs, somebody has to say that it does now.
    first_visit = all(line.first for line in lines if line.hangs)
    forms = [
        LineForm(
            line=line,
            initial=LineForm.fresh_values(line, hung=first_visit or not line.first) | line.kept_out_values(kept_out),
            compact=compact,
        )
        for line in lines
    ]
    return RoundForm(WalkForm(people=list(people_of(farm)), initial=first), forms)


def typed_round(farm: Any, data: QueryDict, day: date, *, compact: bool = False) -> RoundForm:
    """A round's form as it came back: of the stations that it was shown with, whatever was stored meanwhile."""
    stations = {str(station.id): station for station in stations_of(farm)}
    lines = [LineForm(data, line=line_of(text, stations, day), compact=compact) for text in data.getlist("line")]
    return RoundForm(WalkForm(data, people=list(people_of(farm))), lines)


def line_of(text: str, stations: dict[str, Any], day: date) -> Line:
    """The line that a hidden field names: station, placement and the day it was hung. Raises Missing."""
    station_id, _, rest = text.partition(".")
    placement_id, _, hung_on = rest.partition(".")
    if station_id not in stations:
        raise Missing()
    try:
        hung = date.fromisoformat(hung_on) if hung_on else None
        return Line(stations[station_id], day, UUID(placement_id) if placement_id else None, hung)
    except ValueError as error:
        raise Missing() from error


def lines_on(farm: Any, day: date, *, done: Collection[UUID] = ()) -> list[Line]:
    """What a walk on a day still has to look at, in walking order: each card and trap that hangs, each leg count, and
    each station where nothing hangs yet. Stations in `done` were read on this walk already.
    """
    lines = []
    for place in round_sheet(farm, day):
        hung = [hanging.placement for hanging in place.hangings if hanging.days > 0]
        lines += [Line(place.station, day, placement.id, placement.hung_on) for placement in hung]
        if not place.hangings and place.station.id not in done:
            lines.append(Line(place.station, day))
    return lines


def stations_read(farm: Any, round_id: UUID) -> set[UUID]:
    """The stations of which a round has a reading."""
    return set(readings_of(farm).filter(round_id=round_id).values_list("station_id", flat=True))
