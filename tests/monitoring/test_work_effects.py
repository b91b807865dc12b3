"""A work's effect as the pages tell it: which counts speak of it, against which facilities, and why there is none."""

import math
from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4

import pytest

from monitoring.models import DailyTemperature, Work, WorkTakenBack
from monitoring.selectors.deeds import deeds_of_works
from monitoring.selectors.region_weeks import RegionWeek, RegionWeeks, newest_report_beside
from monitoring.selectors.work_effects import effects_of_works
from monitoring.selectors.work_windows import Timeline, window_of
from tests.alerts.scene import count_week, monday
from tests.cast import NOW, acting, as_factory, as_role, make_facility, make_stations
from tests.monitoring.applying import applied, note
from tests.regions import report

pytestmark = pytest.mark.django_db
DONE = monday(4)  # the day on which cards are changed
ON = monday(12)


def work(farm, done_on=DONE, facility=None, kind="clean_out"):
    with as_factory():
        return Work.objects.create(
            farm_id=farm.id, facility_id=facility and facility.id, kind=kind, done_on=done_on, actor_kind="farm_staff",
            recorded_at=NOW, entry=0,
        )  # fmt: skip


def effect(farm, done, on=ON):
    with as_role("worker"):
        return effects_of_works([done], [farm], on, reports="default")[done.id]


@pytest.fixture
def heifers(northfield):
    """A second barn with five cards where nothing is done."""
    return make_facility(northfield, "Heifer barn", "heifer_barn", 4)


@pytest.fixture
def halved(northfield, cards, heifers):
    """Nine weeks of cards: the calf barn's are halved from week 5 on, the heifer barn's are not; weather moves both."""
    others = make_stations(heifers, "card", range(6, 11))
    for number, weather in enumerate((1.0, 1.3, 0.8, 1.1, 0.9, 1.2, 0.7, 1.4, 1.0)):
        left = 0.5 if number > 4 else 1.0
        count_week(cards, monday(number), [round(weather * left * each) for each in (80, 96, 70, 110, 90)])
        count_week(others, monday(number), [round(weather * each) for each in (60, 66, 58, 40, 75)])
    return northfield


def test_about_half_is_left_of_what_the_other_barn_leads_to_expect(halved, calf_barn, heifers):
    found = effect(halved, work(halved, facility=calf_barn))
    assert (found.reason, found.method, found.compared_with) == ("", "card", (heifers.id,))
    assert found.ratio == pytest.approx(0.5, abs=0.02)
    assert found.low < found.ratio < found.high < 1
    # Weeks 0 to 3 before; week 4 hangs from the work's day on, while flies settle; weeks 5 to 8 after.
    assert (found.weeks_before, found.weeks_after, found.until, found.weather) == (4, 4, None, "")


def test_work_on_the_whole_farm_has_nothing_to_compare_with(halved):
    found = effect(halved, work(halved))
    assert (found.reason, found.compared_with) == ("no_comparison", ())
    assert found.ratio == pytest.approx(0.7, abs=0.1)


WEATHER = (1.0, 1.3, 0.8, 1.1, 0.9, 1.2, 0.7, 1.4, 1.0)


def test_work_on_the_whole_farm_stands_beside_the_regions_published_numbers(halved):
    for number, weather in enumerate(WEATHER):
        told = {"disclosure": "numbers", "contributors": "20 or more", "mean": round(80 * weather), "normal": None}
        report(halved.region, monday(number), **told)
    done = work(halved)
    found = effect(halved, done)
    assert (found.reason, found.with_region, found.compared_with, found.credits) == ("", True, (), True)
    # The calf barn's five cards halve, the heifer barn's don't.
    assert found.ratio == pytest.approx(0.7, abs=0.06)


def test_what_a_work_stands_beside_hangs_on_no_other_that_is_asked_with_it():
    """A week without a ratio to the farms' own normal, asked for another work, changes nothing of this one."""
    region_id, weeks = uuid4(), [monday(number) for number in range(4)]
    told = {week: RegionWeek(80.0, 1.2, 20) for week in weeks} | {monday(4): RegionWeek(90.0, None, 20)}
    regions = RegionWeeks({(region_id, "card"): told})
    assert regions.levels(region_id, "card", weeks)[0] == pytest.approx([math.log(1.2)] * 4)
    both = regions.levels(region_id, "card", [*weeks, monday(4), monday(5)])
    assert both[0][:5] == pytest.approx([math.log(80)] * 4 + [math.log(90)])
    assert math.isnan(both[0][5]) and math.isnan(both[1][5])


@pytest.mark.parametrize("done", ["nothing", "barn work", "taken back", "application"])
def test_whatever_may_stand_beside_the_region_makes_a_page_as_old_as_its_reports(northfield, calf_barn, cards, done):
    report(northfield.region, monday(8))
    if done in ("barn work", "taken back"):
        row = work(northfield, facility=calf_barn)
    with as_factory():
        if done == "taken back":
            WorkTakenBack.objects.create(
                farm_id=northfield.id, work_id=row.id, actor_kind="farm_staff", recorded_at=NOW, entry=0
            )
        if done == "application":
            at = datetime.combine(DONE, time(12), UTC)
            note(northfield, applied(facility=calf_barn, begins_at=at, ends_at=at), now=at)
    with as_role("worker"):
        found = newest_report_beside(northfield, monday(0), ON, using="default")
    assert (found is None) == (done in ("nothing", "taken back"))


def test_words_of_the_region_are_no_comparison(halved):
    for number in range(9):
        report(halved.region, monday(number), disclosure="word", word="low")
    found = effect(halved, work(halved))
    assert (found.reason, found.with_region, found.credits) == ("no_comparison", False, False)


def test_a_barn_that_was_worked_on_too_is_no_comparison(halved, calf_barn, heifers):
    done = work(halved, facility=calf_barn)
    work(halved, DONE + timedelta(days=10), heifers, "fans")
    assert effect(halved, done).reason == "no_comparison"


def test_weeks_before_and_after_are_counted_from_the_work(halved, calf_barn):
    done = work(halved, facility=calf_barn)
    reasons = [effect(halved, done, DONE + timedelta(days=days)).reason for days in (0, 14, 20, 21, 28)]
    assert reasons == ["too_early", "too_early", "too_early", "", ""]


def test_a_card_that_hung_across_the_work_speaks_of_neither_side(halved, calf_barn):
    assert effect(halved, work(halved, DONE - timedelta(days=1), calf_barn)).weeks_before == 3


def test_the_next_work_ends_what_is_looked_at(halved, calf_barn):
    done = work(halved, facility=calf_barn)
    work(halved, DONE + timedelta(days=28), kind="bedding")
    found = effect(halved, done)
    assert (found.weeks_after, found.until) == (3, DONE + timedelta(days=28))
    # Two weeks and more lie between them on the cards; jugs have not settled by then.
    work(halved, DONE + timedelta(days=21), calf_barn, "drying")
    assert effect(halved, done).until == DONE + timedelta(days=21)


def test_what_was_done_within_two_weeks_is_told_as_one_and_none_of_it_is_credited(halved, calf_barn):
    first = work(halved, facility=calf_barn)
    second = work(halved, DONE + timedelta(days=7), calf_barn, "drying")
    for one, other in ((first, second), (second, first)):
        found = effect(halved, one)
        assert (found.reason, found.ratio, found.credits) == ("together", None, False)
        assert [deed.id for deed in found.together_with] == [other.id]
        assert found.joint.ratio == pytest.approx(0.5, abs=0.03)
        # Four weeks before the first; week 5 hangs while flies settle after the second.
        assert (found.joint.weeks_before, found.joint.weeks_after) == (4, 3)


def test_two_of_one_day_are_not_told_apart_either(halved, calf_barn):
    done = [work(halved, facility=calf_barn, kind=kind) for kind in ("clean_out", "bedding")]
    assert [effect(halved, each).reason for each in done] == ["together", "together"]


def test_a_work_on_the_whole_farm_beside_one_in_a_barn_has_no_joint_effect(halved, calf_barn):
    done = work(halved, facility=calf_barn)
    work(halved, DONE + timedelta(days=3), kind="fans")
    found = effect(halved, done)
    assert (found.reason, found.joint) == ("together", None)


def test_a_clean_out_every_week_is_told_as_what_it_is(halved, calf_barn):
    weekly = [work(halved, DONE + timedelta(days=7 * n), calf_barn) for n in range(-3, 4)]
    found = effect(halved, weekly[3])
    assert (found.reason, found.joint, len(found.together_with)) == ("together", None, 6)


def test_an_earlier_work_begins_it(halved, calf_barn):
    work(halved, DONE - timedelta(days=21), calf_barn)
    found = effect(halved, work(halved, facility=calf_barn))
    assert found.weeks_before == 2


def test_where_nothing_is_counted_nothing_is_told(halved):
    lagoon = make_facility(halved, "Lagoon", "lagoon", 9)
    assert effect(halved, work(halved, facility=lagoon)).reason == "not_counted"


def test_too_few_counts_before(halved, calf_barn):
    assert effect(halved, work(halved, monday(1), calf_barn)).reason == "too_few"


def test_a_barn_without_any_catch_since_has_no_share(northfield, cards, calf_barn):
    for number in range(9):
        count_week(cards, monday(number), [9 if number < 5 else 0] * 5)
    assert effect(northfield, work(northfield, facility=calf_barn)).reason == "nothing_caught"


def test_jugs_settle_for_two_weeks(northfield, traps, free_stall_barn):
    for number in range(9):
        count_week(traps, monday(number), [130, 150])
    found = effect(northfield, work(northfield, facility=free_stall_barn))
    assert (found.method, found.reason, found.weeks_after) == ("trap", "no_comparison", 3)


def test_legs_that_were_sprayed_say_nothing(northfield, leg_station, dry_lot):
    for number in range(9):
        sprayed = number > 6
        animals = [0] * 12 if sprayed else [3, 5, 2, 4] * 3
        count_week([leg_station], monday(number), [animals], sprayed=sprayed)
    found = effect(northfield, work(northfield, facility=dry_lot))
    assert (found.method, found.weeks_after) == ("leg", 2)
    assert found.ratio == pytest.approx(1, abs=0.05)


def test_releases_of_wasps_are_one_programme_told_after_a_generation(halved, calf_barn):
    releases = [work(halved, DONE + timedelta(days=7 * week), calf_barn, "wasps") for week in range(4)]
    (programme,) = deeds_of_works(releases)
    assert (programme.begins_on, programme.ends_on) == (DONE, DONE + timedelta(days=21))
    assert not window_of(programme, "card", Timeline.of([programme]), ON).cut_short
    assert effect(halved, releases[-1], DONE + timedelta(days=40)).reason == "too_early"
    # Only week 8 hangs a generation after the first release.
    assert effect(halved, releases[-1]).reason == "too_few"
    late = deeds_of_works([work(halved, DONE - timedelta(days=14), calf_barn, "wasps")])[0]
    assert (late.begins_on, late.ends_on) == (DONE - timedelta(days=14), DONE - timedelta(days=14))


def test_a_programme_of_wasps_is_told_against_a_building_without_only(halved, calf_barn, heifers):
    early = [work(halved, monday(2 + week), calf_barn, "wasps") for week in range(2)]
    assert effect(halved, early[0]).reason == ""
    assert effect(halved, early[0]).compared_with == (heifers.id,)
    work(halved, monday(3), heifers, "fans")
    assert effect(halved, early[0]).reason == "no_other_place"


def test_very_hot_weeks_after_are_marked(halved, calf_barn):
    done = work(halved, facility=calf_barn)
    with as_factory():
        DailyTemperature.objects.bulk_create(
            DailyTemperature(region_id=halved.region_id, day=DONE + timedelta(days=n), min_c=24.0, max_c=37.0)
            for n in range(60)
        )
    assert effect(halved, done).weather == "hot"


def test_many_works_are_read_at_once(halved, calf_barn, heifers, django_assert_num_queries):
    done = [work(halved, DONE + timedelta(days=n), place) for n in (0, 1) for place in (calf_barn, heifers, None)]
    with as_role("worker"), django_assert_num_queries(5):
        # One more read, of the arrays, goes past Django's cursor.
        effects_of_works(done, [halved], ON, reports="default")
    with as_role("worker"), django_assert_num_queries(0):
        assert effects_of_works([], [halved], ON) == {}


def test_carla_learns_nothing_of_northfields_work(halved, calf_barn, carla):
    done = work(halved, facility=calf_barn)
    with acting(carla):
        assert effects_of_works([done], [halved], ON)[done.id].reason == "not_counted"


def test_a_work_of_today_is_told_as_too_early_and_one_before_the_season_as_too_little(halved, calf_barn):
    assert effect(halved, work(halved, ON, calf_barn)).reason == "too_early"
    assert effect(halved, work(halved, date(2026, 1, 5), calf_barn)).reason in ("too_few", "not_counted")
