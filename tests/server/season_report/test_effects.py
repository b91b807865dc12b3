"""Did it work? The report tells what the farm's page and the API tell, work by work and kind by kind."""

from datetime import date, timedelta
from typing import Any

import pytest

from alerts.wording.work_review import review_in_words
from farms.selectors import facilities_of
from monitoring.selectors import review_of_works
from server.season_report.blocks import Report, Table
from server.season_report.outlines import OUTLINES
from server.season_report.paper import report_pdf
from tests.alerts.scene import monday
from tests.cast import NOW, acting
from tests.monitoring.test_work_effects import work
from tests.server.api.senders import session_of
from tests.server.season_report.test_paper import text_of
from tests.server.web.test_work import cleaned

__all__ = ["cleaned"]
pytestmark = pytest.mark.django_db
MINUS = "\N{MINUS SIGN}"


def effects(report: Report) -> Any:
    (section,) = [each for each in report.sections if each.key == "effects"]
    return section.blocks


def per_cent(change: float) -> str:
    return f"{change:+.0f}".replace("-", MINUS) if round(change) else "0"


def test_each_figure_of_the_api_stands_on_paper(cleaned, anna):
    answer = session_of(anna).get(f"/api/v1/farms/{cleaned.id}/report.pdf?language=en")
    assert answer.status_code == 200, answer.content
    told = text_of(answer.content)
    kinds = session_of(anna).get(f"/api/v1/farms/{cleaned.id}/work-review").json()["kinds"]
    (found,) = [row for kind in kinds for row in kind["works"] if row["effect"] is not None]
    figures = tuple(per_cent(found[name]) for name in ("effect", "low", "high"))
    assert "3 weeks before and 3 after: {} % ({} to {} %).".format(*figures) in told
    assert "Since then about half as many as the heifer barn would lead to expect (" in told
    assert "Clean-out 2 times, of which 1 could be told Only one could be told, and one is no figure for all" in told


def test_the_words_are_those_of_the_farm_s_page(cleaned, made, anna):
    blocks = effects(made(cleaned))
    with acting(anna):
        review = review_of_works(cleaned, monday(0) - timedelta(weeks=1), NOW.date(), on=NOW.date())
        kinds = review_in_words(review, {each.id: each for each in facilities_of(cleaned)})
    together, each_one = [block.rows for block in blocks if isinstance(block, Table)]
    assert [row[2] for row in together] == [kind.together for kind in kinds]
    deeds = [each for kind in kinds for each in kind.deeds]
    assert deeds and [row[3] for row in each_one] == [each.since for each in deeds]
    assert all(each.needed in row[4] and each.told_from in row[4] for row, each in zip(each_one, deeds, strict=True))


def test_seasons_read_at_once_are_told_as_each_by_itself(cleaned, anna, calf_barn):
    """Two cuts of the days, each compared with a review of its own."""
    work(cleaned, monday(5), calf_barn, "bedding")
    first, cut, last = monday(0), monday(4), monday(8)
    with acting(anna):
        whole = review_of_works(cleaned, first, last, on=NOW.date())
        for begins, ends in ((first, cut), (cut + timedelta(days=1), last)):
            alone = review_of_works(cleaned, begins, ends, on=NOW.date())
            part = whole.among(lambda day, begins=begins, ends=ends: begins <= day <= ends)
            assert part.kinds == alone.kinds


def test_what_was_done_outside_of_a_season_stands_apart(cleaned, made, calf_barn):
    work(cleaned, date(2026, 3, 20), calf_barn, "screens")
    heads = [block.text for block in effects(made(cleaned, since=date(2026, 3, 1))) if hasattr(block, "text")]
    assert heads.index("Season 2026") < heads.index("Outside the seasons")


def test_nothing_done_is_said_so(northfield, made):
    (words,) = effects(made(northfield))
    assert words.text == "Nothing is noted as done in this time."


@pytest.mark.parametrize("outline", OUTLINES)
def test_every_outline_has_it_after_what_was_applied(cleaned, made, outline):
    keys = [section.key for section in made(cleaned, outline=outline).sections]
    assert keys.index("effects") > max(keys.index(each) for each in keys if each in ("applications", "materials"))


def test_it_is_set_in_spanish(cleaned, made):
    assert "¿" in text_of(report_pdf(made(cleaned, language="es"), "letter"))
