"""Open alerts, how each stands, and their history."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import DateField, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, Coalesce
from django.db.models.lookups import IsNull

from alerts.models import Alert, AlertEvent, AlertNote, AlertWork, Assessment, CheckRun
from alerts.models.alert import BY_SOMEBODY, EventKind
from alerts.models.check import RunState
from farms.lookups import array_of
from monitoring.selectors import taken_back_of

if TYPE_CHECKING:
    from farms.models import Farm

OPENINGS = (EventKind.OPENED, EventKind.REOPENED)


def open_alerts(farm: "Farm") -> QuerySet[Alert]:
    """A farm's open alerts, the whole farm's first, then by facility in walking order."""
    alerts = Alert.objects.filter(farm_id=farm.id, closed_at__isnull=True).select_related("facility")
    return alerts.order_by(F("facility__position").asc(nulls_first=True), "method", "rule", "opened_week")


def with_state(alerts: QuerySet[Alert]) -> QuerySet[Any]:
    """Alerts with how each stands: beside what somebody did (`with_deeds`) whether it is counted.

    `counted_week` is the last week with a count of what it is about, and `judged_week` the group's last judged one:
    where the first lies before the second, it is not counted since.
    """
    found: QuerySet[Any] = with_deeds(alerts).annotate(
        counted_week=Subquery(_counted().values("week")[:1]), judged_week=Subquery(_judged().values("week")[:1])
    )
    return found


def with_deeds(alerts: QuerySet[Alert]) -> QuerySet[Any]:
    """Alerts with what somebody did about each since it last opened.

    `seen_at` is when somebody first looked at it or did something about it, `later_until` the day to which it is put
    off.
    """
    events = AlertEvent.objects.filter(
        farm_id=OuterRef("farm_id"), alert_id=OuterRef("id"), at__gte=OuterRef("since"), kind__in=BY_SOMEBODY
    )
    until = Cast(KeyTextTransform("until", "evidence"), DateField())
    put_off = events.filter(kind=EventKind.SNOOZED).order_by("-at", "-id").annotate(until=until)
    return alerts.annotate(since=Coalesce("reopened_at", "opened_at")).annotate(
        seen_at=Subquery(events.order_by("at").values("at")[:1]),
        later_until=Subquery(put_off.values("until")[:1]),
    )


def deeds_done(alerts: Collection[Any]) -> None:
    """Put the same on alerts of some farms that were read already; one query, faster than `with_deeds` for hundreds."""
    farms, ids = {alert.farm_id for alert in alerts}, {alert.id for alert in alerts}
    done = AlertEvent.objects.filter(
        farm_id__any_of=array_of(farms), alert_id__any_of=array_of(ids), kind__in=BY_SOMEBODY
    )
    until = Cast(KeyTextTransform("until", "evidence"), DateField())
    found: dict[UUID, list[tuple[Any, ...]]] = defaultdict(list)
    for alert_id, *deed in (
        done.annotate(until=until).order_by("at", "id").values_list("alert_id", "at", "kind", "until")
    ):
        found[alert_id].append(tuple(deed))
    for alert in alerts:
        since = alert.reopened_at or alert.opened_at
        deeds = [deed for deed in found[alert.id] if deed[0] >= since]
        alert.seen_at = deeds[0][0] if deeds else None
        alert.later_until = next((until for _at, kind, until in reversed(deeds) if kind == EventKind.SNOOZED), None)


def evidence_of_openings(farm_ids: Collection[UUID], week: date) -> dict[UUID, dict[str, Any]]:
    """What the alerts rest on that opened, or opened again, with a week; by alert."""
    opened = AlertEvent.objects.filter(farm_id__any_of=array_of(farm_ids), week=week, kind__in=OPENINGS)
    return dict(opened.order_by("at", "id").values_list("alert_id", "evidence"))


def _counted() -> QuerySet[Assessment]:
    # Of a facility its own weeks, of a whole farm the farm's: NULL equals nothing.
    nowhere = Q(facility_id__isnull=True) & Q(IsNull(OuterRef("facility_id"), rhs=True))
    same_place = Q(facility_id=OuterRef("facility_id")) | nowhere
    rows = Assessment.objects.filter(same_place, farm_id=OuterRef("farm_id"), method=OuterRef("method"))
    return rows.filter(mean__isnull=False).order_by("-week")


def _judged() -> QuerySet[CheckRun]:
    done = CheckRun.objects.filter(group_id=OuterRef("farm__group_id"), state=RunState.DONE)
    return done.order_by("-week")


def not_counted_since(alert: Any) -> date | None:
    """The last week with a count of what an open alert (of `with_state`) is about, where later ones had none."""
    if alert.closed_at is not None or not alert.method or alert.counted_week is None or alert.judged_week is None:
        return None
    counted: date = alert.counted_week
    return counted if counted < alert.judged_week else None


def alert_history(alert: Alert) -> QuerySet[AlertEvent]:
    """What happened to an alert, oldest first."""
    return AlertEvent.objects.filter(farm_id=alert.farm_id, alert_id=alert.id).order_by("at", "id")


def histories_of(alerts: Collection[Alert]) -> dict[UUID, list[AlertEvent]]:
    """The same of some alerts of one farm, by alert; one query, and none without alerts."""
    found: dict[UUID, list[AlertEvent]] = {alert.id: [] for alert in alerts}
    if found:
        [farm_id] = {alert.farm_id for alert in alerts}
        events = AlertEvent.objects.filter(farm_id=farm_id, alert_id__any_of=array_of(found)).order_by("at", "id")
        for event in events:
            found[event.alert_id].append(event)
    return found


def notes_of(alert: Alert) -> dict[UUID, str]:
    """What was written about an alert, by the event that it came with; what was erased isn't there."""
    return notes_of_alerts([alert])


def notes_of_alerts(alerts: Collection[Alert]) -> dict[UUID, str]:
    """The same of some alerts of one farm; one query, and none without alerts."""
    if not alerts:
        return {}
    [farm_id] = {alert.farm_id for alert in alerts}
    ids = array_of(alert.id for alert in alerts)
    notes = AlertNote.objects.filter(farm_id=farm_id, event__alert_id__any_of=ids)
    return dict(notes.values_list("event_id", "text"))


def works_linked_to(alert: Alert) -> QuerySet[AlertWork]:
    """The work that was done about an alert, each with the event that says so; not what was taken back."""
    links = AlertWork.objects.filter(farm_id=alert.farm_id, alert_id=alert.id)
    links = links.exclude(work_id__in=taken_back_of(alert.farm_id))
    return links.select_related("work", "work__facility").order_by("work__done_on", "id")


def alerts_of(farm: "Farm") -> QuerySet[Alert]:
    """A farm's alerts, open and closed; the order is the caller's."""
    return Alert.objects.filter(farm_id=farm.id)


def open_alerts_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Alert]:
    """The open alerts of many farms, newest first."""
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), closed_at__isnull=True)
    return alerts.select_related("facility").order_by("-opened_at", "farm_id", "id")


def alerts_last_changed(farm_ids: Collection[UUID]) -> datetime | None:
    """When an alert of these farms was last opened or closed; None where there was never one."""
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids))
    changes = alerts.aggregate(opened=Max("opened_at"), reopened=Max("reopened_at"), closed=Max("closed_at"))
    return max((moment for moment in changes.values() if moment), default=None)
