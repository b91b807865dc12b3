import json
import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.templatetags.static import static
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farms.services import add_person, make_phone_code
from monitoring.models import Note, Placement, Reading, Round, Station
from server import web
from tests.alerts.scene import count_week, monday
from tests.cast import NOW, acting, as_factory, make_stations
from tests.collected import collect, needed_by
from tests.server.web.pages import at, words
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db
HUNG = (NOW - timedelta(days=7)).date()


@pytest.fixture
def hung(northfield, cards, traps):
    """Every card and trap of Northfield hangs since a week."""
    with as_factory():
        return Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=each.id, hung_on=HUNG, zone="America/Chicago", entry=1)
            for each in [*cards, *traps]
        )


def cards_of(farm):
    with as_factory():
        return list(Station.objects.filter(farm=farm, method="card").order_by("number"))


def stored(farm):
    with as_factory():
        return list(Reading.objects.filter(farm=farm).select_related("station").order_by("station__number"))


def test_a_recorder_counts_a_round_and_sees_what_it_says(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield)
    assert sheet.fields["walk-walked_on"] == "2026-06-01"
    for card, count in zip(cards, (20, 30, 25, 600, 25), strict=True):
        sheet.type(card, count=str(count))
    sent = sheet.send()
    assert sent.status_code == 302
    end = words(sheet.client.get(sent.url))
    # (20 + 30 + 25 + 600 + 25) / 5 specks in 7 days
    assert "Calf barn spot cards 140 specks a card" in end and "at or over · action level 100." in end
    assert "Card 4 in the calf barn" in end
    assert [reading.count for reading in stored(northfield)] == [20, 30, 25, 600, 25]
    with as_factory():
        assert Placement.objects.filter(farm=northfield, hung_on=NOW.date()).count() == 5
        assert Round.objects.get(farm=northfield).source == "form"


def test_pressing_send_twice_stores_the_round_once(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    first, second = sheet.send(note="wet corner"), sheet.send(note="wet corner")
    assert first.url == second.url
    with as_factory():
        assert Round.objects.filter(farm=northfield).count() == 1
        assert Reading.objects.filter(farm=northfield).count() == 1
        assert Note.objects.filter(farm=northfield).count() == 1
        assert Placement.objects.filter(farm=northfield, hung_on=NOW.date()).count() == 1


def test_a_station_left_empty_stores_nothing_and_stays_open(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="0")
    end = sheet.client.get(sheet.send().url)
    assert [(reading.station.number, reading.count) for reading in stored(northfield)] == [(1, 0)]
    assert "7 still open" in words(end)
    with as_factory():
        round_id = Round.objects.get(farm=northfield).id
    again = Sheet(sheet.client, northfield, at("count", northfield) + f"?round={round_id}")
    assert again.fields["walk-round_id"] == str(round_id)
    again.type(cards[1], count="7").send()
    with as_factory():
        assert Round.objects.filter(farm=northfield).count() == 1
    assert [reading.count for reading in stored(northfield)] == [0, 7]


def test_what_barns_do_to_cards_is_stored_as_it_was(browser, ben, northfield, cards, traps, hung):
    sheet = Sheet(browser(ben), northfield)
    sheet.type(cards[0], reason="lost").type(cards[1], count="61", part="0.25").type(
        cards[2], count="900", at_least="on"
    )
    sheet.type(cards[3], reason="not_visited").type(cards[4], count="12", fresh=None).type(traps[0], cups="1.5")
    assert sheet.send().status_code == 302
    lost, part, many, left, taken, *_rest = [r for r in stored(northfield) if r.method == "card"]
    assert (lost.reason, lost.count) == ("lost", None)
    assert (part.how, part.count, float(part.fraction)) == ("part", 61, 0.25)
    assert (many.count, many.at_least) == (900, True)
    assert left.reason == "not_visited"
    trap = next(reading for reading in stored(northfield) if reading.method == "trap")
    assert (trap.how, trap.count) == ("cup", 375)
    with as_factory():
        fresh = Placement.objects.filter(farm=northfield, hung_on=NOW.date()).values_list("station_id", flat=True)
    # Not where the old one was left up, and not where nobody hung one.
    assert set(fresh) == {cards[0].id, cards[1].id, cards[2].id, traps[0].id}
    assert taken.count == 12


def test_flies_on_legs_are_typed_one_box_an_animal_or_all_in_one(browser, ben, northfield, leg_station):
    sheet = Sheet(browser(ben), northfield)
    sheet.type(
        leg_station, animals=["3", "", "0 4", "5"], pen="Pen 2", time_of_day="09:30", sprayed="yes", bunching="no"
    )
    assert sheet.send().status_code == 302
    reading = stored(northfield)[0]
    assert (reading.animals, reading.count, reading.pen) == ([3, 0, 4, 5], 12, "Pen 2")
    assert (reading.sprayed, reading.bunching, f"{reading.time_of_day:%H:%M}") == (True, False, "09:30")


def test_a_first_visit_only_hangs(browser, ben, northfield, cards):
    sheet = Sheet(browser(ben), northfield)
    end = words(sheet.client.get(sheet.send().url))
    assert stored(northfield) == []
    with as_factory():
        assert Placement.objects.filter(farm=northfield).count() == 7
    assert "hung" in end


def test_where_nothing_hangs_on_a_later_visit_somebody_has_to_say_that_it_does_now(
    browser, ben, northfield, cards, hung
):
    with as_factory():
        Placement.objects.filter(station_id=cards[4].id).delete()
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="3")
    sheet.send()
    with as_factory():
        assert not Placement.objects.filter(station_id=cards[4].id).exists()
    Sheet(sheet.client, northfield).type(cards[4], fresh="on").send()
    with as_factory():
        assert Placement.objects.filter(station_id=cards[4].id, hung_on=NOW.date()).exists()


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"count": "12x"}, "Type a whole number"),
        ({"count": "-3"}, "Type a whole number without signs"),
        ({"count": "61", "reason": "lost"}, "Card 1 has a count and a reason"),
        ({"count": "2000000"}, "Card 1"),
    ],
)
def test_what_can_not_be_right_is_told_beside_its_card_and_nothing_is_lost(
    browser, anna, northfield, hung, typed, told
):
    cards = cards_of(northfield)
    sheet = Sheet(browser(anna), northfield).type(cards[0], **typed).type(cards[1], count="33")
    refused = sheet.send(note="a corner is wet")
    page = refused.content.decode()
    assert refused.status_code == 422 and told in words(refused)
    assert f'href="#at-{sheet.prefix_of(cards[0])}"' in page
    assert 'value="33"' in page and "a corner is wet" in page and sheet.fields["walk-round_id"] in page
    assert stored(northfield) == []


def test_all_that_can_not_be_right_is_told_at_once(browser, anna, northfield, hung):
    cards = cards_of(northfield)
    refused = Sheet(browser(anna), northfield).type(cards[0], count="-4").type(cards[1], count="12.5").send()
    assert words(refused).count("Type a whole number") == 2
    assert stored(northfield) == []


@pytest.mark.parametrize("day", ["2026-06-02", "2026-01-01", "yesterday", ""])
def test_a_day_that_can_not_be_right_is_told_beside_the_day(browser, anna, northfield, cards, hung, day):
    refused = Sheet(browser(anna), northfield).type(cards[0], count="5").send(walked_on=day)
    assert refused.status_code == 422
    assert 'id="id_walk-walked_on_error"' in refused.content.decode()
    assert stored(northfield) == []


def test_a_round_without_anything_typed_is_not_stored(browser, anna, northfield, cards, traps, hung):
    refused = Sheet(browser(anna), northfield).send()
    assert refused.status_code == 422 and "Nothing was typed." in words(refused)
    with as_factory():
        assert not Round.objects.exists()


def test_a_second_persons_count_is_shown_the_first_and_can_be_dropped(browser, anna, dana, northfield, cards, hung):
    late = Sheet(browser(dana), northfield).type(cards[0], count="99").type(cards[1], count="50")
    Sheet(browser(anna), northfield).type(cards[0], count="41").send()
    refused = late.send()
    assert refused.status_code == 422
    assert "Card 1 was already taken down" in words(refused) and "Leave the first count as it is" in words(refused)
    assert late.type(cards[0], keep_first="on").send().status_code == 302
    assert [reading.count for reading in stored(northfield)] == [41, 50]


def test_whoever_counts_taps_a_name(browser, anna, northfield, cards, hung):
    with acting(anna):
        lucia = add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)
    sheet = Sheet(browser(anna), northfield)
    assert "Lucia" in words(sheet.page)
    sheet.type(cards[0], count="3").send(counted_by=str(lucia.id))
    with as_factory():
        assert Round.objects.get(farm=northfield).counted_by == lucia.id


def test_a_name_of_another_farm_is_refused(browser, carla, northfield, southmead, cards, anna):
    with acting(carla):
        theirs = add_person(farm=southmead, name="Otto", initials="O", now=NOW)
    refused = Sheet(browser(anna), northfield).type(cards[0], count="3").send(counted_by=str(theirs.id))
    assert refused.status_code == 422


def test_another_farms_station_in_the_form_is_not_found(browser, anna, northfield, southmead, cards, hung):
    with as_factory():
        theirs = Station.objects.filter(farm=southmead).first()
    sheet = Sheet(browser(anna), northfield).type(cards[0], count="3")
    sheet.fields["line"].append(f"{theirs.id}..")
    assert sheet.send().status_code == 404
    sheet.fields["line"][-1] = "nonsense"
    assert sheet.send().status_code == 404
    assert stored(northfield) == []


def test_a_farm_phone_counts_and_sees_how_it_came_out_and_no_more(browser, anna, northfield, cards, hung):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    phone = browser()
    phone.post("/phone/", {"code": code})
    assert phone.get("/").url == at("count", northfield)
    sent = Sheet(phone, northfield).type(cards[0], count="17").send()
    assert "17 specks a card" in words(phone.get(sent.url))
    assert phone.get(at("farm", northfield)).status_code == 403
    with as_factory():
        assert (Round.objects.get(farm=northfield).source, Round.objects.get(farm=northfield).actor_kind) == (
            "phone",
            "phone",
        )


def test_the_form_works_without_scripts_and_brings_none(browser, anna, northfield, hung):
    page = Sheet(browser(anna), northfield).page
    text = page.content.decode()
    assert " style=" not in text and " onclick=" not in text and "<script>" not in text
    assert "default-src 'self'" in page["Content-Security-Policy"]
    assert text.count('inputmode="numeric"') >= 7 + 15


def test_cautions_stand_where_the_work_is(browser, anna, northfield):
    page = words(Sheet(browser(anna), northfield).page)
    assert "never alone in a pen with a bull" in page
    assert "The label and local rules come first." in page


def facts(page):
    """What the page brings for its scripts."""
    block = r'<script id="round-facts" type="application/json">(.*?)</script>'
    return json.loads(re.search(block, page.content.decode())[1])


def test_the_page_brings_the_last_counts_but_does_not_show_them(browser, anna, northfield, cards, hung):
    count_week(cards, monday(5), [11, 12, 13, 14, 15])
    count_week(cards, monday(6), [987, "lost", None, None, None])
    page = Sheet(browser(anna), northfield).page
    last = {each["label"]: facts(page)["last"][each["id"]]["count"] for each in facts(page)["stations"][:5]}
    # The newest count, where the newest reading has none too.
    assert last == {"Card 1": 987, "Card 2": 12, "Card 3": 13, "Card 4": 14, "Card 5": 15}
    assert facts(page)["before"]["means"].popitem()[1] == 987
    assert "987" not in words(page)


def test_a_count_of_another_season_is_no_last_count(browser, anna, northfield, cards, hung):
    count_week(cards, monday(-10), [50, 50, 50, 50, 50])
    assert facts(Sheet(browser(anna), northfield).page)["last"] == {}


def test_what_a_begun_round_has_already_is_in_its_facts(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="61", part="0.25")
    sheet.send()
    with as_factory():
        walk = Round.objects.get(farm=northfield)
    again = Sheet(sheet.client, northfield, at("count", northfield) + f"?round={walk.id}")
    [done] = facts(again.page)["done"]
    assert (done["station"], done["count"], done["part"], done["exposure"]) == (str(cards[0].id), 61, [1, 4], 7)


def test_the_page_asks_the_database_no_more_for_more_stations(
    browser, anna, northfield, cards, traps, calf_barn, hung, django_assert_num_queries
):
    count_week(cards, monday(6), [1, 2, 3, 4, 5])
    client = browser(anna)
    with CaptureQueriesContext(connection) as before:
        client.get(at("count", northfield))
    more = make_stations(calf_barn, "card", range(6, 26))
    count_week(more, monday(6), [9] * 20)
    with django_assert_num_queries(len(before)):
        client.get(at("count", northfield))


def test_help_stands_in_pictures_beside_the_words(browser, anna, northfield):
    page = Sheet(browser(anna), northfield).page.content.decode()
    for name in ("card", "trap", "leg", "headlocks", "pole", "gloves"):
        assert f"web/round/pictures/{name}.svg" in page


def test_every_module_of_the_round_is_asked_for_with_the_page(browser, anna, northfield):
    page = Sheet(browser(anna), northfield).page.content.decode()
    asked = re.findall(r'rel="modulepreload" href="([^"]*)"', page)
    files = (Path(web.__file__).parent / "static" / "web" / "round").glob("*.js")
    assert set(asked) == {static(f"web/round/{path.name}") for path in files} - {static("web/round/steps.js")}


def test_as_collected_the_page_asks_ahead_for_the_very_files_that_its_scripts_import(
    settings, tmp_path, browser, anna, northfield, cards
):
    tree = collect(settings, tmp_path / "static")
    page = browser(anna).get(at("count", northfield)).content.decode()
    ahead = re.findall(r'rel="modulepreload" href="/static/([^"]*)"', page)
    [steps] = re.findall(r'src="/static/(web/round/steps\.[^"]*)"', page)
    assert {(tree / each).resolve() for each in ahead} == needed_by(tree / steps)
    assert all((tree / each).is_file() for each in re.findall(r'(?:href|src)="/static/([^"]*)"', page))
