"""The demo's own processes: a web server, a Celery worker and beat. Started together, stopped by their ids."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from server.embedded.supervisor import end_with_this_process

PATIENCE = 120.0  # seconds; a process that ends is seen at once, a slow or busy machine needs half a minute


class DemoError(Exception):
    """The demo can't go on; the message says what to do."""


@dataclass
class Processes:
    """What was started, and where its output goes."""

    logs: Path
    environment: dict[str, str]
    started: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start(self, name: str, *arguments: str, **extra: str) -> subprocess.Popen[bytes]:
        """Start a Python module in a session of its own, so that Ctrl-C reaches us alone and we stop it in order."""
        self.logs.mkdir(parents=True, exist_ok=True)
        with (self.logs / f"{name}.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", *arguments],
                env=os.environ | self.environment | extra,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                # One system call and no lock, so threads of ours do not matter.
                preexec_fn=end_with_this_process(signal.SIGTERM),  # noqa: PLW1509
            )
        self.started.append(process)
        return process

    def stop(self) -> None:
        """Ask all to end, then make them; nothing that this object did not start is touched."""
        for process in reversed(self.started):
            if process.poll() is None:
                process.terminate()
        deadline = time.monotonic() + 10
        for process in self.started:
            try:
                process.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.started.clear()

    def ended(self) -> subprocess.Popen[bytes] | None:
        """The first process that ended by itself, if any did."""
        return next((process for process in self.started if process.poll() is not None), None)


def free_port(wanted: int) -> int:
    """The wanted port of 127.0.0.1, or a free one where it is taken."""
    for port in (wanted, 0):
        with contextlib.closing(socket.socket()) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with contextlib.suppress(OSError):
                probe.bind(("127.0.0.1", port))
                return int(probe.getsockname()[1])
    raise DemoError("No port of 127.0.0.1 is free. Stop another server and start the demo again.")


def start_site(processes: Processes, port: int) -> None:
    """Start the web server and wait until it answers."""
    site = processes.start(
        "web", "gunicorn", "server.wsgi", "--bind", f"127.0.0.1:{port}", "--threads", "4", "--no-control-socket",
        "--logger-class", "server.access_log.ServerLog",
    )  # fmt: skip
    wait_for(f"http://127.0.0.1:{port}/readyz", site, processes.logs / "web.log")


def start_worker(processes: Processes) -> None:
    """Start Celery workers for checks, mails and webhooks as the worker, one for imports as the app, and beat."""
    schedule = processes.logs / "beat-schedule"
    start_checks(processes)
    start_mail(processes)
    start_hooks(processes)
    start_importer(processes)
    processes.start(
        "beat", "celery", "-A", "server.celery", "beat", "--schedule", str(schedule), "--pidfile", "",
        DATABASE_ROLE="worker",
    )  # fmt: skip


def start_checks(processes: Processes) -> subprocess.Popen[bytes]:
    """Start a Celery worker that does the weekly check."""
    return _start_celery(processes, "checks", "checks", role="worker")


def start_mail(processes: Processes, name: str = "mail") -> subprocess.Popen[bytes]:
    """Start a Celery worker that sends mails, and rings for imports."""
    return _start_celery(processes, name, "mail,celery", role="worker")


def start_hooks(processes: Processes) -> subprocess.Popen[bytes]:
    """Start a Celery worker that calls webhooks."""
    return _start_celery(processes, "hooks", "hooks", role="worker")


def start_importer(processes: Processes) -> subprocess.Popen[bytes]:
    """Start a Celery worker that does long imports for those who sent them."""
    return _start_celery(processes, "imports", "imports", role="app")


def _start_celery(processes: Processes, name: str, queues: str, *, role: str) -> subprocess.Popen[bytes]:
    return processes.start(
        name, "celery", "-A", "server.celery", "worker", "-Q", queues, "-n", f"{name}@%h", "--pool", "solo",
        "--loglevel", "INFO", "--without-gossip", "--without-mingle", DATABASE_ROLE=role,
    )  # fmt: skip


def wait_for(url: str, process: subprocess.Popen[bytes], log: Path) -> None:
    """Wait until an address answers with 200; raise DemoError where its process ends or time runs out."""
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise DemoError(f"The web server ended at once. Its last words are in {log}.")
        with contextlib.suppress(httpx.TransportError):
            if httpx.get(url, timeout=10).status_code == 200:
                return
        time.sleep(0.1)
    raise DemoError(f"The web server did not answer within {PATIENCE:.0f} s. See {log}.")


@contextlib.contextmanager
def running(logs: Path, environment: dict[str, str]) -> Iterator[Processes]:
    """Processes that end with the block, however it ends."""
    processes = Processes(logs, environment)
    try:
        yield processes
    finally:
        processes.stop()
