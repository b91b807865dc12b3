"""The plan's pages: the week on it, drawing it without scripts, a picture under it, what a phone sees of it."""

import csv
import io
import json
import re
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from farms.ids import uuid7
from farms.models import Season
from farms.services import make_phone_code
from monitoring.models import Plan, PlanPicture, Siting, WeeklySummary
from monitoring.selectors import rounds_of
from monitoring.services import Drawn, PhotoSent, add_photo, draw_plan
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_stations
from tests.monitoring.pdf_files import pdf
from tests.monitoring.pictures import claiming, jpeg, sketch, written
from tests.monitoring.sending import STAFF
from tests.server.web.pages import at, hidden_fields, words

pytestmark = pytest.mark.django_db
SQUARE = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5], [0.1, 0.5]]


@pytest.fixture
def drawn(northfield, anna, calf_barn, cards, traps):
    """Northfield with its calf barn as an outline; Cards 1 to 4 and a trap in their places, Card 5 not."""
    outlines = [{"name": "", "facility_id": str(calf_barn.id), "points": SQUARE}]
    places = {card.id: (0.1 + 0.07 * number, 0.2) for number, card in enumerate(cards[:4])}
    with acting(anna):
        draw_plan(
            farm=northfield, drawn=Drawn(outlines, places | {traps[0].id: (0.8, 0.5)}), by=anna, now=NOW
        )  # fmt: skip
    return northfield


@pytest.fixture
def counted(drawn, group, cards, traps):
    """Two weeks of counts: Card 1 below, 2 far over, 3 near, 4 kept out, 5 lost; traps in the first week only."""
    count_week(cards, monday(6), [20, 30, 20, 20, 20])
    count_week(traps, monday(6), [130, 150])
    check(group, monday(6))
    count_week(cards, monday(7), [0, 412, 80, "kept_out", "lost"])
    check(group, monday(7))
    with as_factory():  # the scene notes no figures of its weeks
        WeeklySummary.objects.filter(farm=drawn).update(devices=3)
    return drawn


def drawing(response):
    page = response.content.decode()
    return page[page.index('class="only-wide"') : page.index("</svg>")]


class TestSeeing:
    def test_the_last_counted_week_is_shown_by_ring_size_shade_and_number(self, browser, ben, counted):
        page = browser(ben).get(at("plan", counted))
        assert "Spot cards, week of May 25" in words(page)
        svg = drawing(page)
        assert re.findall(r'<g class="mark (\w+) step-\d">', svg) == ["over", "near", "below", "none"]
        assert re.findall(r'class="count">([^<]*)<', svg) == ["412", "80", "0", "\N{EN DASH}"]
        assert "Card 4, Calf barn: not counted (kept out)" in svg and "plan-hatch" in svg
        assert "Card 2, Calf barn: 412, at or over (action level 100)" in svg
        assert "Not on the plan yet: Card 5." in words(page)

    def test_what_stands_out_is_told_in_words_and_all_of_it_as_a_table(self, browser, anna, counted):
        page = words(browser(anna).get(at("plan", counted)))
        assert "Card 2, Calf barn: 84 % of the week's catch." in page
        assert re.search("Card 5 not on the plan \N{EN DASH} not counted not counted lost", page)
        assert "Calf barn" in page and "one card or trap beside it only says where to look" in page

    def test_a_photo_of_where_flies_hatch_is_marked_at_the_station_it_was_taken_at(self, browser, anna, counted, cards):
        with acting(anna):
            taken = PhotoSent(id=uuid7(), kind="hatching", taken_at=NOW, content=jpeg(), station=cards[1])
            walked = rounds_of(counted).latest("walked_on")
            add_photo(walked=walked, sent=taken, actor=STAFF, now=NOW)
        page = browser(anna).get(at("plan", counted))
        assert "Flies hatch here: photo of Jun 1, Card 2" in words(page)
        assert drawing(page).count('class="hatching"') == 1

    def test_method_and_week_are_links_and_an_earlier_week_its_own(self, browser, anna, counted):
        client = browser(anna)
        asked = at("plan", counted) + "?method=trap&week=2026-05-18"
        assert asked.partition("?")[2].split("&")[0] in client.get(at("plan", counted)).content.decode()
        page = client.get(asked)
        assert "Jug traps, week of May 18" in words(page)
        assert re.findall(r'class="count">([^<]*)<', drawing(page)) == ["130"]
        for nonsense in ("?week=soon&method=owl", "?week=9999-12-31", "?week=0001-01-01"):
            assert client.get(at("plan", counted) + nonsense).status_code == 200

    def test_the_table_is_there_as_a_file(self, browser, anna, counted):
        answer = browser(anna).get(at("plan_levels", counted) + "?method=card&week=2026-05-25")
        assert answer.headers["Content-Type"].startswith("text/csv")
        rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
        assert [(row["station"], row["count"], row["no_count"]) for row in rows] == [
            ("Card 1", "0.0", ""), ("Card 2", "412.0", ""), ("Card 3", "80.0", ""), ("Card 4", "", "kept_out"),
            ("Card 5", "", "lost"),
        ]  # fmt: skip
        assert rows[1]["share_percent"] == "84" and rows[4]["from_left"] == ""

    def test_a_season_that_is_over_is_seen_on_the_plan_of_its_time(self, browser, anna, counted, cards):
        with as_factory():
            Season.objects.filter(farm=counted).update(closes_on=date(2026, 6, 1))
            Plan.objects.create(
                farm=counted, width=100, height=100, outlines=[], since=date(2027, 4, 1), made_by=anna, made_at=NOW,
                entry=999,
            )  # fmt: skip
            Siting.objects.create(
                farm=counted, station_id=cards[1].id, since=date(2027, 4, 1), x=0.9, y=0.9, only_place=True
            )
        page = browser(anna).get(at("plan", counted) + "?week=2026-05-25").content.decode()
        assert 'viewBox="0 0 900 642.86"' in page and ">Calf barn</text>" in page  # 900 x 1000 / 1400
        assert re.search(r'cx="153" cy="128.57" r="[\d.]+" class="ring over"', page)

    def test_before_the_first_count_the_places_are_shown_and_before_the_first_plan_what_to_do(
        self, browser, anna, ben, northfield, southmead, carla
    ):
        assert "Nobody has drawn this farm's plan yet. Lay a sketch or a photo under it" in words(
            browser(anna).get(at("plan", northfield))
        )
        recorder = words(browser(ben).get(at("plan", northfield)))
        assert "The owner or the adviser can" in recorder and "Draw the plan" not in recorder
        page = browser(carla).get(at("plan_edit", southmead))
        assert "Without an outline so far: Calf barn." in words(page)

    def test_it_asks_the_database_as_often_for_ten_times_the_stations(
        self, browser, anna, counted, calf_barn, django_assert_max_num_queries, django_assert_num_queries
    ):
        client = browser(anna)
        with django_assert_max_num_queries(24) as few:
            client.get(at("plan", counted))
        with django_assert_max_num_queries(18) as few_to_edit:
            client.get(at("plan_edit", counted))
        more = make_stations(calf_barn, "card", range(6, 56))
        with acting(anna):
            places = {card.id: (0.5, 0.01 * card.number) for card in more}
            draw_plan(farm=counted, drawn=Drawn(None, places), by=anna, now=NOW)
        with django_assert_num_queries(len(few.captured_queries)):
            client.get(at("plan", counted))
        with django_assert_num_queries(len(few_to_edit.captured_queries)):
            client.get(at("plan_edit", counted))

    def test_a_farm_phone_sees_where_things_hang_and_no_count(self, browser, anna, counted):
        with acting(anna):
            code = make_phone_code(farm=counted, by=anna, now=timezone.now())[1]
        client = browser()
        client.post(reverse("phone"), {"code": code})
        page = client.get(at("plan", counted))
        assert ">Card 2</text>" in drawing(page)
        assert "412" not in page.content.decode() and "level" not in words(page)
        for name in ("plan_levels", "plan_print", "plan_edit"):
            assert client.get(at(name, counted)).status_code == 403


def board(client, farm):
    """What the page's own form would send."""
    page = client.get(at("plan_edit", farm))
    body = page.content.decode()
    typed = dict(re.findall(r'name="((?:left|top)-[^"]+)" value="([^"]*)"', body))
    return typed | hidden_fields(page) | dict.fromkeys(("name", "from_left", "from_top", "width", "height"), "")


class TestDrawing:
    def test_without_scripts_a_rectangle_and_two_numbers_do(self, browser, dana, northfield, calf_barn, cards):
        client = browser(dana)
        sent = board(client, northfield) | {
            "what": str(calf_barn.id), "from_left": "10", "from_top": "12,5", "width": "30", "height": "40",
            f"left-{cards[0].id}": "20,5", f"top-{cards[0].id}": "30",
        }  # fmt: skip
        page = words(client.post(at("plan_edit", northfield), sent, follow=True))
        assert "The plan is saved." in page
        with as_factory():
            plan = Plan.objects.get(farm=northfield)
            placed = Siting.objects.get(farm=northfield, x__isnull=False)
        assert plan.outlines[0]["points"] == [[0.1, 0.125], [0.4, 0.125], [0.4, 0.525], [0.1, 0.525]]
        assert (placed.station_id, placed.x, placed.y, plan.made_by_id) == (cards[0].id, 0.205, 0.3, dana.id)

    def test_an_outline_is_taken_away_and_a_card_off_the_plan(self, browser, anna, drawn, cards):
        client = browser(anna)
        sent = board(client, drawn) | {"drop": "0", f"left-{cards[0].id}": "", f"top-{cards[0].id}": ""}
        client.post(at("plan_edit", drawn), sent)
        with as_factory():
            assert Plan.objects.filter(farm=drawn).order_by("entry").last().outlines == []
            assert Siting.objects.filter(station_id=cards[0].id).order_by("since", "id").last().x is None
            # What wasn't touched has no new row.
            assert Siting.objects.filter(station_id=cards[1].id).count() == 2

    def test_what_is_wrong_is_told_what_was_typed_stays_and_nothing_is_stored(self, browser, anna, northfield, cards):
        client = browser(anna)
        first, second = (f"left-{card.id}" for card in cards[:2])
        sent = board(client, northfield) | {first: "120", second: "5", f"top-{cards[1].id}": "6", "width": "50"}
        refused = client.post(at("plan_edit", northfield), sent)
        page = words(refused)
        assert refused.status_code == 422
        assert "Card 1: give both numbers, each from 0 to 100, or neither." in page
        assert "Give all four numbers of the rectangle" in page
        assert f'name="{first}" value="120"' in refused.content.decode()
        with as_factory():
            assert not Plan.objects.exists() and not Siting.objects.filter(x__isnull=False).exists()

    @pytest.mark.parametrize("outlines", ["{", "7", "[[[[", json.dumps([{"points": []}]), "[" * 20_000])
    def test_outlines_that_came_in_pieces_are_refused(self, browser, anna, northfield, outlines):
        client = browser(anna)
        refused = client.post(at("plan_edit", northfield), board(client, northfield) | {"outlines": outlines})
        assert refused.status_code == 422 and "Nothing was saved." in words(refused)

    def test_another_farms_card_and_an_older_plan_are_refused(self, browser, anna, drawn, southmead):
        client = browser(anna)
        with as_factory():
            theirs = Siting.objects.filter(farm=southmead).first().station_id
        sent = board(client, drawn)
        refused = client.post(at("plan_edit", drawn), sent | {f"left-{theirs}": "5", f"top-{theirs}": "5"})
        assert refused.status_code == 422 and "isn't one of this farm's" in words(refused)
        refused = client.post(at("plan_edit", drawn), sent | {"left-": "5"})
        assert refused.status_code == 422
        client.post(at("plan_edit", drawn), sent | {"drop": "0"})
        late = client.post(at("plan_edit", drawn), sent | {"drop": "0"}, follow=True)
        assert "Somebody saved another plan meanwhile." in words(late)

    def test_who_only_records_draws_nothing(self, browser, ben, drawn):
        client = browser(ben)
        for name in ("plan_edit", "plan_lay_picture", "plan_take_picture"):
            assert client.post(at(name, drawn), {}).status_code == 403
        assert at("plan_edit", drawn) not in client.get(at("plan", drawn)).content.decode()


def upload(client, farm, content, name="yard.png", **more):
    sent = {"picture": SimpleUploadedFile(name, content, "image/png"), "page": "1"} | more
    return client.post(at("plan_lay_picture", farm), sent, follow=True)


class TestPicture:
    def test_a_picture_lies_under_the_plan_and_is_taken_away_again(self, browser, anna, ben, drawn):
        client = browser(anna)
        assert "The picture lies under the plan." in words(upload(client, drawn, written(sketch(), "PNG")))
        page = browser(ben).get(at("plan", drawn)).content.decode()
        address = re.search(r'<image href="([^"]+)"', page)[1]
        shown = browser(ben).get(address)
        assert shown.headers["Content-Type"] in ("image/png", "image/jpeg")
        assert shown.headers["X-Content-Type-Options"] == "nosniff" and len(shown.content) > 100
        client.post(at("plan_take_picture", drawn))
        assert "<image" not in browser(ben).get(at("plan", drawn)).content.decode()
        # It stays for the seasons before.
        assert browser(ben).get(address).status_code == 200

    def test_a_page_of_a_pdf_is_asked_for_by_its_number(self, browser, anna, drawn):
        assert "lies under the plan" in words(upload(browser(anna), drawn, pdf(), "yard.pdf", page="2"))
        with as_factory():
            kept = PlanPicture.objects.get(farm=drawn)
        assert kept.width > kept.height

    @pytest.mark.parametrize(("content", "says"), [
        (b"PK\x03\x04" + bytes(50), "whatever its name says"),
        (b"<html>", "whatever its name says"),
        (claiming(60_000, 60_000), "more than 25 million points"),
        (b"%PDF-1.4 broken", "damaged or cut off"),
        (pdf(password="x"), "opens with a password only"),
        (b"\xff\xd8\xff" + bytes(10 * 1024 * 1024), "more than 10 MB"),
        (b"", "This file is empty"),
    ])  # fmt: skip
    def test_what_is_no_picture_is_refused_in_a_sentence_and_not_kept(self, browser, anna, drawn, content, says):
        refused = upload(browser(anna), drawn, content)
        assert refused.status_code == 422 and says in words(refused)
        with as_factory():
            assert not PlanPicture.objects.exists()

    def test_carla_sees_no_picture_of_northfield_also_by_her_own_farm(self, browser, anna, carla, drawn, southmead):
        upload(browser(anna), drawn, written(sketch(), "PNG"))
        with as_factory():
            picture = PlanPicture.objects.get(farm=drawn)
        client = browser(carla)
        for farm in (drawn, southmead):
            assert client.get(at("plan_picture", farm, plan_picture_id=picture.id)).status_code == 404
