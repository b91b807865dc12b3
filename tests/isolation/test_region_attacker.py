"""Somebody with a farm of their own goes after the others' counts in the region's reports, for half a year.

They choose what they count before every cut-off, correct it two hundred times afterwards, join and leave, and ask
whatever can be asked. What is published does not change by a byte, and nobody's count can be worked out from it.
"""

import json
import re
import statistics
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from typing import Any

import numpy as np
import pytest
from django.core.cache import caches
from django.urls import reverse

from alerts.delivery.coordinator_report import queue_coordinator_reports
from alerts.delivery.digest import queue_digests
from alerts.delivery.message import message_of
from alerts.delivery.monday_list import queue_monday_lists
from alerts.delivery.region_bulletin import queue_region_bulletins
from alerts.models import CoordinatorReport, Digest, MondayList, RegionBulletin
from alerts.models.mail_choice import ChoiceWay
from alerts.selectors.mail_choices import bulletin_of
from alerts.services import choose_how_often
from farms import services
from farms.ids import uuid7
from farms.models import Consent, Farm, GroupMember, Region, User
from farms.models.access import ConsentKind, GroupRole
from monitoring.analysis.disclosure import before_rounding, word_range
from monitoring.analysis.disclosure_audit import Statement, Week
from monitoring.models import Contribution, Station, WeeklySummary
from tests.alerts.scene import check, check_time
from tests.cast import NOW, acting, as_factory, as_role, make_farm, make_user
from tests.isolation.asks import PLAIN, document
from tests.isolation.farm_tables import LAST_WEEK, fill_empty_tables, ids_stored, models_of_records
from tests.isolation.later_records import agreement_with, applied_on, webhook_of
from tests.isolation.markers import CSRF, content_of, readable
from tests.isolation.routes import routes
from tests.isolation.scene import FarmScene, adviser_of, in_group, records_of_a_season
from tests.monitoring.regional.scene import BEFORE, WEEK, agree, consenting_farms, publish, summary
from tests.server.api.bodies import card_reading, round_body
from tests.server.api.senders import Sender, session_of

FIRST = date(2026, 4, 13)
WEEKS, OTHERS, EDITS = 26, 13, 200
LEVEL = 100.0
MOST = 5_000
# The region's reports are read by a role and a connection of their own, which see only what is committed.
EVERYWHERE = pytest.mark.django_db(transaction=True, databases="__all__")


class Attacker:
    """Anna, who wants to know: her farm, her session, what she counted each week and what she was shown."""

    def __init__(self, anna: User, farm: Farm, card: Station) -> None:
        self.user, self.farm, self.card = anna, farm, card
        self.sender = session_of(anna)
        self.own: dict[date, float] = {}
        self.readings: list[dict[str, Any]] = []
        self.between = [0.0, float(MOST)]

    def chosen(self, number: int) -> int:
        """Nothing, as much as possible, or halfway between what was lower and what was upper so far."""
        return (0, MOST, int(sum(self.between) / 2))[number % 3]

    def count(self, monday: date, number: int) -> None:
        reading = card_reading(self.card, count=self.chosen(number), hung_on=str(monday - timedelta(days=1)))
        body = round_body([reading], walked_on=monday + timedelta(days=6))
        answer = self.sender.put(f"/api/v1/farms/{self.farm.id}/rounds/{uuid7()}", body)
        assert answer.status_code == 201, answer.content
        self.readings.append(reading)
        with acting(self.user):
            self.own[monday] = WeeklySummary.objects.get(farm_id=self.farm.id, week=monday, method="card").mean

    def learn(self, monday: date) -> None:
        """Whether the own count was in a lower or an upper third narrows where the border lies."""
        with acting(self.user):
            third = Contribution.objects.get(farm_id=self.farm.id, week=monday).third
        if third in (1, 3):
            self.between[third == 3] = self.own[monday]
        if self.between[0] >= self.between[1]:
            self.between = [0.0, float(MOST)]

    def come_and_go(self, now: datetime) -> None:
        with acting(self.user):
            agreed = Consent.objects.get(farm_id=self.farm.id, kind=ConsentKind.REGIONAL, withdrawn_at=None)
            services.withdraw_consent(consent=agreed, by=self.user, now=now)
            services.give_consent(farm=self.farm, kind="regional", by=self.user, now=now)

    def correct(self, count: int) -> None:
        """Correct the newest reading; the correction is what is corrected next."""
        path = f"/api/v1/farms/{self.farm.id}/readings/{self.readings[-1]['id']}/corrections"
        correction = {"id": str(uuid7()), "count": count, "hung_on": self.readings[-1]["hung_on"], "kind": "miscounted"}
        answer = self.sender.post(path, correction)
        assert answer.status_code == 201, answer.content
        self.readings[-1] = self.readings[-1] | {"id": correction["id"]}

    def shown(self, region: Region) -> list[bytes]:
        """All that is published of the region, as bytes: the API's pages of reports."""
        found, address = [], f"/api/v1/regions/{region.id}/reports?method=card&limit=100"
        while address:
            answer = self.sender.get(address)
            found.append(answer.content)
            address = answer.json()["next"]
        return found


@EVERYWHERE
def test_half_a_year_of_chosen_counts_and_corrections_recovers_nobodys_count(
    anna, northfield, region, cards, standing_clock, settings
):
    settings.API_LIMITS_TIMES = 1000
    attacker = Attacker(anna, northfield, cards[0])
    agree(northfield)
    others = consenting_farms(region, [None] * OTHERS, week=FIRST - timedelta(weeks=20))
    counts = victims(np.random.default_rng(20261128))
    published: list[bytes] = []
    for number in range(WEEKS):
        monday = FIRST + timedelta(weeks=number)
        now = datetime.combine(monday + timedelta(days=7), datetime.min.time(), UTC) + timedelta(hours=12)
        standing_clock.write_text((now - timedelta(hours=6)).isoformat())
        for farm, own in zip(others, counts[:, number], strict=True):
            summary(farm, monday, float(own))
        attacker.count(monday, number)
        publish(region, monday, now, levels={"card": LEVEL})
        standing_clock.write_text((now + timedelta(hours=1)).isoformat())
        attacker.learn(monday)
        published = attacker.shown(region)
        for edit in range(-(-EDITS // WEEKS)):
            attacker.correct(edit * 611)
            assert attacker.shown(region) == published
        if number % 3 == 0:
            attacker.come_and_go(now + timedelta(hours=2))
            assert attacker.shown(region) == published
    tried, told, recovered, nearest = attack(attacker, counts, published)
    print(
        f"region attacker: {WEEKS} weeks, {told} with numbers, {tried} counts tried, {recovered} recovered; "
        f"the nearest end was {100 * nearest:.0f} % of the count away"
    )
    # A count of 5,000 would make up too much of the region, and takes its week's numbers away from everybody.
    assert told > WEEKS / 5
    assert recovered == 0


def victims(rng: np.random.Generator) -> np.ndarray:
    """What the others count: lognormal levels, a season, weather that all share, and their own scatter."""
    season = 0.8 * np.sin(np.pi * np.arange(WEEKS) / WEEKS)
    own, shared = rng.normal(np.log(70), 0.4, (OTHERS, 1)), rng.normal(0, 0.25, WEEKS)
    return np.exp(own + season + shared + rng.normal(0, 0.4, (OTHERS, WEEKS)))


def attack(attacker: Attacker, counts: np.ndarray, published: list[bytes]) -> tuple[int, int, int, float]:
    """Bound every count of every week from what was shown, with the own count and that of any one other farm.

    Returns counts tried, weeks with numbers, counts recovered, and how near the nearest end came, as a share.
    """
    tried = told = recovered = 0
    nearest = np.inf
    for row in (row for page in published for row in json.loads(page)["results"]):
        monday = date.fromisoformat(row["week"])
        values = np.append(counts[:, (monday - FIRST).days // 7], attacker.own[monday])
        statement = read(row, values)
        told += row["disclosure"] == "numbers"
        week = Week(values, [statement] if statement else [])
        pairs = [(mine, OTHERS) for mine in range(OTHERS)]
        recovered += len(week.breaches(pairs))
        tried += OTHERS
        room = min(week.slack(pair) for pair in pairs)
        nearest = min(nearest, (room + week.scale.margin(values).max()) / values[:-1].max())
    return tried, told, recovered, nearest


def read(row: dict[str, Any], values: np.ndarray) -> Statement | None:
    """What one published row says, as a reader would take it."""
    everybody = np.ones(values.size, bool)
    if row["disclosure"] == "nothing":
        return None
    if row["disclosure"] == "word":
        return Statement(everybody, word_range(row["word"], LEVEL))
    middle, share = row.get("middle"), row["share_over"]
    return Statement(
        everybody,
        mean=before_rounding(row["mean"]),
        middle=None if middle is None else before_rounding(middle),
        thirds=True,
        level=None if share is None else LEVEL,
        over=None if share is None else values > LEVEL,
    )


# --- whatever can be asked -------------------------------------------------------------------------------------------

ASKED_AGAIN = 15


@pytest.fixture
def own(region: Region, anna: User) -> Farm:
    """Anna's farm, with a record of each kind, agreed to be compared."""
    scene = FarmScene("own", make_farm("Quillhaven", region, anna), anna, "Quillhaven", 613)
    records_of_a_season(scene)
    webhook_of(scene)
    agreement_with(scene)
    applied_on(scene)
    check(region.group, LAST_WEEK - timedelta(weeks=1))
    agree(scene.farm)
    summary(scene.farm, WEEK, 99.0)
    return scene.farm


@pytest.fixture
def compared(own: Farm, region: Region, anna: User) -> list[Farm]:
    """Eleven more farms that agreed, in the own farm's region, with a published week."""
    others = consenting_farms(region, [80.0, 90, 95, 100, 105, 110, 115, 120, 125, 130, 140])
    publish(region, levels={"card": LEVEL})
    fill_empty_tables(own, anna, own.name, 613)
    return others


def asked_of_everything(sender: Sender, farm: Farm) -> dict[str, bytes]:
    """What every address says that is only read, of the asker's own farm, region and group and the farm's records."""
    stored = {name: ids_stored(model, farm.id) for name, model in models_of_records().items()}
    ids = {name: found[0] for name, found in stored.items() if found}
    ids |= {"farm_id": farm.id, "region_id": farm.region_id, "group_id": farm.group_id, **PLAIN}
    ids["token_id"] = ids["api_token_id"]
    caches["drawn"].clear()
    found = {}
    for route in routes():
        if route.method == "get" and all(name in ids for name in route.names):
            for query in ("", *queries_of(route.template)):
                address = "/" + route.template.format(**ids) + (f"?{query}" if query else "")
                found[address] = cleaned(sender.get(address))
    return found


def queries_of(template: str) -> Iterator[str]:
    """One value for each name that the document has for an address's query string."""
    operation = document()["paths"].get("/" + template, {}).get("get", {})
    values = {"method": "card", "since": "2026-05-01", "until": "2026-06-01", "limit": "1", "week": str(WEEK)}
    # Of what isn't about regions the plain address must do: each is asked twice.
    for each in operation.get("parameters", []) if "region" in template else []:
        if each["in"] == "query":
            yield f"{each['name']}={values.get(each['name'], '1')}"


PHONE_TOLD = rb'"(?:token|now)": "[^"]*"'


def cleaned(answer: Any) -> bytes:
    # What is packed is compared unpacked: a PDF and an archive hold the moment at which they were made, and a page to
    # count on has new ids for what is to be sent; a phone is told the time and a new token for its forms.
    content = CSRF.sub(rb"\1\2", readable(content_of(answer)).encode())
    ids, told = rb"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", rb"<dcterms:\w+ [^<]*"
    for changing in (ids, rb'nonce="[^"]*"', told, PHONE_TOLD):
        content = re.sub(changing, b"", content)
    return str(answer.status_code).encode() + re.sub(rb'"request_id": ?"[^"]*"', b"", content)


@EVERYWHERE
@pytest.mark.parametrize("who", ["owner", "guest"])
def test_whatever_is_asked_the_answer_does_not_depend_on_what_others_corrected(compared, own, anna, who):
    sender = session_of(anna if who == "owner" else guest_of(own))
    before, took = asked_of_everything(sender, own), milliseconds(sender, own)
    correct_all(compared)
    after, takes = asked_of_everything(sender, own), milliseconds(sender, own)
    # The farm's own log has a line for each file that was taken along, so for the asking itself.
    told = {address: content for address, content in before.items() if not address.rstrip("/").endswith("/log")}
    changed = [address for address, content in told.items() if after[address] != content]
    shown = before[f"/api/v1/regions/{own.region_id}/reports"]
    print(f"region attacker ({who}): {len(before)} addresses, {len(changed)} changed; {took:.1f} and {takes:.1f} ms")
    assert b'"numbers"' in shown
    assert changed == []
    # No page looks at the others' counts, so none can take longer for them.
    assert 0.4 < takes / took < 2.5
    named = [farm.name for farm in compared for content in before.values() if farm.name.encode() in content]
    assert named == []


def correct_all(farms: list[Farm]) -> None:
    with as_factory():
        for number, farm in enumerate(farms):
            WeeklySummary.objects.filter(farm_id=farm.id).update(mean=7919.0 * (number + 1), counted=104_729)


@EVERYWHERE
def test_no_mail_depends_on_what_others_corrected(compared, own, anna, group, region):
    adviser = adviser_of(group, FarmScene("own", own, anna, "Quillhaven", 613), "Adalind")
    coordinator = in_group(group, "Corisande", GroupRole.COORDINATOR)
    for reader in (anna, adviser, coordinator):
        with acting(reader):
            choose_how_often(
                subscription=bulletin_of(reader, region), by=reader, how_often="every_week", way=ChoiceWay.PAGE, now=NOW
            )
    check(group, WEEK)
    before = mails_of_the_week(own)
    correct_all(compared)
    assert mails_of_the_week(own) == before
    kinds = Counter(kind for kind, _reader in before)
    print(f"region attacker: mails {dict(kinds)}")
    assert kinds == {"Digest": 1, "RegionBulletin": 3, "MondayList": 1, "CoordinatorReport": 1}
    assert any("Cards" in each for (kind, _reader), each in before.items() if kind == "RegionBulletin")
    assert not [farm.name for farm in compared for each in before.values() if farm.name in each]


MAILS = (Digest, MondayList, CoordinatorReport, RegionBulletin)


def mails_of_the_week(farm: Farm) -> dict[tuple[str, str], str]:
    """What a farm's owner, its adviser and a coordinator are written of a week, as it would be sent.

    No mail is there before: what an earlier one told is told once.
    """
    group, now = farm.group, check_time(WEEK)
    with as_factory():
        for model in MAILS:
            model._default_manager.all().delete()
    with as_role("worker"):
        queue_digests(group, [farm], week=WEEK, now=now)
        queue_monday_lists(group, week=WEEK, now=now)
        queue_coordinator_reports(group, WEEK, now)
        queue_region_bulletins(group, WEEK, now)
    with as_factory():
        rows = [row for model in MAILS for row in model._default_manager.select_related("recipient")]
        return {(type(row).__name__, row.recipient.name): sent_text(row) for row in rows}


def sent_text(row: Any) -> str:
    """A mail's headers and parts, unpacked; its ids and boundaries are new each time."""
    message = message_from_bytes(message_of([row], now=check_time(WEEK)).message().as_bytes(), policy=policy.default)
    parts = [part.get_content() for part in message.walk() if not part.is_multipart()]
    text = "\n".join([str(message["Subject"]), str(message["To"]), *map(str, parts)])
    return re.sub(r"[0-9a-f]{32}|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|mail-choice/\S+|cid:\S+", "", text)


def guest_of(farm: Farm) -> User:
    guest = make_user("Guest")
    ends = datetime(2100, 1, 1, tzinfo=UTC)
    with as_factory():
        GroupMember.objects.create(group=farm.group, user=guest, role=GroupRole.GUEST, ends_at=ends, name="Guest")
    return guest


def milliseconds(sender: Sender, farm: Farm) -> float:
    """The median time of the region's page and of its reports."""
    taken = []
    for _ in range(ASKED_AGAIN):
        for address in (reverse("region", args=[farm.region_id]), f"/api/v1/regions/{farm.region_id}/reports"):
            start = time.perf_counter()
            assert sender.get(address).status_code == 200
            taken.append(1000 * (time.perf_counter() - start))
    return statistics.median(taken)


@EVERYWHERE
def test_four_farms_brought_in_at_once_are_no_part_of_the_quarter(compared, own, region, anna):
    sender, path = session_of(anna), f"/api/v1/regions/{region.id}/reports"
    before = sender.get(path).content
    for number in range(4):
        farm = make_farm(f"Straw {number}", region, make_user(f"Straw{number}"))
        agree(farm, BEFORE + timedelta(days=60))
        summary(farm, WEEK, float(MOST))
    assert publish(region, levels={"card": LEVEL}) == 0
    assert sender.get(path).content == before
