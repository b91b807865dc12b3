"""`/metrics`: the service in numbers for Prometheus, in its text format, to whoever has the token (METRICS_TOKEN).

What the processes counted themselves comes from django_prometheus; of several processes it is added up where
PROMETHEUS_MULTIPROC_DIR names their folder (server/counters.py). All else is read from rows at the moment of asking,
so that it is true whichever process answers, and while no worker lives. No farm and no person stands in a label.
"""

import os
import secrets
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotFound
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu import Connection
from kombu.exceptions import OperationalError
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from alerts.models import CheckRun, Running
from alerts.selectors.running import last_ring, newest_runs, number_of_runs, running_everywhere
from farms import clock
from monitoring.regional.selectors import held_back
from server.celery import app

QUEUES = ("celery", "checks", "mail", "hooks", "imports")
PATIENCE = 2.0  # seconds for the broker to answer


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Not there without a token in the settings; 401 to whoever doesn't have it."""
    if not settings.METRICS_TOKEN:
        # Returned, not raised: no transaction was opened here that could be undone for it.
        return HttpResponseNotFound("Nothing is here.\n", "text/plain")
    given, wanted = request.headers.get("Authorization", ""), f"Bearer {settings.METRICS_TOKEN}"
    if not secrets.compare_digest(given.encode(), wanted.encode()):
        return HttpResponse(
            "Send the token of METRICS_TOKEN.\n", "text/plain", 401, headers={"WWW-Authenticate": "Bearer"}
        )
    return HttpResponse(generate_latest(of_processes()) + generate_latest(of_rows(clock.now())), CONTENT_TYPE_LATEST)


def of_processes() -> CollectorRegistry:
    """What the web processes counted: all of them, or this one where it is alone."""
    if "PROMETHEUS_MULTIPROC_DIR" not in os.environ:
        return REGISTRY
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    return registry


def of_rows(now: datetime) -> CollectorRegistry:
    """What the rows say at this moment."""
    registry = CollectorRegistry()
    registry.register(RunningCollector(now))
    return registry


class RunningCollector(Collector):
    """Reads the rows when it is asked: seven queries, however many groups, and the broker's queues."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def collect(self) -> Iterator[Metric]:
        yield self._bell()
        yield from _runs()
        rows = running_everywhere()
        yield from self._groups(rows)
        yield _held(rows)
        yield _queues()

    def _bell(self) -> Metric:
        rung_at = last_ring()
        bell = GaugeMetricFamily("flyround_beat_silence_seconds", "Since the worker last heard the bell of beat.")
        if rung_at is not None:
            bell.add_metric([], self._age(rung_at))
        return bell

    def _groups(self, rows: list[Running]) -> Iterator[Metric]:
        yield GaugeMetricFamily("flyround_groups", "Groups that are watched.", value=len(rows))
        for name, (words, value) in GAUGES.items():
            yield _by_group(name, words, ((row, float(value(row))) for row in rows))
        for name, (words, moment) in AGES.items():
            yield _by_group(name, words, ((row, self._age(moment(row))) for row in rows))

    def _age(self, moment: datetime | None) -> float:
        """Seconds since a moment; zero where there is none, or where it is to come."""
        return max((self.now - moment).total_seconds(), 0.0) if moment is not None else 0.0


GAUGES: dict[str, tuple[str, Callable[[Running], int]]] = {
    "flyround_check_farms_to_judge": ("Farms that the newest week asked for.", lambda row: row.to_judge),
    "flyround_check_farms_judged": ("Farms judged in the newest week.", lambda row: row.judged),
    "flyround_check_farms_failed": ("Farms that failed in the newest week.", lambda row: row.failed),
    "flyround_check_farms_set_aside": ("Farms and weeks set aside, not solved yet.", lambda row: row.set_aside),
    "flyround_check_notices_owed": ("Farms judged whose owners get a mail.", lambda row: row.owed),
    "flyround_check_notices_written": ("Of those, farms whose mail is written.", lambda row: row.written),
    "flyround_notices_waiting": ("Mails that wait to be sent.", lambda row: row.waiting),
    "flyround_notices_sending": ("Mails that a worker has claimed.", lambda row: row.sending),
    "flyround_notices_sent": ("Mails of the newest week that were sent.", lambda row: row.sent),
    "flyround_notices_refused": ("Mails of the newest week that were refused for good.", lambda row: row.refused),
    "flyround_webhook_messages_waiting": ("Messages that wait for webhooks switched on.", lambda row: row.hooks),
    "flyround_webhooks_failing": ("Webhooks whose last try failed.", lambda row: row.hooks_failing),
    "flyround_imports_unfinished": ("Imports that wait or are being done.", lambda row: row.imports),
}  # fmt: skip
AGES: dict[str, tuple[str, Callable[[Running], datetime | None]]] = {
    "flyround_check_oldest_due_seconds": ("Since the oldest week not judged is due.", lambda row: row.due_at),
    "flyround_notice_oldest_waiting_seconds": ("Age of the oldest mail not sent.", lambda row: row.oldest_mail_at),
    "flyround_webhook_oldest_seconds": ("Since a message to a webhook could be sent.", lambda row: row.oldest_hook_at),
    "flyround_import_oldest_seconds": ("Age of the oldest import not done.", lambda row: row.oldest_import_at),
}


def _by_group(name: str, words: str, values: Iterable[tuple[Running, float]]) -> Metric:
    family = GaugeMetricFamily(name, words, labels=["group_id"])
    for row, value in values:
        family.add_metric([str(row.group_id)], value)
    return family


def _held(rows: Iterable[Running]) -> Metric:
    """Weeks of regions that the audit of region reports holds back, of each group that runs."""
    held = GaugeMetricFamily("flyround_region_reports_held", "Weeks of regions held back.", labels=["group_id"])
    weeks = Counter(group for group, _region, _week in _weeks_held())
    for row in rows:
        held.add_metric([str(row.group_id)], weeks[row.group_id])
    return held


def _weeks_held() -> set[tuple[UUID, UUID, date]]:
    return {(each.region.group_id, each.region_id, each.week) for each in held_back()}


def _runs() -> Iterator[Metric]:
    """Runs of all groups by state, and of each group's newest run how long it took and how often it was begun."""
    runs = GaugeMetricFamily("flyround_check_runs", "Runs that are not done, by state.", labels=["state"])
    counted = number_of_runs()
    for state in ("due", "running"):
        runs.add_metric([state], counted.get(state, 0))
    yield runs
    yield CounterMetricFamily("flyround_check_runs_done", "Runs that are done.", value=counted.get("done", 0))
    took = GaugeMetricFamily("flyround_check_duration_seconds", "What the newest run took.", labels=["group_id"])
    attempts = GaugeMetricFamily("flyround_check_attempts", "How often the newest run was begun.", labels=["group_id"])
    for group_id, run in newest_runs().items():
        attempts.add_metric([str(group_id)], run.attempts)
        if (seconds := seconds_of(run)) is not None:
            took.add_metric([str(group_id)], seconds)
    yield took
    yield attempts


def seconds_of(run: CheckRun) -> float | None:
    """How long a run took, from its last beginning; None while it isn't done."""
    if run.started_at is None or run.finished_at is None:
        return None
    return (run.finished_at - run.started_at).total_seconds()


def _queues() -> Metric:
    """What lies in the broker. A broker that doesn't answer has no number: it is only the bell."""
    lengths = GaugeMetricFamily("flyround_queue_messages", "Messages in a queue of the broker.", labels=["queue"])
    options = {**app.conf.broker_transport_options, "socket_timeout": PATIENCE, "socket_connect_timeout": PATIENCE}
    with app.connection_for_read(connect_timeout=PATIENCE, transport_options=options) as connection:
        try:
            for queue in QUEUES:
                lengths.add_metric([queue], _length(connection, queue))
        except (OperationalError, OSError, *connection.connection_errors):
            lengths.samples.clear()
    return lengths


def _length(connection: Connection, queue: str) -> int:
    channel = connection.channel()
    try:
        return int(channel.queue_declare(queue, passive=True).message_count)
    except connection.channel_errors:
        return 0  # an empty queue of Valkey isn't there at all
