"""The calendar of rounds due, read by the icalendar library and against the text of RFC 5545 and RFC 7986."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from icalendar import Calendar

from farms.models import Season
from monitoring.models import Round, Skip
from monitoring.selectors import next_round_due
from tests.alerts.scene import count_week, monday
from tests.cast import NOW, SEASON_OPENS, acting, as_factory, make_farm
from tests.monitoring.walking import found, step
from tests.monitoring.walking import walk as walk_about
from tests.server.feeds.reading import ask, events, feed_of

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


def walk(farm, day, **fields):
    with as_factory():
        return Round.objects.create(
            farm=farm, walked_on=day, source="form", actor_kind="farm_staff", entry=0,
            **({"received_at": datetime.combine(day, datetime.min.time(), UTC)} | fields),
        )  # fmt: skip


def content_lines(content: bytes) -> list[str]:
    """RFC 5545, 3.1: lines end with CRLF; one that begins with a blank goes on with the line before."""
    assert content.endswith(b"\r\n") and b"\n" not in content.replace(b"\r\n", b"")
    return content.replace(b"\r\n ", b"").decode().split("\r\n")[:-1]


def test_each_farm_has_a_day_for_its_next_round(northfield, anna):
    walk(northfield, TODAY - timedelta(days=3))
    (event,) = events(feed_of(anna)).values()
    assert event["DTSTART"].dt == TODAY + timedelta(days=4) == next_round_due_of(northfield, anna)
    assert str(event["SUMMARY"]) == "Northfield: fly round due"
    assert str(event["URL"]) == f"https://flies.example.org/farms/{northfield.id}/"


def next_round_due_of(farm, user):
    with acting(user):
        return next_round_due(farm, TODAY)


def test_an_overdue_round_says_so_by_its_date_only(northfield, anna):
    (event,) = events(feed_of(anna)).values()
    assert event["DTSTART"].dt == SEASON_OPENS + timedelta(days=7) < TODAY
    assert str(event["SUMMARY"]) == "Northfield: fly round due"


def test_what_a_fly_walk_left_to_do_has_its_day_and_nobodys_words(northfield, calf_barn, anna, carla, southmead):
    walk(northfield, TODAY - timedelta(days=3))
    with acting(anna):
        walk_about(
            northfield, found("gutters", facility=calf_barn, due_on=TODAY, to_do="Luis scrapes"), found("bedding")
        )
    told = {str(event["SUMMARY"]): event for event in events(feed_of(anna)).values()}
    event = told["Northfield: to do, gutters, Calf barn"]
    assert (len(told), event["DTSTART"].dt) == (2, TODAY)
    assert "Luis" not in str(told)
    assert "/findings/" in str(event["URL"])
    assert not any("gutters" in str(each["SUMMARY"]) for each in events(feed_of(carla)).values())


def test_done_it_is_there_again_under_its_uid_on_the_day_to_look(northfield, anna):
    walk(northfield, TODAY - timedelta(days=3))
    with acting(anna):
        walk_about(northfield, found("gutters", due_on=TODAY))
        before = {str(event["UID"]) for event in events(feed_of(anna)).values()}
        step(northfield, "done", now=NOW + timedelta(minutes=1))
        told = {str(event["SUMMARY"]): event for event in events(feed_of(anna)).values()}
        assert told["Northfield: look again, gutters"]["DTSTART"].dt == TODAY + timedelta(days=7)
        assert {str(event["UID"]) for event in told.values()} == before
        step(northfield, "gone")
    assert len(events(feed_of(anna))) == 1


def test_a_skipped_round_is_due_on_the_day_named(northfield, anna):
    walk(northfield, TODAY - timedelta(days=6))
    with as_factory():
        Skip.objects.create(
            farm=northfield, skipped_on=TODAY, next_round_on=date(2026, 6, 18), made_at=NOW, actor_kind="farm_staff"
        )
    (event,) = events(feed_of(anna)).values()
    assert event["DTSTART"].dt == date(2026, 6, 18)


@pytest.mark.parametrize(
    "closes_on",
    [TODAY - timedelta(days=1), SEASON_OPENS + timedelta(days=60)],
    ids=["closed yesterday", "closes before the round would be due"],
)
def test_out_of_season_there_is_nothing(northfield, anna, closes_on):
    walk(northfield, TODAY)
    with as_factory():
        Season.objects.filter(farm=northfield).update(closes_on=closes_on)
    assert events(feed_of(anna)) == {}


def test_the_day_is_the_farms_own(region, anna, move_clock):
    """At 15:00 UTC it is still June 1 in Honolulu and already June 2 in Auckland; the season there opens that day."""
    move_clock(datetime(2026, 6, 1, 15, tzinfo=UTC))
    for zone in ("Pacific/Honolulu", "Pacific/Auckland"):
        farm = make_farm(zone.rpartition("/")[2], region, anna, time_zone=zone)
        with as_factory():
            Season.objects.filter(farm=farm).update(opens_on=date(2026, 6, 2))
    assert list(events(feed_of(anna))) == ["Auckland: fly round due"]


def test_ben_reads_his_in_spanish_whatever_the_program_asks_for(northfield, ben):
    answer = ask(feed_of(ben), accept_language="en")
    assert answer.headers["Content-Language"] == "es"
    (event,) = Calendar.from_ical(answer.content).walk("VEVENT")
    assert event["SUMMARY"].params["LANGUAGE"] == "es"


def test_it_holds_what_the_standards_require(northfield, southmead, anna):
    """RFC 5545: 3.4 (one object), 3.6 (PRODID and VERSION once), 3.6.1 (UID and DTSTAMP once; DTSTART without METHOD);
    RFC 7986: 5.1 (NAME), 5.7 (REFRESH-INTERVAL, a DURATION).
    """
    answer = ask(feed_of(anna))
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    lines = content_lines(answer.content)
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    calendar, _, rest = "\n".join(lines).partition("BEGIN:VEVENT")
    for once in (r"PRODID:\S.*", r"VERSION:2\.0", r"NAME;LANGUAGE=en:\S.*", r"REFRESH-INTERVAL;VALUE=DURATION:PT6H"):
        assert len(re.findall(f"^{once}$", calendar, re.MULTILINE)) == 1, once
    assert "METHOD" not in calendar
    for once in (
        r"UID:[0-9a-f-]{36}", r"DTSTAMP:\d{8}T\d{6}Z", r"DTSTART;VALUE=DATE:\d{8}", r"SEQUENCE:\d+", r"URL:https://\S+",
        r"LAST-MODIFIED:\d{8}T\d{6}Z", r"TRANSP:TRANSPARENT", r"SUMMARY;LANGUAGE=en:\S.*",
    ):  # fmt: skip
        assert len(re.findall(f"^{once}$", rest, re.MULTILINE)) == 1, once
    # And nothing else: no text in which a count could stand.
    assert len(rest.strip().splitlines()) == 8 + 2


def test_long_names_are_folded_between_characters_and_escaped(region, anna):
    """RFC 5545, 3.1: no line over 75 octets without its end, no character cut in two; 3.3.11: what is escaped."""
    name = "Señorío de la Peña, Añejo; " * 4 + "\\ \n\x0b\x00é"
    farm = make_farm("Plain", region, anna)
    farm.name = name.replace("\x00", "")
    with as_factory():
        farm.save(force_update=True)
    content = ask(feed_of(anna)).content
    assert max(map(len, content.split(b"\r\n"))) <= 75
    for line in content.split(b"\r\n"):
        line.decode()
    (summary,) = (line for line in content_lines(content) if line.startswith("SUMMARY"))
    assert r"Peña\, Añejo\; Señorío" in summary and r"\\ é" in summary
    assert not re.search(r"[\x00-\x08\x0b\x0e-\x1f]", content.decode())
    (event,) = Calendar.from_ical(content).walk("VEVENT")
    assert str(event["SUMMARY"]) == "Señorío de la Peña, Añejo; " * 4 + "\\ é: fly round due"


def test_no_count_is_in_it(northfield, cards, anna):
    count_week(cards, monday(7), [8137, 8138, 8139, 8140, 8141])
    # Unfolded, and without the ids, in whose hexadecimal digits anything may stand.
    lines = [line for line in content_lines(ask(feed_of(anna)).content) if not line.startswith("UID:")]
    content = "\n".join(lines).replace(str(northfield.id), "")
    assert "Northfield" in content and not re.search("81[34]", content)


def test_the_event_keeps_its_name_while_its_day_moves_and_says_that_it_was_revised(northfield, anna, move_clock):
    path = feed_of(anna)
    walk(northfield, TODAY - timedelta(days=7))
    (before,) = events(path).values()
    walk(northfield, TODAY, received_at=NOW)
    (after,) = events(path).values()
    assert before["UID"] == after["UID"]
    assert before["SEQUENCE"] < after["SEQUENCE"] < 2**31
    assert before["LAST-MODIFIED"].dt < after["LAST-MODIFIED"].dt == after["DTSTAMP"].dt == NOW
    assert after["DTSTART"].dt - before["DTSTART"].dt == timedelta(days=7)


def test_the_same_rounds_give_the_same_bytes_another_day(northfield, anna, move_clock):
    path = feed_of(anna)
    before = ask(path)
    move_clock(NOW + timedelta(days=3))
    assert ask(path).content == before.content


def test_a_program_that_has_it_already_gets_304(northfield, anna):
    path = feed_of(anna)
    first = ask(path)
    etag = first.headers["ETag"]
    assert re.fullmatch(r'"[0-9a-f]{64}"', etag)
    again = ask(path, if_none_match=etag)
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", etag)
    assert again.headers["Referrer-Policy"] == "no-referrer" and again.headers["Cache-Control"].startswith("private")
    walk(northfield, TODAY)
    assert ask(path, if_none_match=etag).status_code == 200
