"""Closed to visits: a farm from a day on, or its whole region; rows that are only added, and no reason asked."""

import random
from datetime import date, timedelta

import pytest
from django.db.utils import ProgrammingError
from django.utils import timezone

from farms import services
from farms.closures import Closure, closed_farms, closure_of, closures_ahead, times_closed
from farms.errors import Missing
from farms.ledger import verify_links
from farms.models import ApiToken, Farm, FarmClosure, LedgerEntry, Region, RegionClosure, User
from tests.cast import NOW, acting, acting_token, as_factory, as_role

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


def key_of(farm: Farm, owner: User, scope: str) -> ApiToken:
    now = timezone.now()
    with acting(owner):
        return services.make_token(
            farm=farm, name=scope, scope=scope, by=owner, expires_at=now + timedelta(days=30), now=now
        )[0]


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


def test_a_farm_is_closed_from_its_day_on_until_it_is_lifted(northfield: Farm, anna: User, dana: User):
    with acting(anna):
        services.close_farm(farm=northfield, from_on=day(3), by=anna, now=NOW)
        assert closure_of(northfield, day(2)) is None
        assert closure_of(northfield, day(3)) == Closure(day(3), None, whole_region=False)
    with acting(dana):
        services.open_farm(farm=northfield, from_on=day(10), by=dana, now=NOW)
        assert closure_of(northfield, day(9)) == Closure(day(3), day(10), whole_region=False)
        assert [closed_farms([northfield], day(number)) for number in (2, 3, 9, 10)] == [
            set(), {northfield.id}, {northfield.id}, set()
        ]  # fmt: skip


def test_both_are_entries_of_the_chain_and_rows_of_their_own(northfield: Farm, anna: User, dana: User):
    with acting(anna):
        services.close_farm(farm=northfield, from_on=day(0), by=anna, now=NOW)
    with acting(dana):
        services.open_farm(farm=northfield, from_on=day(1), by=dana, now=NOW)
        kinds = LedgerEntry.objects.filter(farm=northfield).order_by("number").values_list("kind", "actor_kind")
        assert list(kinds)[-2:] == [("closed_to_visits", "farm_staff"), ("open_to_visits", "adviser")]
        assert verify_links(northfield.id) == []
    with as_factory():
        rows = FarmClosure.objects.order_by("entry").values_list("closed", "from_on", "set_by_id")
        assert list(rows) == [(True, day(0), anna.id), (False, day(1), dana.id)]


def test_a_closure_that_has_not_begun_is_lifted_as_if_it_had_never_been_set(northfield: Farm, anna: User):
    with acting(anna):
        services.close_farm(farm=northfield, from_on=day(10), by=anna, now=NOW)
        services.open_farm(farm=northfield, from_on=day(0), by=anna, now=NOW)
        assert closures_ahead(northfield, day(0)) == []
        assert closed_farms([northfield.id], day(30)) == set()


def test_what_would_change_nothing_is_refused(northfield: Farm, anna: User):
    with acting(anna):
        with pytest.raises(services.NotClosed):
            services.open_farm(farm=northfield, from_on=day(0), by=anna, now=NOW)
        services.close_farm(farm=northfield, from_on=day(5), by=anna, now=NOW)
        for number in (5, 6):
            with pytest.raises(services.ClosedAlready):
                services.close_farm(farm=northfield, from_on=day(number), by=anna, now=NOW)
        services.close_farm(farm=northfield, from_on=day(2), by=anna, now=NOW)
        assert closures_ahead(northfield, day(0)) == [Closure(day(2), None, whole_region=False)]
        for number in (-1, 367):
            with pytest.raises(services.ClosureDayWrong):
                services.close_farm(farm=northfield, from_on=day(number), by=anna, now=NOW)


def test_a_region_closes_its_farms_and_no_others(
    northfield: Farm, southmead: Farm, region: Region, erik: User, anna: User
):
    with acting(erik):
        services.close_region(region=region, from_on=day(1), by=erik, now=NOW)
    with as_role("worker"):
        assert closed_farms([northfield.id, southmead.id], day(1)) == {northfield.id}
    with acting(anna):
        assert closure_of(northfield, day(1)) == Closure(day(1), None, whole_region=True)
        services.close_farm(farm=northfield, from_on=day(0), by=anna, now=NOW)
        assert closure_of(northfield, day(1)) == Closure(day(0), None, whole_region=False)
    with acting(erik):
        services.open_region(region=region, from_on=day(2), by=erik, now=NOW)
    with as_role("worker"):
        assert closed_farms([northfield, southmead], day(5)) == {northfield.id}


def test_the_days_that_the_database_finds_are_those_that_follow_from_the_rows(northfield: Farm, anna: User):
    """Any order of closing and opening: one rule in SQL for many farms, the same in Python for one farm's page."""
    dice = random.Random(20260601)  # noqa: S311 - days, no secret
    for _round in range(15):
        set_so_far = [(dice.random() < 0.6, day(dice.randrange(12))) for _ in range(dice.randrange(1, 6))]
        with as_factory():
            FarmClosure.objects.all().delete()
            for number, (closed, from_on) in enumerate(set_so_far):
                FarmClosure.objects.create(
                    farm=northfield, closed=closed, from_on=from_on, set_by=anna, set_at=NOW, entry=number
                )
        with as_role("worker"):
            times = times_closed(FarmClosure.objects.order_by("entry"), whole_region=False)
            told = [any(t.from_on <= day(n) and (not t.open_from or day(n) < t.open_from) for t in times)
                    for n in range(13)]  # fmt: skip
            assert told == [bool(closed_farms([northfield], day(n))) for n in range(13)], set_so_far


def test_many_farms_take_two_queries(northfield: Farm, southmead: Farm, django_assert_num_queries):
    with as_role("worker"), django_assert_num_queries(2):
        closed_farms([northfield, southmead], TODAY)


class TestWhoSeesIt:
    @pytest.fixture
    def closed(self, northfield: Farm, anna: User) -> FarmClosure:
        with acting(anna):
            return services.close_farm(farm=northfield, from_on=TODAY, by=anna, now=NOW)

    def test_the_farms_people_and_its_adviser(self, closed, northfield, anna, ben, dana):
        for user in (anna, ben, dana):
            with acting(user):
                assert FarmClosure.objects.get() == closed

    def test_no_stranger_no_coordinator_and_no_key(self, closed, northfield, anna, carla, erik):
        for user in (carla, erik):
            with acting(user):
                assert not FarmClosure.objects.exists()
                assert closed_farms([northfield.id], TODAY) == set()
        for scope in ("read", "write"):
            with acting_token(key_of(northfield, anna, scope)):
                assert Farm.objects.exists() and not FarmClosure.objects.exists()

    @pytest.mark.parametrize("role", ["cohort", "region"])
    def test_neither_the_cohort_nor_the_region(self, closed, role):
        with pytest.raises(ProgrammingError, match="permission denied"), as_role(role):
            FarmClosure.objects.exists()

    def test_a_stranger_closes_nothing(self, northfield, carla):
        with acting(carla), pytest.raises(Missing):
            services.close_farm(farm=northfield, from_on=TODAY, by=carla, now=NOW)

    def test_a_key_closes_nothing(self, northfield, anna):
        token = key_of(northfield, anna, "write")
        with pytest.raises(ProgrammingError, match="row-level security"), acting_token(token):
            services.close_farm(farm=northfield, from_on=TODAY, by=anna, now=NOW)

    def test_nothing_of_it_is_ever_changed(self, closed, region, erik):
        with acting(erik):
            services.close_region(region=region, from_on=TODAY, by=erik, now=NOW)
        for rows in (FarmClosure.objects, RegionClosure.objects):
            with pytest.raises(ProgrammingError, match="permission denied"), as_role("app"):
                rows.update(closed=False)
