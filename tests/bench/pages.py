"""How long the server takes for a farm's page and an adviser's Monday list, and what pages weigh on a phone.

A group of 300 invented farms with an owner each, all advised by one person, the last fifteen Mondays judged
(`tests/bench/weekly_check.py` fills it); one of the farms has five seasons of thirty weeks. A gunicorn process of its
own answers on the same machine, with collected static files as in production, its clock standing on the Monday after.
Times are the client's, over one kept connection to 127.0.0.1, of `RUNS` requests after a few unmeasured ones: the
server's, in fact. Nothing changes between two of them, as for somebody who looks again; `changed` figures are of views
before which the farm was written anew, or of the list ten of its farms, or all as after a check. Beside each stands the
median processing time of the server's process, which another program on the machine doesn't lengthen.

The pages on a phone are opened by the farm's owner, who counts there. What a page weighs is what Chromium took from
the network, headers too, with an empty cache. The round's page is opened with the connection of a slow phone (400
kbit/s each way, 400 ms) and a processor four times as slow: first with an empty cache, then some times again; it counts
as ready when its first field has taken a figure.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import numpy as np
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.db import connection, connections, transaction

from farms.models import Farm, Membership, User
from monitoring.methods import METHODS
from monitoring.models import Placement, Station
from server.demo.processes import free_port, running, start_site
from server.sessions import SessionStore
from tests.bench.alerts import fill_with_owners, moment, started, told_by
from tests.bench.weekly_check import FIRST, NEWEST, WEEKS
from tests.journeys.chromium import PHONE, chromium

ROOT = Path(__file__).resolve().parents[2]
FARMS, RUNS, WARMING = 300, 60, 8
SOME, CHANGED_RUNS, OPENED_AGAIN = 10, 20, 5
INTO_FIRST_FIELD = """
[...document.querySelectorAll("form[data-steps] :is(input[inputmode=numeric], input[type=number])")]
    .find((field) => field.checkVisibility()).focus()
"""
SEASONS = 5
SLOW = {"offline": False, "latency": 400, "downloadThroughput": 400_000 / 8, "uploadThroughput": 400_000 / 8}
TIMES_SLOWER = 4
TICKS = os.sysconf("SC_CLK_TCK")

ADVISER = """
INSERT INTO farms_user (id, email, name, language, is_active, is_staff, is_superuser, password, date_joined)
VALUES (%(adviser)s, 'adviser@example.org', 'Adviser', 'en', true, false, false, '', %(now)s);
INSERT INTO farms_groupmember (id, group_id, user_id, role, name)
VALUES (uuidv7(), %(group)s, %(adviser)s, 'adviser', '');
INSERT INTO farms_consent (farm_id, id, kind, adviser_id, given_by_id, given_at, entry)
SELECT farm_id, uuidv7(), 'adviser', %(adviser)s, user_id, %(now)s, 0 FROM farms_membership;
INSERT INTO farms_plannedvisit (farm_id, id, adviser_id, kind, day, planned_at)
SELECT farm_id, uuidv7(), %(adviser)s, 'call', %(today)s, %(now)s
FROM (SELECT farm_id, row_number() OVER (ORDER BY farm_id) AS number FROM farms_membership) f WHERE number %% 5 = 0;
"""
# Older seasons of one farm: its rounds, readings and results once more, so many days earlier, under ids made of the
# first ones so that a reading finds its round.
EARLIER = """
INSERT INTO monitoring_round
SELECT (jsonb_populate_record(t, jsonb_build_object('id', md5(id::text || %(days)s)::uuid,
        'walked_on', walked_on - %(days)s))).*
FROM monitoring_round t WHERE farm_id = %(farm)s AND walked_on >= %(first)s;
INSERT INTO monitoring_reading
SELECT (jsonb_populate_record(t, jsonb_build_object('id', md5(id::text || %(days)s)::uuid,
        'round_id', md5(round_id::text || %(days)s)::uuid, 'hung_on', hung_on - %(days)s,
        'taken_on', taken_on - %(days)s))).*
FROM monitoring_reading t WHERE farm_id = %(farm)s AND taken_on >= %(first)s;
INSERT INTO alerts_assessment
SELECT (jsonb_populate_record(t, jsonb_build_object('id', md5(id::text || %(days)s)::uuid, 'week', week - %(days)s))).*
FROM alerts_assessment t WHERE farm_id = %(farm)s AND week >= %(first)s;
"""
OLD_SEASON = """
INSERT INTO farms_season (farm_id, id, opens_on, closes_on)
SELECT %(farm)s, uuidv7(), %(opens)s, %(opens)s::date + 7 * 31
"""


@dataclass(frozen=True)
class Office:
    """Who reads the pages, and of which farms: `old` is the one with five seasons, `owner` its owner, who counts."""

    group: UUID
    adviser: User
    old: Farm
    owner: User
    farms: Sequence[UUID]


@dataclass(frozen=True)
class Site:
    """A running web server, its process, and the cookies of its readers' sessions, in their order."""

    address: str
    worker: int
    cookies: tuple[str, ...]


def office(farms: int = FARMS) -> Office:
    """The scene: judged farms, their adviser, one farm's earlier seasons."""
    group = fill_with_owners(farms)

    adviser = UUID(int=group.int ^ 1)
    asked = {"group": group, "adviser": adviser, "now": moment(NEWEST), "today": moment(NEWEST).date()}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute(ADVISER, asked)
        old, user = Farm.objects.get(name="Farm 2"), User.objects.get(id=adviser)
        every = list(Farm.objects.order_by("name").values_list("id", flat=True))
        owner = Membership.objects.select_related("user").get(farm=old).user
    told_by(started(str(group), "judge every"))
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        earlier_seasons(cursor, old)
        hang(old)
    with connections["owner"].cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return Office(group, user, old, owner, every)


def earlier_seasons(cursor: Any, farm: Farm) -> None:
    """Four seasons before this one, and this one's first half: thirty weeks each."""
    asked = {"farm": farm.id, "first": FIRST}
    halves = [52 * year + half for year in range(SEASONS) for half in (0, WEEKS)]
    for back in halves[1:]:
        cursor.execute(EARLIER, asked | {"days": 7 * back})
    cursor.execute("UPDATE farms_season SET opens_on = opens_on - 7 * %s WHERE farm_id = %s", [WEEKS, farm.id])
    for year in range(1, SEASONS):
        opens = FIRST - timedelta(weeks=52 * year + WEEKS)
        cursor.execute(OLD_SEASON, asked | {"opens": opens})


def hang(farm: Farm) -> None:
    """What a round on that Monday walks: a card or a trap at every numbered place, since a week."""
    stations = Station.objects.filter(farm=farm, method__in=[code for code, method in METHODS.items() if method.hangs])
    Placement.objects.bulk_create(
        Placement(farm=farm, station_id=each.id, hung_on=NEWEST, zone="America/Chicago", entry=0) for each in stations
    )


@contextmanager
def site(*readers: User) -> Iterator[Site]:
    """A web server as in production, with its clock on that Monday; it ends with the block."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        (here / "clock").write_text(moment(NEWEST).isoformat())
        (here / "static").mkdir()
        environment = {
            "DJANGO_SETTINGS_MODULE": "server.settings", "PYTHONPATH": str(ROOT), "LOG_LEVEL": "WARNING",
            "CLOCK_FILE": str(here / "clock"), "STATIC_ROOT": str(here / "static"),
        }  # fmt: skip
        collect = [sys.executable, "manage.py", "collectstatic", "--no-input", "--verbosity", "0"]
        subprocess.run(collect, cwd=ROOT, env=os.environ | environment, check=True, capture_output=True)
        port = free_port(0)
        with running(here / "logs", environment) as processes:
            start_site(processes, port)
            [master] = processes.started
            children = Path(f"/proc/{master.pid}/task/{master.pid}/children").read_text().split()
            yield Site(f"http://127.0.0.1:{port}", int(children[0]), tuple(session_of(reader) for reader in readers))


def session_of(user: User) -> str:
    """A session's key, as a sign-in leaves it in the browser."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    assert session.session_key is not None
    return session.session_key


@dataclass(frozen=True)
class Timed:
    """A page's requests: seconds of each, processing seconds of the server's process for each, bytes of one."""

    seconds: list[float]
    processing: float
    size: int

    @property
    def p95(self) -> float:
        return float(np.percentile(self.seconds, 95))


def timed(at: Site, path: str, *, runs: int = RUNS, before_each: Callable[[], object] = lambda: None) -> Timed:
    """Ask for a page over and over, as its reader's browser does; `before_each`, what happens between two views."""
    headers = {"Cookie": f"{settings.SESSION_COOKIE_NAME}={at.cookies[0]}", "Accept-Encoding": "gzip"}
    with httpx.Client(base_url=at.address, headers=headers, timeout=60) as client:
        for _ in range(WARMING):
            client.get(path).raise_for_status()
        seconds, before = [], processing_of(at.worker)
        for _ in range(runs):
            before_each()
            start = time.perf_counter()
            answer = client.get(path)
            seconds.append(time.perf_counter() - start)
            assert answer.status_code == 200, answer.status_code
        processing = (processing_of(at.worker) - before) / runs
    return Timed(seconds, processing, int(answer.num_bytes_downloaded))


def touch(farm_ids: Sequence[UUID]) -> None:
    """Write these farms anew, as they are: nothing that is kept of them holds any more."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute("UPDATE farms_farm SET name = name WHERE id = ANY(%s)", [list(farm_ids)])


def processing_of(process: int) -> float:
    """Processing time of a process so far [s] (proc(5): utime and stime)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


@dataclass
class Phone:
    """A phone's browser, signed in, its developer tools, and what it took from the network [bytes]."""

    page: Any
    tools: Any
    taken: int = 0

    def add(self, finished: dict[str, Any]) -> None:
        self.taken += int(finished["encodedDataLength"])


@contextmanager
def phone(browser: Any, at: Site, *, slow: bool) -> Iterator[Phone]:
    """The last reader's, with an empty cache; `slow`: as slow as its connection and processor are in a barn."""
    context = browser.new_context(**PHONE)
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": at.cookies[-1], "url": at.address}])
    page = context.new_page()
    tools = context.new_cdp_session(page)
    held = Phone(page, tools)
    tools.send("Network.enable")
    tools.on("Network.loadingFinished", held.add)
    if slow:
        tools.send("Network.emulateNetworkConditions", SLOW)
        tools.send("Emulation.setCPUThrottlingRate", {"rate": TIMES_SLOWER})
    yield held
    context.close()


def weight(browser: Any, address: str, at: Site) -> float:
    """What a page loads the first time, everything together [kB]."""
    with phone(browser, at, slow=False) as held:
        held.page.goto(address, wait_until="networkidle")
        return held.taken / 1000


def until_ready(held: Phone, address: str) -> float:
    """Seconds from asking for the round's page until its first field took a figure, typed as by a finger.

    By the browser's own tools: Playwright loads a script of its own into every page before it types, which on so slow a
    processor takes half a second.
    """
    start = time.perf_counter()
    held.page.goto(address, wait_until="domcontentloaded")
    held.tools.send("Runtime.evaluate", {"expression": INTO_FIRST_FIELD})
    held.tools.send("Input.insertText", {"text": "1"})
    typed = held.tools.send("Runtime.evaluate", {"expression": "document.activeElement.value"})["result"]["value"]
    took = time.perf_counter() - start
    assert typed.endswith("1"), typed
    return took


def opened_slowly(browser: Any, address: str, at: Site) -> tuple[float, list[float]]:
    """Seconds until the round's page is ready on a slow phone: the first time, and each of the next from the cache."""
    with phone(browser, at, slow=True) as held:
        first, again = until_ready(held, address), []
        for _ in range(OPENED_AGAIN):
            held.page.wait_for_load_state("networkidle")
            again.append(until_ready(held, address))
        return first, again


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure; those of a browser where there is one."""
    scene = office()
    farm = f"/farms/{scene.old.id}/"
    with site(scene.adviser, scene.owner) as at:
        found = {}
        for name, path in (("farm", farm), ("monday_list", "/monday/")):
            told = timed(at, path)
            found |= {
                f"pages.{name}_p95_ms": _figure(1000 * told.p95, "ms, 95 of 100 are faster", RUNS),
                f"pages.{name}_median_ms": _figure(1000 * statistics.median(told.seconds), "ms", RUNS),
                f"pages.{name}_processing_ms": _figure(1000 * told.processing, "ms of the server's process", RUNS),
                f"pages.{name}_html_kb": _figure(told.size / 1000, "kB, compressed", 1),
            }
        found |= changed(at, scene, farm)
        with chromium() as browser:
            first, again = opened_slowly(browser, f"{at.address}{farm}count/", at)
            return found | {
                "pages.round_kb": _figure(weight(browser, f"{at.address}{farm}count/", at), "kB, compressed", 1),
                "pages.farm_kb": _figure(weight(browser, f"{at.address}{farm}", at), "kB, compressed", 1),
                "pages.round_first_s": _figure(first, "s until the first field takes a figure", 1),
                "pages.round_cached_s": _figure(
                    statistics.median(again), "s until the first field takes a figure", len(again)
                ),
            }


def changed(at: Site, scene: Office, farm: str) -> dict[str, dict[str, Any]]:
    """The same pages where something changed since the last view."""
    every = scene.farms
    views = {
        "farm_changed": (farm, [scene.old.id]),
        "monday_list_some_changed": ("/monday/", every[:SOME]),
        "monday_list_all_changed": ("/monday/", every),
    }
    found: dict[str, dict[str, Any]] = {}
    for name, (path, touched) in views.items():
        told = timed(at, path, runs=CHANGED_RUNS, before_each=partial(touch, touched))
        found[f"pages.{name}_median_ms"] = _figure(1000 * statistics.median(told.seconds), "ms", CHANGED_RUNS)
    return found


def _figure(value: float, unit: str, runs: int) -> dict[str, Any]:
    return {"value": round(value, 2), "unit": unit, "runs": runs}
