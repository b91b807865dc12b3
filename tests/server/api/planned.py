"""Planned work and a work taken back, for what is taken along."""

from dataclasses import replace
from datetime import timedelta

from farms.models import Facility, Farm
from monitoring.services import WorkDone, WorkPlanned, as_planned, leave_out, plan_work, record_work, take_back_work
from tests.cast import NOW
from tests.monitoring.applying import note
from tests.monitoring.sending import HUNG, STAFF, TODAY

FORMULA = '=HYPERLINK("http://example.org","Ñandú")'


def work_planned(farm: Farm, barn: Facility) -> None:
    """A programme of three releases, one made, one left out, one to come; a clean-out, and one taken back; a spray."""
    for place in (barn, None):
        wrong = record_work(farm=farm, work=WorkDone("clean_out", HUNG, place), actor=STAFF, now=NOW)
    take_back_work(work=wrong, why="twice", actor=STAFF, now=NOW)
    plan = WorkPlanned("wasps", TODAY, every=1, unit="week", last_day=TODAY + timedelta(weeks=2), words="north wall")
    row = plan_work(farm=farm, plan=plan, actor=STAFF, now=NOW)
    released = replace(as_planned(row, TODAY, TODAY), species=FORMULA, number=5000, batch="B-1")
    record_work(farm=farm, work=released, actor=STAFF, now=NOW)
    leave_out(planned=row, day=TODAY + timedelta(weeks=1), why="none came", actor=STAFF, now=NOW)
    note(farm)
