"""How each station stands beside its farm's others, from the farm's own counts."""

from datetime import date

import pytest

from alerts.selectors.own_past import counts_with_past
from alerts.selectors.precision import precision_of_farm
from alerts.selectors.station_effects import effects_in, effects_of_stations
from farms.models import Farm, User
from monitoring.models import Siting, Station
from tests.alerts.scene import count_week, monday
from tests.cast import acting, as_factory, as_role, make_facility, make_stations

pytestmark = pytest.mark.django_db
LEVEL = (40, 47, 36, 42, 39, 44, 41, 45)


def count(cards: list[Station], weeks: tuple[int, ...]) -> None:
    """The same count on every card in each of these weeks."""
    for number, specks in enumerate(weeks):
        count_week(cards, monday(number), [specks] * len(cards))


def effects(farm: Farm, who: User, week: date, method: str = "card"):
    with acting(who):
        return {one.number: one for one in effects_of_stations([farm], week)[farm.id] if one.method == method}


def test_the_worst_is_told_with_its_row_of_weeks(northfield: Farm, cards: list[Station], anna: User):
    with as_factory():
        Siting.objects.filter(farm=northfield, station_id=cards[1].id).update(near="water")
    for number in range(8):
        count_week(cards, monday(number), [20, 90, 24, 18 + number, 22])
    found = effects(northfield, anna, monday(7))
    assert found[2].highest is not None and found[2].highest > 0.85
    assert (found[2].weeks_at_top, found[2].question) == (8, "may_only_rest_here")
    assert found[2].low is not None and found[2].low > 1.5
    assert [one.question for number, one in found.items() if number != 2] == [""] * 4
    assert {one.worst for one in found.values()} == {1}


def test_they_are_the_same_from_what_was_read_for_more(northfield: Farm, cards: list[Station], anna: User):
    for number in range(14):
        count_week(cards, monday(number), [20, 90, 24, 18 + number, 22])
    with acting(anna):
        read = counts_with_past(northfield, monday(13))
        for _again in range(2):
            assert effects_in(read, monday(13)) == effects_of_stations([northfield], monday(13))
        assert precision_of_farm(northfield, monday(13), read) == precision_of_farm(northfield, monday(13))


def test_one_not_counted_is_no_average_one(northfield: Farm, cards: list[Station], anna: User):
    for number in range(8):
        count_week(cards, monday(number), [20, 90, "lost", 18, 22])
    found = effects(northfield, anna, monday(7))
    assert (found[3].times, found[3].among_worst, found[3].reason) == (None, None, "not_counted")
    assert (found[2].stations, found[3].weeks_counted) == (4, 0)


def test_too_many_to_count_is_this_or_more(northfield: Farm, cards: list[Station], anna: User):
    for number in range(8):
        count_week(cards[:4], monday(number), [40, 42, 38, 41])
        count_week(cards[4:], monday(number), [40], at_least=True)
    found = effects(northfield, anna, monday(7))
    assert max(found, key=lambda number: found[number].times or 0) == 5


def test_too_few_weeks_say_so(northfield: Farm, cards: list[Station], anna: User):
    count(cards, LEVEL[:3])
    assert {one.reason for one in effects(northfield, anna, monday(2)).values()} == {"too_few_weeks"}


def test_what_no_longer_stands_is_not_listed(northfield: Farm, cards: list[Station], anna: User):
    count(cards, LEVEL)
    with as_factory():
        Station.objects.filter(farm=northfield, id=cards[0].id).update(until=monday(6))
    assert sorted(effects(northfield, anna, monday(7))) == [2, 3, 4, 5]


def test_several_farms_are_read_at_once(
    northfield: Farm, southmead: Farm, cards: list[Station], django_assert_num_queries
):
    """One query of Django's, for the group's figures; the readings come by a cursor that it does not count."""
    with as_factory():
        others = make_stations(make_facility(southmead, "East shed", "other"), "card", range(11, 14))
    count(cards, LEVEL)
    for number in range(8):
        count_week(others, monday(number), [10, 60, 12])
    with as_role("worker"), django_assert_num_queries(1):
        found = effects_of_stations([northfield, southmead], monday(7))
    assert [len(found[farm.id]) for farm in (northfield, southmead)] == [8, 8]
    assert max(found[southmead.id], key=lambda one: one.times or 0).number == 12


def test_a_stranger_reads_nothing(northfield: Farm, cards: list[Station], carla: User):
    """Row security, not the door, which a selector does not ask."""
    count(cards, LEVEL)
    with acting(carla):
        assert effects_of_stations([northfield], monday(7)) == {northfield.id: []}
