"""Weeks in which the clocks change, three beats at once, ten days without any: one run a group and ISO week.

When clocks change in 2026 is the IANA time zone database's: New York on March 8
and November 1, Madrid on March 29 and October 25, Sydney on April 5 (back) and October 4 (forward).
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from threading import Barrier

import pytest
from django.db import connection, connections

from alerts import monday
from alerts.checks.calendar import due_at
from alerts.models import Assessment, CheckRun, Digest, MondayList
from farms.models import Farm, Group, Membership, Region, Season
from farms.models.access import FarmRole
from monitoring.models import Station
from tests.cast import NOW, as_factory, make_facility, make_farm, make_stations, make_user

ZONES = ("America/New_York", "Europe/Madrid", "Australia/Sydney")
BEATS = 3
WEEK, HOUR = timedelta(days=7), timedelta(hours=1)
SPRING = date(2026, 2, 23), date(2026, 4, 20)  # Mondays: the first week that is judged, and the day of the last run
AUTUMN = date(2026, 9, 21), date(2026, 11, 9)
# Ten days, over Madrid's change and Sydney's, and over the runs of two Mondays.
OUTAGE = datetime(2026, 3, 27, 12, tzinfo=UTC), datetime(2026, 4, 6, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "change", "before", "after"),
    [
        ("America/New_York", date(2026, 3, 8), 10, 9),
        ("Europe/Madrid", date(2026, 3, 29), 4, 3),
        ("Australia/Sydney", date(2026, 4, 5), 18, 19),
        ("Australia/Sydney", date(2026, 10, 4), 19, 18),
        ("Europe/Madrid", date(2026, 10, 25), 3, 4),
        ("America/New_York", date(2026, 11, 1), 9, 10),
    ],
)
def test_five_in_the_morning_is_another_hour_of_utc_from_the_monday_after(
    zone: str, change: date, before: int, after: int
):
    monday_after = change + timedelta(days=1)
    moments = [due_at(monday_after - number * WEEK, zone).astimezone(UTC) for number in (2, 1)]
    assert [moment.hour for moment in moments] == [before, after]
    # Sydney's Monday morning is Sunday evening in UTC.
    days = [monday_after - WEEK, monday_after] if zone != "Australia/Sydney" else [change - WEEK, change]
    assert [moment.date() for moment in moments] == days


def valley(number: int, zone: str, opens_on: date) -> Farm:
    """A group in a zone with an adviser's farm of two owners, whose season opens on a Monday."""
    with as_factory():
        group = Group.objects.create(name=f"Valley {number}", slug=f"valley-{number}", time_zone=zone)
        region = Region.objects.create(group=group, name="All of it", slug=f"all-{number}")
    farm = make_farm(f"Farm {number}", region, make_user(f"First{number}"), time_zone=zone)
    with as_factory():
        second = make_user(f"Second{number}")
        Membership.objects.create(farm=farm, user=second, role=FarmRole.OWNER, began_at=NOW)
        Season.objects.filter(farm=farm).update(opens_on=opens_on)
    make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, 6))
    with as_factory():
        Station.objects.filter(farm=farm).update(since=opens_on)
    return farm


@pytest.fixture
def beats() -> Iterator[Callable[[datetime], None]]:
    """Three beats, each with a worker that hears it alone: they ring in the same moment."""
    together = Barrier(BEATS, timeout=60)

    def hear(moment: datetime) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET ROLE flyround_worker")
        together.wait()
        for group in Group.objects.order_by("id"):
            monday.check_group(group, moment)

    with ThreadPoolExecutor(BEATS) as threads:

        def ring(moment: datetime) -> None:
            for done in [threads.submit(hear, moment) for _ in range(BEATS)]:
                done.result()

        yield ring
        for left in [threads.submit(_leave, together) for _ in range(BEATS)]:
            left.result()


def _leave(together: Barrier) -> None:
    together.wait()  # so that each thread does it once
    connections.close_all()


def ticks(first: date, last: date) -> list[datetime]:
    """Every hour from Sunday noon to Monday afternoon in UTC, when it is Monday at five somewhere; else once a day."""
    hours, moment = list[datetime](), datetime.combine(first + WEEK, datetime.min.time(), UTC) - timedelta(days=1)
    while moment.date() <= last:
        awake = (moment.weekday() == 6 and moment.hour >= 12) or (moment.weekday() == 0 and moment.hour <= 16)
        hours += [moment] if awake or moment.hour == 20 else []
        moment += HOUR
    return hours


def weeks_between(first: date, last: date) -> list[date]:
    return [first + number * WEEK for number in range((last - first) // WEEK)]


def runs_of(farm: Farm) -> dict[date, tuple[str, int, datetime | None]]:
    """How the group's weeks were judged: state, attempts, and at which hour."""
    with as_factory():
        rows = CheckRun.objects.filter(group_id=farm.group_id).order_by("week")
        found = [(row.week, (row.state, row.attempts, _hour(row.started_at))) for row in rows]
    assert len(dict(found)) == len(found)
    return dict(found)


def _hour(moment: datetime | None) -> datetime | None:
    # A run that follows another begins as much later as that one took.
    return moment and moment.replace(minute=0, second=0, microsecond=0)


def mails_of(farm: Farm) -> dict[str, list[str]]:
    """Each owner's occasions."""
    told: dict[str, list[str]] = {}
    with as_factory():
        for mail in Digest.objects.filter(farm=farm).select_related("recipient").order_by("occasion"):
            told.setdefault(mail.recipient.name, []).append(mail.occasion)
    return told


def iso_weeks(weeks: Sequence[date]) -> list[str]:
    """As the C library writes ISO 8601 weeks."""
    return [week.strftime("%G-W%V") for week in weeks]


@pytest.mark.django_db(transaction=True, databases="__all__")
class TestThreeBeatsAtOnce:
    @pytest.mark.parametrize(("first", "last"), [SPRING, AUTUMN], ids=["spring", "autumn"])
    def test_over_both_changes_there_is_one_run_a_group_and_week_at_monday_five(
        self, beats: Callable[[datetime], None], first: date, last: date
    ):
        farms = [valley(number, zone, first) for number, zone in enumerate(ZONES)]
        for moment in ticks(first, last):
            beats(moment)
        weeks = weeks_between(first, last)
        for farm, zone in zip(farms, ZONES, strict=True):
            assert runs_of(farm) == {week: ("done", 1, due_at(week, zone)) for week in weeks}
            assert list(mails_of(farm).values()) == [iso_weeks(weeks)] * 2
        with as_factory():
            # Nobody judged a week twice: a second time would be found to be the same, or be a second revision.
            assert set(Assessment.objects.values_list("revision", flat=True)) == {1}
            assert not MondayList.objects.exists()

    def test_ten_days_without_a_beat_leave_no_week_out_and_send_one_mail(self, beats: Callable[[datetime], None]):
        first, last = date(2026, 3, 9), date(2026, 4, 20)
        farms = [valley(number, zone, first) for number, zone in enumerate(ZONES)]
        gone, back = OUTAGE
        for moment in ticks(first, last):
            if not gone <= moment < back:
                beats(moment)
        weeks = weeks_between(first, last)
        for farm, zone in zip(farms, ZONES, strict=True):
            moments = {week: due_at(week, zone) for week in weeks}
            missed = [week for week in weeks if gone <= moments[week] < back]
            assert missed == [date(2026, 3, 23), date(2026, 3, 30)]
            assert runs_of(farm) == {week: ("done", 1, back if week in missed else moments[week]) for week in weeks}
            told = [week for week in weeks if week != missed[0]]
            assert list(mails_of(farm).values()) == [iso_weeks(told)] * 2
