"""The weekly summary: one SQL statement that says what monitoring.analysis says of the same readings."""

import random
from datetime import date, timedelta

import numpy as np
import pytest

from farms.ids import uuid7
from farms.models import Season
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.rates import Readings, station_weeks
from monitoring.analysis.weeks import middle_day, monday_of, week_index
from monitoring.models import Reading, Station, WeeklySummary
from monitoring.services import correct_reading, refresh_summaries
from tests.cast import NOW, acting, as_factory, as_role
from tests.monitoring.sending import HUNG, STAFF, TODAY, hang, reading, send

pytestmark = pytest.mark.django_db
WEEK = date(2026, 5, 25)


def test_a_week_is_summed_up_with_its_missing_cards(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        counts = [reading(card, number) for card, number in zip(cards, (0, 80, 120, 60), strict=False)]
        send(northfield, *counts, reading(cards[4], reason="wet"))
        row = WeeklySummary.objects.get()
    assert (row.method, row.week) == ("card", WEEK)
    assert (row.stations, row.devices, row.missing, row.counted, row.days, row.animals) == (4, 4, 1, 260, 28, 0)
    assert (row.mean, row.at_least, row.last_received_at) == (65.0, False, NOW)


def test_eighty_in_five_days_are_a_hundred_and_twelve_in_seven(northfield, anna, cards):
    with acting(anna):
        send(northfield, reading(cards[0], 80, hung_on=date(2026, 5, 27)))
        assert WeeklySummary.objects.get().mean == 112.0


def test_a_third_of_a_card_is_a_third(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 25, how="part", fraction=0.3333))
        assert WeeklySummary.objects.get().mean == 75.0


def test_legs_are_flies_an_animal(northfield, anna, leg_station):
    with acting(anna):
        send(northfield, reading(leg_station, animals=[10] * 15))
        row = WeeklySummary.objects.get()
    assert (row.mean, row.animals, row.days, row.week) == (10.0, 15, 0, date(2026, 6, 1))


def test_one_at_least_makes_the_mean_at_least(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 300, at_least=True), reading(cards[1], 10))
        assert WeeklySummary.objects.get().at_least


def test_two_exposures_of_a_station_in_one_week_are_pooled(northfield, anna, cards):
    with acting(anna):
        send(northfield, reading(cards[0], 30, hung_on=HUNG), on=date(2026, 5, 28))
        send(northfield, reading(cards[0], 10, hung_on=date(2026, 5, 28)), on=date(2026, 5, 30))
        row = WeeklySummary.objects.get()
    # 40 in 5 days; the mean of the two rates would be 52.5.
    assert (row.stations, row.devices, row.days, row.mean) == (1, 2, 5, 56.0)


def test_a_week_of_which_nothing_was_counted_has_no_mean(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, *(reading(card, reason="lost") for card in cards))
        row = WeeklySummary.objects.get()
    assert (row.stations, row.missing, row.counted, row.mean) == (0, 5, None, None)


def test_the_summary_says_what_the_analysis_says(northfield, anna, cards, traps, leg_station):
    chance = random.Random(4)  # noqa: S311 - made-up counts, no secrets
    used = set()
    with as_factory():
        Season.objects.filter(farm_id=northfield.id).update(opens_on=date(2026, 1, 1))
        Station.objects.filter(farm_id=northfield.id).update(since=date(2026, 1, 1))
    with acting(anna):
        for _ in range(25):
            taken = date(2026, 2, 1) + timedelta(days=chance.randrange(110))
            each = [random_reading(station, taken, chance, used) for station in (*cards, *traps, leg_station)]
            send(northfield, *each, on=taken)
        for row in chance.sample(list(Reading.objects.filter(method="card", count__isnull=False)), 10):
            new = reading(Station.objects.get(id=row.station_id), chance.randrange(300))
            correct_reading(
                farm=northfield, reading_id=row.id, correction=new, kind=chance.choice(["miscounted", "withdrawn"]),
                actor=STAFF, now=NOW,
            )  # fmt: skip
        refresh_summaries(farm_ids=[northfield.id], weeks=set(WeeklySummary.objects.values_list("week", flat=True)))
        rows = list(WeeklySummary.objects.all())
        current = list(Reading.objects.current())
    assert len(rows) > 40
    for method in ("card", "trap", "leg"):
        _check([row for row in rows if row.method == method], [each for each in current if each.method == method])


def random_reading(station, taken, chance, used):
    if station.method == "leg":
        return reading(station, animals=[chance.randrange(30) for _ in range(chance.randrange(1, 15))])
    # Each card or trap once: another count of the same one would be a conflict.
    hung = chance.choice([day for day in days_before(taken) if (station.id, day) not in used])
    used.add((station.id, hung))
    if chance.random() < 0.1:
        return reading(station, reason="lost", hung_on=hung)
    part = chance.choice([1, 1, 1, 0.25, 0.3333, 0.125])
    return reading(
        station, chance.randrange(300), hung_on=hung, fraction=part, how="part" if part < 1 else "counted",
        at_least=chance.random() < 0.05,
    )  # fmt: skip


def days_before(taken):
    return [taken - timedelta(days=days) for days in range(1, 21)]


def _check(rows, readings):
    taken = np.array([each.taken_on for each in readings], "M8[D]")
    middle = middle_day(np.array([each.hung_on or each.taken_on for each in readings], "M8[D]"), taken)
    monday = monday_of(middle)
    mondays = sorted({each.item() for each in monday})
    first = np.datetime64(mondays[0], "D")
    stations = sorted({each.station_id for each in readings})
    legs = readings[0].method == "leg"
    exposure = [len(each.animals or []) if legs else (each.taken_on - each.hung_on).days for each in readings]
    arrays = Readings(
        station=np.array([stations.index(each.station_id) for each in readings]),
        week=week_index(monday, first),
        middle=middle,
        count=np.array([np.nan if each.count is None else each.count for each in readings], float),
        part=np.array([float(each.fraction) for each in readings]),
        exposure=np.array(exposure, float),
        at_least=np.array([each.at_least for each in readings]),
        how=np.array([each.how for each in readings]),
    )
    n_weeks = int(arrays.week.max()) + 1
    weeks = station_weeks(arrays, n_stations=len(stations), n_weeks=n_weeks, per=1.0 if legs else 7.0)
    means = weekly_means(weeks, np.zeros(len(stations), np.int64), 1)
    for row in rows:
        at = (row.week - first.item()).days // 7
        if not 0 <= at < n_weeks:
            assert row.mean is None
            continue
        told = (means.stations[0, at], means.devices[0, at], means.missing[0, at], means.at_least[0, at])
        assert (row.stations, row.devices, row.missing, row.at_least) == told
        # To the last digit where at most two readings are pooled; three with parts may add up in another order.
        assert (row.mean is None) == bool(np.isnan(means.mean[0, at]))
        if row.mean is not None:
            assert row.mean == pytest.approx(means.mean[0, at], rel=1e-15)


def test_a_refresh_touches_only_what_it_is_asked_for(northfield, southmead, anna, carla, cards):
    with acting(carla):
        theirs = Station.objects.filter(farm_id=southmead.id).order_by("number").first()
        hang(southmead, [theirs])
        send(southmead, reading(theirs, 50))
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 50))
        # Row security: what Anna asks of Southmead is not there for her.
        refresh_summaries(farm_ids=[northfield.id, southmead.id], weeks=[WEEK])
        refresh_summaries(farm_ids=[], weeks=[WEEK])
        refresh_summaries(farm_ids=[northfield.id], weeks=[])
    with as_factory():
        assert WeeklySummary.objects.count() == 2


def test_the_weekly_check_reads_summaries_and_changes_none(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 50), hung=(), on=TODAY, id=uuid7())
    with as_role("worker"):
        assert WeeklySummary.objects.count() == 1
