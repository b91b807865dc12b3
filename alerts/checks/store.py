"""Storing what was concluded: results, alerts, their history, and one entry a farm in the chain."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np

from alerts.checks.drafts import WRITTEN, Drafts
from alerts.checks.life import Change, Matter, OpenAlert
from alerts.checks.occasion import Occasion
from alerts.models import Alert, AlertEvent
from alerts.models.alert import EventKind
from farms.columns import Column, Ids, JsonTexts, insert_columns
from farms.ids import uuid7
from farms.ledger import Actor, canonical_text, lock_heads, next_number, plain, written_row_hash
from farms.ledger_entries import append_to_each
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import LedgerHead

SERVICE = Actor("service", None)
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
    heads = lock_heads({change.farm_id for change in changes})
    events = [(change, opening.alert_of(change), uuid7()) for change in changes]
    _insert_alerts(opening)
    hashes = _insert_events(events, heads, occasion)
    _close(changes, occasion)
    append_to_each(heads, hashes, kind="alerts", actor=SERVICE, now=occasion.now)


@dataclass
class _Opening:
    """New alerts, and the episode that each is: one more than the last of its matter."""

    occasion: Occasion
    episodes: dict[tuple[UUID, Matter], int]
    made: list[tuple[OpenAlert, int]]

    @classmethod
    def for_changes(cls, changes: Sequence[Change], occasion: Occasion) -> "_Opening":
        farm_ids = {change.farm_id for change in changes if change.alert is None}
        rows = Alert.objects.filter(farm_id__any_of=array_of(farm_ids)).order_by("episode")
        past = rows.values_list("farm_id", "facility_id", "method", "rule", "episode")
        episodes = {(farm, (place, method, rule)): episode for farm, place, method, rule, episode in past}
        return cls(occasion, episodes, [])

    def alert_of(self, change: Change) -> OpenAlert:
        """The alert that a change is about; made where a matter opens."""
        if change.alert is not None:
            return change.alert
        alert = OpenAlert(change.farm_id, uuid7(), *change.matter, opened_week=self.occasion.week)
        self.made.append((alert, self.episodes.get((change.farm_id, change.matter), 0) + 1))
        return alert


def _told_already(changes: Collection[Change], occasion: Occasion) -> set[UUID]:
    """Alerts whose week is in their history already: a run that begins again tells nothing twice."""
    ids = [change.alert.id for change in changes if change.alert is not None]
    farm_ids = {change.farm_id for change in changes}
    events = AlertEvent.objects.filter(
        farm_id__any_of=array_of(farm_ids), alert_id__any_of=array_of(ids), week=occasion.week
    )
    return set(events.exclude(kind=EventKind.SEEN).values_list("alert_id", flat=True))


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


def _close(changes: Sequence[Change], occasion: Occasion) -> None:
    """Close the alerts that end, one statement a reason."""
    ending: dict[str, list[OpenAlert]] = defaultdict(list)
    for change in changes:
        if change.kind == EventKind.CLOSED and change.alert is not None:
            ending[change.because].append(change.alert)
    for because, ended in ending.items():
        farms, ids = {alert.farm_id for alert in ended}, {alert.id for alert in ended}
        Alert.objects.filter(farm_id__any_of=array_of(farms), id__any_of=array_of(ids)).update(
            closed_week=occasion.week, closed_at=occasion.now, closed_because=because
        )
