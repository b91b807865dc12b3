"""Daily temperatures of farms and regions: what may be stored, from what file, and whose go first."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, ProgrammingError, transaction

from farms.errors import TooLarge
from monitoring.csv_import import read_temperatures
from monitoring.errors import ColumnsMissing, ColumnUnknown, DatesUnclear, TemperatureRefused
from monitoring.models import DailyTemperature, FarmTemperature
from monitoring.rules.temperatures import MOST_DAYS, celsius, table_of_days
from monitoring.selectors import last_days, temperatures_of_farm, temperatures_of_region
from monitoring.selectors.temperatures import temperatures_of_farms
from monitoring.services import record_farm_temperatures, record_temperatures
from tests.cast import NOW, acting, as_factory, as_role, make_farm
from tests.monitoring.sending import TODAY

pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - timedelta(days=1)
GOOD = b"day,min,max,unit\n2026-05-30,11,24.5,C\n2026-05-31,50,86,F\n"


def on_region(region, *days, **more):
    return record_temperatures(region=region, table=table_of_days(days, **more), now=NOW)


def on_farm(farm, *days, **more):
    return record_farm_temperatures(farm=farm, table=table_of_days(days, **more), now=NOW)


class TestStoring:
    def test_a_regions_days_are_stored_and_a_known_day_is_replaced(self, region):
        assert on_region(region, (TODAY, 11.0, 24.5), (YESTERDAY, 9.0, 20.0)) == 2
        on_region(region, (TODAY, 12.0, 25.0))
        stored = DailyTemperature.objects.order_by("-day").values_list("min_c", "max_c")
        assert list(stored) == [(12.0, 25.0), (9.0, 20.0)]

    def test_a_farms_days_are_stored_and_a_known_day_is_replaced(self, northfield, anna):
        with acting(anna):
            assert on_farm(northfield, (TODAY, 11.0, 24.5), (YESTERDAY, 9.0, 20.0)) == 2
            on_farm(northfield, (TODAY, 12.0, 25.0))
            stored = temperatures_of_farm(northfield)
            assert [(row.day, row.min_c, row.max_c) for row in stored] == [(TODAY, 12, 25), (YESTERDAY, 9, 20)]

    def test_fahrenheit_is_stored_as_celsius(self, northfield, anna):
        with acting(anna):
            on_farm(northfield, (TODAY, 50.0, 86.0), unit="F")
            row = temperatures_of_farm(northfield).get()
        assert (row.min_c, row.max_c) == (10.0, 30.0)
        # The two scales meet at -40 (common knowledge); 0 C is 32 F.
        assert (celsius(-40, "F"), celsius(32, "F"), celsius(7.7, "C")) == (-40.0, 0.0, 7.7)

    @pytest.mark.parametrize(
        ("days", "pointer", "code"),
        [
            ([(TODAY, 25.0, 12.0)], "/days/0/min", "turned_round"),
            ([(TODAY, float("nan"), 12.0)], "/days/0/min", "not_a_temperature"),
            ([(TODAY, 12.0, float("inf"))], "/days/0/max", "not_a_temperature"),
            ([(YESTERDAY, 1.0, 2.0), (TODAY, 12.0, 60.1)], "/days/1/max", "not_a_temperature"),
            ([(TODAY, -60.1, 12.0)], "/days/0/min", "not_a_temperature"),
            ([(TODAY, 1.0, 2.0), (TODAY, 1.0, 2.0)], "/days/1/day", "day_twice"),
            ([(TODAY + timedelta(days=1), 1.0, 2.0)], "/days/0/day", "future_date"),
        ],
    )
    def test_what_can_not_be_is_refused_and_nothing_stored(self, northfield, anna, days, pointer, code):
        days = [(date(2026, 5, 1), 1.0, 2.0), *days]
        pointer = f"/days/{int(pointer.split('/')[2]) + 1}/{pointer.split('/')[3]}"
        for store in (lambda: on_region(northfield.region, *days), lambda: on_farm(northfield, *days)):
            with acting(anna), pytest.raises(TemperatureRefused) as refused:
                store()
            assert [(error.pointer, error.code) for error in refused.value.errors] == [(pointer, code)]
        with as_factory():
            assert not DailyTemperature.objects.exists() and not FarmTemperature.objects.exists()

    def test_sixty_degrees_are_just_possible(self, northfield, anna):
        with acting(anna):
            assert on_farm(northfield, (TODAY, -60.0, 60.0)) == 1

    def test_more_days_than_ten_years_are_too_many(self, region):
        days = [(date(2015, 1, 1) + timedelta(days=number), 1.0, 2.0) for number in range(MOST_DAYS + 1)]
        with pytest.raises(TooLarge, match="more than 4,000 days"):
            on_region(region, *days)

    @pytest.mark.parametrize("values", [{"min_c": 20.0, "max_c": 10.0}, {"min_c": -61.0, "max_c": 0.0}])
    def test_the_database_knows_it_too(self, northfield, values):
        with pytest.raises(IntegrityError), as_factory():
            FarmTemperature.objects.create(farm=northfield, day=TODAY, recorded_at=NOW, **values)


class TestTheSecondWall:
    def test_carla_neither_sees_nor_writes_northfields_days(self, northfield, southmead, anna, carla):
        with acting(anna):
            on_farm(northfield, (TODAY, 11.0, 24.5))
        with acting(carla):
            assert list(temperatures_of_farm(northfield)) == []
            assert FarmTemperature.objects.update(max_c=30.0) == 0
            with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
                on_farm(northfield, (TODAY, 1.0, 2.0))
        with acting(anna):
            assert temperatures_of_farm(northfield).get().max_c == 24.5

    def test_the_worker_reads_and_writes_nothing(self, northfield, anna):
        with acting(anna):
            on_farm(northfield, (TODAY, 11.0, 24.5))
        with as_role("worker"):
            assert temperatures_of_farm(northfield).count() == 1
            with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
                on_farm(northfield, (YESTERDAY, 1.0, 2.0))

    def test_a_day_is_replaced_and_neither_moved_nor_deleted(self, northfield, anna):
        with acting(anna):
            on_farm(northfield, (TODAY, 11.0, 24.5))
            for change in (lambda rows: rows.update(day=YESTERDAY), lambda rows: rows.delete()):
                with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
                    change(FarmTemperature.objects.filter(farm=northfield))

    @pytest.mark.parametrize("role", ["cohort", "region"])
    def test_roles_that_look_across_farms_see_no_day(self, northfield, role):
        with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            FarmTemperature.objects.count()


class TestReading:
    def test_a_file_in_both_units(self, northfield, anna):
        with acting(anna):
            assert record_farm_temperatures(farm=northfield, table=read_temperatures(GOOD), now=NOW) == 2
            stored = [(row.min_c, row.max_c) for row in temperatures_of_farm(northfield)]
        assert stored == [(10.0, 30.0), (11.0, 24.5)]

    def test_a_spanish_spreadsheets_file(self):
        content = "\ufeffFecha;Mínima;Máxima;Unidad\r\n30/05/2026;-1,5;24,5;°C\r\n31/05/2026;\u22122;20;Celsius\r\n"
        table = read_temperatures(content.encode())
        assert [tuple(day) for day in table.days] == [
            (date(2026, 5, 30), -1.5, 24.5), (date(2026, 5, 31), -2.0, 20.0)
        ]  # fmt: skip
        assert table.faults == []

    def test_a_day_that_nobody_measured_stores_nothing_and_is_no_zero(self):
        table = read_temperatures(GOOD + b"2026-06-01,,,C\n")
        assert len(table.days) == 2 and table.faults == []

    @pytest.mark.parametrize(
        ("row", "column", "code"),
        [
            ("2026-06-31,11,24,C", "day", "not_a_date"),
            (",11,24,C", "day", "not_a_date"),
            ("2026-06-01,warm,24,C", "min", "not_a_number"),
            ("2026-06-01,11,,C", "max", "not_a_number"),
            ("2026-06-01,11,1e3,C", "max", "not_a_number"),
            ("2026-06-01,11,24,", "unit", "unit_unknown"),
            ("2026-06-01,11,24,K", "unit", "unit_unknown"),
            ("2026-06-01,24,11,C", "min", "turned_round"),
            ("2026-06-01,61,72,C", "min", "not_a_temperature"),
            ("2026-06-02,11,24,C", "day", "future_date"),
            ("2026-05-31,11,24,C", "day", "day_twice"),
            ("2026-06-01,11,24,C,5", "day", "too_many_cells"),
        ],
    )
    def test_a_bad_row_is_named_by_its_line_and_nothing_is_stored(self, northfield, anna, row, column, code):
        table = read_temperatures(GOOD + row.encode() + b"\n")
        with acting(anna), pytest.raises(TemperatureRefused) as refused:
            record_farm_temperatures(farm=northfield, table=table, now=NOW)
        assert (f"/rows/4/{column}", code) in [(error.pointer, error.code) for error in refused.value.errors]
        with as_factory():
            assert not FarmTemperature.objects.exists()

    def test_all_bad_rows_are_named_at_once(self, northfield, anna):
        table = read_temperatures(GOOD + b"2026-05-29,30,20,C\n2026-06-01,x,24,C\n")
        with acting(anna), pytest.raises(TemperatureRefused) as refused:
            record_farm_temperatures(farm=northfield, table=table, now=NOW)
        assert [error.pointer for error in refused.value.errors] == ["/rows/4/min", "/rows/5/min"]

    @pytest.mark.parametrize(
        ("content", "error"),
        [
            (b"day,min,max\n2026-06-01,11,24\n", ColumnsMissing),
            (b"day,min,max,unit,rain\n2026-06-01,11,24,C,3\n", ColumnUnknown),
            (b"day,min,max,unit\n1/6/2026,11,24,C\n", DatesUnclear),
        ],
    )
    def test_a_file_that_is_no_table_of_days(self, content, error):
        with pytest.raises(error):
            read_temperatures(content)

    def test_the_order_of_day_and_month_is_said(self):
        table = read_temperatures(b"day,min,max,unit\n5/1/2026,11,24,C\n", order="month_first")
        assert table.days[0].day == date(2026, 5, 1)


class TestWhoseGoFirst:
    def test_a_farms_own_day_goes_before_its_regions(self, northfield, southmead, anna):
        on_region(northfield.region, (TODAY, 10.0, 20.0), (YESTERDAY, 11.0, 21.0))
        with acting(anna):
            on_farm(northfield, (TODAY, 14.0, 28.0))
        with as_role("worker"):
            found = temperatures_of_farms([northfield, southmead], YESTERDAY, TODAY)
        mine, other = found.place
        assert found.temperatures.highest[mine].tolist() == [21.0, 28.0]
        assert found.is_own[mine].tolist() == [False, True]
        # Southmead lies in a region without temperatures.
        assert not found.temperatures.is_known[other].any()

    def test_farms_without_their_own_share_their_regions_row(self, northfield, anna, region):
        other = make_farm("Windy Lea", region, anna)
        on_region(region, (TODAY, 10.0, 20.0))
        with as_role("worker"):
            found = temperatures_of_farms([northfield, other], YESTERDAY, TODAY)
        assert found.place.tolist() == [0, 0]
        assert found.temperatures.lowest.shape == (1, 2)

    def test_two_queries_however_many_farms(self, northfield, southmead, django_assert_num_queries):
        with as_role("worker"), django_assert_num_queries(2):
            temperatures_of_farms([northfield, southmead], YESTERDAY, TODAY)

    def test_the_last_days_are_shown_with_whose_they_are_and_gaps_as_gaps(self, northfield, anna):
        on_region(northfield.region, (YESTERDAY, 11.0, 21.0), (TODAY, 10.0, 20.0))
        with acting(anna):
            on_farm(northfield, (TODAY, 14.0, 28.0))
            shown = last_days(northfield.region, TODAY, 3, northfield)
            of_region = last_days(northfield.region, TODAY, 2)
        assert [(day.lowest, day.is_own) for day in shown] == [(14.0, True), (11.0, False), (None, False)]
        assert [day.lowest for day in of_region] == [10.0, 11.0]
        assert [row.day for row in temperatures_of_region(northfield.region, since=TODAY)] == [TODAY]
