"""Files as spreadsheets write them: what is understood, what is refused, and that nothing is guessed."""

from datetime import date, time
from decimal import Decimal

import pytest

from farms.errors import Missing
from monitoring.csv_import import read_csv
from monitoring.csv_import.headers import HEADERS
from monitoring.errors import (
    ColumnsMissing,
    ColumnsUnclear,
    ColumnUnknown,
    DatesUnclear,
    EmptyFile,
    FileTooLarge,
    HoldsNul,
    NotATable,
    NotUtf8,
    TableRefused,
    TooManyRows,
)  # fmt: skip
from monitoring.models import Placement, Reading, WeeklySummary
from monitoring.services import ImportPlan, record_table
from tests.cast import NOW, acting
from tests.monitoring.sending import HUNG, STAFF, TODAY, chain_holds, nothing_stored

pytestmark = pytest.mark.django_db


def take(farm, text, *, order=None, **plan):
    content = text if isinstance(text, bytes) else text.encode()
    table = read_csv(content, order=order)
    return record_table(farm=farm, table=table, plan=ImportPlan(**plan), actor=STAFF, now=NOW)


def columns(text, **more):
    table = read_csv(text if isinstance(text, bytes) else text.encode(), **more)
    assert [(fault.column, fault.code) for fault in table.faults] == []
    return table.columns


def faults(text, **more):
    table = read_csv(text.encode(), **more)
    return [(cell.row, cell.column, cell.value, cell.code) for cell in map(table.bad_cell, table.faults)]


PLAIN = "station,hung on,taken on,count\nCard 1,2026-05-25,2026-06-01,85\nCard 2,2026-05-25,2026-06-01,0\n"


def test_a_plain_file_is_stored(northfield, anna):
    with acting(anna):
        result = take(northfield, PLAIN)
        assert (result.stored, result.rounds) == (2, 1)
        assert [row.count for row in Reading.objects.order_by("station__number")] == [85, 0]
        assert WeeklySummary.objects.get().mean == 42.5
        assert take(northfield, PLAIN).known == 2
    assert chain_holds(northfield)


def test_a_spanish_spreadsheet_is_understood(northfield, anna):
    text = (
        "\ufeffTarjeta o trampa;Colgada el;Quitada el;Conteo;Parte;Motivo\r\n"
        "Tarjeta 1;25.05.2026;01.06.2026;61;0,25;\r\n"
        "Tarjeta 2;25.05.2026;01.06.2026;;;Se perdió\r\n"
        ";;;;;\r\n"
        "Trampa 1;25/05/2026;01/06/2026;1,5 tazas;;\r\n"
        "Pata 1;;01/06/2026;3 0 5 2;;\r\n"
    )
    with acting(anna):
        result = take(northfield, text)
        assert (result.stored, result.bad) == (4, [])
        rows = {row.station.label: row for row in Reading.objects.select_related("station")}
    assert (rows["Card 1"].count, rows["Card 1"].fraction, rows["Card 1"].how) == (61, Decimal("0.25"), "part")
    assert (rows["Card 2"].count, rows["Card 2"].reason) == (None, "lost")
    assert (rows["Trap 1"].count, rows["Trap 1"].how, rows["Trap 1"].hung_on) == (375, "cup", HUNG)
    assert (rows["Leg count 1"].animals, rows["Leg count 1"].taken_on) == ([3, 0, 5, 2], TODAY)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_separators_line_ends_and_marks_make_no_difference(separator, line_end, mark):
    found = columns(mark + PLAIN.replace(",", separator).replace("\n", line_end))
    assert (found.count, found.station) == ([85, 0], [("card", 1), ("card", 2)])


def test_columns_stand_in_any_order_and_may_be_upper_case():
    found = columns("COUNT,Taken_On,STATION,Hung\n85,2026-06-01,card no. 4,2026-05-25\n")
    assert (found.count, found.station, found.hung_on, found.taken_on) == ([85], [("card", 4)], [HUNG], [TODAY])


def test_method_and_number_may_stand_in_two_columns():
    found = columns("Método,Número,fecha,conteo\ntarjeta,4,2026-06-01,1\nTrap,2.0,2026-06-01,1\n")
    assert found.station == [("card", 4), ("trap", 2)]


def test_every_name_we_tell_people_is_understood():
    header = ",".join(names[0] for column, names in HEADERS.items() if column not in ("method", "number"))
    cells = "Card 1,2026-05-25,2026-06-01,,,,,2,no,,1,Pen 4,7:30 am,sunny,yes,no,1,"
    found = columns(f"{header}\n{cells}\n")
    assert (found.count, found.how, found.sides, found.time_of_day) == ([500], ["cup"], [1], [time(7, 30)])
    assert (found.pen, found.weather, found.bunching, found.sprayed) == (["Pen 4"], ["sunny"], [True], [False])


@pytest.mark.parametrize(
    ("cell", "count", "at_least", "how", "animals", "reason"),
    [
        ("0", 0, False, "counted", None, ""),
        (" 61 ", 61, False, "counted", None, ""),
        ("61.0", 61, False, "counted", None, ""),
        ('"61,0"', 61, False, "counted", None, ""),
        ("300+", 300, True, "counted", None, ""),
        (">300", 300, True, "counted", None, ""),
        ("at least 300", 300, True, "counted", None, ""),
        ("al menos 300", 300, True, "counted", None, ""),
        ("2 cups", 500, False, "cup", None, ""),
        ('"1,5 tazas"', 375, False, "cup", None, ""),
        ("3 0 5 2", 10, False, "counted", (3, 0, 5, 2), ""),
        ("3/0/5/2", 10, False, "counted", (3, 0, 5, 2), ""),
        ("", None, False, "counted", None, "not_visited"),
        ("-", None, False, "counted", None, "not_visited"),
        ("lost", None, False, "counted", None, "lost"),
        ("Lost", None, False, "counted", None, "lost"),
        ("SE PERDIÓ", None, False, "counted", None, "lost"),
        ("wet", None, False, "counted", None, "wet"),
        ("no se revisó", None, False, "counted", None, "not_visited"),
    ],
)
def test_a_count_is_read_as_people_write_it(cell, count, at_least, how, animals, reason):
    found = columns(f"station,taken on,count\nCard 1,2026-06-01,{cell}\n")
    told = (found.count, found.at_least, found.how, found.animals, found.reason)
    assert told == ([count], [at_least], [how], [animals], [reason])


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("sixty", "not_a_number"),
        ("6.5", "not_a_number"),
        ('"1,234"', "not_a_number"),
        ("1e3", "not_a_number"),
        ("-7", "count_negative"),
        ("1000001", "count_too_large"),
        ("9" * 400, "count_too_large"),
        ("9" * 40, "count_too_large"),
        ("=1+1", "not_a_number"),
        ("٦١", "not_a_number"),
    ],
)
def test_what_is_no_count_is_not_guessed(cell, code):
    ((row, column, _value, found),) = faults(f"station,taken on,Specks\nCard 1,2026-06-01,{cell}\n")
    assert (row, column, found) == (2, "Specks", code)


@pytest.mark.parametrize(
    ("cell", "part"),
    [
        ("0.25", "0.25"), ('"0,25"', "0.25"), ("1/4", "0.25"), ("¼", "0.25"), ("25 %", "0.25"), ("1/3", "0.3333"),
        (".5", "0.5"),
    ],
)  # fmt: skip
def test_a_part_is_read_as_people_write_it(cell, part):
    found = columns(f"station,taken on,count,part\nCard 1,2026-06-01,61,{cell}\n")
    assert (found.fraction, found.how) == ([Decimal(part)], ["part"])


@pytest.mark.parametrize("cell", ["a bit", "0", "2", "1/0", "-0.5", "."])
def test_what_is_no_part_is_refused(cell):
    ((_row, column, value, code),) = faults(f"station,taken on,count,part\nCard 1,2026-06-01,61,{cell}\n")
    assert (column, value) == ("part", cell)
    assert code in {"not_a_number", "part_out_of_range"}


@pytest.mark.parametrize(
    "cell",
    [
        "2026-06-01", "2026/6/1", "01.06.2026", "1.6.2026", "1. 6. 2026", "01.06.26", "2026-06-01 00:00:00",
        "2026-06-01T00:00",
    ],
)  # fmt: skip
def test_dates_that_can_be_read_in_one_way_need_no_order(cell):
    assert columns(f"station,taken on,count\nCard 1,{cell},1\n").taken_on == [TODAY]


def test_slashes_are_read_in_the_order_that_is_stated():
    text = "station,taken on,count\nCard 1,6/1/2026,1\n"
    assert columns(text, order="month_first").taken_on == [TODAY]
    assert columns(text, order="day_first").taken_on == [date(2026, 1, 6)]


def test_slashes_are_read_in_the_order_that_other_dates_prove():
    assert columns("station,taken on,count\nCard 1,6/1/2026,1\nCard 2,6/15/2026,1\n").taken_on[0] == TODAY
    assert columns("station,hung,taken on,count\nCard 1,25/5/2026,1/6/2026,1\n").taken_on[0] == TODAY
    assert columns("station,taken on,count\nCard 1,6/6/2026,1\n").taken_on == [date(2026, 6, 6)]


def test_slashes_that_leave_two_readings_are_refused():
    with pytest.raises(DatesUnclear) as refused:
        read_csv(b"station,Hung,Taken,count\nCard 1,5/4/2026,6/5/2026,1\n")
    assert str(refused.value) == (
        "The dates in Hung, Taken could be read in two ways: is 5/4/2026 in April or in May? Say whether the day "
        "or the month comes first, or write dates as 2026-06-30."
    )


@pytest.mark.parametrize("cell", ["31.02.2026", "2026-13-01", "June 1", "20260601", "2026-06-01 17:30", "46174"])
def test_what_is_no_day_is_refused(cell):
    assert faults(f"station,taken on,count\nCard 1,{cell},1\n") == [(2, "taken on", cell, "not_a_date")]


def test_a_day_of_the_other_order_is_a_bad_cell():
    text = "station,taken on,count\nCard 1,25/5/2026,1\nCard 2,5/25/2026,1\n"
    assert faults(text) == [(3, "taken on", "5/25/2026", "not_a_date")]


def test_every_bad_cell_is_named_by_row_column_and_reason(northfield, anna):
    text = (
        "Card or trap,Hung,Taken,Count,Missing\n"
        "Card 1,2026-05-25,2026-06-01,85,\n"
        "Card 99,2026-05-25,2026-06-01,85,\n"
        "\n"
        "Card 3,2026-05-25,2026-06-09,many,\n"
        "Card 4,2026-06-01,2026-06-01,3,lost\n"
    )
    with acting(anna), pytest.raises(TableRefused) as refused:
        take(northfield, text, atomic=True)
    assert [(each.pointer, each.code) for each in refused.value.errors] == [
        ("/rows/3/Card or trap", "unknown_station"),
        ("/rows/5/Count", "not_a_number"),
        ("/rows/6/Count", "count_beside_reason"),
        ("/rows/6/Hung", "taken_before_hung"),
    ]
    assert nothing_stored(northfield)
    with acting(anna):
        result = take(northfield, text, dry_run=True)
        assert (result.stored, [(bad.row, bad.column, bad.value) for bad in result.bad]) == (
            1,
            [(3, "Card or trap", "card 99"), (5, "Count", "many"), (6, "Count", "3"), (6, "Hung", "2026-06-01")],
        )
        assert take(northfield, text).stored == 1


def test_two_columns_that_contradict_each_other_are_bad_cells():
    header = "station,taken on,count,cups,animals,missing\n"
    assert faults(header + "Trap 1,2026-06-01,250,1,,\n") == [(2, "count", "250", "count_twice")]
    assert faults(header + "Leg count 1,2026-06-01,3 4,,3 5,\n") == [(2, "count", "3 4", "count_twice")]
    assert faults(header + "Card 1,2026-06-01,lost,,,wet\n") == [(2, "count", "lost", "reasons_differ")]
    assert faults(header + "Card 1,2026-06-01,lost,,,lost\n") == []


def test_a_row_with_cells_to_spare_is_bad_and_a_short_one_is_filled_up():
    text = "station,taken on,count\nCard 1,2026-06-01,85,86\nCard 2,2026-06-01\nCard 3,2026-06-01,1,,\n"
    assert [(row, code) for row, _, _, code in faults(text)] == [(2, "too_many_cells")]


def test_quotes_hold_separators():
    found = columns('station,taken on,count,weather\n"Card 1",2026-06-01,85,"sunny, ""hot"""\n')
    assert found.weather == ['sunny, "hot"']


@pytest.mark.parametrize(
    ("text", "error", "said"),
    [
        ("", EmptyFile, "The file holds no readings."),
        ("station,taken on,count\n", EmptyFile, "The file holds no readings."),
        ("station,count\nCard 1,85\n", ColumnsMissing, "doesn't name taken on."),
        ("taken on\n2026-06-01\n", ColumnsMissing, "doesn't name station, count."),
        ("number,taken on,count\n1,2026-06-01,1\n", ColumnsMissing, "doesn't name station."),
        ("station,taken,day,count\nCard 1,1,1,1\n", ColumnsUnclear, "both mean taken on: taken, day."),
        ("station,taken on,count,colour\nCard 1,2026-06-01,1,\n", ColumnUnknown, "Nothing here is called colour."),
        ("station,taken on,count,\nCard 1,2026-06-01,1,x\n", ColumnUnknown, "called (column 4)."),
        ("Card 1,2026-06-01,85\nCard 2,2026-06-01,85\n", ColumnUnknown, "Card 1, 2026-06-01, 85"),
        ('station,taken on,count\n"' + "x" * 200_000, NotATable, "a quotation mark is opened and never closed"),
        ("station,taken on,count\nCard 1,2026-06-01,8\x005\n", HoldsNul, "line 2 holds a NUL character"),
    ],
)
def test_a_file_that_is_no_table_is_refused(text, error, said):
    with pytest.raises(error) as refused:
        read_csv(text.encode())
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("station,taken on,count,weather\nCard 1,2026-06-01,1,niño\n".encode("latin-1"), "byte 0xF1 (line 2)"),
        (PLAIN.encode("utf-16"), "byte 0xFF (line 1)"),
        (b"PK\x03\x04\xff\xfe", "byte 0xFF (line 1)"),
    ],
)
def test_bytes_that_are_not_utf8_are_refused_with_a_way_out(content, said):
    with pytest.raises(NotUtf8) as refused:
        read_csv(content)
    assert said in str(refused.value)
    assert 'Save it again as "CSV UTF-8"' in str(refused.value)


def test_five_megabytes_and_fifty_thousand_rows_are_the_most():
    row = "Card 1,2026-06-01,85\n"
    with pytest.raises(FileTooLarge, match="larger than 5 MB"):
        read_csv(("station,taken on,count\n" + "x" * (5 * 1024 * 1024)).encode())
    with pytest.raises(TooManyRows, match="more than 50,000 readings"):
        read_csv(("station,taken on,count\n" + row * 50_001).encode())
    assert len(columns("station,taken on,count\n" + row * 50_000)) == 50_000


def test_an_order_of_our_own_making_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="order is one of"):
        read_csv(PLAIN.encode(), order="year_first")


def test_a_card_left_up_and_then_replaced_hangs_no_more(northfield, anna):
    text = (
        "station,hung on,taken on,count,missing\n"
        "Card 1,2026-05-18,2026-05-25,,\n"
        "Card 1,2026-05-25,2026-06-01,40,\n"
        "Card 2,2026-05-25,2026-06-01,,not visited\n"
    )
    with acting(anna):
        assert take(northfield, text).stored == 3
        assert Placement.objects.count() == 2
        assert Reading.objects.get(station__number=1, reason="not_visited").placement_id is None
        # Card 2 hangs still.
        assert Reading.objects.get(station__number=2).placement_id is not None
        assert take(northfield, text).known == 3
    assert chain_holds(northfield)


def test_carla_brings_no_file_to_northfield(northfield, carla):
    with acting(carla), pytest.raises(Missing):
        take(northfield, PLAIN)
    assert nothing_stored(northfield)
