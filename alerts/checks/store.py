"""Storing what was concluded: results, alerts, their history, and one entry a farm in the chain."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

import numpy as np
from django.db.models import QuerySet

from alerts.checks.drafts import WRITTEN, Drafts
from alerts.checks.known import Change, Matter, OpenAlert
from alerts.checks.occasion import Occasion
from alerts.checks.rules.over import REOPENS_WITHIN
from alerts.models import Alert, AlertEvent
from alerts.models.alert import BY_THE_CHECK, ClosedBecause, EventKind
from farms.columns import Column, Ids, JsonTexts, insert_columns
from farms.ids import uuid7
from farms.ledger import Actor, canonical_text, lock_heads, next_number, plain, written_row_hash
from farms.ledger_entries import append_to_each
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import LedgerHead

SERVICE = Actor("service", None)
# What such an end ended does not go on: it begins anew.
ENDS_FOR_GOOD = (ClosedBecause.SEASON_CLOSED, ClosedBecause.SWITCHED_OFF)
ALERTS, EVENTS = Alert._meta.db_table, AlertEvent._meta.db_table


def store_results(drafts: Drafts) -> None:
    columns: dict[str, Column] = {**drafts.columns}
    columns |= {name: Ids(drafts.columns[name]) for name in ("farm_id", "facility_id")}
    columns |= {name: JsonTexts(drafts.columns[name]) for name in WRITTEN}
    insert_columns("alerts_assessment", columns, drafts.same)


def store_changes(changes: Sequence[Change], occasion: Occasion) -> None:
    """Write what happens to alerts, one chain entry a farm. What this week has told of an alert already is left out."""
    told = _told_already(changes, occasion)
    changes = [change for change in changes if not _is_told(change, told, occasion)]
    if not changes:
        return
    opening = _Opening.for_changes(changes, occasion)
    changes = [opening.change_of(change) for change in changes]
    heads = lock_heads({change.farm_id for change in changes})
    events = [(change, opening.alert_of(change), uuid7()) for change in changes]
    _insert_alerts(opening)
    _reopen(changes, occasion)
    hashes = _insert_events(events, heads, occasion)
    _close(changes, occasion)
    append_to_each(heads, hashes, kind="alerts", actor=SERVICE, now=occasion.now)


class _Ended(NamedTuple):
    """The last episode of a matter, ended; `id` None where it can't go on."""

    episode: int
    id: UUID | None


@dataclass
class _Opening:
    """New alerts, and the episode that each is; what ended less than three weeks ago goes on as the same episode."""

    occasion: Occasion
    ended: dict[tuple[UUID, Matter], _Ended]
    made: list[tuple[OpenAlert, int]]

    @classmethod
    def for_changes(cls, changes: Sequence[Change], occasion: Occasion) -> "_Opening":
        farm_ids = {change.farm_id for change in changes if change.alert is None}
        rows = Alert.objects.filter(farm_id__any_of=array_of(farm_ids)).order_by("episode")
        names = ("farm_id", "facility_id", "method", "rule", "episode", "id", "closed_week", "closed_because")
        ended: dict[tuple[UUID, Matter], _Ended] = {}
        for farm, place, method, rule, episode, own, week, because in rows.values_list(*names):
            again = (
                week is not None
                and occasion.week - week <= timedelta(weeks=REOPENS_WITHIN)
                and because not in ENDS_FOR_GOOD
            )
            ended[farm, (place, method, rule)] = _Ended(episode, own if again else None)
        return cls(occasion, ended, [])

    def change_of(self, change: Change) -> Change:
        """The change itself, or, of a matter that comes back soon, that its last alert is opened again."""
        ended = self.ended.get((change.farm_id, change.matter))
        if change.alert is not None or ended is None or ended.id is None:
            return change
        alert = OpenAlert(change.farm_id, ended.id, *change.matter, since_week=self.occasion.week)
        return replace(change, kind=EventKind.REOPENED, alert=alert)

    def alert_of(self, change: Change) -> OpenAlert:
        """The alert that a change is about; made where a matter opens."""
        if change.alert is not None:
            return change.alert
        alert = OpenAlert(change.farm_id, uuid7(), *change.matter, since_week=self.occasion.week)
        ended = self.ended.get((change.farm_id, change.matter))
        self.made.append((alert, ended.episode + 1 if ended else 1))
        return alert


def _told_already(changes: Collection[Change], occasion: Occasion) -> set[UUID]:
    """Alerts whose week is in their history already: a run that begins again tells nothing twice."""
    ids = [change.alert.id for change in changes if change.alert is not None]
    farm_ids = {change.farm_id for change in changes}
    events = AlertEvent.objects.filter(
        farm_id__any_of=array_of(farm_ids), alert_id__any_of=array_of(ids), week=occasion.week
    )
    return set(events.filter(kind__in=BY_THE_CHECK).values_list("alert_id", flat=True))


def _is_told(change: Change, told: Collection[UUID], occasion: Occasion) -> bool:
    stays = change.kind == EventKind.STAYED and change.alert is not None
    return stays and (occasion.again or change.alert.id in told)  # type: ignore[union-attr]  # stays has one


def _insert_alerts(opening: _Opening) -> None:
    if not opening.made:
        return
    alerts = [alert for alert, _ in opening.made]
    columns: dict[str, Column] = {
        "farm_id": Ids(alert.farm_id for alert in alerts),
        "id": Ids(alert.id for alert in alerts),
        "facility_id": Ids(alert.facility_id for alert in alerts),
        "method": np.array([alert.method for alert in alerts]),
        "rule": np.array([alert.rule for alert in alerts]),
        "episode": np.array([episode for _, episode in opening.made]),
    }
    occasion = opening.occasion
    insert_columns(ALERTS, columns, {"opened_week": occasion.week, "opened_at": occasion.now, "closed_because": ""})


def _insert_events(
    events: Sequence[tuple[Change, OpenAlert, UUID]], heads: Mapping[UUID, "LedgerHead"], occasion: Occasion
) -> dict[UUID, list[bytes]]:
    """Write what happened, each with its id. Returns what the chain of each farm holds of it (see `event_hash`)."""
    evidence = [canonical_text(_evidence(change, alert)) for change, alert, _ in events]
    columns: dict[str, Column] = {
        "farm_id": Ids(change.farm_id for change, _, _ in events),
        "id": Ids(event_id for _, _, event_id in events),
        "alert_id": Ids(alert.id for _, alert, _ in events),
        "kind": np.array([str(change.kind) for change, _, _ in events]),
        "evidence": JsonTexts(evidence),
        "entry": np.array([next_number(heads[change.farm_id]) for change, _, _ in events]),
    }
    same = {"week": occasion.week, "at": occasion.now, "actor_kind": SERVICE.kind}
    insert_columns(EVENTS, columns, same)
    alike = SERVICE.kind, plain(occasion.now), plain(occasion.week)
    hashes: dict[UUID, list[bytes]] = defaultdict(list)
    for (change, alert, event_id), told in zip(events, evidence, strict=True):
        row = _written(alike, change, alert.id, event_id, told)
        hashes[change.farm_id].append(written_row_hash(EVENTS, row))
    return hashes


def _written(alike: tuple[str, str, str], change: Change, alert_id: UUID, event_id: UUID, evidence: str) -> str:
    """An event in canonical JSON: some ten thousand a Monday have the same form. `alike`: actor, moment and week."""
    actor, at, week = alike
    return (
        f'{{"actor_kind":"{actor}","alert_id":"{alert_id}","at":"{at}","evidence":{evidence},'
        f'"farm_id":"{change.farm_id}","id":"{event_id}","kind":"{change.kind}","week":"{week}"}}'
    )


def _evidence(change: Change, alert: OpenAlert) -> dict[str, Any]:
    return {"rule": alert.rule, **change.evidence} | ({"because": change.because} if change.because else {})


def _reopen(changes: Sequence[Change], occasion: Occasion) -> None:
    """Open again what ended not long ago; whoever saw it then has not seen it now."""
    again = [change.alert for change in changes if change.kind == EventKind.REOPENED and change.alert is not None]
    if again:
        _rows_of(again).update(
            closed_week=None, closed_at=None, closed_because="", escalated_at=None, reopened_week=occasion.week,
            reopened_at=occasion.now,
        )  # fmt: skip


def _close(changes: Sequence[Change], occasion: Occasion) -> None:
    """Close the alerts that end, one statement a reason."""
    ending: dict[str, list[OpenAlert]] = defaultdict(list)
    for change in changes:
        if change.kind == EventKind.CLOSED and change.alert is not None:
            ending[change.because].append(change.alert)
    for because, ended in ending.items():
        _rows_of(ended).update(closed_week=occasion.week, closed_at=occasion.now, closed_because=because)


def _rows_of(alerts: Collection[OpenAlert]) -> QuerySet[Alert]:
    farms, ids = {alert.farm_id for alert in alerts}, {alert.id for alert in alerts}
    return Alert.objects.filter(farm_id__any_of=array_of(farms), id__any_of=array_of(ids))
