"""A farm's plan: what is stored when it is drawn, what is refused, and how its drawing tells levels."""

import re
from datetime import timedelta

import pytest
from django.db import IntegrityError, ProgrammingError, transaction

from farms.ids import uuid7
from farms.ledger import verify_links
from farms.models import LedgerEntry
from monitoring.charts.plan import HatchingMark, PlanWords, Sheet, StationMark, plan_drawing, size_of, step_of
from monitoring.errors import SitedTwice
from monitoring.models import Plan, PlanPicture, Siting
from monitoring.rules.pictures import Picture, picture_from
from monitoring.selectors import outlines_of, plan_of, spots_of, stations_of
from monitoring.services import Drawn, SitingData, draw_plan, lay_picture, resite_station
from monitoring.services.plan import PlanChanged, PlanRefused
from tests.cast import NOW, acting, as_factory, as_role
from tests.monitoring.pictures import sketch, written

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
SQUARE = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5], [0.1, 0.5]]


def shape(name="Old silo", facility=None, points=SQUARE):
    return {"name": name, "facility_id": str(facility.id) if facility else None, "points": points}


def draw(farm, user, outlines=None, *, places=None, now=NOW, on=None):
    with acting(user):
        return draw_plan(farm=farm, drawn=Drawn(outlines, places or {}, on), by=user, now=now)


def lay(farm, user, picture=None, *, now=NOW):
    with acting(user):
        return lay_picture(farm=farm, picture=picture, by=user, now=now)


class TestDrawing:
    def test_outlines_and_places_are_saved_at_once_and_chained(self, northfield, anna, calf_barn, cards):
        made = draw(northfield, anna, [shape(), shape("", calf_barn)], places={cards[0].id: (0.2, 0.3)})
        with acting(anna):
            assert [(each.name, each.facility_id) for each in outlines_of(plan_of(northfield))] == [
                ("Old silo", None), ("", calf_barn.id)
            ]  # fmt: skip
            assert spots_of(northfield) == {cards[0].id: (0.2, 0.3)}
            entry = LedgerEntry.objects.get(farm=northfield, number=made.entry)
            assert (entry.kind, entry.rows, entry.actor_id) == ("plan", 1, anna.id)
            assert verify_links(northfield.id) == []

    def test_a_card_that_is_placed_hangs_as_before_and_the_earlier_row_stays(self, northfield, anna, cards):
        with acting(anna):
            noted = SitingData(windy=True, near="milk", out_of_reach=True, position=1)
            resite_station(farm=northfield, station=cards[0], siting=noted, since=TODAY)
        for x in (0.2, 0.6):  # also twice on a day, and on the day of another note
            draw(northfield, anna, places={cards[0].id: (x, 0.3)})
        with acting(anna):
            station = next(each for each in stations_of(northfield) if each.id == cards[0].id)
            stands = station.siting
            assert (stands.windy, stands.near, stands.out_of_reach, stands.x) == (True, "milk", True, 0.6)
            assert Siting.objects.filter(station_id=cards[0].id).count() == 4
            # How it hangs is still noted once a day.
            with pytest.raises(SitedTwice):
                resite_station(farm=northfield, station=cards[0], siting=noted, since=TODAY)

    def test_a_place_holds_also_from_a_later_note_on(self, northfield, anna, cards):
        later = TODAY + timedelta(days=9)
        with acting(anna):
            resite_station(farm=northfield, station=cards[0], siting=SitingData(near="feed"), since=later)
        draw(northfield, anna, places={cards[0].id: (0.2, 0.3)})
        with acting(anna):
            newest = next(each for each in stations_of(northfield) if each.id == cards[0].id).siting
            assert (newest.since, newest.near, newest.x) == (later, "feed", 0.2)

    def test_a_card_is_taken_off_the_plan(self, northfield, anna, cards):
        draw(northfield, anna, places={cards[0].id: (0.2, 0.3), cards[1].id: (0.5, 0.5)})
        draw(northfield, anna, places={cards[0].id: None})
        with acting(anna):
            assert spots_of(northfield) == {cards[1].id: (0.5, 0.5)}

    def test_what_was_drawn_the_same_makes_no_new_plan(self, northfield, anna, cards):
        first = draw(northfield, anna, [shape()])
        again = draw(northfield, anna, [shape()], places={cards[0].id: (0.2, 0.3)})
        assert again.id == first.id

    def test_an_earlier_plan_stays_for_its_time(self, northfield, anna):
        first = draw(northfield, anna, [shape("Before")])
        second = draw(northfield, anna, [shape("After")], now=NOW + timedelta(days=30))
        with acting(anna):
            assert plan_of(northfield).id == second.id
            assert plan_of(northfield, TODAY + timedelta(days=10)).id == first.id
            assert plan_of(northfield, TODAY - timedelta(days=300)).id == first.id

    def test_who_drew_on_an_older_plan_is_told_so(self, northfield, anna, dana):
        seen = draw(northfield, anna, [shape()])
        draw(northfield, dana, [shape("Other")], on=str(seen.id))
        with pytest.raises(PlanChanged):
            draw(northfield, anna, [shape("Mine")], on=str(seen.id))


WRONG = {
    "no list": ({}, "outlines_wrong"),
    "too many": ([shape()] * 61, "too_many_outlines"),
    "no outline": ([7], "outline_wrong"),
    "more than is known": ([shape() | {"colour": "red"}], "outline_wrong"),
    "no name": ([shape("  ")], "outline_nameless"),
    "a long name": ([shape("n" * 61)], "outline_nameless"),
    "a name in two lines": ([shape("\x00")], "outline_nameless"),
    "a facility of nobody": ([shape() | {"facility_id": str(uuid7())}], "unknown_facility"),
    "a facility that is no id": ([shape() | {"facility_id": 5}], "unknown_facility"),
    "two corners": ([shape(points=SQUARE[:2])], "corners_wrong"),
    "41 corners": ([shape(points=SQUARE * 10 + SQUARE[:1])], "corners_wrong"),
    "beside the sheet": ([shape(points=[*SQUARE[:3], [1.1, 0.5]])], "corner_wrong"),
    "no number": ([shape(points=[*SQUARE[:3], [True, 0.5]])], "corner_wrong"),
    "endless": ([shape(points=[*SQUARE[:3], [float("nan"), 0.5]])], "corner_wrong"),
    "a line": ([shape(points=[[0.1, 0.1], [0.2, 0.2], [0.3, 0.3]])], "outline_without_room"),
}


@pytest.mark.parametrize("what", WRONG)
def test_an_outline_that_is_none_is_refused_and_nothing_is_stored(what, northfield, anna, cards):
    outlines, code = WRONG[what]
    with pytest.raises(PlanRefused) as refused:
        draw(northfield, anna, outlines, places={cards[0].id: (0.2, 0.3)})
    assert [each.code for each in refused.value.errors] == [code]
    with acting(anna):
        assert plan_of(northfield) is None and spots_of(northfield) == {}


def test_another_farms_station_is_refused_and_nothing_is_stored(northfield, southmead, anna, cards):
    with as_factory():
        theirs = southmead.id, Siting.objects.filter(farm=southmead).first().station_id
    with pytest.raises(PlanRefused) as refused:
        draw(northfield, anna, [shape()], places={cards[0].id: (0.2, 0.3), theirs[1]: (0.5, 0.5)})
    assert [each.code for each in refused.value.errors] == ["unknown_station"]
    with pytest.raises(PlanRefused):
        draw(northfield, anna, places={cards[0].id: (0.2, 1.3)})
    with as_factory():
        assert not Plan.objects.exists() and not Siting.objects.filter(x__isnull=False).exists()


class TestPicture:
    def test_a_picture_makes_a_new_sheet_of_its_shape_and_keeps_what_is_drawn(self, northfield, anna):
        draw(northfield, anna, [shape()])
        made = lay(northfield, anna, picture_from(written(sketch(400, 100), "PNG")))
        assert (made.width, made.height, len(made.outlines)) == (400, 100, 1)
        without = lay(northfield, anna)
        assert without.picture_id is None and (without.width, without.height) == (1400, 1000)
        with acting(anna):
            assert PlanPicture.objects.filter(farm=northfield).count() == 1
            assert verify_links(northfield.id) == []

    def test_the_chain_holds_no_picture_and_neither_row_can_be_changed(self, northfield, anna):
        made = lay(northfield, anna, Picture("png", b"anything", 20, 20))
        with acting(anna):
            for rows in (Plan.objects.all(), PlanPicture.objects.all()):
                for change in (lambda rows=rows: rows.update(width=9), rows.delete):
                    with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
                        change()
        with as_factory(), pytest.raises(IntegrityError, match="plan_outlines_are_a_short_list"), transaction.atomic():
            Plan.objects.filter(id=made.id).update(outlines=[shape()] * 61)

    def test_row_security_alone_shows_strangers_nothing(self, northfield, southmead, anna, carla):
        lay(northfield, anna, Picture("png", b"anything", 20, 20))
        with acting(carla):
            assert not Plan.objects.exists() and not PlanPicture.objects.exists()
            with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
                Plan.objects.create(
                    farm=northfield, width=1, height=1, since=TODAY, made_by=carla, made_at=NOW, entry=99
                )
        for role in ("worker", "cohort", "region"):
            with pytest.raises(ProgrammingError, match="permission denied"), as_role(role):
                PlanPicture.objects.exists()


WORDS = PlanWords("Cards on the plan", "Three of four were counted.")
MARKS = [
    StationMark(0.1, 0.2, "1", "Card 1: 20, below", "below", "20", 0.2),
    StationMark(0.3, 0.2, "2", "Card 2: 80, near", "near", "80", 0.8),
    StationMark(0.5, 0.2, "3", "Card 3: 400, over", "over", "400", 4.0),
    StationMark(0.7, 0.2, "4", "Card 4: not counted (kept out)", "none", kept_out=True),
]


class TestMarks:
    def test_each_level_has_its_ring_and_missing_is_a_dash(self):
        svg = plan_drawing(Sheet(1400, 1000), MARKS, WORDS)
        groups = re.findall(r'<g class="mark (\w+) step-(\d)">', svg)
        # The largest is drawn first, so that no small one lies under it.
        assert groups == [("over", "5"), ("near", "3"), ("below", "1"), ("none", "0")]
        assert svg.count('class="half"') == 1 and svg.count("url(#plan-hatch-wide)") == 1
        assert re.findall(r'class="count">([^<]*)<', svg) == ["400", "80", "20", "\N{EN DASH}"]
        assert "style=" not in svg

    def test_the_area_goes_with_the_count_and_is_bounded(self):
        def radius(times):
            mark = StationMark(0.5, 0.5, "1", "", "below", "1", times)
            found = re.search(r'r="([\d.]+)" class="ring below"', plan_drawing(Sheet(10, 10), [mark], WORDS))
            return float(found[1])

        assert radius(0.8) ** 2 / radius(0.4) ** 2 == pytest.approx(2, rel=0.01)
        assert radius(0.0) == radius(0.01) > 0 and radius(50) == radius(500) < 40
        assert [step_of(times) for times in (None, 0, 0.1, 0.4, 0.7, 1.0, 3.0)] == [0, 0, 1, 2, 3, 4, 5]

    def test_names_are_escaped_and_places_where_flies_hatch_are_marked(self):
        sheet = Sheet(1000, 500, "/picture", [("<b>&", SQUARE)])
        svg = plan_drawing(sheet, [], WORDS, shape="narrow", hatching=[HatchingMark(0.5, 0.5, "wet corner")])
        assert "&lt;b&gt;&amp;" in svg and "<b>" not in svg
        assert 'class="hatching"' in svg and "wet corner" in svg and 'href="/picture"' in svg
        assert size_of(Sheet(100, 1000), "wide") == pytest.approx((96, 960))  # 600 wide, 1.6 times as tall at most
