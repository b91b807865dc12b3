"""The page to keep and the workbook: the same objects as on paper, whole, and harmless."""

import io
import re
from datetime import datetime
from typing import Any

import openpyxl
import pytest

from server.season_report.page import report_page
from server.season_report.sheet import report_sheet
from tests.server.api.senders import session_of
from tests.server.season_report.test_paper import asked

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm(signed: Any, kinds_of_counts: None) -> Any:
    return signed.farm


def cells(content: bytes) -> list[tuple[Any, ...]]:
    book = openpyxl.load_workbook(io.BytesIO(content))
    return [row for sheet in book for row in sheet.iter_rows(values_only=True)]


def test_the_workbook_has_a_row_for_every_count_of_the_api(farm, made, anna):
    rows = cells(report_sheet(made(farm)))
    counted = [row for row in rows if len(row) > 10 and isinstance(row[3], datetime)]
    found = [(str(row[3].date()), str(row[4].date()), row[6]) for row in counted]
    standing = [row for row in asked(session_of(anna), farm, "readings?limit=500") if row["method"] != "leg"]
    expected = [(row["taken_on"], row["hung_on"], row["count"]) for row in standing]
    assert sorted(map(str, expected)) == sorted(map(str, found))


def test_the_workbook_s_tabs_are_the_report_s_sections(farm, made):
    report = made(farm, language="es")
    book = openpyxl.load_workbook(io.BytesIO(report_sheet(report)))
    assert book.sheetnames == [section.title.replace("?", " ")[:31].strip() for section in report.sections]


def test_the_page_asks_nobody_for_anything(farm, made):
    page = report_page(made(farm)).decode()
    assert not re.findall(r'(?:src|href)="(?!#)[^"]*"', page)
    assert "url(fonts" not in page and 'url("fonts' not in page and "<script" not in page
    assert "font/woff2;base64," in page


def test_the_page_tells_every_section_and_count_in_its_language(farm, made):
    report = made(farm, language="es")
    page = report_page(report).decode()
    assert '<html lang="es">' in page and all(f'id="{section.key}"' in page for section in report.sections)
    assert "13 abr 2026" in page and "Apr 13, 2026" not in page and "1\N{NO-BREAK SPACE}207" in page


def test_on_a_phone_a_table_of_sentences_has_each_value_with_its_column_s_name(farm, made):
    """Days and few words stay on one line elsewhere."""
    page = report_page(made(farm)).decode()
    assert '<table class="as-records">' in page and 'data-name="What became of the counts"' in page
    assert re.search(r'<td class="short"[^>]*>May 19, 2026</td>', page)


def test_what_people_typed_is_text_on_the_page_and_no_formula_in_the_workbook(farm, made, anna):
    words = "=1+1<script>alert(1)</script>"
    answer = session_of(anna).post(f"/api/v1/farms/{farm.id}/cards-kept", {"words": words, "from_on": "2026-05-21"})
    assert answer.status_code == 201
    report = made(farm)
    assert "<script>" not in report_page(report).decode() and "&lt;script&gt;" in report_page(report).decode()
    assert f"'{words}" in [value for row in cells(report_sheet(report)) for value in row]
