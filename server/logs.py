"""What is written to the log: one JSON object a line, from our code, Django's and every library's alike."""

import re
import sys
import traceback
from collections.abc import Iterator
from typing import Any

import structlog
from structlog.typing import EventDict, Processor, WrappedLogger

from server.secret_addresses import hide_keys

# Lines with one of these are about farms: what an error says there may be a name or a count.
ABOUT_FARMS = {"week", "mail"}
# PostgreSQL shows the row at fault behind these words.
ROWS_SHOWN = re.compile(r"(DETAIL|CONTEXT):.*")
MAIL_ADDRESS = re.compile(r"[\w.+-]+@(?:[\w-]+\.)+[A-Za-z]{2,}")
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
        _traceback,
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


def _traceback(_logger: WrappedLogger, _name: str, line: EventDict) -> EventDict:
    """The traceback as text. Of errors about farms only their kinds and places: what they say stands on their rows."""
    if ABOUT_FARMS & line.keys() and (error := _error_in(line.pop("exc_info", None))) is not None:
        line["exception"] = "".join(_places(error))
    line = structlog.processors.format_exc_info(_logger, _name, line)
    return {
        name: ROWS_SHOWN.sub(r"\1: ...", value) if isinstance(value, str) else value for name, value in line.items()
    }


def _error_in(told: Any) -> BaseException | None:
    """The error that `exc_info` names in one of its three forms."""
    if isinstance(told, BaseException):
        return told
    error: BaseException | None = told[1] if isinstance(told, tuple) else sys.exc_info()[1] if told else None
    return error


def _places(error: BaseException) -> Iterator[str]:
    """Where an error arose and of which kind it is, those that it came from first."""
    before = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if before is not None:
        yield from _places(before)
    yield from traceback.format_tb(error.__traceback__)
    yield f"{type(error).__module__}.{type(error).__qualname__}\n"


def _without_keys(_logger: WrappedLogger, _name: str, line: str | EventDict) -> str:
    """The last step: whoever names an address, a traceback too, names no key in it, and nobody's mail address."""
    return MAIL_ADDRESS.sub("...@...", hide_keys(str(line)))
