import re
from datetime import date, timedelta

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile

from farms.ids import uuid7
from monitoring.models import Reading
from server import imports
from tests.cast import NOW, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
GOOD = b"station,hung on,taken on,count\nCard 1,2026-05-25,2026-06-01,41\nCard 2,2026-05-25,2026-06-01,lost\n"
BAD = GOOD + b"Card 3,2026-05-25,2026-06-01,many\nCard 77,2026-05-25,2026-06-01,3\n"


def look(client, farm, content, **fields):
    return client.post(at("import", farm), {"file": SimpleUploadedFile("counts.csv", content), **fields})


def store(client, page):
    action = re.search(r'action="(/farms/[^"]*/file/[^"]*)"', page.content.decode())[1]
    return client.post(action, follow=True)


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
    stored = words(store(client, page))
    assert "2 counts stored." in stored and "2 rows were left out." in stored
    assert count(northfield) == 2


def large():
    """Two bad rows among 2,400."""
    days = [date(2026, 4, 6) + timedelta(days=1 + number) for number in range(56)]
    lines = [f"Card {card},{day - timedelta(days=1)},{day},{card}" for day in days for card in range(1, 6)]
    more = [f"Card 77,2026-05-25,2026-06-01,{number}" for number in range(2_120)]
    return "\n".join(["station,hung on,taken on,count", *lines, *more]).encode()


@pytest.fixture
def rung(monkeypatch):
    heard = []
    monkeypatch.setattr(imports, "ring", lambda task, waiting: heard.append((task, waiting)))
    return heard


def test_a_large_file_shows_how_far_it_is_and_then_what_came_of_it(
    browser, anna, northfield, rung, django_capture_on_commit_callbacks
):
    client = browser(anna)
    with django_capture_on_commit_callbacks(execute=True):
        shown = store(client, look(client, northfield, large()))
    ((task, waiting),) = rung
    assert (task, count(northfield)) == ("do_import", 0)
    body = shown.content.decode()
    assert "It waits for its turn." in words(shown) and '<progress id="so-far"></progress>' in body
    # Without scripts the page loads itself anew.
    assert '<noscript><meta http-equiv="refresh"' in body and "import-progress.js" in body
    address = shown.redirect_chain[-1][0]
    run = imports.begin(waiting, NOW)
    assert imports.go_on(run, NOW)
    assert 'value="0" max="2400"' in client.get(address).content.decode()
    while imports.go_on(run, NOW):
        pass
    done = client.get(address)
    told = words(done)
    assert "<progress" not in done.content.decode() and "refresh" not in done.content.decode()
    assert "New counts 280" in told and "Rows left out 2,120" in told and "And 2,020 more rows." in told
    assert count(northfield) == 280
    assert "280 counts stored, 2120 rows left out" in words(client.get(at("import", northfield)))


def test_a_large_file_that_is_refused_says_why(browser, anna, northfield, rung, django_capture_on_commit_callbacks):
    client = browser(anna)
    page = look(client, northfield, large())
    with django_capture_on_commit_callbacks(execute=True):
        address = store(client, page).redirect_chain[-1][0]
    with as_factory():
        imports.Import.objects.update(state="refused", problem={"detail": "So it is."}, ended_at=NOW)
    assert "The file was not stored So it is." in words(client.get(address))
    assert "not stored to the end" in words(client.get(at("import", northfield)))


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
