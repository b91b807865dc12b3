"""Who counts for a quarter: two cohorts that follow each other differ by none or by five holdings."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.models import Cohort
from monitoring.regional.cohort import DIFFER_BY, REST, settle, split_by_housing
from tests.cast import NOW, as_factory, make_farm, make_user
from tests.monitoring.regional.scene import QUARTER, WEEK, agree, consenting_farms, publish, reports, summary, withdraw

MEMBERS = st.dictionaries(st.integers(0, 25).map(lambda n: UUID(int=n)), st.integers(0, 12).map(lambda n: UUID(int=n)))


def farms(*numbers):
    return {UUID(int=number): UUID(int=100 + number) for number in numbers}


def test_the_first_quarter_takes_all_who_agreed():
    assert settle({}, farms(1, 2)).members == farms(1, 2)


def test_four_who_join_wait_and_five_come_in():
    before = farms(*range(10))
    assert settle(before, farms(*range(14))).members == before
    assert settle(before, farms(*range(15))).members == farms(*range(15))


def test_where_leavers_alone_make_it_one_to_four_there_are_words_only():
    settled = settle(farms(*range(12)), farms(*range(10)))
    assert (settled.members, settled.words_only) == (farms(*range(10)), "few_left")


def test_with_joiners_and_leavers_of_five_together_all_take_effect():
    settled = settle(farms(*range(12)), farms(*range(2, 15)))
    assert (settled.members, settled.words_only) == (farms(*range(2, 15)), "")


def test_a_holding_with_one_farm_more_is_a_change_too():
    before = farms(*range(10))
    more = {**before, UUID(int=50): before[UUID(int=0)]}
    assert settle(before, more).members == before


@given(MEMBERS, MEMBERS)
def test_numbers_are_given_only_where_the_change_is_none_or_five(before, agreed):
    settled = settle(before, agreed)
    if settled.words_only or not before:
        return
    of = [{holding: {f for f in each if each[f] == holding} for holding in each.values()} for each in
          (before, settled.members)]  # fmt: skip
    changed = [holding for holding in {*of[0], *of[1]} if of[0].get(holding) != of[1].get(holding)]
    assert not changed or len(changed) >= DIFFER_BY


@given(MEMBERS, MEMBERS)
def test_nobody_counts_who_did_not_agree(before, agreed):
    settled = settle(before, agreed)
    gone = {farm for farm in before if farm not in agreed}
    if settled.words_only or settled.members != before:
        assert not gone & set(settled.members)


def test_a_split_needs_ten_on_either_side():
    members = farms(*range(25))
    housing = dict.fromkeys(list(members)[:15], "free_stall_barn")
    assert set(split_by_housing(members, housing).values()) == {"free_stall_barn", REST}
    assert split_by_housing(farms(*range(24)), housing) == {}


@pytest.mark.django_db
class TestInADatabase:
    def test_who_agrees_within_the_quarter_counts_from_the_next(self, region):
        consenting_farms(region, [100.0] * 10)
        joiner = make_farm("Joiner", region, make_user("Joiner"))
        agree(joiner, NOW - timedelta(days=20))
        summary(joiner, WEEK, 900.0)
        publish(region)
        with as_factory():
            assert joiner.id not in Cohort.objects.get(region=region).farms
        assert reports(region)["card"].mean == 100.0

    def test_the_quarter_begins_by_the_groups_own_clock(self, region):
        consenting_farms(region, [100.0] * 9)
        # In Chicago it is still March.
        late = make_farm("Late", region, make_user("Late"))
        agree(late, datetime(2026, 4, 1, 4, tzinfo=UTC))
        summary(late, WEEK, 100.0)
        publish(region)
        assert reports(region)["card"].disclosure == "numbers"

    def test_two_who_left_make_the_next_quarter_one_of_words_and_the_one_after_of_numbers(self, region):
        members = consenting_farms(region, [100.0] * 14)
        publish(region)
        for farm in members[:2]:
            withdraw(farm, NOW)
        found = []
        for week in (WEEK + timedelta(weeks=8), WEEK + timedelta(weeks=21)):
            for farm in members:
                summary(farm, week, 100.0)
            publish(region, week, NOW + (week - WEEK))
            found.append(reports(region, week)["card"].disclosure)
        assert found == ["word", "numbers"]

    def test_a_cohort_fixed_under_an_older_rule_gives_words_only(self, region):
        members = consenting_farms(region, [100.0] * 14)
        with as_factory():
            Cohort.objects.create(
                region=region, quarter=QUARTER, farms=[farm.id for farm in members], holdings=[], made_at=NOW,
                hash=b"x", words_only="old_rule",
            )  # fmt: skip
        publish(region)
        assert reports(region)["card"].disclosure == "word"
