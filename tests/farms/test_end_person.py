from farms import services
from farms.selectors import people_of
from tests.cast import NOW, acting


def test_a_person_who_left_is_no_longer_offered_and_the_row_stays(anna, northfield):
    with acting(anna):
        lucia = services.add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)
        assert list(people_of(northfield)) == [lucia]
        ended = services.end_person(person=lucia, now=NOW)
        assert ended.ended_at == NOW
        assert list(people_of(northfield)) == []


def test_carla_ends_nobody_on_northfield(anna, carla, northfield):
    with acting(anna):
        lucia = services.add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)
    with acting(carla):
        assert not people_of(northfield).exists()
    with acting(anna):
        assert people_of(northfield).get().id == lucia.id
