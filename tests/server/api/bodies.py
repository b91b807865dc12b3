"""Bodies of requests, and the look at what was stored of them."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.apps import apps

from farms.ids import uuid7
from farms.models import Farm, LedgerHead
from monitoring.models import Station
from tests.cast import NOW, as_factory

TODAY = NOW.date()
A_WEEK_AGO = TODAY - timedelta(days=7)


def card_reading(station: Station, **values: Any) -> dict[str, Any]:
    """A card's reading after a week; `count` 40 unless a reason or another count is given."""
    usual = {"hung_on": str(A_WEEK_AGO)} | ({} if "reason" in values else {"count": 40})
    return {"id": str(uuid7()), "station_id": str(station.id), **usual, **values}


def round_body(readings: Sequence[dict[str, Any]] = (), walked_on: date = TODAY, **values: Any) -> dict[str, Any]:
    return {"walked_on": str(walked_on), "readings": list(readings), **values}


def everything_stored(farm: Farm) -> dict[str, Any]:
    """The number of rows in every table of ours, and the head of the farm's chain."""
    models = [model for label in ("farms", "monitoring", "alerts") for model in apps.get_app_config(label).get_models()]
    with as_factory():
        counts: dict[str, Any] = {model._meta.db_table: model._default_manager.count() for model in models}
        head = LedgerHead.objects.get(farm=farm)
    return counts | {"head": (head.number, bytes(head.hash))}
