"""What gunicorn does for the counters of its processes: it names this module with `--config python:server.counters`.

Each web process writes its counts for Prometheus into a file of the folder PROMETHEUS_MULTIPROC_DIR, and whichever is
asked adds all of them up (server/metrics.py).
"""

import os
import shutil
from typing import Any

VARIABLE = "PROMETHEUS_MULTIPROC_DIR"


def on_starting(server: Any) -> None:
    """Begin with an empty folder, before the first process is made: files of an earlier life would count twice."""
    if folder := os.environ.get(VARIABLE):
        shutil.rmtree(folder, ignore_errors=True)
        os.makedirs(folder)


def child_exit(server: Any, worker: Any) -> None:
    """A process is gone: what it counted stays, what it had under way doesn't."""
    if VARIABLE in os.environ:
        from prometheus_client.multiprocess import mark_process_dead

        mark_process_dead(worker.pid)
