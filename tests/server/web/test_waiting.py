"""What a phone without signal stands on: the round's answer to its queue, its clock, its worker, who is signed in."""

import json
import re
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.models import Season
from farms.selectors import tokens_of
from farms.services import make_phone_code, revoke_token
from monitoring.models import Placement, Reading, Round
from server.web.worker_script import FOLDER, PARTS, worker_script
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db
PROGRAM = {"HTTP_ACCEPT": "application/json"}


@pytest.fixture
def hung(northfield, cards):
    hung_on = (NOW - timedelta(days=7)).date()
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=card.id, hung_on=hung_on, zone="America/Chicago", entry=1)
            for card in cards
        )


def queued(sheet, **more):
    """The sheet as a phone's queue sends it."""
    return sheet.client.post(sheet.address, sheet.fields | more, **PROGRAM)


def by_clock(counted, sent):
    """What a phone's clock said when the round was counted and when it left."""
    return {
        "walk-by_clock": "1",
        "walk-observed_at": counted.isoformat(),
        "walk-submitted_at": counted.isoformat(),
        "walk-sent_at": sent.isoformat(),
    }


def stored_round(farm):
    with as_factory():
        return Round.objects.get(farm=farm)


def test_the_queue_learns_that_a_round_is_stored_and_where_its_end_is(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    first, again = queued(sheet), queued(sheet)
    stored = stored_round(northfield)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json() == {
        "round": str(stored.id), "end": at("round_end", northfield, round_id=stored.id)
    }  # fmt: skip


def test_a_refused_round_names_each_station_and_stores_nothing(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="4o").type(cards[1], count="52")
    sheet.type(cards[2], count="2000000")
    answer = queued(sheet)
    problem = json.loads(answer.content)
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert [(error["station"], error["station_id"]) for error in problem["errors"]] == [("Card 1", str(cards[0].id))]
    assert problem["errors"][0]["pointer"].endswith("-count") and "whole number" in problem["errors"][0]["detail"]
    sheet.type(cards[0], count="40")
    of_service = json.loads(queued(sheet).content)["errors"]
    assert [(error["station"], error["detail"][:20]) for error in of_service] == [("Card 3", "No more than 1,000,0")]
    with as_factory():
        assert not Reading.objects.filter(farm=northfield).exists()


def test_a_stranger_gets_nothing_and_somebody_signed_out_is_sent_to_sign_in(browser, carla, ben, northfield, hung):
    fields = Sheet(browser(ben), northfield).fields
    page = at("count", northfield)
    assert browser(carla).post(page, fields, **PROGRAM).status_code == 404
    assert browser().post(page, fields, **PROGRAM).status_code == 302


@pytest.mark.parametrize("off", [timedelta(days=2), timedelta(days=-2)], ids=["two days fast", "two days slow"])
def test_the_day_is_that_of_the_corrected_clock(browser, ben, northfield, cards, hung, off):
    """Counted on Saturday evening in Chicago, where it is Sunday in UTC; sent on Monday."""
    counted = datetime(2026, 5, 31, 2, 30, tzinfo=UTC)
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    wrong_day = (counted + off).date().isoformat()
    answer = queued(sheet, **{"walk-walked_on": wrong_day}, **by_clock(counted + off, NOW + off))
    stored = stored_round(northfield)
    assert answer.status_code == 201 and stored.walked_on.isoformat() == "2026-05-30"
    assert stored.clock_ahead == off.total_seconds()
    # By the sender's clock, as the API keeps them.
    assert stored.observed_at == stored.submitted_at == counted + off


def test_a_round_sent_again_keeps_its_day_though_the_clock_was_set_right_meanwhile(
    browser, ben, northfield, cards, hung
):
    counted, off = NOW - timedelta(hours=20), timedelta(days=2)
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    assert queued(sheet, **by_clock(counted + off, NOW + off)).status_code == 201
    assert queued(sheet, **by_clock(counted + off, NOW)).status_code == 200
    assert stored_round(northfield).walked_on.isoformat() == "2026-05-31"


def test_a_day_that_somebody_typed_is_not_moved_by_the_clock(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    clock = by_clock(NOW, NOW) | {"walk-by_clock": ""}
    assert queued(sheet, **{"walk-walked_on": "2026-05-29"}, **clock).status_code == 201
    assert stored_round(northfield).walked_on.isoformat() == "2026-05-29"


def test_the_season_is_asked_about_the_day_counted_not_the_day_it_came(browser, ben, northfield, cards, hung):
    with as_factory():
        Season.objects.filter(farm=northfield).update(closes_on="2026-05-31")
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    late = queued(sheet, **by_clock(NOW, NOW))
    assert late.status_code == 422 and "season" in late.content.decode()
    assert queued(sheet, **by_clock(NOW - timedelta(days=2), NOW)).status_code == 201
    assert stored_round(northfield).walked_on.isoformat() == "2026-05-30"


def test_moments_that_cannot_be_are_refused_and_not_a_crash(browser, ben, northfield, cards, hung):
    sheet = Sheet(browser(ben), northfield).type(cards[0], count="41")
    edges = by_clock(datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, tzinfo=UTC))
    assert queued(sheet, **edges).status_code in (201, 422)
    assert queued(sheet, **(edges | {"walk-sent_at": "yesterday"})).status_code == 422


def session_of(client):
    return client.get(reverse("waiting_session")).json()


def test_the_queue_is_told_who_is_signed_in_and_where_they_count(browser, anna, ben, dana, carla, erik, northfield):
    count = at("count", northfield)
    farm = {"id": str(northfield.id), "count": count}
    assert session_of(browser(anna))["farms"] == [farm | {"keep": True, "may_delete": True}]
    assert session_of(browser(ben))["farms"] == [farm | {"keep": True, "may_delete": False}]
    # An adviser of three hundred farms doesn't load three hundred pages onto a phone.
    assert session_of(browser(dana))["farms"] == [farm | {"keep": False, "may_delete": True}]
    assert session_of(browser(carla))["farms"] == session_of(browser(erik))["farms"] == []
    assert session_of(browser(ben))["now"] == NOW.isoformat()
    nobody = session_of(browser())
    assert (nobody["holder"], nobody["farms"], nobody["switched_off"]) == ("", [], False)
    # Nor a token, whose cookie would take the place of a sign-in's that is asked for at the same moment.
    someone = browser()
    assert nobody["token"] == "" and session_of(someone)["token"] == "" and not someone.cookies
    assert session_of(browser(ben))["token"]


def test_how_many_farms_somebody_has_costs_no_query(browser, anna, northfield, region, django_assert_num_queries):
    from tests.cast import make_farm

    client = browser(anna)
    with django_assert_num_queries(8):
        session_of(client)
    for number in range(3):
        make_farm(f"Further {number}", region, anna)
    with django_assert_num_queries(8):
        assert len(session_of(client)["farms"]) == 4


def test_a_farm_phone_counts_for_its_farm_until_it_is_switched_off(browser, anna, northfield):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    client = browser()
    client.post(reverse("phone"), {"code": code})
    there = session_of(client)
    assert there["holder"] and [farm["may_delete"] for farm in there["farms"]] == [False]
    assert [farm["keep"] for farm in there["farms"]] == [True]
    with acting(anna):
        revoke_token(token=tokens_of(northfield).get(), by=anna, now=timezone.now())
    gone = session_of(client)
    assert (gone["holder"], gone["switched_off"], gone["farms"]) == ("", True, [])


def holder_on(client, name="waiting"):
    return re.search(r'data-holder="([^"]*)"', client.get(reverse(name)).content.decode())[1]


def test_pages_name_their_holder_by_an_id_that_says_nothing_and_lasts(browser, anna, ben, northfield):
    one, again, other = holder_on(browser(anna)), holder_on(browser(anna)), holder_on(browser(ben))
    assert one == again != other and holder_on(browser()) == ""
    assert session_of(browser(anna))["holder"] == one
    assert re.fullmatch(r"[0-9a-f]{24}", one) and str(anna.id).replace("-", "")[:8] not in one


def test_the_worker_is_one_plain_script_for_the_whole_site_and_looked_at_anew_each_time(browser):
    answer = browser().get("/worker.js")
    text = answer.content.decode()
    assert answer["Content-Type"].startswith("text/javascript") and answer["Cache-Control"] == "no-cache"
    assert not re.search(r"^\s*(import|export)\b", text, re.MULTILINE) and text.startswith('"use strict";')


def test_no_two_parts_of_the_worker_have_a_name_in_common():
    names = re.findall(r"^(?:const|let|class|(?:async )?function) (\w+)", worker_script(), re.MULTILINE)
    lists = re.findall(r"^(?:const|let) [\[{](.+?)[\]}] =", worker_script(), re.MULTILINE)
    assert len(names) == len(set(names)) and not lists


def test_the_parts_of_the_worker_stand_after_those_they_use():
    for place, name in enumerate(PARTS):
        wanted = re.findall(r'from "\./([a-z-]+\.js)"', (FOLDER / name).read_text(encoding="utf-8"))
        assert set(wanted) <= set(PARTS[:place]), name


def test_the_scripts_ask_at_addresses_that_the_site_has(northfield):
    scripts = "".join(path.read_text(encoding="utf-8") for path in FOLDER.glob("*.js"))
    for name in ("waiting_session", "waiting", "without_signal", "worker", "account_logout", "leave_phone"):
        assert f'"{reverse(name)}"' in scripts, name
    assert at("count", northfield) == f"/farms/{northfield.id}/count/"


def test_the_site_can_be_put_on_a_phones_first_screen(browser):
    answer = browser().get(reverse("manifest"))
    about = json.loads(answer.content)
    assert answer["Content-Type"] == "application/manifest+json"
    assert (about["scope"], about["display"]) == ("/", "standalone")
    for icon in about["icons"]:
        # A PNG's width and height: bytes 16 to 23 (PNG specification, section 11.2.2).
        head = (FOLDER / icon["src"].rpartition("/")[2]).read_bytes()[:24]
        assert head[:8] == b"\x89PNG\r\n\x1a\n"
        side = int(icon["sizes"].partition("x")[0])
        assert [int.from_bytes(head[16:20]), int.from_bytes(head[20:24])] == [side, side]
    assert {icon["purpose"] for icon in about["icons"]} == {"any", "maskable"}


def test_the_page_without_signal_names_nobody(browser, anna, northfield):
    shown = browser(anna).get(reverse("without_signal")).content.decode()
    assert shown == browser().get(reverse("without_signal")).content.decode() and "Northfield" not in shown
