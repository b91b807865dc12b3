"""Tables of a farm's own, all invented: found out, understood, and refused with a sentence where they can't be."""

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel

from monitoring.csv_import import read_csv
from monitoring.csv_import.own import Choices, Grid, grids_of, guessed, understand, understood_before
from monitoring.csv_import.own.dates import parser_of
from monitoring.csv_import.own.understand import Understood
from monitoring.errors import ChoiceMissing, DatesUnclear, FileRefused, FileTooLarge, TooManyColumns, TooManyRows
from monitoring.rules.cells import WrongCell

LONG = """Fly counts; calf side; season 2026

Fecha;Tarjeta;Nave;Conteo;Observaciones
07/06/2026;1;Becerreras;41;
07/06/2026;2;Becerreras;;perdida
14/06/2026;1;Becerreras;63,0;mucho viento
14/06/2026;2;Becerreras;300+;
Total;;;404;
"""
WIDE = """Date,Card 1,Card 2,Card 3,Total
6/14/26,41,-,NA,41
6/21/26,63,lost,,63
6/28/26,80,55,12,147
"""


def book(rows: Sequence[Sequence[Any]], title: str = "Counts", merged: Sequence[str] = ()) -> bytes:
    made = Workbook()
    sheet = made.active
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    for each in merged:
        sheet.merge_cells(each)
    written = io.BytesIO()
    made.save(written)
    return written.getvalue()


def by_proposals(content: bytes, **changed: Any) -> Understood:
    grids = grids_of(content)
    choices = replace(guessed(grids), **changed)
    return understand(grids[choices.sheet], choices)


def told(found: Understood) -> list[tuple[str, str, str, str]]:
    return [(line.station, str(line.hung_on), str(line.taken_on), line.count or line.reason) for line in found.lines]


def test_a_long_table_in_spanish_with_semicolons_and_a_title_above_it():
    for content in (LONG.encode(), LONG.encode("cp1252"), LONG.encode("utf-8-sig"), LONG.encode("utf-16")):
        found = by_proposals(content)
        assert told(found) == [
            ("Card 1", "2026-05-31", "2026-06-07", "41"),
            ("Card 2", "2026-05-31", "2026-06-07", "lost"),
            ("Card 1", "2026-06-07", "2026-06-14", "63,0"),
            ("Card 2", "2026-06-07", "2026-06-14", "300+"),
        ]
        assert {line.building for line in found.lines} == {"Becerreras"}
        assert [line.row for line in found.lines] == [4, 5, 6, 7] and found.passed_over == 1


def test_a_wide_table_with_month_first_proven_and_years_of_two_digits():
    found = by_proposals(WIDE.encode())
    assert told(found)[:3] == [
        ("Card 1", "2026-06-07", "2026-06-14", "41"),
        ("Card 2", "2026-06-07", "2026-06-14", "not visited"),
        ("Card 3", "2026-06-07", "2026-06-14", "not visited"),
    ]
    assert ("Card 3", "2026-06-14", "2026-06-28", "12") in told(found), "a cell left empty hung nowhere"
    assert found.words == {"-": 1, "na": 1, "": 1} and found.left_out == 1 and not found.refused


def test_day_and_month_are_never_guessed_silently():
    content = b"date,card,count\n03/04/2026,1,40\n"
    with pytest.raises(DatesUnclear, match="03/04/2026"):
        by_proposals(content)
    assert by_proposals(content, order="day_first").lines[0].taken_on == date(2026, 4, 3)
    assert by_proposals(content, order="month_first").lines[0].taken_on == date(2026, 3, 4)


def test_a_workbook_with_days_numbers_as_text_merged_cells_and_a_formula():
    content = book(
        [["Date", "Trap", "Flies"], [date(2026, 6, 7), 1, "250"], [None, 2, 31.0], [date(2026, 6, 14), "T-1", "=1+1"],
         [46194, 2, 0], ["Sum", None, "=SUM(C2:C5)"]],
        title="Traps", merged=["A2:A3"],
    )  # fmt: skip
    found = by_proposals(content)
    assert told(found) == [
        ("Trap 1", "2026-05-31", "2026-06-07", "250"),
        ("Trap 2", "2026-05-31", "2026-06-07", "31"),
        # Nobody's program stored a value beside the formula: there is none, and it isn't reckoned here.
        ("Trap 1", "2026-06-07", "2026-06-14", "not visited"),
        ("Trap 2", "2026-06-07", "2026-06-21", "0"),
    ]


def test_what_is_wrong_is_named_by_its_row_and_the_rest_is_kept():
    content = (
        b"date,card,count,days\n2026-06-07,1,41,7\n2026-06-31,2,5,7\n2026-06-07,door,5,7\n2026-06-07,3,wasps,7\n"
        b"2026-06-07,4,-3,7\n2026-06-07,5,5,a week\n,6,5,7\n"
    )
    found = by_proposals(content)
    assert len(found.lines) == 1
    assert [(bad.row, bad.column, bad.value) for bad in found.refused] == [
        (3, "date", "2026-06-31"), (4, "card", "door"), (5, "count", "wasps"), (6, "count", "-3"),
        (7, "days", "a week"), (8, "date", ""),
    ]  # fmt: skip
    assert all(bad.reason.endswith(".") for bad in found.refused)
    decided = by_proposals(content, words={"wasps": "spun"})
    assert ("Card 3", "2026-05-31", "2026-06-07", "spun") in told(decided)


def test_what_comes_out_is_a_file_of_the_fixed_format():
    table = read_csv(by_proposals(WIDE.encode()).content())
    assert not table.faults and list(table.columns.station[:2]) == [("card", 1), ("card", 2)]
    assert table.columns.count[0] == 41 and table.columns.reason[1] == "not_visited"


def test_an_empty_day_means_the_one_above_only_where_that_is_said():
    grids = grids_of(b"date,card,count\n2026-06-07,1,41\n,2,5\n")
    assert len(understand(grids[0], guessed(grids)).refused) == 1
    assert [line.taken_on.day for line in understand(grids[0], guessed(grids), as_above=True).lines] == [7, 7]


def test_what_a_table_needs_is_asked_for():
    grids = grids_of(b"a,b,c\n1,2,3\n")
    for meanings, missing in (
        (["", "", ""], "the day"), (["date", "", ""], "the card or trap"), (["date", "station", ""], "the count"),
    ):  # fmt: skip
        with pytest.raises(ChoiceMissing, match=missing):
            understand(grids[0], Choices(meanings=meanings))


def test_what_was_chosen_is_proposed_again_for_columns_of_the_same_names():
    names = ["Cuándo", "Cuál", "Cuántas"]
    kept = Choices(meanings=["date", "station", "count"], method="trap", words={"nada": "lost"}).as_kept(names)
    nothing = Choices(meanings=["", "", "", ""])
    again = understood_before(kept, nothing, ["Notas", "CUANTAS", "cual", "cuando"])
    assert again.meanings == ["", "count", "station", "date"]
    assert again.method == "trap" and again.words == {"nada": "lost"}
    assert understood_before(kept, nothing, ["w", "x", "y", "z"]) is nothing


def bomb() -> bytes:
    """Some kilobytes that unpack to two hundred megabytes."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
        with packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as part:
            for _ in range(50):
                part.write(b" " * (4 * 1024 * 1024))
    return written.getvalue()


def zipped() -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as packed:
        packed.writestr("holiday.txt", "nothing")
    return written.getvalue()


@pytest.mark.parametrize(
    ("content", "refusal", "says"),
    [
        (bomb(), FileRefused, "unpacks to more than 40 MB"),
        (zipped(), FileRefused, "no spreadsheet"),
        (b"PK\x03\x04 and then nothing", FileRefused, "no spreadsheet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", FileRefused, "Save it as .xlsx"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", FileRefused, "no spreadsheet"),
        (b"", FileRefused, "holds no readings"),
        (b" \n,,\n", FileRefused, "holds no readings"),
        (b"a" * (5 * 1024 * 1024 + 1), FileTooLarge, "5 MB"),
        (",".join(map(str, range(101))).encode(), TooManyColumns, "more than 100"),
        ((b"," * 100 + b"\n") * 16_000, TooManyRows, "50,000 readings"),
        (b"date,card,count\n" + b"\n" * 60_000 + b"2026-06-07,1,4\n", TooManyRows, "50,000 readings"),
    ],
)
def test_a_file_that_is_no_table_gets_a_full_sentence(content, refusal, says):
    with pytest.raises(refusal, match=says):
        grids_of(content)


def test_a_workbook_that_is_called_something_else_is_read_for_what_it_is():
    assert grids_of(book([["date", "card", "count"]]))[0].name == "Counts"


DAYS = st.dates(date(1955, 1, 1), date(2063, 12, 31))


@given(DAYS)
def test_a_day_written_in_any_way_that_names_its_parts_is_that_day(day):
    """Numbers of days against openpyxl's own conversion, an independent program (ECMA-376 part 1, 18.17.4)."""
    parse = parser_of([], "date", None)
    assert parse(str(int(to_excel(day, CALENDAR_WINDOWS_1900)))) == day
    if day > date(1959, 1, 1):
        assert parser_of([], "date", None, first_1904=True)(str(int(to_excel(day, CALENDAR_MAC_1904)))) == day
    months = ["enero", "feb", "Mar", "abril", "May", "junio", "Jul", "August", "sept", "oct", "noviembre", "dic"]
    month = months[day.month - 1]
    named = [f"{day.day} de {month} de {day.year}", f"{day.day}-{month}-{day.year}", f"{month} {day.day}, {day.year}"]
    for text in (*named, day.isoformat(), f"{day.isoformat()} 07:30:00", f"{day.day}.{day.month}.{day.year}"):
        assert parse(text) == day, text


@given(st.lists(DAYS, min_size=1, max_size=20), st.sampled_from(["day_first", "month_first"]))
def test_days_with_slashes_are_read_back_as_they_were_written_or_asked_about(days, order):
    texts = [
        f"{day.day}/{day.month}/{day.year}" if order == "day_first" else f"{day.month}/{day.day}/{day.year}"
        for day in days
    ]
    assert [parser_of(texts, "date", order)(text) for text in texts] == days
    try:
        parse = parser_of(texts, "date", None)
        read = [parse(text) for text in texts]
    except DatesUnclear:
        assert all(day.day <= 12 for day in days)
    else:
        assert read == days


@given(st.text(max_size=30))
def test_no_text_is_a_day_by_accident_or_breaks_the_reading(text):
    try:
        found = parser_of([text], "date", "day_first")(text)
    except WrongCell:
        return
    assert found is None or isinstance(found, date)


CELLS = st.one_of(
    st.integers(0, 999_999).map(str), st.sampled_from(["", "-", "lost", "wet", "wasps", "12+", "1/4", "x"])
)


@given(st.lists(st.tuples(DAYS, st.integers(1, 30), CELLS), min_size=1, max_size=25))
def test_every_row_is_taken_refused_or_left_out_and_none_twice(rows):
    body = [[day.isoformat(), str(number), cell] for day, number, cell in rows]
    grid = Grid("", [["date", "card", "count"], *body])
    found = understand(grid, guessed([grid]))
    places = [line.row for line in found.lines] + [bad.row for bad in found.refused]
    assert sorted(places) == list(range(2, len(rows) + 2)) and found.left_out == found.passed_over == 0
    for line in found.lines:
        day, number, cell = rows[line.row - 2]
        assert (line.taken_on, line.number) == (day, number)
        assert line.count in (cell, "") and (line.reason != "") == (line.count == "")
        assert line.hung_on is not None and line.hung_on <= day
    table = read_csv(found.content()) if found.lines else None
    assert table is None or [fault for fault in table.faults if fault.column == "count"] == []


@given(st.binary(max_size=400))
def test_any_bytes_are_a_table_or_a_sentence(content):
    try:
        grids = grids_of(content)
    except (FileRefused, FileTooLarge):
        return
    assert all(len(row) == grid.width for grid in grids for row in grid.rows)


def test_a_wide_table_with_more_counts_than_are_taken_is_refused():
    header = ",".join(["date", *(f"Card {number}" for number in range(1, 99))])
    rows = [",".join([str(date(2020, 1, 1) + timedelta(days=day)), *["4"] * 98]) for day in range(520)]
    with pytest.raises(TooManyRows):
        by_proposals("\n".join([header, *rows]).encode())


def test_weeks_show_a_wrong_year():
    found = by_proposals(b"date,card,count\n2026-06-07,1,40\n2062-06-07,1,41\n2026-06-07,2,60\n")
    weeks = [(each["week"], each["counts"], each["mean"]) for each in found.weeks()]
    assert weeks[0] == (date(2026, 6, 1), 2, 50.0) and weeks[1][0].year == 2062


def test_the_bare_number_of_a_day_is_no_count_of_cards():
    """A column of counts beside a column of days: numbers from 20,000 on are days only in a column of days."""
    found = by_proposals(b"date,card,count\n46180,1,46180\n")
    assert found.lines[0].taken_on == date(1899, 12, 30) + timedelta(days=46180) and found.lines[0].count == "46180"
