"""What is written to the log: one JSON object a line, from our code, Django's and every library's alike."""

from typing import Any

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

from server.secret_addresses import hide_keys

# What every line has, whoever wrote it: the request's id, who speaks, how grave it is, when (UTC).
ALIKE: list[Processor] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_logger_name,
    structlog.stdlib.add_log_level,
    structlog.processors.TimeStamper(fmt="iso"),
]


def json_lines(level: str) -> dict[str, Any]:
    """Django's LOGGING: everything from `level` on goes to standard error, a traceback within its line."""
    structlog.configure(
        processors=[structlog.stdlib.filter_by_level, *ALIKE, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=True,
    )
    written = [
        structlog.stdlib.ProcessorFormatter.remove_processors_meta,
        structlog.processors.format_exc_info,
        structlog.processors.JSONRenderer(),
        _without_keys,
    ]
    line = {"()": structlog.stdlib.ProcessorFormatter, "foreign_pre_chain": ALIKE, "processors": written}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": line},
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
        # At INFO httpx writes down every address that it calls.
        # Django's own handlers would mail errors and write requests past the line above, with their addresses.
        "loggers": {
            "httpx": {"level": "WARNING"},
            "django": {"handlers": []},
            "django.server": {"handlers": [], "propagate": True},
        },
        "root": {"handlers": ["console"], "level": level},
    }


def _without_keys(_logger: WrappedLogger, _name: str, line: str | EventDict) -> str:
    """The last step: whoever names an address, a traceback too, names no key in it."""
    return hide_keys(str(line))
