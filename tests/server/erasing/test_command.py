"""The command, on the eraser's own connection: what it says, and that a second run finds nothing."""

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from farms.models import Farm
from farms.services import ask_farm_erasure
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


def told(*options: str) -> str:
    out = StringIO()
    call_command("erase_due", *options, stdout=out)
    return out.getvalue()


@pytest.fixture(autouse=True)
def due(settings, tmp_path, northfield, anna):
    with acting(anna):
        ask_farm_erasure(farm=northfield, typed_name="Northfield", by=anna, now=NOW)
    clock = tmp_path / "clock"
    clock.write_text((NOW + timedelta(days=15)).isoformat())
    settings.CLOCK_FILE = str(clock)


def test_it_says_what_would_go_then_does_it_then_finds_nothing(northfield):
    assert "would go" in told("--dry-run") and "farms_membership" in told("--dry-run")
    with as_factory():
        assert Farm.objects.filter(id=northfield.id).exists()
    done = json.loads(told("--json"))
    assert done["done"][0]["what"] == "A farm" and done["done"][0]["state"] == "due" and not done["dry_run"]
    with as_factory():
        assert not Farm.objects.filter(id=northfield.id).exists()
    assert "No farm and no person is due" in told() and "Nothing is over its time." in told()


def test_without_the_erasers_login_it_says_what_to_set(settings, monkeypatch):
    monkeypatch.delitem(settings.DATABASES, "eraser")
    with pytest.raises(CommandError, match="Set DATABASE_URL_ERASER"):
        told()
