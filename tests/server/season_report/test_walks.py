"""Fly walks in the report: what was looked at without a find, what was corrected, and whose name never leaves."""

from datetime import date
from typing import Any

import pytest

from farms.ids import uuid7
from farms.ledger import Actor
from farms.models.chain import ActorKind
from monitoring.rules.walk import FindingSent, Said
from monitoring.selectors import findings_of
from monitoring.services import FindingMended, StepSent, WalkSent, correct_finding, record_step, record_walk
from server.season_report.blocks import Report, Table
from tests.cast import acting
from tests.server.evidence.scene import noon

pytestmark = pytest.mark.django_db
DAY = date(2026, 5, 12)
WHOM = "Wanda Worker"


@pytest.fixture
def walked(northfield: Any, anna: Any, dana: Any, cards: Any, calf_barn: Any) -> Any:
    """Four places: two with nothing, one followed until it was gone, one noted by mistake."""
    staff, adviser = Actor(ActorKind.FARM_STAFF, anna.id), Actor(ActorKind.ADVISER, dana.id)
    sent = (
        FindingSent(uuid7(), "gutters", nothing=True, facility=calf_barn),
        FindingSent(uuid7(), "other", nothing=True, facility=calf_barn, said=Said("the old pump")),
        FindingSent(
            uuid7(), "waterers", material="bedding", moisture="wet", larvae="many", pupae="none", facility=calf_barn,
            due_on=date(2026, 5, 14), said=Said(to_do="mend the float", by_whom=WHOM),
        ),
        FindingSent(uuid7(), "feed_bunks", moisture="dry"),
    )  # fmt: skip
    with acting(anna):
        record_walk(farm=northfield, sent=WalkSent(uuid7(), DAY, sent, calf_barn, cards[3]), actor=staff, now=noon(DAY))
        found = {row.place: row for row in findings_of(northfield)}
        record_step(finding=found["waterers"], step=StepSent("done", DAY), actor=staff, now=noon(DAY))
        wrong = FindingMended(found["feed_bunks"], "noted twice", None)
        correct_finding(farm=northfield, mended=wrong, actor=staff, now=noon(DAY))
    with acting(dana):
        later = date(2026, 5, 20)
        record_step(finding=found["waterers"], step=StepSent("gone", later), actor=adviser, now=noon(later))
    return northfield


def tables(report: Report) -> dict[str, list[list[Any]]]:
    (section,) = [each for each in report.sections if each.key == "walks"]
    return {block.name: [list(row) for row in block.rows] for block in section.blocks if isinstance(block, Table)}


def test_what_was_looked_at_and_found_and_what_became_of_it(walked, made):
    told = tables(made(walked))
    assert told["Walks"] == [[DAY, "Calf barn", "Card 4", 3, "Gutters; another place", "Farm staff"]]
    assert told["Places found"] == [
        [
            DAY, "Under waterers, Calf barn", "Bedding, wet, many maggots, no pupae", "By May 14, 2026",
            "Done, May 12, 2026 (farm staff); looked again: gone, May 20, 2026 (adviser)", "Farm staff",
        ]
    ]  # fmt: skip
    ((day, was, became, _when, by),) = told["Findings corrected"]
    assert (day, was, became, by) == (DAY, "Along feed bunks: dry", "Noted by mistake", "Farm staff")


def test_what_people_wrote_is_told_by_the_owner_s_tick_and_by_whom_never(walked, made):
    without, with_words = str(tables(made(walked))), str(tables(made(walked, names=True)))
    for said in ("mend the float", "old pump"):
        assert said not in without.lower() and said in with_words.lower()
    assert WHOM not in without + with_words


def test_a_time_without_a_walk_says_so(walked, made):
    report = made(walked, since=date(2026, 5, 21))
    (section,) = [each for each in report.sections if each.key == "walks"]
    assert section.blocks[-1].text == "No fly walk is noted for this time."


@pytest.mark.parametrize("outline", ["farm", "audit", "neighbor", "organic"])
def test_each_outline_has_them_where_it_needs_them(walked, made, outline):
    keys = [section.key for section in made(walked, outline=outline).sections]
    before = {"farm": "charts", "audit": "charts", "neighbor": "charts", "organic": "prevention"}
    assert keys[keys.index("walks") - 1] == before[outline]
