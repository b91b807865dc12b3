"""Planned work in the calendar: an event a due day, gone when it is done, an alarm in the morning; by RFC 5545."""

import re
from datetime import timedelta

import pytest
from icalendar import Calendar

from farms.ledger import Actor
from monitoring.selectors import works_of
from monitoring.services import WorkPlanned, as_planned, end_plan, leave_out, plan_work, record_work, take_back_work
from tests.cast import NOW, acting
from tests.server.feeds.reading import ask, feed_of

pytestmark = pytest.mark.django_db
TODAY, WEEK = NOW.date(), timedelta(weeks=1)


@pytest.fixture
def plan(northfield, anna, calf_barn):
    """A weekly clean-out from today on, four times."""
    planned = WorkPlanned(
        "clean_out", TODAY, calf_barn, every=1, unit="week", last_day=TODAY + 3 * WEEK, words="ask Pia for the key"
    )
    with acting(anna):
        return plan_work(farm=northfield, plan=planned, actor=staff(anna), now=NOW)


def staff(user):
    return Actor("farm_staff", user.id)


def of_work(content: bytes) -> dict:
    """The events of work by their day."""
    found = Calendar.from_ical(content).walk("VEVENT")
    return {event["DTSTART"].dt: event for event in found if "clean-out" in str(event["SUMMARY"])}


def test_each_day_that_is_due_or_to_come_is_an_event_with_an_alarm_that_morning(northfield, anna, plan):
    events = of_work(ask(feed_of(anna)).content)
    assert list(events) == [TODAY + number * WEEK for number in range(4)]
    assert len({str(event["UID"]) for event in events.values()}) == 4
    for event in events.values():
        assert str(event["SUMMARY"]) == "Northfield: clean-out, Calf barn"
        assert str(event["URL"]) == f"https://flies.example.org/farms/{northfield.id}/work/plans/{plan.id}/"
        (alarm,) = event.walk("VALARM")
        assert alarm["TRIGGER"].dt == timedelta(hours=7)
        assert (str(alarm["ACTION"]), str(alarm["DESCRIPTION"])) == ("DISPLAY", str(event["SUMMARY"]))


def test_it_holds_what_the_standard_requires_and_no_words_of_anybody(anna, plan):
    """RFC 5545: 3.6.1 (UID, DTSTAMP, DTSTART once), 3.6.6 (an alarm that is shown: ACTION, DESCRIPTION and TRIGGER,
    each once), 3.8.6.3 (a trigger is a duration from the start unless it says otherwise).
    """
    content = ask(feed_of(anna)).content.replace(b"\r\n ", b"").decode()
    assert "Pia" not in content
    for event in content.split("BEGIN:VEVENT")[1:]:
        if "clean-out" not in event:
            continue
        for once in (
            r"UID:[0-9a-f-]{36}", r"DTSTAMP:\d{8}T\d{6}Z", r"DTSTART;VALUE=DATE:\d{8}", r"TRANSP:TRANSPARENT",
            r"ACTION:DISPLAY", r"TRIGGER:PT7H", r"DESCRIPTION;LANGUAGE=en:\S.*", "BEGIN:VALARM", "END:VALARM",
        ):  # fmt: skip
            assert len(re.findall(f"^{once}\r$", event, re.MULTILINE)) == 1, once
        assert "RRULE" not in event


def test_what_is_done_left_out_or_ended_is_in_it_no_more_and_what_was_taken_back_is_again(northfield, anna, plan):
    path = feed_of(anna)
    before = of_work(ask(path).content)
    with acting(anna):
        record_work(farm=northfield, work=as_planned(plan, TODAY, TODAY), actor=staff(anna), now=NOW)
        leave_out(planned=plan, day=TODAY + WEEK, why="rain", actor=staff(anna), now=NOW)
        end_plan(planned=plan, day=TODAY + 3 * WEEK, why="sold", actor=staff(anna), now=NOW)
    after = of_work(ask(path).content)
    assert list(after) == [TODAY + 2 * WEEK]
    assert after[TODAY + 2 * WEEK]["UID"] == before[TODAY + 2 * WEEK]["UID"]
    with acting(anna):
        take_back_work(work=works_of(northfield).get(), why="by mistake", actor=staff(anna), now=NOW)
    again = of_work(ask(path).content)
    assert again[TODAY]["UID"] == before[TODAY]["UID"]


def test_a_day_that_is_overdue_stands_where_it_was_planned(anna, plan, move_clock):
    move_clock(NOW + timedelta(days=5))
    assert next(iter(of_work(ask(feed_of(anna)).content))) == TODAY


def test_strangers_and_whoever_lost_the_farm_read_none_of_it(carla, southmead, plan):
    assert of_work(ask(feed_of(carla)).content) == {}
