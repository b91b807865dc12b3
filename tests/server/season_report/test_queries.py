"""How many queries a report asks: a number that holds however much is on record."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from farms.ids import uuid7
from monitoring.rules.walk import FindingSent
from monitoring.selectors import complaints_of, findings_of
from monitoring.services import ComplaintTyped, StepSent, WalkSent, WorkDone, record_complaint, record_step, record_work
from monitoring.services import record_walk as walk
from server.season_report.ground import Ground
from server.season_report.report import season_report
from tests.cast import NOW, acting
from tests.server.evidence import scene
from tests.server.season_report.conftest import WANTED, replace

pytestmark = pytest.mark.django_db
MOST = 75


def asked(farm: Any, anna: Any) -> int:
    """By the owner, with names and every complaint, in the outline that has all sections; what is attached, apart."""
    with acting(anna):
        complaints = tuple(row.known for row in complaints_of(farm))
        wanted = replace(WANTED, outline="neighbor", names=True, complaints=complaints)
        with CaptureQueriesContext(connection) as queries:
            season_report(Ground(farm, wanted, NOW), attach=False)
    return len(queries)


def more(farm: Any, anna: Any, barn: Any) -> None:
    """Five more walks, findings, steps, works and complaints."""
    actor = scene.Actor(scene.ActorKind.FARM_STAFF, anna.id)
    with acting(anna):
        for number in range(5):
            day = scene.LAST - timedelta(days=7 * number)
            now, found = scene.noon(day), FindingSent(uuid7(), "waterers", larvae="some", facility=barn)
            walk(farm=farm, sent=WalkSent(uuid7(), day, (found,), barn), actor=actor, now=now)
            record_step(finding=findings_of(farm).get(known=found.id), step=StepSent("gone", day), actor=actor, now=now)
            record_work(farm=farm, work=WorkDone("clean_out", day, barn), actor=actor, now=now)
            record_complaint(farm=farm, typed=ComplaintTyped(day, "call", "other", "flies"), actor=actor, now=now)


def test_as_many_for_much_as_for_little(signed, anna, calf_barn):
    little = asked(signed.farm, anna)
    assert little <= MOST
    more(signed.farm, anna, calf_barn)
    assert asked(signed.farm, anna) == little
