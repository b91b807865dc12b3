"""Lists page by page: no row is lost and none comes twice, whatever arrives or is corrected in between."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from farms.ids import uuid7
from farms.models import Farm, User
from monitoring.models import Reading, Station
from server.api.pagination import Cursor, beyond
from tests.cast import as_factory
from tests.server.api.bodies import TODAY, card_reading, round_body
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
SOME_ID = "0197d0c2-5c00-7000-8000-000000000001"


def send(sender: Sender, farm: Farm, readings: list[dict[str, Any]], **values: Any) -> None:
    answer = sender.put(f"/api/v1/farms/{farm.id}/rounds/{uuid7()}", round_body(readings, **values))
    assert answer.status_code == 201, answer.content


def week_of_cards(cards: list[Station], weeks_ago: int) -> tuple[list[dict[str, Any]], Any]:
    day = TODAY - timedelta(days=7 * weeks_ago)
    return [card_reading(card, hung_on=str(day - timedelta(days=7))) for card in cards], day


@pytest.fixture
def counted(program: Sender, northfield: Farm, cards: list[Station]) -> set[str]:
    """Four weeks of five cards each."""
    ids = set()
    for weeks_ago in (3, 2, 1, 0):
        readings, day = week_of_cards(cards, weeks_ago)
        send(program, northfield, readings, walked_on=day)
        ids |= {reading["id"] for reading in readings}
    return ids


def read_all(sender: Sender, address: str, between: Callable[[int], None] = lambda page: None) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    page: str | None = address
    number = 0
    while page:
        answer = sender.get(page)
        assert answer.status_code == 200, answer.content
        rows += answer.json()["results"]
        page, number = answer.json()["next"], number + 1
        if page:
            between(number)
    return rows


def test_rounds_that_arrive_while_pages_are_read_move_nothing(program: Sender, northfield: Farm, counted: set[str]):
    """All on one day, so that the day alone would not tell where a page ended."""
    for _ in range(5):
        send(program, northfield, [])
    there = {row["id"] for row in read_all(program, f"/api/v1/farms/{northfield.id}/rounds")}
    read = [
        row["id"]
        for row in read_all(
            program, f"/api/v1/farms/{northfield.id}/rounds?limit=2", lambda page: send(program, northfield, [])
        )
    ]
    assert len(read) == len(set(read))
    assert there <= set(read)


def test_a_reading_that_is_corrected_while_pages_are_read_is_neither_lost_nor_told_twice(
    program: Sender, northfield: Farm, counted: set[str]
):
    def correct_the_oldest(page: int) -> None:
        with as_factory():
            oldest = Reading.objects.current().filter(farm=northfield).order_by("taken_on", "id").first()
        assert oldest is not None
        path = f"/api/v1/farms/{northfield.id}/readings/{oldest.id}/corrections"
        # It moves ahead of where the pages are: read by its place alone, it would be missing.
        answer = program.post(
            path, {"id": str(uuid7()), "kind": "miscounted", "count": 7, "taken_on": str(TODAY - DAY)}
        )
        assert answer.status_code in (201, 422), answer.content

    found = read_all(program, f"/api/v1/farms/{northfield.id}/readings?limit=3", correct_the_oldest)
    assert {row["id"] for row in found} == counted
    assert len(found) == len(counted)


def test_pages_lead_back_as_well(program: Sender, northfield: Farm, counted: set[str]):
    path = f"/api/v1/farms/{northfield.id}/readings?limit=8"
    first = program.get(path).json()
    second = program.get(first["next"]).json()
    third = program.get(second["next"]).json()
    assert (first["previous"], third["next"], len(third["results"])) == (None, None, 4)
    assert program.get(third["previous"]).json()["results"] == second["results"]
    back = program.get(program.get(third["previous"]).json()["previous"]).json()
    assert (back["results"], back["previous"]) == (first["results"], None)


def test_a_copy_is_kept_up_to_date_in_the_order_of_arrival(
    program: Sender, northfield: Farm, cards: list[Station], counted: set[str]
):
    path = f"/api/v1/farms/{northfield.id}/readings?order=arrival&limit=4"
    copy = read_all(program, path)
    assert {row["id"] for row in copy} == counted
    assert [row["entry"] for row in copy] == sorted(row["entry"] for row in copy)
    corrected = copy[0]
    correction = {"id": str(uuid7()), "kind": "miscounted", "count": 7}
    program.post(f"/api/v1/farms/{northfield.id}/readings/{corrected['id']}/corrections", correction)
    new = read_all(program, f"{path}&after_entry={copy[-1]['entry']}")
    assert [(row["id"], row["corrects_id"]) for row in new] == [(correction["id"], corrected["id"])]


def test_readings_are_chosen_by_barn_round_and_whether_they_have_a_count(
    program: Sender, northfield: Farm, cards: list[Station], counted: set[str]
):
    path = f"/api/v1/farms/{northfield.id}/readings"
    round_id = program.get(f"/api/v1/farms/{northfield.id}/rounds").json()["results"][0]["id"]
    asked = {
        f"facility_id={cards[0].facility_id}": 20,
        f"facility_id={uuid7()}": 0,
        f"round_id={round_id}": 5,
        "counted=true": 20,
        "counted=false": 0,
    }
    assert {query: len(program.get(f"{path}?{query}").json()["results"]) for query in asked} == asked


@pytest.mark.parametrize(
    "cursor",
    [
        "nonsense", "", "AAAA", "W10", "bnVsbA",
        Cursor(("2026-06-01",)).text(),
        Cursor(("2026-06-01", "not an id")).text(),
        Cursor(("2026-06-31", SOME_ID)).text(),
        Cursor((None, None)).text(),
        Cursor(("2026-06-01", "\x00")).text(),
        Cursor((10**40, 10**40)).text(),
        Cursor(("2026-06-01", SOME_ID, "x")).text(),
        Cursor(("2026-06-01", SOME_ID), state=-(2**80)).text(),
    ],
    ids=range(13),
)  # fmt: skip
def test_a_cursor_that_is_not_ours_is_refused_with_a_sentence(reader: Sender, northfield: Farm, cursor: str):
    for noun in ("rounds", "readings"):
        answer = reader.get(f"/api/v1/farms/{northfield.id}/{noun}", {"cursor": cursor})
        assert_problem(answer, 422, "bad_query")


def test_a_cursor_tells_nothing_of_another_farm(reader: Sender, southmead: Farm, carla: User, northfield: Farm):
    """It holds the key of a row that its reader was shown, and names no farm."""
    theirs = f"/api/v1/farms/{southmead.id}/rounds"
    for _ in range(2):
        assert session_of(carla).put(f"{theirs}/{uuid7()}", round_body([])).status_code == 201
    following = session_of(carla).get(f"{theirs}?limit=1").json()["next"]
    (cursor,) = parse_qs(urlsplit(following).query)["cursor"]
    assert reader.get(f"/api/v1/farms/{northfield.id}/rounds", {"cursor": cursor}).json()["results"] == []


def test_a_moments_microseconds_are_in_the_cursor():
    key = Cursor.of(Cursor(("2026-06-01 12:00:00.123456+00:00", "x"), back=True).text()).key
    assert key == ("2026-06-01 12:00:00.123456+00:00", "x")


def test_a_key_of_another_length_belongs_to_another_order():
    with pytest.raises(ValueError, match="for each name"):
        beyond(Reading, ["-taken_on", "-id"], ("2026-06-01",))


def test_some_fields_only(reader: Sender, northfield: Farm, counted: set[str]):
    path = f"/api/v1/farms/{northfield.id}/readings"
    rows = reader.get(f"{path}?fields=id,count&limit=2").json()
    assert [set(row) for row in rows["results"]] == [{"id", "count"}] * 2
    assert "fields=id%2Ccount" in rows["next"]
    assert set(reader.get(f"/api/v1/farms/{northfield.id}?fields=name").json()) == {"name"}
    assert set(reader.get(f"{path}/{rows['results'][0]['id']}?fields=taken_on").json()) == {"taken_on"}


@pytest.mark.parametrize("path", ["", "/readings", "/facilities", "/trend"])
def test_a_field_that_does_not_exist_is_named_with_those_that_do(reader: Sender, northfield: Farm, path: str):
    answer = reader.get(f"/api/v1/farms/{northfield.id}{path}?fields=id,nmae")
    problem = assert_problem(answer, 422, "bad_query")
    assert (problem["errors"][0]["parameter"], problem["errors"][0]["code"]) == ("fields", "unknown_field")
