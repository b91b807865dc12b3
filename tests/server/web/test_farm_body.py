"""The kept body of a farm's page: the same as if it were made now, whatever happens on the farm, and for its reader."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext

from alerts.models import Alert, AlertEvent, Digest
from alerts.services import mark_seen
from farms.access import let_in
from farms.ids import uuid7
from farms.kept import forget
from farms.ledger import Actor
from farms.models import Facility, Farm, GroupVisitRules, Membership, PlannedVisit, RegionClosure, Season, User
from farms.models.closure import FarmClosure
from monitoring.models import (
    Application,
    ApplicationCheck,
    DailyTemperature,
    FarmTemperature,
    Finding,
    FindingStep,
    FindingWords,
    Reading,
    Round,
    Siting,
    Station,
    Work,
    WorkTakenBack,
)
from monitoring.services import HungSent, RoundSent, WorkDone, record_round, record_work, take_back_work
from server.web import farm_body
from server.web.doors import Visit
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_stations
from tests.monitoring.applying import note
from tests.monitoring.walking import found, step, walk
from tests.server.web.pages import at
from tests.tables_read import tables_read

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
# Never stored without an entry in the farm's chain, nor changed. A note is none of them: it can be erased.
BY_THE_CHAIN = (Round, Reading, Work, WorkTakenBack, AlertEvent, Finding, FindingStep, Application, ApplicationCheck)


@pytest.fixture
def season(group, northfield, cards, traps, anna) -> Farm:
    for number, specks in enumerate((20, 24, 33, 45, 70, 80, 115)):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, "lost"])
        check(group, monday(number))
    with as_factory():
        for back in range(40):
            day = TODAY - timedelta(days=back)
            DailyTemperature.objects.create(region=northfield.region, day=day, min_c=12, max_c=25)
    with acting(anna):
        walk(northfield, found(to_do="Scrape the corner"), on=TODAY - timedelta(days=3))
    return northfield


def body(client: Any, farm: Farm) -> str:
    page = client.get(at("farm", farm))
    assert page.status_code == 200
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", page.content.decode())


def count(farm: Farm, anna: User) -> None:
    with acting(anna):
        station = Station.objects.filter(farm=farm, method="card").first()
        sent = RoundSent(uuid7(), TODAY, "form", hung=(HungSent(uuid7(), station.id, TODAY),))
        record_round(farm=farm, sent=sent, actor=Actor("farm_staff", anna.id), now=NOW)


def work(farm: Farm, anna: User) -> None:
    with acting(anna):
        record_work(farm=farm, work=WorkDone("fans", TODAY), actor=Actor("farm_staff", anna.id), now=NOW)


def spray(farm: Farm, anna: User) -> None:
    with acting(anna):
        note(farm)


def walk_about(farm: Farm, anna: User) -> None:
    with acting(anna):
        walk(farm, found(to_do="Drain it"))


def note_a_step(farm: Farm, anna: User) -> None:
    with acting(anna):
        step(farm, "gone")


def see(farm: Farm, anna: User) -> None:
    with acting(anna):
        alert = Alert.objects.filter(farm=farm, closed_at__isnull=True).first()
        mark_seen(alert=alert, actor=Actor("farm_staff", anna.id), now=NOW)


def close(farm: Farm, anna: User) -> None:
    FarmClosure.objects.create(farm=farm, closed=True, from_on=TODAY, set_by=anna, set_at=NOW, entry=0)


def close_the_region(farm: Farm, anna: User) -> None:
    RegionClosure.objects.create(region=farm.region, closed=True, from_on=TODAY, set_by=anna, set_at=NOW)


def plan_a_visit(farm: Farm, anna: User) -> None:
    adviser = User.objects.get(consents__farm=farm, consents__withdrawn_at=None)
    PlannedVisit.objects.create(farm=farm, adviser=adviser, kind="call", day=TODAY, planned_at=NOW)


def rename_the_adviser(farm: Farm, anna: User) -> None:
    User.objects.filter(consents__farm=farm).update(name="Somebody Else")


def write_rules(farm: Farm, anna: User) -> None:
    GroupVisitRules.objects.create(group=farm.group, text="Boots from the farm.", set_by=anna, set_at=NOW)


def hang_more(farm: Farm, anna: User) -> None:
    make_stations(Facility.objects.get(farm=farm, name="Calf barn"), "card", range(20, 22))


def site_anew(farm: Farm, anna: User) -> None:
    Siting.objects.filter(farm=farm).update(near="water")


def rename_a_building(farm: Farm, anna: User) -> None:
    Facility.objects.filter(farm=farm, name="Calf barn").update(name="Nursery")


def close_the_season(farm: Farm, anna: User) -> None:
    Season.objects.filter(farm=farm).update(closes_on=TODAY - timedelta(days=1))


def warm_the_region(farm: Farm, anna: User) -> None:
    DailyTemperature.objects.filter(region=farm.region).update(max_c=38)


def measure_on_the_farm(farm: Farm, anna: User) -> None:
    FarmTemperature.objects.create(farm=farm, day=TODAY, min_c=20, max_c=39, recorded_at=NOW)


def send_a_mail(farm: Farm, anna: User) -> None:
    Digest.objects.create(
        farm=farm, recipient=anna, occasion="2026-W22", language="en", subject="week", text="Cards.", html="",
        queued_at=NOW, next_try_at=NOW,
    )  # fmt: skip


def erase_words(farm: Farm, anna: User) -> None:
    FindingWords.objects.filter(farm=farm).delete()


def judge_again(farm: Farm, anna: User) -> None:
    count_week(list(Station.objects.filter(farm=farm, method="card")), monday(7), [300] * 5)
    check(farm.group, monday(7))


BY_THEMSELVES = (count, work, spray, see, judge_again, walk_about, note_a_step)
BY_ROWS = (
    close, close_the_region, plan_a_visit, write_rules, hang_more, site_anew,
    rename_a_building, close_the_season, warm_the_region, measure_on_the_farm, send_a_mail, erase_words,
)  # fmt: skip


@pytest.mark.parametrize("change", [*BY_THEMSELVES, *BY_ROWS])
def test_a_kept_page_is_the_page_of_now(change: Callable[[Farm, User], None], browser, anna: User, season: Farm):
    client = browser(anna)
    before = body(client, season)
    assert body(client, season) == before
    if change in BY_ROWS:
        with as_factory():
            change(season, anna)
    else:
        change(season, anna)
    kept = body(client, season)
    forget()
    assert kept == body(client, season)
    assert kept != before


def test_a_work_taken_back_leaves_the_page(browser, anna: User, season: Farm):
    client = browser(anna)
    before = body(client, season)
    with acting(anna):
        noted = record_work(farm=season, work=WorkDone("fans", TODAY), actor=Actor("farm_staff", anna.id), now=NOW)
    assert body(client, season) != before
    with acting(anna):
        take_back_work(work=noted, why="the wrong farm", actor=Actor("farm_staff", anna.id), now=NOW)
    assert body(client, season) == before


def test_who_is_named_twice_is_read_anew_too(browser, anna: User, season: Farm):
    """Of an even number of equal hashes an XOR would leave nothing."""
    client = browser(anna)
    with as_factory():
        plan_a_visit(season, anna)
        plan_a_visit(season, anna)
    assert "Somebody Else" not in body(client, season)
    with as_factory():
        rename_the_adviser(season, anna)
    assert body(client, season).count("Somebody Else") == 2


def test_each_reader_has_a_page_of_their_own(browser, anna: User, ben: User, dana: User, season: Farm):
    """Whoever comes first: what an owner may reach stands on no recorder's page, and no language on another's."""
    pages = {who.name: body(browser(who), season) for who in (anna, ben, dana)}
    forget()
    assert pages == {who.name: body(browser(who), season) for who in (dana, ben, anna)}
    spanish = browser(anna)
    spanish.cookies[settings.LANGUAGE_COOKIE_NAME] = "es"
    assert "Esta semana" in body(spanish, season)
    assert body(browser(ben), season) == pages[ben.name]


def test_a_role_that_changes_changes_the_page(browser, ben: User, season: Farm):
    client = browser(ben)
    as_recorder = body(client, season)
    with as_factory():
        Membership.objects.filter(farm=season, user=ben).update(role="owner")
    as_owner = body(client, season)
    forget()
    assert as_owner == body(client, season) != as_recorder


def test_the_next_day_is_another_page(browser, anna: User, season: Farm, standing_clock):
    client = browser(anna)
    before = body(client, season)
    standing_clock.write_text((NOW + timedelta(days=3)).isoformat())
    kept = body(client, season)
    forget()
    assert kept == body(client, season) != before


def test_a_body_reads_nothing_but_what_it_is_known_by(anna: User, dana: User, season: Farm):
    """Whoever lets the page tell something new, of another table, learns here that its versions are to be asked for."""
    with as_factory():
        close(season, anna)
        plan_a_visit(season, anna)
        write_rules(season, anna)
        send_a_mail(season, anna)
    known = {some.table for some in farm_body.MADE_OF} | {model._meta.db_table for model in BY_THE_CHAIN}
    for who in (anna, dana):
        with acting(who), CaptureQueriesContext(connection) as asked:
            farm, role = let_in(who, season.id)
            door = len(asked)
            farm_body._made(Visit(who, farm, role, NOW), monday(6))
        read = tables_read(asked.captured_queries[door:])
        assert read <= known and len(read) > 15


def test_what_the_chain_stands_for_has_an_entry_in_it():
    assert all(model._meta.get_field("entry") for model in BY_THE_CHAIN)


def test_an_unchanged_page_asks_little(browser, anna: User, season: Farm, django_assert_max_num_queries):
    client = browser(anna)
    client.get(at("farm", season))
    with django_assert_max_num_queries(18):
        client.get(at("farm", season))
