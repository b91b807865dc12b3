"""Planned visits, told as calls while the farm is closed; where the adviser was before; the group's rules."""

from datetime import date, timedelta

import pytest
from django.db.utils import ProgrammingError

from farms import services
from farms.errors import Forbidden, Invalid, Missing
from farms.models import Farm, Group, GroupVisitRules, LastFarmVisited, Membership, PlannedVisit, Region, User
from farms.models.access import GroupRole
from farms.selectors import consents_of
from farms.services import Plan
from farms.visits import USUAL_RULES, visit_rules_of, visits_ahead, visits_of_adviser, written_rules_of
from tests.cast import NOW, acting, as_factory, as_role, make_group_member

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


@pytest.fixture
def planned(northfield: Farm, dana: User) -> PlannedVisit:
    """Dana plans a visit in a week; she was at Hollow Creek three days ago."""
    plan = Plan("visit", day(7), last_farm=" Hollow Creek ", last_on=day(-3))
    with acting(dana):
        return services.plan_visit(farm=northfield, plan=plan, by=dana, now=NOW)


def told_as(farm: Farm, user: User) -> list[str]:
    with acting(user):
        return [told.told_as.value for told in visits_ahead(farm, TODAY, user)]


def test_a_visit_is_a_call_while_the_farm_is_closed_and_a_visit_again_afterwards(planned, northfield, anna, dana):
    assert told_as(northfield, dana) == told_as(northfield, anna) == ["visit"]
    with acting(anna):
        services.close_farm(farm=northfield, from_on=day(7), by=anna, now=NOW)
    assert told_as(northfield, dana) == told_as(northfield, anna) == ["call"]
    with acting(dana):
        (told,) = visits_ahead(northfield, TODAY, dana)
        assert told.is_turned and told.visit.kind == "visit"
        services.open_farm(farm=northfield, from_on=day(7), by=dana, now=NOW)
    assert told_as(northfield, dana) == ["visit"]


def test_a_closed_region_turns_it_too_and_a_closure_that_ends_before_does_not(
    planned, northfield, region: Region, erik, anna, dana
):
    with acting(erik):
        services.close_region(region=region, from_on=day(1), by=erik, now=NOW)
    assert told_as(northfield, dana) == ["call"]
    with acting(erik):
        services.open_region(region=region, from_on=day(7), by=erik, now=NOW)
    assert told_as(northfield, dana) == ["visit"]


def test_where_the_adviser_was_before_is_seen_by_that_adviser_alone(planned, northfield, group, anna, ben, dana, erik):
    other = make_group_member("Fred", group, GroupRole.ADVISER)
    with acting(anna):
        services.give_consent(farm=northfield, kind="adviser", adviser=other, by=anna, now=NOW)
    with acting(dana):
        (told,) = visits_ahead(northfield, TODAY, dana)
        assert told.last is not None and (told.last.name, told.last.visited_on) == ("Hollow Creek", day(-3))
    for user in (anna, ben, other, erik):
        with acting(user):
            assert not LastFarmVisited.objects.exists()
            assert all(told.last is None for told in visits_ahead(northfield, TODAY, user))
    for role in ("worker", "cohort", "region"):
        with pytest.raises(ProgrammingError, match="permission denied"), as_role(role):
            LastFarmVisited.objects.exists()


def test_it_is_erased_by_that_adviser_and_the_visit_stays(planned, northfield, anna, dana):
    with acting(anna):
        assert services.erase_last_farm(visit=planned, by=anna) == 0
    with acting(dana):
        assert services.erase_last_farm(visit=planned, by=dana) == 1
        assert len(visits_ahead(northfield, TODAY, dana)) == 1
    with as_factory():
        assert not LastFarmVisited.objects.exists()


def test_a_visit_is_taken_back_by_who_planned_it(planned, northfield, anna, dana):
    with acting(anna), pytest.raises(Forbidden):
        services.take_back_visit(visit=planned, by=anna, now=NOW)
    with acting(dana):
        services.take_back_visit(visit=planned, by=dana, now=NOW)
        assert visits_ahead(northfield, TODAY, dana) == []
    with as_factory():
        assert PlannedVisit.objects.get().taken_back_at == NOW and not LastFarmVisited.objects.exists()


@pytest.mark.parametrize("who", ["anna", "dana"])
def test_a_consent_that_ends_takes_its_advisers_visits_back_and_erases_where_they_were(
    planned, northfield, group, anna, dana, who: str
):
    other = make_group_member("Fred", group, GroupRole.ADVISER)
    by = {"anna": anna, "dana": dana}[who]
    with acting(anna):
        services.give_consent(farm=northfield, kind="adviser", adviser=other, by=anna, now=NOW)
    with acting(other):
        theirs = services.plan_visit(farm=northfield, plan=Plan("call", day(3)), by=other, now=NOW)
    with acting(by):
        services.withdraw_consent(consent=consents_of(northfield).get(adviser=dana), by=by, now=NOW)
        assert Membership.objects.filter(user=anna).exists() == (by == anna), "who acted acts on"
    with acting(anna):
        assert [told.visit for told in visits_ahead(northfield, TODAY, anna)] == [theirs]
    with as_factory():
        assert PlannedVisit.objects.get(id=planned.id).taken_back_at == NOW and not LastFarmVisited.objects.exists()


def test_the_end_of_the_regional_consent_leaves_visits_planned(planned, northfield, anna):
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        services.withdraw_consent(consent=consent, by=anna, now=NOW)
        assert len(visits_ahead(northfield, TODAY, anna)) == 1
    with as_factory():
        assert LastFarmVisited.objects.exists()


def test_only_the_farms_adviser_plans(northfield, anna, ben, carla, erik):
    for user in (anna, ben, carla, erik):
        with acting(user), pytest.raises((Forbidden, Missing)):
            services.plan_visit(farm=northfield, plan=Plan("visit", day(1)), by=user, now=NOW)
    with pytest.raises(ProgrammingError, match="row-level security"), acting(anna):
        PlannedVisit.objects.create(farm=northfield, adviser=anna, kind="visit", day=day(1), planned_at=NOW)


@pytest.mark.parametrize(("plan", "code"), [
    (Plan("visit", day(-1)), "visit_day_wrong"),
    (Plan("visit", day(367)), "visit_day_wrong"),
    (Plan("flight", day(1)), "visit_kind_unknown"),
    (Plan("visit", day(1), last_farm="Hollow Creek"), "last_farm_half_told"),
    (Plan("visit", day(1), last_on=day(-1)), "last_farm_half_told"),
    (Plan("visit", day(1), last_farm="  ", last_on=day(-1)), "last_farm_half_told"),
    (Plan("visit", day(1), last_farm="Hollow Creek", last_on=day(1)), "last_visit_ahead"),
])  # fmt: skip
def test_what_cannot_be_planned(northfield: Farm, dana: User, plan: Plan, code: str):
    with acting(dana), pytest.raises(Invalid) as refused:
        services.plan_visit(farm=northfield, plan=plan, by=dana, now=NOW)
    assert refused.value.code == code
    with as_factory():
        assert not PlannedVisit.objects.exists()


def test_an_advisers_own_plans_of_many_farms_take_four_queries(planned, northfield, dana, django_assert_num_queries):
    with acting(dana), django_assert_num_queries(4):
        (told,) = visits_of_adviser(dana, [northfield], TODAY, day(14))
        assert told.visit == planned


class TestTheRules:
    def test_ours_hold_until_a_coordinator_writes_the_groups_own(self, group: Group, erik: User):
        assert visit_rules_of(group).lines == USUAL_RULES
        with acting(erik):
            services.set_visit_rules(group=group, text=" Clean boots.\r\n\r\n Park outside. ", by=erik, now=NOW)
            assert visit_rules_of(group).lines == ("Clean boots.", "Park outside.")

    def test_older_ones_stay_on_record(self, group: Group, erik: User):
        with acting(erik):
            for text in ("First.", "Second."):
                services.set_visit_rules(group=group, text=text, by=erik, now=NOW)
            assert [rules.text for rules in written_rules_of(group)] == ["Second.", "First."]
        with pytest.raises(ProgrammingError, match="permission denied"), as_role("app"):
            GroupVisitRules.objects.update(text="")

    @pytest.mark.parametrize("text", ["", "  \n ", "x" * 1501])
    def test_no_rules_and_too_many_are_refused(self, group: Group, erik: User, text: str):
        with acting(erik), pytest.raises(services.VisitRulesWrong):
            services.set_visit_rules(group=group, text=text, by=erik, now=NOW)
