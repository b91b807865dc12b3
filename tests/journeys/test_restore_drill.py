"""The restore drill: a season backed up while it runs, restored on other servers, and everything asked again there."""

import time
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connections
from django.test import Client

from farms.ledger import verify_links
from farms.models import Farm
from monitoring.models import Reading
from server import backup, embedded
from server.backup.contents import contents_of
from tests.cast import as_factory, as_role
from tests.journeys.own_servers import _django_on
from tests.monitoring.regional.scene import consenting_farms, publish
from tests.season_filled import fill

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
READINGS = 100_000


def chains() -> dict[str, list[Any]]:
    """What is wrong with each farm's chain."""
    with as_role("worker"):
        return {str(farm.id): verify_links(farm.id) for farm in Farm.objects.order_by("id")}


def region_pages(erik: Any) -> dict[str, Any]:
    """The region reports as a coordinator reads them by the API, and the season's page of each region."""
    client = Client()
    client.force_login(erik)
    told = {}
    for region in client.get("/api/v1/regions").json()["results"]:
        address = f"/api/v1/regions/{region['id']}/reports"
        told[address] = client.get(address, {"since": "2026-01-05"}).json()
    return told


def test_a_hundred_thousand_readings_come_back_with_their_chains_and_region_reports(
    erik, region, elsewhere, tmp_path, record_property
):
    consenting_farms(region, [40.0 + 7 * place for place in range(12)])
    publish(region)
    fill(READINGS)
    told, kept = region_pages(erik), chains()
    assert len(told) == 2 and all(page["results"] for page in told.values())
    assert len(kept) == 14 and not any(kept.values())
    begin = time.monotonic()
    call_command("backup", tmp_path / "season.backup", stdout=StringIO())
    backed_up = time.monotonic()
    with backup.backup_login().connect() as here:
        contents = contents_of(here)
    connections.close_all()
    with embedded.scratch(tests=True) as target:
        restoring = time.monotonic()
        call_command("restore", tmp_path / "season.backup", stdout=StringIO())
        record_property("restore_seconds", round(time.monotonic() - restoring, 1))
        record_property("backup_seconds", round(backed_up - begin, 1))
        require_equal(target, contents)
        with _django_on(embedded.environment(target)):
            assert chains() == kept
            assert region_pages(erik) == told
            with as_factory():
                assert Reading.objects.count() == READINGS


def require_equal(target: embedded.Running, contents: dict[str, Any]) -> None:
    """Rows and digest of every table, heads and rights, read once more and not by the restore itself."""
    login = backup.superuser_login()
    assert login.database == "flyround" and str(target.sockets) in login.parameters["host"]
    with login.connect() as there:
        found = contents_of(there)
    assert len(found["tables"]) > 80
    assert found == contents
    assert found["tables"]["monitoring_reading"]["rows"] == READINGS
