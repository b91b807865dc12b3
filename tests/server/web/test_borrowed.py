"""What results borrow, on the group's page: for its coordinator and advisers, in the office's words."""

from datetime import date
from typing import Any

import pytest
from django.urls import reverse

from alerts.models import BorrowedFigures
from farms.models import Group
from server.web.borrowed import figure
from tests.cast import NOW, as_factory, make_group_member
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db
DASH = "\N{EN DASH}"


def lend(group: Any, method: str, **values: Any) -> None:
    usual = {"quarter": date(2026, 4, 1), "fitted_at": NOW, "code_version": "test"}
    with as_factory():
        BorrowedFigures.objects.create(group=group, method=method, **(usual | values))


def table(page: Any) -> str:
    told = words(page)
    return told[told.index("What results borrow") :]


def test_coordinator_and_adviser_see_each_figure_its_source_and_what_is_printed(browser, erik, dana, group, northfield):
    lend(
        group, "card", farms=45, holdings=42, version=2, shock=0.21, stays=0.35, counting=1.1, growth=0.12,
        degrees=47.0, weight_k=1.6, taylor_a=0.52, taylor_b=1.9,
    )  # fmt: skip
    lend(group, "trap", farms=12, holdings=11)
    for user in (erik, dana):
        told = table(browser(user).get(reverse("group", args=[group.id])))
        assert "the quarter from Apr 1" in told
        assert "come from 42 holdings, version 2 11 holdings, fewer than 30 not fitted yet" in told
        assert "shock of a week 0.21 0.33 printed 0.33 printed" in told
        assert "degrees of freedom 47 6 printed 6 printed" in told
        # Gerry et al. 2011 for the printed law; 1.4 is our own inference.
        assert f"Taylor's law a 0.52, b 1.9 a 0.1575, b 2 printed {DASH}" in told
        assert f"k of animals {DASH} {DASH} 1.4 printed" in told


def test_a_farms_own_people_do_not(browser, anna, ben, group, northfield):
    for user in (anna, ben):
        page = words(browser(user).get(reverse("group", args=[group.id])))
        assert "What results borrow" not in page and "holdings" not in page


def test_a_coordinator_of_another_group_finds_nothing(browser, group, northfield):
    with as_factory():
        other = Group.objects.create(name="Hill Advisers", slug="hill")
    gita = make_group_member("Gita", other, "coordinator")
    assert browser(gita).get(reverse("group", args=[group.id])).status_code == 404


@pytest.mark.parametrize(("value", "told"), [(0.21, "0.21"), (47.0, "47"), (200.0, "200"), (1e-05, "0.00001")])
def test_a_figure_is_written_as_it_is_stored(value: float, told: str):
    assert figure(value) == told
