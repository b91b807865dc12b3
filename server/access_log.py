"""The web server's own log: gunicorn's lines, with the secret parts of addresses left out.

Named on gunicorn's command line (`--logger-class`), in the Dockerfile and in server/demo/processes.py.
"""

import logging
from typing import Any

from gunicorn.glogging import Logger

from server.secret_addresses import hide_keys


class WithoutKeys(logging.Formatter):
    """Writes what another formatter writes, referrer and traceback included, without keys."""

    def __init__(self, inner: logging.Formatter | None) -> None:
        super().__init__()
        self.inner = inner or logging.Formatter()

    def format(self, record: logging.LogRecord) -> str:
        return hide_keys(self.inner.format(record))


class ServerLog(Logger):  # type: ignore[misc]
    """gunicorn's logger; its requests, its refusals of broken ones and its crashes all name addresses."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        for log in (self.error_log, self.access_log):
            for handler in log.handlers:
                handler.setFormatter(WithoutKeys(handler.formatter))
