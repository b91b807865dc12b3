"""What the round's scripts work out without signal is what the service says: the end, numbers, cups, big jumps.

Held to monitoring.selectors.results and server.web.round_end on invented rounds, in one browser without a server.
"""

from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from uuid import UUID

import numpy as np
import pytest

from alerts.wording import amount
from farms.models import Facility, Farm
from monitoring.methods import METHODS
from monitoring.models import Reading, Siting, Station
from monitoring.selectors import pooled_result
from server import web
from server.web.forms.count import FLIES_IN_A_CUP
from server.web.round_end import look_here
from server.web.round_facts import JUMP, end_facts, reading_fact
from tests.full import FULL
from tests.journeys.chromium import chromium

pytestmark = pytest.mark.browser
SCRIPTS = Path(web.__file__).parent / "static" / "web"
SITE = "http://scripts.invalid/"
DAY = date(2026, 6, 1)
LEVELS = (100.0, 250.0, 10.0, 2.3, 7.0, 75.0, 3.0, None)
ALL_OF_IT = """async ([site, name, cases]) => {
  const found = await import(site + "round/" + name + ".js");
  return cases.map(({ what, args }) => found[what](...args));
}"""


def id_of(number):
    return UUID(int=number)


@pytest.fixture(scope="module")
def scripts():
    """Asks a module of the round's scripts for its answers to many cases at once."""
    with chromium() as browser:
        page = browser.new_page()
        page.route(f"{SITE}**", served)
        page.goto(SITE)

        def answers(name, what, cases):
            return page.evaluate(ALL_OF_IT, [SITE, name, [{"what": what, "args": args} for args in cases]])

        yield answers


def served(route):
    path = SCRIPTS / route.request.url.removeprefix(SITE)
    if path.suffix == ".js":
        route.fulfill(body=path.read_text(), content_type="text/javascript")
    else:
        route.fulfill(body="<!doctype html><html lang='en'><title>scripts</title>", content_type="text/html")


def invented_round(rng):
    """Stations of a farm, how they stand, their readings of one walk, and the levels that apply."""
    farm, stations, readings = Farm(id=id_of(1)), [], []
    for place in range(rng.integers(1, 4)):
        kind = rng.choice(["calf_barn", "parlor", "other"])
        facility = Facility(farm=farm, id=id_of(100 + place), name=f"Barn {place}", kind=kind)
        for method in rng.permutation(list(METHODS))[: rng.integers(1, 4)]:
            mean = rng.choice([0.3, 4, 30])
            for number in range(1, rng.integers(2, 8)):
                stations.append(a_station(rng, facility, str(method), len(stations) + 1, number))
                readings += [a_reading(rng, stations[-1], mean) for _ in range(rng.choice([1, 1, 1, 2]))]
    levels = {(each.facility_id, each.method): rng.choice(LEVELS) for each in stations}
    return stations, readings, levels


def a_station(rng, facility, method, key, number):
    station = Station(farm=facility.farm, id=id_of(1000 + key), facility=facility, method=method, number=number)
    near = str(rng.choice(["nothing", "milk", "feed", "water"]))
    station.siting = Siting(windy=bool(rng.integers(2)), near=near) if rng.integers(4) else None
    return station


def a_reading(rng, station, mean):
    known = {"farm": station.farm, "station": station, "method": station.method, "taken_on": DAY, "how": "counted"}
    if rng.random() < 0.15:
        return Reading(**known, id=id_of(int(rng.integers(1 << 60))), reason="lost", fraction=Decimal(1))
    if station.method == "leg":
        animals = rng.poisson(rng.gamma(1.4, mean / 1.4, rng.integers(1, 16))).tolist()
        counted = {"animals": animals, "count": sum(animals), "fraction": Decimal(1)}
    else:
        part = Decimal(str(rng.choice(["1", "1", "1", "0.5", "0.25", "0.125", "0.3333"])))
        hung_on = DAY - timedelta(days=int(rng.choice([7, 7, 7, 5, 6, 14, 21])))
        # Often a round number, so that means lie on their levels.
        count = int(rng.choice([rng.negative_binomial(1.5, 1.5 / (1.5 + mean)), 0, 7, 10, 75, 100, 250]))
        counted = {"count": count, "fraction": part, "hung_on": hung_on, "at_least": bool(rng.random() < 0.1)}
    return Reading(**known, id=id_of(int(rng.integers(1 << 60))), **counted)


def told_by_the_service(readings, levels):
    results = pooled_result(readings, lambda method, facility_id: levels[facility_id, method])
    return [
        [str(each.facility.id), each.method.code, each.mean, each.at_least, each.missing, each.level, each.word,
         each.place.station.label if each.place else None]
        for each in results
    ], look_here(results)  # fmt: skip


def told_by_the_phone(results):
    names = ("building", "method", "mean", "atLeast", "missing", "level", "word")
    return [[*(each[name] for name in names), each["place"] and each["place"]["label"]] for each in results]


def test_the_end_of_a_round_is_worked_out_on_the_phone_as_by_the_service(scripts):
    rng = np.random.default_rng(7)
    rounds = [invented_round(rng) for _ in range(5000 if FULL else 400)]
    facts = [end_facts(stations, lambda m, f, own=levels: own[f, m]) for stations, _, levels in rounds]
    cases = [
        [each, [reading_fact(reading) for reading in readings]]
        for each, (_, readings, _) in zip(facts, rounds, strict=True)
    ]
    found = scripts("end", "resultsOf", cases)
    highest = scripts("end", "highestOf", [[each] for each in found])
    differ, words = [], set()
    for each, own, top, (_, readings, levels) in zip(facts, found, highest, rounds, strict=True):
        expected, look = told_by_the_service(readings, levels)
        phone = told_by_the_phone(own)
        if phone != [[*row[:2], pytest.approx(row[2], rel=1e-12) if row[2] is not None else None, *row[3:]]
                     for row in expected]:  # fmt: skip
            differ.append((expected, phone))
        place = top and top["place"]
        said = top and [each["buildings"][top["building"]]["phrase"], place["label"] if place else "",
                        place["question"] if place else ""]  # fmt: skip
        if said != (look and [look.building, look.station, look.question]):
            differ.append((look, said))
        words |= {row[6] for row in expected}
    assert differ == []
    # The rounds were of all kinds, so that the comparison says something.
    assert words == {"below", "near", "over", "none"}
    assert any(row[2] == row[5] for _, readings, levels in rounds for row in told_by_the_service(readings, levels)[0])


def test_a_number_is_written_as_the_pages_write_it(scripts):
    rng = np.random.default_rng(3)
    values = [0.0, 0.25, 0.35, 2.45, 2.5, 9.95, 9.96, 12.5, 13.5, 100.4, 1234.0, 1234567.5]
    values += (rng.integers(0, 4000, 300) / rng.choice([3, 7, 8, 20, 40], 300)).tolist()
    marks = {"decimal": ".", "group": ","}
    for beside in (None, 100.0, 2.3):
        found = scripts("numbers", "amount", [[value, marks, beside] for value in values])
        assert found == [amount(value, beside=beside) for value in values]
    assert scripts("numbers", "amount", [[1234.5, {"decimal": ",", "group": "\xa0"}]]) == ["1\xa0234"]


def test_cups_of_flies_are_the_flies_that_the_service_stores(scripts):
    typed = [str(Decimal(hundredths) / 100) for hundredths in (*range(300), 1050, 2025)]
    found = scripts("cups", "cupsOf", [[text] for text in typed])
    assert found == [round(Decimal(text) * FLIES_IN_A_CUP) for text in typed]
    assert scripts("cups", "cupsOf", [["1,5"], ["two"], [""], ["-1"], ["1.555"]]) == [375, None, None, None, None]


def a_count(count, *, days=7, part=(1, 1), at_least=False):
    return {"count": count, "exposure": days, "part": list(part), "at_least": at_least}


# Worked out by hand: four times or a quarter of the last one in 7 days, and 20 apart.
@pytest.mark.parametrize(
    ("now", "last", "asked"),
    [
        (a_count(400), a_count(40), True),
        (a_count(160), a_count(40), False),
        (a_count(161), a_count(40), True),
        (a_count(10), a_count(40), False),
        (a_count(9), a_count(40), True),
        (a_count(19), a_count(0), False),
        (a_count(20), a_count(0), True),
        # 161 in 14 days are 80.5 in 7; 61 on a quarter are 244.
        (a_count(161, days=14), a_count(40), False),
        (a_count(61, part=(1, 4)), a_count(40), True),
        # "At least 40" may have been 400; "at least 9" may be 40.
        (a_count(400), a_count(40, at_least=True), False),
        (a_count(9), a_count(40, at_least=True), True),
        (a_count(9, at_least=True), a_count(40), False),
        (a_count(400, at_least=True), a_count(40), True),
        (a_count(None), a_count(40), False),
        (a_count(400), None, False),
    ],
)
def test_a_big_jump_is_asked_about(scripts, now, last, asked):
    rule = {"times": JUMP["times"], "apart": JUMP["apart"]["card"]}
    assert scripts("jump", "isBigJump", [[now, last, {"per": 7}, rule]]) == [asked]
