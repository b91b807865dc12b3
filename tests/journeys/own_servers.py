"""PostgreSQL and Valkey of one test's own, which it may stop, start and empty; and Django pointed at them meanwhile."""

import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import redis
from django.core.management import call_command
from django.db import connections
from kombu import Connection

from server import embedded
from server.celery import app
from server.embedded import cluster, hold, supervisor
from server.embedded.cluster import Kind
from server.embedded.places import PREFIX, open_data, open_places, programs_for, short_temporary_folder, socket_folder
from server.settings import _database
from tests.patience import wait_until

# As in production: what PostgreSQL has confirmed survives the end of its processes.
KIND = Kind(fsync=True, tests=True)


@dataclass
class OwnServers:
    """Both servers, and how to disturb them."""

    running: hold.Running
    orders: dict[str, dict[str, Any]]
    processes: dict[str, subprocess.Popen[bytes]]

    @property
    def environment(self) -> dict[str, str]:
        """The addresses, for the processes of the service."""
        url = self.running.redis_url.replace("unix://", "redis+socket://", 1)
        return embedded.environment(self.running) | {"CELERY_BROKER_URL": f"{url}?virtual_host=0"}

    def ring(self, task: str) -> None:
        """Ring as beat does."""
        # By a connection of its own: Celery takes CELERY_BROKER_URL of this process before any other address.
        with Connection(self.environment["CELERY_BROKER_URL"]) as broker:
            app.send_task(task, connection=broker, expires=300)

    def flush_broker(self) -> None:
        with redis.Redis.from_url(self.running.redis_url) as client:
            client.flushall()

    def restart_postgres(self, how: signal.Signals) -> None:
        """Stop PostgreSQL, by SIGINT (fast) or SIGQUIT (at once, as in a crash), and start it on the same data."""
        self.processes["postgres"].send_signal(how)
        self.processes["postgres"].wait(60)
        self._start("postgres")

    def start(self) -> None:
        for name in self.orders:
            self._start(name)
        cluster.prepare_databases(self.running.sockets, self.running.secrets["passwords"], KIND)

    def stop(self) -> None:
        supervisor.stop([(process, self.orders[name]["stop"]) for name, process in self.processes.items()])

    def _start(self, name: str) -> None:
        self.processes[name] = supervisor.start(self.orders[name])
        wait_until(self._answer, "the servers answer")

    def _answer(self) -> bool:
        sockets, password = self.running.sockets, self.running.secrets["passwords"]["postgres"]
        there = {
            "postgres": lambda: cluster.answers(sockets, password),
            "valkey": lambda: cluster.valkey_answers(sockets),
        }
        return all(there[name]() for name in self.processes)


@contextmanager
def own_servers() -> Iterator[OwnServers]:
    """Fresh servers with a migrated database, to which this process's connections lead until the end."""
    with tempfile.TemporaryDirectory(prefix=PREFIX, dir=short_temporary_folder()) as folder:
        made = _made(Path(folder))
        try:
            made.start()
            with _django_on(made.environment):
                call_command("migrate", database="owner", verbosity=0, interactive=False)
                yield made
        finally:
            made.stop()


def _made(folder: Path) -> OwnServers:
    folder.chmod(0o711)  # root's servers run under another account
    open_data(folder)
    places = open_places(folder)
    programs, secrets = programs_for(places), hold.load_secrets(places, KIND)
    cluster.ensure_cluster(places, programs, secrets["passwords"]["postgres"], KIND)
    sockets = socket_folder(places.base, places.account)
    orders = {
        "postgres": cluster.postgres_child(places, programs, sockets, KIND),
        "valkey": cluster.valkey_child(places, programs, sockets),
    }
    # Nobody else joins these servers, so nothing has to be held.
    running = hold.Running(
        folder,
        sockets,
        secrets,
        KIND,
        started=True,
        seconds=0.0,
        _hold=None,  # type: ignore[arg-type]
    )
    return OwnServers(running, orders, {})


@contextmanager
def _django_on(environment: dict[str, str]) -> Iterator[None]:
    kept = {alias: dict(connections[alias].settings_dict) for alias in connections}
    connections.close_all()
    try:
        for alias in connections:
            url = environment["DATABASE_URL" if alias == "default" else f"DATABASE_URL_{alias.upper()}"]
            connections[alias].settings_dict.update(_database(url))
        yield
    finally:
        connections.close_all()
        for alias, settings in kept.items():
            connections[alias].settings_dict.clear()
            connections[alias].settings_dict.update(settings)
