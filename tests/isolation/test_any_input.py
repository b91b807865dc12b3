"""Whatever is sent, whoever sends it, the service answers as its document says.

schemathesis makes the requests from the committed document; most of the ids in them are then those of records that are
there, so that what lies behind the first check is reached too. Each is sent as one role or several in turn.
"""

import itertools
import random
from datetime import timedelta
from typing import Any

import pytest
import requests
import schemathesis
from django.core.cache import cache
from django.db import transaction
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.core.transport import Response
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from server.api.documentation import DOCUMENT
from tests.full import FULL
from tests.isolation.asks import OWN_IDS
from tests.isolation.markers import content_of
from tests.isolation.scene import Asker, FarmScene, Scene

# Schemathesis and the tools under it leave warnings of their own.
pytestmark = pytest.mark.filterwarnings("default")
document = schemathesis.openapi.from_path(str(DOCUMENT))
# Who may come in, and what is refused, has tests of its own.
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
ROLES = (
    "owner", "recorder", "adviser", "coordinator", "guest", "writing token", "reading token", "farm phone", "nobody",
)  # fmt: skip
EXAMPLES, ROLES_A_CASE = (100, 2) if FULL else (12, 1)
# Where there is little time, one in four of the cases is sent.
EVERY = 1 if FULL else 4
REAL_FARM, REAL_ID = 0.9, 0.7
made, turn = itertools.count(), itertools.count()


@document.parametrize()
@settings(
    max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck), database=None, derandomize=not FULL
)
def test_every_operation_answers_as_documented(case: schemathesis.Case, scene: Scene, record_property: Any):
    if next(made) % EVERY:
        return
    chance = random.Random(repr((case.path_parameters, case.query, case.body)))  # noqa: S311 - no secret
    with_real_ids(case, scene.farms["home"], chance)
    for _ in range(ROLES_A_CASE):
        role = ROLES[next(turn) % len(ROLES)]
        with transaction.atomic():
            answer = sent(case, scene.askers[role])
            transaction.set_rollback(True)
        record_property(f"asked by {role}: cases that schemathesis made", 1)
        record_property(f"asked in schemathesis' cases: answers of {answer.status_code // 100}xx", 1)
        case.validate_response(answer, checks=CHECKS)


def with_real_ids(case: schemathesis.Case, farm: FarmScene, chance: random.Random) -> None:
    """Put ids of records of a farm in the place of most of the made-up ones."""
    for name in case.path_parameters or ():
        if chance.random() < (REAL_FARM if name == "farm_id" else REAL_ID) and farm.ids.get(name):
            case.path_parameters[name] = chance.choice(farm.ids[name])
    for name in case.query or ():
        if name.endswith("_id") and chance.random() < REAL_ID and farm.ids.get(name):
            case.query[name] = chance.choice(farm.ids[name])
    if isinstance(case.body, dict):
        case.body = real_in(case.body, farm, chance)


def real_in(body: Any, farm: FarmScene, chance: random.Random, inside: str = "") -> Any:
    """A body in which most ids are real; its own ids (of a reading, a note) now and then."""
    if isinstance(body, list):
        return [real_in(each, farm, chance, inside) for each in body]
    if not isinstance(body, dict):
        return body
    made = {}
    for name, value in body.items():
        wanted = {"id": OWN_IDS.get(inside, ""), "station": "station_id"}.get(name, name)
        likely = REAL_ID / 3 if name == "id" else REAL_ID
        if isinstance(value, str) and farm.ids.get(wanted) and chance.random() < likely:
            made[name] = chance.choice(farm.ids[wanted])
        else:
            made[name] = real_in(value, farm, chance, name)
    return made


def sent(case: schemathesis.Case, asker: Asker) -> Response:
    """The answer of the service in this process, in the form in which schemathesis checks it."""
    cache.clear()
    wanted = case.as_transport_kwargs(base_url="http://testserver")
    names = ("method", "url", "params", "headers", "json", "data", "files", "cookies")
    request = requests.Request(**{name: wanted[name] for name in names if name in wanted}).prepare()
    headers = {name: value for name, value in request.headers.items() if name.lower() not in BY_THE_CLIENT}
    answer = asker.sender.generic(
        request.method,
        request.path_url,
        request.body or b"",
        request.headers.get("Content-Type", ""),
        headers=headers,
    )
    told: dict[str, list[str]] = {name.lower(): [value] for name, value in answer.headers.items()}
    return Response(answer.status_code, told, content_of(answer), request, timedelta(0).total_seconds(), verify=False)


# What the sender itself says: who it is, what it sends.
BY_THE_CLIENT = ("authorization", "cookie", "content-type", "content-length", "host")
