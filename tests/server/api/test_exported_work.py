"""Work as it is taken along: what was planned, what was taken back, and no words of anybody."""

import pytest

from farms.models import Facility, Farm, User
from tests.cast import acting
from tests.monitoring.sending import TODAY
from tests.server.api.exporting import csv_rows, taken
from tests.server.api.planned import FORMULA, work_planned
from tests.server.api.senders import Sender

pytestmark = pytest.mark.django_db


def test_work_says_what_was_taken_back_and_what_it_was_planned_for(
    reader: Sender, northfield: Farm, anna: User, calf_barn: Facility
):
    with acting(anna):
        work_planned(northfield, calf_barn)
    rows = csv_rows(taken(reader, northfield, "works.csv"))
    assert sorted((row["kind"], row["taken_back"]) for row in rows) == [
        ("clean_out", "false"), ("clean_out", "true"), ("wasps", "false"),
    ]  # fmt: skip
    (plan,) = csv_rows(taken(reader, northfield, "planned-works.csv"))
    (released,) = (row for row in rows if row["kind"] == "wasps")
    assert (released["planned_id"], released["planned_for"], released["number"]) == (plan["id"], str(TODAY), "5000")
    assert released["species"] == f"'{FORMULA}"
    # No free words of anybody: those of the plan, of the step and of what was taken back stay at home.
    told = "".join(str(row) for name in ("works", "planned-works", "planned-steps")
                   for row in csv_rows(taken(reader, northfield, f"{name}.csv")))  # fmt: skip
    assert not any(words in told for words in ("north wall", "none came", "twice"))
