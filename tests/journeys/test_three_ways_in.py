"""The same season through a file, through the API and through the form gives the same assessments to the last digit."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from alerts.models import Assessment
from farms import services
from farms.ids import uuid7
from farms.models.access import TokenScope
from monitoring.models import Station
from tests.alerts.scene import check, monday
from tests.cast import acting, as_factory, make_facility, make_farm, make_stations
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db

# Seven weeks of five cards; a word is the reason why there is no count, a pair what was counted on a quarter.
SEASON = [
    [31, 40, 22, 35, 28],
    [38, "lost", 25, 41, 30],
    [52, 61, 33, 47, 39],
    [70, 66, 41, "wet", 51],
    [88, 91, 60, 79, 64],
    [120, (33, "0.25"), 77, 104, 90],
    [161, 170, 99, 131, 117],
]
FIGURES = (
    "week", "mean", "low", "high", "devices", "missing", "few_devices", "result", "trend", "growth", "growth_low",
    "growth_high", "p_value", "weeks_observed",
)  # fmt: skip


@pytest.fixture
def farms(group, region, anna):
    made = {way: make_farm(f"By {way}", region, anna) for way in ("form", "api", "file")}
    for farm in made.values():
        make_stations(make_facility(farm, "Calf barn", "calf_barn", 1), "card", range(1, 6))
    return made


@pytest.fixture
def clock(settings, tmp_path):
    """Move the service's clock to noon UTC of a day."""
    settings.CLOCK_FILE = str(tmp_path / "clock")

    def move(day):
        (tmp_path / "clock").write_text(datetime.combine(day, time(18), UTC).isoformat())

    return move


def cards(farm):
    with as_factory():
        return list(Station.objects.filter(farm_id=farm.id).order_by("number"))


def program(farm, anna):
    now = timezone.now()
    with acting(anna):
        _, key = services.make_token(
            farm=farm, name="Program", scope=TokenScope.WRITE, by=anna, expires_at=now + timedelta(days=9), now=now
        )
    return Client(headers={"authorization": f"Bearer {key}"})


def by_form(farm, anna, clock):
    client = Client()
    client.force_login(anna)
    clock(monday(0))
    assert Sheet(client, farm).send().status_code == 302
    for week, counts in enumerate(SEASON):
        clock(monday(week + 1))
        sheet = Sheet(client, farm)
        for card, found in zip(cards(farm), counts, strict=True):
            sheet.type(card, **typed(found))
        answer = sheet.send()
        assert answer.status_code == 302, answer.content.decode()


def typed(found):
    if isinstance(found, str):
        return {"reason": found}
    count, part = found if isinstance(found, tuple) else (found, "1")
    return {"count": str(count), "part": part}


def by_api(farm, anna, clock):
    client = program(farm, anna)
    for week, counts in enumerate(SEASON):
        day = monday(week + 1)
        clock(day)
        found = zip(cards(farm), counts, strict=True)
        body = {"walked_on": str(day), "readings": [sent(card, each, monday(week)) for card, each in found]}
        answer = client.put(f"/api/v1/farms/{farm.id}/rounds/{uuid7()}", body, content_type="application/json")
        assert answer.status_code == 201, answer.content


def sent(card, found, hung_on):
    reading = {"id": str(uuid7()), "station_id": str(card.id), "hung_on": str(hung_on)}
    if isinstance(found, str):
        return reading | {"reason": found}
    if isinstance(found, tuple):
        return reading | {"count": found[0], "how": "part", "fraction": float(found[1])}
    return reading | {"count": found}


def by_file(farm, anna, clock):
    clock(monday(len(SEASON)))
    lines = ["station;hung on;taken on;count;part;reason"]
    for week, counts in enumerate(SEASON):
        for number, found in enumerate(counts, start=1):
            count, part = found if isinstance(found, tuple) else (found, "")
            seen = f";;{found}" if isinstance(found, str) else f"{count};{part.replace('.', ',')};"
            lines.append(f"Card {number};{monday(week):%d.%m.%Y};{monday(week + 1):%d.%m.%Y};{seen}")
    answer = program(farm, anna).post(
        f"/api/v1/farms/{farm.id}/imports?order=day_first", "\n".join(lines).encode(), content_type="text/csv"
    )
    assert answer.status_code == 200, answer.content
    assert answer.json()["stored"] == sum(map(len, SEASON))


def assessments(farm):
    with as_factory():
        rows = Assessment.objects.filter(farm_id=farm.id, method="card").order_by("week", "facility_id")
        return [(row.facility_id is None, *(getattr(row, name) for name in FIGURES)) for row in rows]


def test_a_file_the_api_and_the_form_give_the_same_assessments_to_the_last_digit(farms, group, anna, clock):
    by_form(farms["form"], anna, clock)
    by_api(farms["api"], anna, clock)
    by_file(farms["file"], anna, clock)
    end = datetime.combine(monday(len(SEASON)), time(20), UTC)
    for week in range(len(SEASON)):
        check(group, monday(week), now=end)
    form, api, file = (sorted(assessments(farms[way]), key=str) for way in ("form", "api", "file"))
    assert len(form) == 2 * len(SEASON)
    assert form == api
    assert form == file
