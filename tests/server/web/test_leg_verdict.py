"""Whether enough animals were looked at: on the form, and on the pages after it."""

import html
import json
import re
from datetime import timedelta

import pytest
from django.utils import timezone

from alerts.models import BorrowedFigures
from alerts.services import NewLevel, set_farm_level
from farms.clock import quarter_of
from farms.ids import uuid7
from farms.models import Facility
from farms.services import make_phone_code
from monitoring.analysis.leg_verdict import stop_table
from monitoring.models import Reading, Round
from monitoring.services import ReadingSent, correct_reading
from tests.cast import NOW, acting, as_factory, make_facility, make_stations
from tests.monitoring.sending import STAFF
from tests.server.web.pages import at, words
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db
BELOW, BETWEEN, OVER = [3] * 10, [10] * 12, [22] * 10


def counted(client, farm, station, animals, **typed):
    """Send a leg count; what its round's end says."""
    sent = Sheet(client, farm).type(station, animals=[str(each) for each in animals], **typed).send()
    assert sent.status_code == 302, sent.content.decode()
    return words(client.get(sent.url))


def plans(page):
    """The plans that come with a page, as its script reads them."""
    found = re.findall(r'data-leg-plan="([^"]*)" data-say="([^"]*)"', page.content.decode())
    return [tuple(json.loads(html.unescape(part)) for part in pair) for pair in found]


def set_level(farm, by, value, facility=None, days=0):
    level = NewLevel("leg", value, "our heifers stamp", (NOW + timedelta(days=days)).date(), facility)
    with acting(by):
        set_farm_level(farm=farm, level=level, by=by, now=NOW)


def dry_lot(farm):
    with as_factory():
        return Facility.objects.get(farm=farm, name="Dry lot")


def test_the_form_brings_all_that_the_verdict_needs_without_signal(browser, ben, northfield, leg_station):
    page = Sheet(browser(ben), northfield).page
    [(plan, say)] = plans(page)
    table = stop_table(10.0)
    assert (plan["level"], plan["fewest"]) == (10, 10)
    assert plan["rows"] == [list(row) for row in zip(table.below.tolist(), table.over.tolist(), strict=True)]
    assert set(say["words"]) == set(say["marks"]) == {"enough_below", "enough_over", "count_on", "not_clear"}
    assert "{mean}" in say["so_far"] and "10" in say["so_far"]
    assert re.search(r'<script type="module" src="[^"]*leg-verdict[^"]*\.js"></script>', page.content.decode())


def test_without_a_script_the_table_says_the_same(browser, ben, northfield, leg_station):
    told = words(Sheet(browser(ben), northfield).page)
    assert "10 66 122 11 76 132 12 85 141 13 95 151 14 104 160 15 113 169" in told
    assert "It is about these animals today" in told
    assert "our own inference" in told and "47 of 100 legs" in told


def lend_k(group, k, fitted):
    figures = {"shock": 0.2, "stays": 0.3, "counting": 1.0, "growth": 0.1, "degrees": 9.0, "weight_k": 1.4, "leg_k": k}
    with as_factory():
        BorrowedFigures.objects.create(
            group=group, method="leg", quarter=quarter_of(fitted.date()), farms=45, holdings=42, fitted_at=fitted,
            code_version="test", **figures,
        )  # fmt: skip


def test_the_groups_own_k_plans_the_count_where_it_is_known(browser, ben, northfield, leg_station):
    lend_k(northfield.group, 3.0, NOW - timedelta(days=50))
    page = Sheet(browser(ben), northfield).page
    [(plan, _say)] = plans(page)
    table = stop_table(10.0, 3.0)
    assert plan["rows"] == [list(row) for row in zip(table.below.tolist(), table.over.tolist(), strict=True)]
    assert "taken from your group's own leg counts" in words(page) and "our own inference" not in words(page)


def test_figures_that_come_later_leave_what_was_said_of_a_count(browser, anna, northfield, leg_station):
    # 12 flies an animal on ten are not clear with k 1.4, and with k 30 they are.
    end = counted(browser(anna), northfield, leg_station, [12] * 10)
    assert "Not clear after 10 animals" in end
    lend_k(northfield.group, 30.0, NOW)
    with as_factory():
        walked = Round.objects.get(farm=northfield)
    assert "Not clear after 10 animals" in words(
        browser(anna).get(at("round", northfield, round_id=walked.id))
    )  # fmt: skip
    lend_k(northfield.group, 30.0, NOW - timedelta(days=70))
    assert "Enough: at or over" in words(browser(anna).get(at("round", northfield, round_id=walked.id)))


def test_a_form_without_a_leg_count_brings_no_script(browser, carla, southmead):
    page = Sheet(browser(carla), southmead).page
    assert plans(page) == [] and "leg-verdict" not in page.content.decode()


def test_each_leg_count_is_planned_for_its_own_buildings_level(browser, anna, northfield, leg_station):
    make_stations(make_facility(northfield, "Heifers", "dry_lot", 9), "leg", range(2, 3))
    set_level(northfield, anna, 4.0, dry_lot(northfield))
    assert [plan["level"] for plan, _say in plans(Sheet(browser(anna), northfield).page)] == [4, 10]


@pytest.mark.parametrize("level", [1e-300, 1e300])
def test_a_level_that_nobody_can_plan_for_breaks_no_page(browser, anna, northfield, leg_station, level):
    set_level(northfield, anna, level)
    assert plans(Sheet(browser(anna), northfield).page) == []
    assert "Enough" not in counted(browser(anna), northfield, leg_station, BELOW)


def test_at_a_low_level_a_dash_stands_where_no_total_is_low_enough(browser, anna, northfield, leg_station):
    set_level(northfield, anna, 0.3)
    page = Sheet(browser(anna), northfield).page
    [(plan, _say)] = plans(page)
    assert plan["rows"][0] == [None, 8]
    assert re.search(
        r'<th scope="row">10</th><td class="number">.</td><td class="number">8</td>', page.content.decode()
    )


def test_a_refused_form_still_has_its_plan(browser, ben, northfield, leg_station):
    refused = Sheet(browser(ben), northfield).type(leg_station, animals=["3", "x"]).send()
    assert refused.status_code == 422 and len(plans(refused)) == 1


@pytest.mark.parametrize(
    ("animals", "told"),
    [
        (BELOW, "Enough: below your level"),
        (OVER, "Enough: at or over your level"),
        (BETWEEN, "Not clear after 12 animals"),
        ([10] * 15, "Not clear after 15 animals"),
        ([3] * 9, "Fewer than ten animals: too few to tell"),
    ],
)
def test_the_rounds_end_and_the_round_tell_the_verdict_and_the_mean(
    browser, anna, northfield, leg_station, animals, told
):
    client = browser(anna)
    end = counted(client, northfield, leg_station, animals)
    mean = animals[0]
    plain = f"These animals on that day: mean {mean} an animal, {mean / 4:.1f} a leg; level 10."
    assert f"{told} Leg count 1: {sum(animals)} flies on {len(animals)} animals. {plain}" in end
    with as_factory():
        walked = Round.objects.get(farm=northfield)
    assert f"{told} {plain}" in words(client.get(at("round", northfield, round_id=walked.id)))


def test_flies_on_15_animals_that_reach_the_level_exactly_are_not_called_below(browser, anna, northfield, leg_station):
    # 150 flies on 15 animals is 10.0 an animal, so reached, and no clear verdict.
    end = counted(browser(anna), northfield, leg_station, [10] * 15)
    assert "at or over · action level 10." in end and "Not clear after 15 animals" in end


def test_animals_sprayed_that_week_make_a_low_count_say_little(browser, anna, northfield, leg_station):
    end = counted(browser(anna), northfield, leg_station, BELOW, sprayed="yes")
    assert "Animals were sprayed or poured that week, so a low count says little." in end


def test_sprayed_animals_with_many_flies_are_over_all_the_same(browser, anna, northfield, leg_station):
    end = counted(browser(anna), northfield, leg_station, OVER, sprayed="yes")
    assert "Enough: at or over your level" in end and "a low count says little" not in end


def test_several_leg_counts_are_told_one_by_one_in_their_own_building(browser, anna, northfield, leg_station):
    heifers = make_stations(make_facility(northfield, "Heifers", "dry_lot", 9), "leg", range(2, 4))
    client = browser(anna)
    sheet = Sheet(client, northfield)
    for station, each in ((leg_station, 3), (heifers[0], 20), (heifers[1], 10)):
        sheet.type(station, animals=[str(each)] * 11)
    first, second = words(client.get(sheet.send().url)).split("Heifers leg counts")
    assert "below your level Leg count 1:" in first
    assert "over your level Leg count 2:" in second and "11 animals Leg count 3:" in second


def test_the_verdict_is_by_the_level_of_its_day(browser, anna, northfield, leg_station):
    client = browser(anna)
    counted(client, northfield, leg_station, [8] * 12)
    with as_factory():
        walked = Round.objects.get(farm=northfield)
    address = at("round", northfield, round_id=walked.id)
    set_level(northfield, anna, 4.0, days=1)
    assert "Not clear after 12 animals" in words(client.get(address)) and "level 10." in words(client.get(address))
    set_level(northfield, anna, 4.0)
    assert "Enough: at or over your level" in words(client.get(address))


def test_a_corrected_count_has_the_verdict_of_what_replaced_it(browser, anna, northfield, leg_station):
    client = browser(anna)
    counted(client, northfield, leg_station, OVER)
    with as_factory():
        reading = Reading.objects.get(farm=northfield)
    new = ReadingSent(uuid7(), leg_station.id, animals=BELOW, count=sum(BELOW))
    with acting(anna):
        correct_reading(farm=northfield, reading_id=reading.id, correction=new, kind="mistyped", actor=STAFF, now=NOW)
    for name in ("round", "round_end"):
        told = words(client.get(at(name, northfield, round_id=reading.round_id)))
        assert "Enough: below your level" in told and "Enough: at or over" not in told


def test_the_farm_phone_is_told_too(browser, anna, northfield, leg_station):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    phone = browser()
    phone.post("/phone/", {"code": code})
    assert len(plans(Sheet(phone, northfield).page)) == 1
    assert "Enough: below your level" in counted(phone, northfield, leg_station, BELOW)
