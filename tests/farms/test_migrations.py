"""The migrations go forwards and back on a database of their own, as the owner who runs them in production."""

import os
import subprocess
import sys
from urllib.parse import urlsplit

import psycopg
import pytest

from server import embedded
from tests.architecture.source import ROOT

NAME = "test_flyround_there_and_back"
LEFTOVERS = """
    SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p', 'v')
        AND relname SIMILAR TO '(farms|monitoring|alerts)_%'
    UNION ALL
    SELECT proname::text FROM pg_proc WHERE pronamespace = 'public'::regnamespace
"""


@pytest.fixture
def environment():
    owner = os.environ["DATABASE_URL_OWNER"]
    with psycopg.connect(urlsplit(owner)._replace(path="/postgres").geturl(), autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{NAME}"')
        changed = {name: urlsplit(os.environ[name])._replace(path=f"/{NAME}").geturl() for name in embedded.VARIABLES}
        yield {**os.environ, **changed, "DATABASE_ROLE": "owner", "DJANGO_SETTINGS_MODULE": "server.settings"}
        server.execute(f'DROP DATABASE "{NAME}"')


# One process for several, which otherwise each load all of Django.
MIGRATE = """
import sys, django
from django.core.management import call_command
django.setup()
for words in sys.argv[1:]:
    call_command("migrate", *words.split(), skip_checks=True, verbosity=0)
"""


def migrate(environment: dict[str, str], *wanted: str) -> None:
    """Migrate one time after the other: everything (""), or an app to a state ("alerts zero")."""
    command = [sys.executable, "-c", MIGRATE, *wanted]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def left(environment: dict[str, str]) -> list[str]:
    with psycopg.connect(environment["DATABASE_URL_OWNER"]) as connection:
        return [name for (name,) in connection.execute(LEFTOVERS)]


def test_every_migration_goes_back_and_forwards_again(environment):
    migrate(environment, "")
    whole = sorted(left(environment))
    assert len(whole) > 40
    migrate(environment, "alerts zero", "monitoring zero", "farms zero")
    assert left(environment) == []
    migrate(environment, "")
    assert sorted(left(environment)) == whole
