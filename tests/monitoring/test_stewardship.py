"""What is to be thought of with an application: the same group again, 1A after 1B, both stages, wasps, certificates.

IRAC, mode of action classification: groups are sites of action; 1A and 1B are two chemical groups of one site. That
one after the other is no rotation, and that one group isn't used on adults and larvae, is from memory of its guidance.
"""

from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.models.product import USUAL_GROUPS, ProductKind
from monitoring.rules.label import IRAC_GROUP, groups_of
from monitoring.rules.stewardship import SEASON, WASPS_LIVE, Known, StewardshipWarning, Use, warnings_of
from monitoring.rules.stewardship_words import SENTENCES, sentence_of
from monitoring.selectors.stewardship import Stewardship
from monitoring.services import WorkDone, WorkPlanned, ask_for_certificate, plan_work, record_work
from tests.cast import NOW, acting, make_farm
from tests.monitoring.applying import PEOPLE, applied, note
from tests.monitoring.sending import STAFF

BARN, LOT = uuid4(), uuid4()
AT = datetime(2026, 6, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
W = StewardshipWarning


def use(*groups, kind="residual", place=BARN, days=0):
    return Use(kind, frozenset(groups), place, AT - days * DAY)


def said(now, *earlier, **known):
    return warnings_of(now, Known(earlier=earlier, **known))


class TestGroups:
    def test_the_same_group_again_is_told(self):
        assert said(use("3A"), use("3A", days=20)) == [W.SAME_GROUP]
        assert said(use("3A", "15"), use("15", days=20)) == [W.SAME_GROUP]

    def test_a_change_between_ends_it(self):
        assert said(use("3A"), use("3A", days=40), use("28", days=20)) == []

    @pytest.mark.parametrize(("first", "then"), [("1A", "1B"), ("1B", "1A")])
    def test_1a_and_1b_are_no_change_of_group(self, first, then):
        assert said(use(then), use(first, days=20)) == [W.NO_ROTATION]

    def test_what_is_in_no_group_is_never_the_same_again(self):
        assert said(use("none"), use("none", days=20)) == []

    def test_elsewhere_on_the_farm_isnt_there(self):
        assert said(use("3A"), use("3A", place=LOT, days=20)) == []
        assert said(use("3A"), use("3A", place=None, days=20)) == [W.SAME_GROUP]

    def test_an_earlier_season_is_another_population(self):
        assert said(use("3A"), use("3A", days=SEASON.days)) == [W.SAME_GROUP]
        assert said(use("3A"), use("3A", days=SEASON.days + 1)) == []

    @pytest.mark.parametrize("on_maggots", ["larvicide", "feed_through"])
    def test_one_group_against_both_stages_is_told(self, on_maggots):
        assert said(use("1B"), use("1B", kind=on_maggots, days=20)) == [W.BOTH_STAGES]
        assert said(use("1B", kind=on_maggots), use("1B", days=20)) == [W.BOTH_STAGES]
        # 1A and 1B are one site.
        assert said(use("1A"), use("1B", kind=on_maggots, days=20)) == [W.BOTH_STAGES]
        assert said(use("3A"), use("15", kind=on_maggots, days=20)) == []

    @given(st.lists(st.sampled_from(USUAL_GROUPS), min_size=1, max_size=3, unique=True), st.integers(1, 200))
    def test_groups_of_other_sites_say_nothing(self, groups, days):
        other = [group for group in USUAL_GROUPS if group[0] not in {each[0] for each in groups}]
        assert said(use(*groups), use(*other, days=days)) == []

    def test_groups_are_read_as_people_type_them(self):
        assert groups_of("3a, 15 ,3A") == ("3A", "15")
        assert groups_of("None") == ("none",)
        assert groups_of(" ; ") == ()
        assert all(IRAC_GROUP.fullmatch(group) for group in USUAL_GROUPS)


class TestWasps:
    def test_a_residual_spray_where_wasps_were_released_asks(self):
        released = [(AT - 20 * DAY, BARN)]
        assert said(use("3A"), wasps=released) == [W.WASPS_THERE]
        assert said(use("3A", place=None), wasps=released) == [W.WASPS_THERE]
        assert said(use("3A", place=LOT), wasps=released) == []
        assert said(use("3A", kind="bait"), wasps=released) == []

    def test_after_eight_weeks_it_asks_no_more(self):
        assert said(use("3A"), wasps=[(AT - WASPS_LIVE, BARN)]) == [W.WASPS_THERE]
        assert said(use("3A"), wasps=[(AT - WASPS_LIVE - DAY, BARN)]) == []
        assert said(use("3A"), wasps=[(AT + DAY, BARN)]) == []


@pytest.mark.django_db
@pytest.mark.parametrize(("zone", "hour"), [("Pacific/Auckland", 7), ("America/Chicago", 20)])
def test_a_release_is_told_by_the_farms_own_days(region, anna, zone, hour):
    """In Auckland it is still yesterday in UTC in the morning, in Chicago already tomorrow in the evening."""
    farm = make_farm("Farfield", region, anna, time_zone=zone)
    day = datetime(2026, 6, 1, hour, tzinfo=ZoneInfo(zone))
    with acting(anna):
        row = note(farm, applied(begins_at=day, ends_at=day), now=day)
        record_work(farm=farm, work=WorkDone("wasps", day.date(), None), actor=STAFF, now=day)
        assert Stewardship(farm).warnings(row, None) == [W.WASPS_THERE]
        tomorrow = WorkPlanned("wasps", day.date() + DAY)
    with acting(anna):
        other = make_farm("Farther", region, anna, time_zone=zone)
        row = note(other, applied(begins_at=day, ends_at=day), now=day)
        plan_work(farm=other, plan=tomorrow, actor=STAFF, now=day)
        assert Stewardship(other).warnings(row, None) == []


class TestCertificateAndCertifier:
    def test_the_certifiers_no_and_a_late_answer_come_first(self):
        assert said(use("3A"), certifier=("not_allowed", AT + DAY)) == [W.CERTIFIER_REFUSED, W.CERTIFIER_LATE]
        assert said(use("3A"), certifier=("allowed", AT)) == []

    @pytest.mark.django_db
    def test_a_missing_certificate_is_told_only_where_the_group_asks_for_it(self, northfield, group, anna, erik):
        with acting(anna):
            row = note(northfield, applied(people=PEOPLE))
            assert Stewardship(northfield).warnings(row, "") == []
            ask_for_certificate(group=group, asked=True, by=erik, now=NOW)
            assert Stewardship(northfield).warnings(row, "") == [W.NO_CERTIFICATE]
            assert Stewardship(northfield).warnings(row, "C-123") == []
            # A key may not know whether one was typed.
            assert Stewardship(northfield).warnings(row, None) == []
            ask_for_certificate(group=group, asked=False, by=erik, now=NOW + DAY)
            assert Stewardship(northfield).warnings(row, "") == []


def test_every_warning_has_its_sentence():
    assert set(SENTENCES) == set(W)
    assert all(sentence_of(each).endswith((".", "?")) for each in W)


def test_kinds_are_the_labels_own():
    assert set(ProductKind.values) == {"residual", "space", "bait", "larvicide", "feed_through", "on_animals"}
