#!/usr/bin/env python3
"""Django's commands, on a machine that may have nothing but Python: see server/bootstrap.py and server/embedded."""

import contextlib
import os
import sys
from pathlib import Path

# Before any import of ours, which an older Python could not even read.
if sys.version_info < (3, 11):  # noqa: UP036 - the reader may well have an older one
    found = ".".join(map(str, sys.version_info[:2]))
    sys.exit(f"Flyround needs Python 3.11 or newer, and this is {found}: start it with a newer python3.")

ROOT = Path(__file__).resolve().parent
# These start no servers: they need no database, or bring servers of their own.
WITHOUT_SERVERS = {"help", "version", "test", "api_difference", "makemessages", "compilemessages", "calibrate"}


def say(line):
    print(line, file=sys.stderr, flush=True)


@contextlib.contextmanager
def surroundings(command):
    """Addresses and keys for the command, unless DATABASE_URL says that somebody else arranged them."""
    if "DATABASE_URL" in os.environ:
        yield
        return
    from server import embedded

    if command in WITHOUT_SERVERS:
        os.environ.update(embedded.nowhere())
        yield
        return
    # Measurements never touch the kept data; like it, they pay for fsync. Tables of 20,000 farms want a larger cache.
    folder = Path(os.environ.get("FLYROUND_DATA") or ROOT / ".data")
    opened = embedded.scratch(fsync=True, cache="1GB") if command == "bench" else embedded.servers(folder, say=say)
    with opened as running:
        if running.started:
            say(f"PostgreSQL and Valkey answer after {running.seconds:.1f} s.")
        os.environ.update(embedded.environment(running))
        yield


def main():
    from server import bootstrap

    command = next((word for word in sys.argv[1:] if not word.startswith("-")), "help")
    if "--help" in sys.argv or "-h" in sys.argv:
        command = "help"
    try:
        bootstrap.ensure(command, say=say)
    except bootstrap.BootstrapError as error:
        sys.exit(str(error))
    from server.embedded import EmbeddedError

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
    try:
        with surroundings(command):
            from django.core.management import execute_from_command_line

            execute_from_command_line(sys.argv)
    except EmbeddedError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
