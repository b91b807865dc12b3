import re

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile

from farms.ids import uuid7
from monitoring.models import Reading
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
GOOD = b"station,hung on,taken on,count\nCard 1,2026-05-25,2026-06-01,41\nCard 2,2026-05-25,2026-06-01,lost\n"
BAD = GOOD + b"Card 3,2026-05-25,2026-06-01,many\nCard 77,2026-05-25,2026-06-01,3\n"


def look(client, farm, content, **fields):
    return client.post(at("import", farm), {"file": SimpleUploadedFile("counts.csv", content), **fields})


def store(client, page):
    action = re.search(r'action="(/farms/[^"]*/file/[^"]*)"', page.content.decode())[1]
    partial = {"partial": "yes"} if 'name="partial"' in page.content.decode() else {}
    return client.post(action, partial, follow=True)


def count(farm):
    with as_factory():
        return Reading.objects.filter(farm=farm).count()


def test_a_file_is_looked_through_first_and_stored_when_somebody_says_so(browser, anna, northfield):
    client = browser(anna)
    page = look(client, northfield, GOOD)
    assert "2 new counts, 1 round. Nothing is stored yet." in words(page)
    assert count(northfield) == 0
    assert "2 counts stored." in words(store(client, page))
    assert count(northfield) == 2


def test_every_bad_cell_is_named_by_row_and_column_and_the_good_rows_can_be_stored(browser, anna, northfield):
    client = browser(anna)
    page = look(client, northfield, BAD)
    told = words(page)
    assert re.search(r"4 count many", told) and "card 77" in told.casefold()
    assert "Store the good rows only" in told
    store(client, page)
    assert count(northfield) == 2


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xfe\x00count", b"just a line", b"x" * (5 * 1024 * 1024 + 1)],
    ids=["empty", "bytes", "line", "6 MB"],
)
def test_what_is_no_table_is_refused_with_what_to_do(browser, anna, northfield, content):
    refused = look(browser(anna), northfield, content)
    assert refused.status_code == 422
    assert count(northfield) == 0


def test_dates_that_could_mean_two_days_need_their_order(browser, anna, northfield):
    content = b"station,hung on,taken on,count\nCard 1,5/1/2026,5/8/2026,41\n"
    client = browser(anna)
    assert look(client, northfield, content).status_code == 422 or "1 new count" not in words(
        look(client, northfield, content)
    )
    assert "1 new count" in words(look(client, northfield, content, order="month_first"))


def test_a_file_that_waited_too_long_is_asked_for_again(browser, anna, northfield):
    client = browser(anna)
    page = look(client, northfield, GOOD)
    cache.clear()
    assert "The file waited too long." in words(store(client, page))
    assert count(northfield) == 0


def test_nobody_stores_somebody_elses_file(browser, anna, dana, northfield):
    page = look(browser(anna), northfield, GOOD)
    assert "The file waited too long." in words(store(browser(dana), page))
    made_up = browser(anna).post(at("store_file", northfield, file_id=uuid7()), follow=True)
    assert "The file waited too long." in words(made_up)
    assert count(northfield) == 0
