"""What results borrow, over the API: the group's pooled figures of a quarter, and nothing of a single farm."""

import json
from datetime import date
from typing import Any

import pytest

from alerts.models import Assessment, BorrowedFigures
from farms.models import Farm, Group, User
from tests.cast import NOW, as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
WEEK = date(2026, 5, 25)
FIGURES = {
    "shock": 0.21, "stays": 0.35, "counting": 1.1, "growth": 0.15, "degrees": 7.3, "weight_k": 1.6,
    "taylor_a": 0.5, "taylor_b": 1.9,
}  # fmt: skip


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/borrowed-figures"


def stored(group: Group, **values: Any) -> None:
    usual = {"method": "card", "quarter": date(2026, 4, 1), "fitted_at": NOW, "code_version": "test"}
    with as_factory():
        BorrowedFigures.objects.create(group=group, **(usual | values))


def judged(farm: Farm, method: str, borrowed: str, **values: Any) -> None:
    usual = {"week": WEEK, "judged_at": NOW, "result": "below", "mean": 18.0, "code_version": "test"}
    with as_factory():
        Assessment.objects.create(farm=farm, method=method, borrowed=borrowed, **(usual | values))


def methods(answer: Any) -> dict[str, Any]:
    json.dumps(answer.json(), allow_nan=False)
    return {row["method"]: row for row in answer.json()["methods"]}


def test_the_figures_that_the_weeks_results_name(reader: Sender, northfield: Farm, group: Group):
    stored(group, farms=45, holdings=42, **FIGURES)
    stored(group, farms=45, holdings=42, version=2, **(FIGURES | {"shock": 0.9}))
    judged(northfield, "card", "2026-04-01/1")
    judged(northfield, "trap", "printed")
    answer = reader.get(path(northfield))
    assert answer.json()["week"] == "2026-05-25"
    assert methods(answer)["card"] == {
        "method": "card",
        "name": "2026-04-01/1",
        "figures": {"quarter": "2026-04-01", "version": 1, "farms": 45, "holdings": 42, "leg_k": None, **FIGURES},
    }
    assert methods(answer)["trap"] == {"method": "trap", "name": "printed", "figures": None}


def test_of_fewer_than_thirty_holdings_nothing_is_told_not_even_how_many(
    reader: Sender, northfield: Farm, group: Group
):
    stored(group, farms=2, holdings=2)
    judged(northfield, "card", "printed")
    found = methods(reader.get(path(northfield)))
    assert found == {"card": {"method": "card", "name": "printed", "figures": None}}
    # Even a result that names such a row, which none does, would show nothing of it.
    judged(northfield, "card", "2026-04-01/1", revision=2)
    assert methods(reader.get(path(northfield)))["card"]["figures"] is None


def test_a_facilitys_results_and_those_of_an_older_program_name_nothing(
    reader: Sender, northfield: Farm, calf_barn: Any
):
    judged(northfield, "card", "", facility_id=calf_barn.id)
    judged(northfield, "card", "")
    assert methods(reader.get(path(northfield))) == {}


def test_a_week_that_was_not_judged_borrows_nothing(reader: Sender, northfield: Farm):
    answer = reader.get(f"{path(northfield)}?week=2026-05-06")
    assert answer.json() == {"week": "2026-05-04", "methods": []}
    assert_problem(reader.get(f"{path(northfield)}?quarter=2026-04-01"), 422, "bad_query")


def test_another_groups_figures_of_the_same_name_are_not_taken(reader: Sender, northfield: Farm):
    with as_factory():
        other = Group.objects.create(name="Hill Advisers", slug="hill")
    stored(other, farms=45, holdings=42, **FIGURES)
    judged(northfield, "card", "2026-04-01/1")
    assert methods(reader.get(path(northfield)))["card"]["figures"] is None


def test_a_coordinator_finds_no_farm_here(erik: User, northfield: Farm):
    assert_problem(session_of(erik).get(path(northfield)), 404, "not_found")
