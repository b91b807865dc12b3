"""The charts of a farm's page: picture, table, file and moving chart say what the check concluded, and no more."""

import csv
import gzip
import io
import json
import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from alerts.models import Alert, Assessment
from alerts.selectors.season_weeks import fans_of
from farms.models import LogEvent, Membership
from monitoring.models import Work
from monitoring.rules.temperatures import table_of_days
from monitoring.services import record_temperatures
from tests.cast import NOW, as_factory, make_facility, make_farm, make_stations
from tests.server.web.pages import at, words
from tests.server.web.seasons import NEWEST, assessment, judge, long_record, outlook

# A work on the whole farm stands beside its region's reports, which a role of their own reads.
pytestmark = pytest.mark.django_db(databases="__all__")
WEEKS = [NEWEST - timedelta(weeks=back) for back in range(7, -1, -1)]
MEANS = [20.0, 24.5, None, 45.0, 61.0, 80.0, 100.4, 131.0]
BEFORE = [11.0, 13.0, 17.0, None, 21.0, 30.0, 33.0, 40.0]


@pytest.fixture
def judged(northfield):
    """Eight weeks of cards, the third not counted, the newest with a forecast; and the same weeks of 2025."""
    judge(northfield, [week - timedelta(weeks=52) for week in WEEKS], BEFORE)
    judge(northfield, WEEKS, MEANS, outlook=outlook(131.0))
    return northfield


def data_of(page):
    found = re.search(r'<script id="season-data-card" type="application/json">(.*?)</script>', page.content.decode())
    return json.loads(found[1])


def wide_picture(page):
    body = page.content.decode()
    return ET.fromstring(re.search(r'<div class="only-wide">(<svg.*?</svg>)', body, re.DOTALL)[1])


def of_class(picture, name):
    return [node for node in picture.iter() if name in node.get("class", "").split()]


def rows_of(response):
    text = b"".join(response.streaming_content).decode()
    return list(csv.DictReader(io.StringIO(text)))


def test_the_moving_chart_has_every_week_of_all_seasons_as_it_was_concluded(browser, anna, judged):
    data = data_of(browser(anna).get(at("farm", judged)))
    assert data["first"] == (WEEKS[0] - timedelta(weeks=52)).isoformat() and data["season"] == WEEKS[0].isoformat()
    assert data["mean"][:8] == BEFORE and data["mean"][-8:] == MEANS
    assert data["mean"][8:-8] == [None] * 44
    with as_factory():
        stored = {row.week: row for row in Assessment.objects.filter(farm_id=judged.id)}
    newest = stored[NEWEST]
    assert (data["low"][-1], data["high"][-1]) == pytest.approx((newest.low, newest.high), rel=5e-4)
    assert data["ahead"][0][0] == 78.6 and data["ahead"][0][2] == 132 and data["ahead"][0][4] == 248.9


def test_releases_of_wasps_are_one_band_in_picture_table_file_and_moving_chart(browser, anna, judged, calf_barn):
    for number in range(3):
        note(judged, "wasps", WEEKS[2] + timedelta(weeks=number), calf_barn)
    note(judged, "fans", WEEKS[3], None)
    page = browser(anna).get(at("farm", judged))
    picture, data = wide_picture(page), data_of(page)
    assert len(of_class(picture, "work-band")) == 1
    assert sorted(label.text for label in of_class(picture, "work-text")) == ["F", "P"]
    first = data["mean"].index(20.0) + 2
    told = "parasitic wasps released (Apr 20 to May 4, 3 times)"
    assert data["bands"] == [[first, first + 2, "P", told]] and [row[1:] for row in data["work"]] == [["F", "fans"]]
    text = words(page)
    assert "P parasitic wasps released, Apr 20 to May 4, 3 times" in text and "A bar under a letter runs" in text
    table = re.search(r'<table class="weeks">(.*?)</table>', page.content.decode(), re.DOTALL)[1]
    assert table.count(told) == 3
    rows = {
        row["week (Monday)"]: row["work"]
        for row in rows_of(browser(anna).get(at("season_file", judged, method="card")))
    }
    in_file = "parasitic wasps released 2026-04-20 to 2026-05-04, 3 times"
    assert [rows[str(week)] for week in WEEKS[1:6]] == [
        "", in_file, f"{in_file}; fans {WEEKS[3]}", in_file, "",
    ]  # fmt: skip


def note(farm, kind, day, facility):
    with as_factory():
        Work.objects.create(
            farm=farm, facility_id=facility and facility.id, kind=kind, done_on=day, actor_kind="farm_staff",
            recorded_at=NOW, entry=0,
        )  # fmt: skip


def test_the_file_says_what_the_check_concluded_with_units_and_gaps(browser, anna, judged):
    response = browser(anna).get(at("season_file", judged, method="card"))
    assert response["Content-Disposition"] == 'attachment; filename="northfield-card.csv"'
    rows = rows_of(response)
    unit = "[specks a card and 7 days]"
    by_week = {row["week (Monday)"]: row for row in rows}
    newest, gap = by_week[NEWEST.isoformat()], by_week[WEEKS[2].isoformat()]
    assert float(newest[f"mean {unit}"]) == 131.0 and float(newest[f"range to {unit}"]) == 131.0 * 1.25
    assert newest["stands"] == "over" and newest[f"same week of the year before {unit}"] == "40.0"
    assert gap[f"mean {unit}"] == "" and gap["mean is a lower bound"] == "" and gap["counted"] == "0"
    ahead = by_week[(NEWEST + timedelta(weeks=2)).isoformat()]
    assert ahead[f"mean {unit}"] == "" and float(ahead[f"forecast median {unit}"]) == 133.0
    assert len(rows) == 52 + 8 + 3
    with as_factory():
        assert LogEvent.objects.get(farm_id=judged.id, kind="export").about == "charts/card.csv"


def test_last_year_stands_behind_with_its_name_and_its_gap(browser, anna, judged):
    page = browser(anna).get(at("farm", judged))
    picture = wide_picture(page)
    # Three weeks, a gap, four weeks; of the weeks to come nothing was counted last year.
    assert [len(line.get("points").split()) for line in of_class(picture, "before")] == [3, 4]
    assert "2025" in [node.text for node in picture.iter("{http://www.w3.org/2000/svg}text")]
    body = page.content.decode()
    table = body[body.index('<table class="weeks">') :]
    assert '<td class="number">40</td>' in table[: table.index("</tr>", table.index("<tbody>"))]


def test_a_week_53_has_no_week_of_the_year_before(browser, anna, northfield):
    """2026 has an ISO week 53 (28 December), 2025 has not: ISO 8601, and Python's own calendar agrees."""
    assert date(2026, 12, 28).isocalendar().week == 53
    leap = [date(2026, 12, 14), date(2026, 12, 21), date(2026, 12, 28), date(2027, 1, 4)]
    earlier = [date(2025, 12, 8), date(2025, 12, 15), date(2025, 12, 22), date(2026, 1, 5)]
    judge(northfield, earlier, [5.0, 6.0, 7.0, 8.0])
    judge(northfield, leap, [50.0, 60.0, 70.0, 80.0])
    rows = rows_of(browser(anna).get(at("season_file", northfield, method="card")))
    before = {row["week (Monday)"]: row["same week of the year before [specks a card and 7 days]"] for row in rows}
    # Weeks 51 and 52 of 2025 begin on 15 and 22 December; week 1 of 2026 on 29 December, which was not counted.
    assert [before[week.isoformat()] for week in leap] == ["6.0", "7.0", "", ""]


def test_a_forecast_stands_beyond_the_line_in_two_bands_and_a_dashed_median(browser, anna, judged):
    page = browser(anna).get(at("farm", judged))
    picture = wide_picture(page)
    wide, narrow = of_class(picture, "fan")
    counted = max(float(ring.get("cx")) for ring in of_class(picture, "ring"))

    def xs(shape):
        return [float(pair.split(",")[0]) for pair in shape.get("points").split()]

    def height(shape):
        ys = [float(pair.split(",")[1]) for pair in shape.get("points").split()]
        return max(ys) - min(ys)

    assert min(xs(wide)) > counted and height(narrow) < height(wide)
    assert len(of_class(picture, "median")) == 1
    assert "Beyond the upright line the dashes are the middle of what is to come" in words(page)


@pytest.mark.parametrize("said", [{}, {"crossing": {"word": "too_few_weeks"}}, {"ahead": []}])
def test_where_the_forecast_can_not_tell_there_is_no_fan(browser, anna, northfield, said):
    judge(northfield, WEEKS, MEANS, outlook=said)
    page = browser(anna).get(at("farm", northfield))
    assert not of_class(wide_picture(page), "fan") and not of_class(wide_picture(page), "median")
    assert data_of(page)["ahead"] == []
    assert "what is to come" not in words(page)


def test_the_narrow_band_is_the_forecasts_own_quarters(northfield, anna):
    """Against scipy's t distribution: with 13 degrees the quarter lies at .6938, the tenth at 1.3502."""
    from scipy import stats

    row = assessment(northfield, NEWEST, 100.0, outlook=outlook(100.0), weeks_observed=8)
    fan = fans_of(northfield, {"card": row})["card"][0]
    reach = stats.t.ppf(0.75, 13) / stats.t.ppf(0.9, 13)
    assert fan.inner_low == pytest.approx(101.0 * (60.0 / 101.0) ** reach, rel=1e-9)
    assert fan.inner_high == pytest.approx(101.0 * (190.0 / 101.0) ** reach, rel=1e-9)
    assert fan.low < fan.inner_low < fan.median < fan.inner_high < fan.high


def test_where_a_matter_began_is_marked_and_told(browser, anna, judged):
    with as_factory():
        Alert.objects.create(
            farm_id=judged.id, method="card", rule="over", opened_week=NEWEST, opened_at=NOW, closed_week=NEWEST,
            closed_at=NOW,
        )  # fmt: skip
    page = browser(anna).get(at("farm", judged))
    assert len(of_class(wide_picture(page), "began")) == 1
    assert data_of(page)["began"] == [[59, "over the action level"]]
    assert "A small triangle stands where a matter began." in words(page)


@pytest.fixture
def westbrook(region, anna):
    """A farm of Anna's without anything on it yet."""
    return make_farm("Westbrook", region, anna)


class TestPlaceByPlace:
    @pytest.fixture
    def forty(self, westbrook):
        facilities = [make_facility(westbrook, name, "calf_barn", at) for at, name in enumerate(("=Calf barn", "B"))]
        make_stations(facilities[1], "trap", range(1, 2))
        return long_record(westbrook, facilities, seasons=1, stations=40)

    def test_each_place_has_its_season_in_walking_order_in_few_bytes(self, browser, anna, westbrook, forty):
        body = browser(anna).get(at("farm", westbrook)).content.decode()
        section = body[body.index('aria-labelledby="places"') : body.index('aria-labelledby="stations"')]
        assert section.count('class="station-weeks"') == 41
        assert len("".join(re.findall(r"<ul class=\"station-grid\">.*?</ul>", section, re.DOTALL)).encode()) < 60_000
        order = [section.index(f"{name}<") for name in ("Card 1", "Card 20", "Trap 1", "Card 40")]
        assert order == sorted(order)
        assert "Spot cards: all on one scale, from 0 to 100 specks a card" in section
        # The newest count of the first card: 10 + (25 * 3) % 90 = 85 in 7 days.
        assert '<strong>Card 1</strong> <span class="station-last">85</span>' in section
        assert "not counted" in section

    def test_the_file_has_a_place_and_week_a_line_and_no_formula(self, browser, anna, westbrook, forty):
        rows = rows_of(browser(anna).get(at("stations_file", westbrook)))
        assert len(rows) == 41 * 30
        assert rows[0]["building"] == "'=Calf barn" and rows[0]["which"] == "Card 1"
        newest = [row for row in rows if row["week (Monday)"] == NEWEST.isoformat() and row["which"] == "Card 1"]
        assert float(newest[0]["count [unit]"]) == 85.0 and newest[0]["unit"] == "specks a card and 7 days"
        assert {row["count [unit]"] for row in rows if row["which"] == "Trap 1"} == {""}


def test_temperatures_have_a_picture_a_table_and_a_file(browser, anna, judged):
    days = [(NOW.date() - timedelta(days=back), 18.0, 30.0) for back in range(20) if back != 5]
    record_temperatures(region=judged.region, table=table_of_days(days), now=NOW)
    client = browser(anna)
    page = words(client.get(at("farm", judged)))
    # Wholly above the threshold a day adds its mean less the threshold, whatever its curve: 24 - 11.126, for 19 days;
    # times 1.8 in Fahrenheit.
    assert "For house flies 440 degree-days (°F) have come together since May 13" in page
    assert "1 of these days are not known: a gap, and the sums after it are a lower bound." in page
    rows = rows_of(client.get(at("temperatures_chart_file", judged)))
    assert len(rows) == 20
    sums = [row for name, row in rows[-1].items() if "house fly" in name]
    assert float(sums[0]) == pytest.approx(19 * (24 - 11.126), abs=0.1)
    assert rows[14]["lowest [°C]"] == "" and rows[15]["lowest [°C]"] == "18.0"


def test_without_temperatures_there_is_no_such_file(browser, anna, judged):
    assert browser(anna).get(at("temperatures_chart_file", judged)).status_code == 404


def test_a_method_that_was_never_judged_has_no_file(browser, anna, judged):
    for method in ("trap", "stations", "nothing"):
        status = browser(anna).get(reverse("season_file", args=[judged.id, method])).status_code
        assert status == (200 if method == "stations" else 404)


def test_strangers_get_none_of_the_files(browser, carla, erik, judged, southmead):
    addresses = [at("season_file", judged, method="card"), at("stations_file", judged)]
    addresses.append(at("temperatures_chart_file", judged))
    for stranger in (carla, erik):
        assert {browser(stranger).get(address).status_code for address in addresses} == {404}
    assert {browser().get(address).status_code for address in addresses} == {302}


def test_what_is_on_record_is_told_by_season_with_mails_for_who_may_see_them(browser, anna, ben, westbrook):
    long_record(westbrook, [make_facility(westbrook, "Barn", "calf_barn")], seasons=2, stations=5)
    with as_factory():
        Membership.objects.create(farm=westbrook, user=ben, role="recorder", began_at=NOW)
    # The last week's round is walked on the Monday after it; 2024's last one after its season.
    assert "2025 since Dec 1 26 130 0 1 0 2024 Dec 2 to May 26 25 125 0 0 0" in record_of(browser(anna), westbrook)
    assert "2025 since Dec 1 26 130 0 1 2024 Dec 2 to May 26 25 125 0 0 By" in record_of(browser(ben), westbrook)


def record_of(client, farm):
    told = words(client.get(at("farm", farm)))
    return told[told.index("On record") :]


def test_the_page_asks_the_same_number_of_queries_however_long_the_record(browser, anna, region):
    client, asked = browser(anna), []
    for name, seasons, stations in (("Westbrook", 1, 5), ("Eastbrook", 5, 5), ("Southbrook", 5, 40)):
        farm = make_farm(name, region, anna)
        long_record(farm, [make_facility(farm, "A", "calf_barn")], seasons=seasons, stations=stations)
        client.get(at("farm", farm))
        with CaptureQueriesContext(connection) as queries:
            page = client.get(at("farm", farm))
        asked.append(len(queries))
    assert asked[0] == asked[1] == asked[2] <= 60
    assert len(gzip.compress(page.content, 6)) < 60_000
