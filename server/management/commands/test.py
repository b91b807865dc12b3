"""`manage.py test [--full] [what pytest takes]`: the test suite, on servers of its own."""

import importlib.util
import os
import sys

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from server import embedded

USAGE = """\
usage: manage.py test [--full] [what pytest takes]

  --full   also run the long tests, which count in thousands
Two tests run at a time unless -n says otherwise. Examples:
  manage.py test tests/farms -k chain
  manage.py test -n 0 --pdb tests/server/test_embedded.py"""


class Command(BaseCommand):
    help = "Runs the tests with pytest."

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand everything on to pytest: its options are not ours to parse."""
        given = argv[2:]
        if "--help" in given or "-h" in given:
            self.stdout.write(USAGE)
            return
        if importlib.util.find_spec("pytest") is None:
            raise CommandError("pytest is not installed here: run the tests with `python3 manage.py test`.")
        sys.stdout.flush()
        os.chdir(settings.BASE_DIR)
        # In place of this process, so that signals and the exit code are pytest's own.
        os.execve(sys.executable, pytest_command(given), pytest_environment(given, dict(os.environ)))


def pytest_command(given: list[str]) -> list[str]:
    rest = [word for word in given if word != "--full"]
    said = any(word.startswith(("-n", "--numprocesses")) or word == "no:xdist" for word in rest)
    return [sys.executable, "-m", "pytest", *([] if said else ["-n", "2"]), *rest]


def pytest_environment(given: list[str], environment: dict[str, str]) -> dict[str, str]:
    """Without the addresses that lead nowhere: the tests' conftest starts servers and sets its own."""
    if environment.get("REDIS_URL") == embedded.NOWHERE_REDIS:
        for name in (*embedded.VARIABLES, "REDIS_URL", "SECRET_KEY"):
            environment.pop(name, None)
    # pytest-django would read the settings before conftest has the servers up.
    environment.pop("DJANGO_SETTINGS_MODULE", None)
    if "--full" in given:
        environment["FLYROUND_FULL"] = "1"
    return environment
