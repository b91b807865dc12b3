"""How long the report of a five-year farm takes as a PDF, from the request of its owner to the last byte.

Five seasons of 26 weeks, 25 cards in five buildings: 3,250 counts with their placements, chain and weekly summaries,
each week's results, 60 works and 20 applications, 50 fly walks of six places with 150 finds followed until they were
gone, a day signed over all of it. The report holds every count, a chart a season, what became of the counts after each
work, and the farm's evidence as its attachment.
"""

import statistics
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from alerts.models import Assessment
from farms.ids import uuid7
from farms.models import Facility, Season, User
from farms.tenancy.acting import act_for_user
from monitoring.models import Station
from monitoring.rules.application import Measured, People
from monitoring.rules.label import Label
from monitoring.rules.walk import FindingSent
from monitoring.selectors import findings_of
from monitoring.services import (
    Applied,
    ImportPlan,
    StepSent,
    WalkSent,
    WorkDone,
    Writer,
    record_application,
    record_step,
    record_table,
    record_walk,
    record_work,
    table_of_rows,
)
from server.evidence.days import do_errands, sign_day
from server.evidence.keys import make_key
from tests.bench.ingest import PROGRAM, Ranch, as_factory, ranch

RUNS = 3
YEARS = range(2021, 2026)
WEEKS, BUILDINGS, CARDS = 26, 5, 25
# Whatever the machine's clock says: after the last season.
NOW = datetime(2025, 12, 1, 12, tzinfo=UTC)
LABEL = Label("Invented Wall Spray", "00000-1", "inventedthrin", ("3A",), "residual", 12, "until dry", 24, 3)


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure; the median of the runs."""
    with tempfile.TemporaryDirectory() as folder:
        place = five_year_farm(Path(folder))
        client = Client(SERVER_NAME="localhost")
        with as_factory():
            client.force_login(User.objects.get(id=place.user_id))
        address = reverse("farm-report-pdf", kwargs={"farm_id": place.farm.id})
        seconds, size = zip(*(_asked(client, address) for _ in range(RUNS + 1)), strict=True)
    readings = len(YEARS) * WEEKS * CARDS
    unit = f"s for {readings:,} counts of five seasons, {size[0] / 1e6:.1f} MB"
    return {"report.seconds": {"value": round(statistics.median(seconds[1:]), 2), "unit": unit, "runs": RUNS}}


def _asked(client: Client, address: str) -> tuple[float, int]:
    begin = time.perf_counter()
    answer = client.get(address, {"since": f"{YEARS[0]}-04-01", "until": f"{YEARS[-1]}-11-30"})
    took = time.perf_counter() - begin
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF"), answer.content[:300]
    return took, len(answer.content)


def five_year_farm(folder: Path) -> Ranch:
    """The farm; its signing key lies in a folder."""
    settings.HEADS_KEY, settings.HEADS_DIR = str(folder / "key.pem"), str(folder / "heads")
    Path(settings.HEADS_DIR).mkdir()
    make_key(Path(settings.HEADS_KEY))
    place = ranch(cards=0, since=date(2000, 1, 1))
    with as_factory():
        barns = _buildings(place)
    with transaction.atomic():
        act_for_user(place.user_id)
        table = table_of_rows(_rows())
        done = record_table(farm=place.farm, table=table, plan=ImportPlan(), actor=PROGRAM, now=NOW)
        assert done.stored == len(YEARS) * WEEKS * CARDS
        _done(place, barns)
        _walked(place, barns)
    with as_factory():
        _judged(place, barns)
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL ROLE flyround_worker")
        sign_day(NOW)
        do_errands(NOW)
    return place


def _buildings(place: Ranch) -> list[Facility]:
    farm = place.farm
    Season.objects.filter(farm=farm).delete()
    Season.objects.bulk_create(
        Season(farm=farm, opens_on=date(year, 4, 1), closes_on=date(year, 10, 31)) for year in YEARS
    )
    barns = [
        Facility.objects.create(farm=farm, name=f"Barn {number}", kind="calf_barn", position=number)
        for number in range(1, BUILDINGS + 1)
    ]
    Station.objects.bulk_create(
        Station(
            farm_id=farm.id, facility_id=barns[number % BUILDINGS].id, method="card", number=number + 1,
            since=date(YEARS[0], 4, 1),
        )
        for number in range(CARDS)
    )  # fmt: skip
    return barns


def _mondays(year: int) -> list[date]:
    first = date(year, 4, 5)
    first += timedelta(days=(7 - first.weekday()) % 7)
    return [first + timedelta(weeks=week) for week in range(WEEKS)]


def _rows() -> list[dict[str, Any]]:
    rng = np.random.default_rng(20251201)
    return [
        {
            "station": f"Card {card + 1}", "hung_on": monday.isoformat(),
            "taken_on": (monday + timedelta(days=7)).isoformat(), "count": int(rng.poisson(rng.gamma(1.5, 60))),
        }
        for year in YEARS
        for monday in _mondays(year)
        for card in range(CARDS)
    ]  # fmt: skip


def _done(place: Ranch, barns: list[Facility]) -> None:
    for year in YEARS:
        for number in range(12):
            day = date(year, 5, 1) + timedelta(days=14 * number)
            work = WorkDone("clean_out", day, barns[number % BUILDINGS], thorough=True)
            record_work(farm=place.farm, work=work, actor=PROGRAM, now=NOW)
        for number in range(4):
            begins = datetime(year, 6 + number, 10, 14, tzinfo=UTC)
            measured = Measured(Decimal("2.5"), "gal", Decimal(450), "m2")
            applied = Applied(
                LABEL, measured, People("Pat Invented", "C-1", "", ""), "house_flies", begins,
                begins + timedelta(hours=1), barns[number],
            )  # fmt: skip
            record_application(farm=place.farm, applied=applied, by=Writer(PROGRAM), now=NOW)


def _walked(place: Ranch, barns: list[Facility]) -> None:
    """Every 18 days a walk through a building: three places with nothing, three that are mended and gone."""
    places = ("waterers", "bedding", "gutters", "pen_corners", "spilled_feed", "feed_bunks")
    for year in YEARS:
        for number in range(10):
            day, barn = date(year, 4, 20) + timedelta(days=18 * number), barns[number % BUILDINGS]
            found = tuple(
                FindingSent(uuid7(), each, nothing=True, facility=barn)
                if at % 2
                else FindingSent(uuid7(), each, moisture="wet", larvae="some", facility=barn, due_on=day)
                for at, each in enumerate(places)
            )
            record_walk(farm=place.farm, sent=WalkSent(uuid7(), day, found, barn), actor=PROGRAM, now=NOW)
    for row in findings_of(place.farm).filter(nothing=False):
        for kind in ("done", "gone"):
            record_step(finding=row, step=StepSent(kind, row.seen_on), actor=PROGRAM, now=NOW)


def _judged(place: Ranch, barns: list[Facility]) -> None:
    """Results as the weekly check stores them, of the farm and each building."""
    rng = np.random.default_rng(1)
    rows = []
    for year in YEARS:
        for week in _mondays(year):
            for barn in (None, *barns):
                mean = float(rng.gamma(4, 22))
                rows.append(
                    Assessment(
                        farm_id=place.farm.id,
                        id=uuid7(),
                        facility_id=barn.id if barn else None,
                        method="card",
                        week=week,
                        judged_at=NOW,
                        mean=mean,
                        low=mean * 0.7,
                        high=mean * 1.4,
                        devices=CARDS if barn is None else CARDS // BUILDINGS,
                        level=100,
                        result="over" if mean > 100 else "near" if mean > 66 else "below",
                        trend="level",
                        code_version="bench",
                    )
                )
    Assessment.objects.bulk_create(rows)
