"""The guide from a new farm to its first round, a group's own, and the command that begins a group."""

import io
import re
from typing import Any

import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.urls import reverse

from farms.models import Facility, Farm, Group, GroupMember, Person, Region, Season
from farms.models.farm import HOUSING_UNITS
from monitoring.models import Station
from server.web.proposals import HOUSING
from tests.cast import as_factory, make_farm
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def bare(region, anna) -> Farm:
    """A farm of Anna's with nothing on it."""
    farm = make_farm("Bare Hill", region, anna)
    with as_factory():
        Season.objects.filter(farm=farm).delete()
    return farm


def step(client: Any, farm: Farm, name: str, sent: dict[str, Any]) -> Any:
    return client.post(reverse(name, args=[farm.id]), sent, follow=True)


def hidden(page: Any, name: str) -> list[str]:
    return re.findall(rf'name="{name}" value="([^"]*)"', page.content.decode())


def test_what_is_housed_is_what_the_ground_floor_says():
    assert {kind.value for kind in HOUSING_UNITS} == HOUSING


def test_a_farm_without_anything_shows_the_guide(browser, anna, bare):
    found = browser(anna).get(reverse("farm", args=[bare.id]), follow=True)
    assert found.request["PATH_INFO"] == reverse("start", args=[bare.id])
    assert "Next: The farm" in words(found) and "Setting up" in words(found)


def with_buildings(browser: Any, anna: Any, bare: Farm) -> Any:
    client = browser(anna)
    kept = {"name": "Bare Hill", "language": "es", "time_zone": "America/Denver", "opens_on": "2026-05-25"}
    assert "Next: Barns and lots" in words(step(client, bare, "start_farm", kept))
    proposed = step(client, bare, "start_buildings", {"calf_hutches": "1", "free_stall_barn": "2", "silo": "1"})
    assert hidden(proposed, "kind") == ["calf_hutches", "free_stall_barn", "free_stall_barn", "silo"]
    assert re.findall(r'name="name-\d" value="([^"]*)"', proposed.content.decode()) == [
        "Calf hutches", "Free-stall barn 1", "Free-stall barn 2", "Silo"
    ]  # fmt: skip
    with as_factory():
        assert not Facility.objects.filter(farm=bare).exists()
    names = {
        "kind": hidden(proposed, "kind"),
        "name-0": "Hutches",
        "name-1": "Old barn",
        "name-2": "New barn",
        "name-3": "",
    }
    assert "3 buildings are added." in words(step(client, bare, "start_buildings", names))
    return client


def test_five_cards_are_proposed_for_each_building_and_numbered_on(browser, anna, bare):
    client = with_buildings(browser, anna, bare)
    asked = client.get(reverse("start_stations", args=[bare.id])).content.decode()
    assert asked.count('value="5"') == 3 and "Out of reach of animals and children" in asked and "label" in asked
    with as_factory():
        old = Facility.objects.get(farm=bare, name="Old barn")
        hutches = Facility.objects.get(farm=bare, name="Hutches")
    many = step(
        client, bare, "start_stations", {f"card-{hutches.id}": "5", f"card-{old.id}": "5", f"trap-{old.id}": "2"}
    )
    places = hidden(many, "place")
    assert len(places) == 12 and re.findall(r'name="number-\d+" value="(\d+)"', many.content.decode()) == [
        *map(str, range(1, 11)), "1", "2"
    ]  # fmt: skip
    sent: dict[str, Any] = {"place": places}
    sent |= {f"number-{row}": str(row + 1) for row in range(10)} | {"number-10": "7", "number-11": ""}
    sent |= {f"near-{row}": "nothing" for row in range(12)}
    done = step(client, bare, "start_stations", sent)
    assert "11 places are added." in words(done) and "Next: People and phones" in words(done)
    with as_factory():
        rows = list(Station.objects.filter(farm=bare).order_by("position").values_list("method", "number"))
        assert rows == [("card", number) for number in range(1, 11)] + [("trap", 7)]
        farm = Farm.objects.get(id=bare.id)
        assert (farm.language, farm.time_zone) == ("es", "America/Denver")


def test_nothing_of_a_page_is_stored_where_a_line_of_it_is_wrong(browser, anna, northfield, calf_barn):
    client = browser(anna)
    twice = {"kind": ["calf_barn", "silo"], "name-0": "Nursery", "name-1": "Calf barn"}
    refused = step(client, northfield, "start_buildings", twice)
    assert refused.status_code == 422 and "already has a barn or lot of that name" in words(refused)
    numbers = {
        "place": [f"card {calf_barn.id}"] * 2,
        "number-0": "6",
        "number-1": "5",
        "near-0": "nothing",
        "near-1": "milk",
    }
    refused = step(client, northfield, "start_stations", numbers)
    assert refused.status_code == 422 and "Card 5" in words(refused)
    with as_factory():
        assert not Facility.objects.filter(farm=northfield, name="Nursery").exists()
        assert not Station.objects.filter(farm=northfield, method="card", number=6).exists()


def test_people_are_added_and_invited_at_once(browser, anna, northfield):
    sent = {
        "name-0": "Rosa del Campo",
        "name-1": "Hal",
        "initials-1": "HH",
        "email-1": "hal@example.org",
        "role-1": "recorder",
    }
    done = step(browser(anna), northfield, "start_people", sent)
    assert "2 people are added." in words(done) and mail.outbox[-1].to == ["hal@example.org"]
    with as_factory():
        names = set(Person.objects.filter(farm=northfield).values_list("name", "initials"))
    assert names == {("Rosa del Campo", "RdC"), ("Hal", "HH")}
    assert step(browser(anna), northfield, "start_people", {"name-0": ""}).status_code == 422


def test_a_place_of_another_farm_is_left_out(browser, carla, southmead, calf_barn):
    sent = {"place": [f"card {calf_barn.id}"], "number-0": "9", "near-0": "nothing"}
    step(browser(carla), southmead, "start_stations", sent)
    with as_factory():
        assert not Station.objects.filter(number=9).exists()


def test_the_coordinators_guide_adds_regions(browser, erik, group):
    client, address = browser(erik), reverse("group_start", args=[group.id])
    assert "Every farm lies in one" in words(client.get(address))
    assert "Río Bajo is added." in words(client.post(address, {"name": "Río Bajo"}, follow=True))
    again = client.post(address, {"name": "Rio bajo"})
    assert again.status_code == 422 and "has a region of that name already" in words(again)
    assert list(Region.objects.filter(group=group).values_list("slug", flat=True)) == ["rio-bajo"]


def test_a_command_begins_a_group_and_prints_a_link_that_signs_in(browser, db):
    told, given = io.StringIO(), ["Mill Valley", "--coordinator", "Kim@example.org", "--coordinator-name", "Kim"]
    call_command("begin_group", *given, "--time-zone", "America/Chicago", "--region", "Lower", stdout=told)
    group = Group.objects.get(slug="mill-valley")
    assert GroupMember.objects.get(group=group).user.email == "kim@example.org"
    link = re.search(r"(/sign-in/link/\S+)", told.getvalue())[1]
    client = browser()
    assert client.post(link).status_code == 302
    assert client.get(reverse("group_start", args=[group.id])).status_code == 200
    for wrong in (given, ["Other", *given[1:]]):
        with pytest.raises(CommandError, match=r"group of that name|time zone"):
            call_command("begin_group", *wrong, "--time-zone", "America/Chicago" if wrong is given else "Mars")
    assert Group.objects.count() == 1
