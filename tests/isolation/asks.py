"""What is asked at each address, of which farm: the path, the body and the query string, filled with a farm's own ids.

A new name in an address or a body is filled from the table of the same name (`alert_id` from Alert), and otherwise
has to be told here; the matrix fails until it is.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any
from urllib.parse import urlencode
from uuid import NAMESPACE_URL, uuid5

import yaml
from django.core.files.uploadedfile import SimpleUploadedFile

from server.api.documentation import DOCUMENT
from tests.isolation.forms import Fields, forms_in
from tests.isolation.later_records import PNG
from tests.isolation.routes import Route, routes
from tests.isolation.scene import FarmScene, Scene
from tests.monitoring.pictures import jpeg

HERE = "tests/isolation/asks.py"
# What stands in an address and is no record of a farm.
PLAIN = {
    "name": "none.eml",
    "number": "1",
    "file_id": "0197d0c2-5c00-7000-8000-0000000000ff",
    "table": "readings",
    "method": "card",
    "rule": "overdue",
    "year": "2026",
}
# Secret keys in addresses, by what the address begins with.
KEYS = {
    "sign-in/link/": "link_key", "invitation/": "link_key", "spray-record/": "link_key", "feeds/": "feed_key",
    "mail-choice/": "choice_key",
}  # fmt: skip
# What an address has to have in its query string.
NEEDED_QUERIES = {
    "get /api/v1/farms/{farm_id}/action-levels/preview": "method=card&value=80",
    "get /farms/{farm_id}/print/file/": "kind=backs&size=3x5in&paper=letter&language=en&copies=1",
}
# Ids that a page takes from its query string, and what else pages read there.
HARMLESS_QUERIES = {"day", "kind", "week", "page", "code", "next", "paper", "language", "list", "method", "q"}
PAGE_QUERIES = {
    "farms/{farm_id}/count/": {"round": "round_id"},
    "monday/": {"region": "region_id"},
    "farms/{farm_id}/work/": {"planned": "planned_work_id"},
    "farms/{farm_id}/applications/new/": {"planned": "planned_work_id"},
    "farms/{farm_id}/applications/new/{product_id}/": {"planned": "planned_work_id"},
    "farms/{farm_id}/print/file/": {"building": "facility_id"},
    "farms/{farm_id}/work-review/": {"season": "season_id"},
    "farms/{farm_id}/walks/new/": {"building": "facility_id", "card": "station_id", "matter": "alert_id"},
}
# Days that an example of the document has, and the scene's clock hasn't reached or its seasons hold already.
OTHER_DAYS = {
    "post /api/v1/farms/{farm_id}/works": {"done_on": "2026-05-30"},
    "post /api/v1/farms/{farm_id}/planned-works/{planned_work_id}/left-out": {"day": "2026-06-15"},
    "post /api/v1/farms/{farm_id}/planned-works/{planned_work_id}/end": {"day": "2026-06-22"},
    "post /api/v1/farms/{farm_id}/seasons": {"opens_on": "2027-04-05"},
}
# Whose record a client-made `id` is, by the list in which it stands in a body; "" at the top.
OWN_IDS = {
    "readings": "reading_id",
    "hung": "placement_id",
    "notes": "note_id",
    "findings": "finding_id",
    "": "reading_id",
}
CSV = b"station,hung on,taken on,count,reason\nCard 1,2026-05-25,2026-06-01,41,\n"
JPEG = jpeg()
TEMPERATURES = b"day,lowest,highest,unit\n2026-05-29,11,24,C\n"
# What is sent from a page that has no such form for the scene: a season that has its last day, a feed that is there, a
# closure that is set already; and from forms that advisers have and owners don't.
NO_FORM = {
    "farms/{farm_id}/settings/seasons/{season_id}/close/": {"closes_on": ["2026-10-01"]},
    "dates/": {"kind": ["calendar"]},
    # Of the farm that is asked about: `farm_id` is filled in.
    "mails/": {"kind": ["digest"], "about": ["farm_id"], "how_often": ["none"]},
    "text-messages/": {"number": ["+12025550143"]},
    "text-messages/code/": {"code": ["BCDFGHJK"]},
    "farms/{farm_id}/settings/closure/": {"from_on": ["2026-06-01"]},
    "regions/{region_id}/closure/": {"from_on": ["2026-06-01"]},
    "farms/{farm_id}/visits/": {"kind": ["visit"], "day": ["2026-06-09"]},
    # One form is a button alone.
    "farms/{farm_id}/applications/{application_id}/confirm/": {"so": ["yes"]},
    "farms/{farm_id}/told/": {"week": ["2026-05-25"], "how": ["call"], "told_on": ["2026-06-01"]},
    "farms/{farm_id}/notes/": {"text": ["Told"]},
    "farms/{farm_id}/told/take-back/": {"week": ["2026-05-25"]},
    # Of a farm that accepted what holds now, and of an adviser.
    "farms/{farm_id}/settings/agreement/accept/": {"version": ["2026-1"], "edition": ["0123456789abcdef"]},
    "groups/{group_id}/terms/sells/": {"sells_products": ["no"]},
}
# Fields that belong to another kind of work than the first in the list, which is sent.
LEFT_EMPTY = {
    "farms/{farm_id}/work/": ("thorough", "not_reached", "species", "number", "batch"),
    "farms/{farm_id}/work/plans/": ("every", "unit", "last_day", "species", "number", "product_id", "use_kind"),
}
WITHOUT_FORMS = ("healthz", "readyz", "feeds/", "mail/", "mail-choice/", "mail-events/")
# Records of one table that an address tells apart.
KINDS_OF = {
    ("/phones/", "token_id"): "phone_id",
    ("/applications", "replaces_id"): "application_id",
    # One that waits for an owner's word.
    ("/check", "application_id"): "waiting_application_id",
    ("/confirm/", "application_id"): "waiting_application_id",
    ("/products", "replaces_id"): "product_id",
    ("/steps", "replaces_id"): "finding_step_id",
    ("complaints", "replaces_id"): "complaint_id",
}


class NotFilled(AssertionError):
    """A route or a body has a name for which nothing plausible is known."""


@dataclass(frozen=True)
class Ask:
    """One request, ready to be sent by anybody. `ids` are those in it that could tell of a farm."""

    method: str
    address: str
    data: Any = None
    content_type: str = ""
    compares: bool = True
    headers: tuple[tuple[str, str], ...] = ()

    @property
    def text(self) -> str:
        return f"{self.address} {self.data!r}"


def ask_of(route: Route, farm: FarmScene, scene: Scene, *, own: bool) -> Ask:
    """The plain request about a farm. `own`: as its people send it, who make the id of what they put."""
    address = address_of(route, farm, farm)
    if own and route.method == "put":
        address = re.sub(r"[^/]+$", str(uuid5(NAMESPACE_URL, route.template)), address)
    return Ask(route.method, address, *body_of(route, farm, scene, whole=False))


def crossed(route: Route, path: FarmScene, rest: FarmScene, scene: Scene) -> Iterator[Ask]:
    """The requests that name records of `rest` in the second ids of the path, in every place of the body that takes an
    id, and in the query string.
    """
    address = address_of(route, path, rest)
    plain = body_of(route, rest, scene, whole=False)
    if address != address_of(route, path, path) or plain != body_of(route, path, scene, whole=False):
        yield Ask(route.method, address, *plain)
    whole = body_of(route, rest, scene, whole=True)
    if whole != plain:
        yield Ask(route.method, address, *whole)
    for query in queries_of(route):
        value = rest.id_of(
            query.removesuffix("__page") if query.endswith("_id") else PAGE_QUERIES[route.template][query]
        )
        more = "&" if "?" in address else "?"
        yield Ask(route.method, f"{address}{more}{urlencode({query: value})}", *plain)
    if route.method == "get" and "cursor" in _queries(route) and path is not rest:
        yield from _with_cursor_of(route, path, rest, scene)


def nowhere(ask: Ask, farms: Iterator[FarmScene] | list[FarmScene], keep: FarmScene | None = None) -> Ask:
    """The same request with ids that nobody has in place of these farms' ids, but for those of `keep`."""
    kept = {each for found in keep.ids.values() for each in found} if keep else set()
    known = {each for farm in farms for found in farm.ids.values() for each in found} - kept
    return replace(ask, address=_unknown(ask.address, known), data=_unknown(ask.data, known))


def _unknown(value: Any, known: set[str]) -> Any:
    if isinstance(value, dict):
        return {_unknown(name, known): _unknown(each, known) for name, each in value.items()}
    if isinstance(value, list):
        return [_unknown(each, known) for each in value]
    if isinstance(value, str):
        return re.sub(r"[\w-]{36,43}", lambda found: _stranger(found[0]) if found[0] in known else found[0], value)
    return value


def _stranger(known: str) -> str:
    made = str(uuid5(NAMESPACE_URL, known))
    return made if len(known) == len(made) else made.replace("-", "").ljust(len(known), "0")


# --- the address -----------------------------------------------------------------------------------------------------


def address_of(route: Route, path: FarmScene, rest: FarmScene) -> str:
    """The farm (or group, or region) of `path`, every further id of `rest`."""
    values = {name: filled(name, path if name == route.names[0] else rest, str(route)) for name in route.names}
    needed = NEEDED_QUERIES.get(str(route))
    return "/" + route.template.format(**values) + (f"?{needed}" if needed else "")


def filled(name: str, farm: FarmScene, where: str) -> str:
    """What stands in an address or a body under this name, for this farm."""
    if name in PLAIN:
        return PLAIN[name]
    if name == "key":
        name = next((key for start, key in KEYS.items() if where.partition("/")[2].startswith(start)), name)
    name = next((kind for (part, of), kind in KINDS_OF.items() if of == name and part in where), name)
    if not farm.ids.get(name):
        raise NotFilled(
            f"Nothing is known that could stand for {name} in {where}. If it is a record of a farm, give the scene its "
            f"ids in `Scene._ids_of` of tests/isolation/scene.py; if not, add it to PLAIN or KEYS in {HERE}."
        )
    return farm.id_of(name)


# --- the query string ------------------------------------------------------------------------------------------------


def queries_of(route: Route) -> list[str]:
    """Names in the query string that take an id."""
    if not route.is_api:
        return list(PAGE_QUERIES.get(route.template, ())) if route.method == "get" else []
    return [name for name in _queries(route) if name.endswith("_id")]


def _queries(route: Route) -> list[str]:
    return [each["name"] for each in operation(route).get("parameters", []) if each["in"] == "query"]


def _with_cursor_of(route: Route, path: FarmScene, rest: FarmScene, scene: Scene) -> Iterator[Ask]:
    """A page of one farm's list, asked for with the place where another farm's list goes on."""
    asker = next(each for each in scene.askers.values() if each.user == rest.owner)
    answer = asker.sender.get(address_of(route, rest, rest) + "?limit=1").json()
    found = re.search(r"cursor=([^&]+)", str(answer.get("next")))
    if found:
        address = address_of(route, path, path)
        yield Ask("get", f"{address}?limit=1&cursor={found[1]}", compares=False)


# --- the body --------------------------------------------------------------------------------------------------------


@cache
def document() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(DOCUMENT.read_text())
    return found


def operation(route: Route) -> dict[str, Any]:
    found: dict[str, Any] = document()["paths"].get("/" + route.template, {}).get(route.method, {})
    return found


def body_of(route: Route, farm: FarmScene, scene: Scene, *, whole: bool) -> tuple[Any, str]:
    """A body and its content type; `whole`: with an id in every place that takes one."""
    if not route.is_api:
        return (page_body(route, farm, scene), "") if route.method == "post" else (None, "")
    for kind, content in operation(route).get("requestBody", {}).get("content", {}).items():
        for example in content.get("examples", {}).values():
            value = example["value"]
            if isinstance(value, str):
                return _with_station_ids(value, farm) if whole else value, kind
            value = value | OTHER_DAYS.get(str(route), {})
            value |= {"farm_name": farm.word} if "farm_name" in value else {}
            return json.dumps(Filling(farm, str(route), whole).of(value, content["schema"])), kind
    return None, ""


def _with_station_ids(text: str, farm: FarmScene) -> str:
    return re.sub(r"Card (\d)", lambda found: farm.id_of("station_id", int(found[1]) - 1), text)


@dataclass
class Filling:
    """Puts a farm's ids into an example of the document."""

    farm: FarmScene
    where: str
    whole: bool

    def of(self, value: Any, schema: dict[str, Any], inside: str = "") -> Any:
        schema = _resolved(schema)
        if isinstance(value, list):
            return [self.of(each, schema.get("items", {}), inside) for each in value]
        if not isinstance(value, dict):
            return value
        places = schema.get("properties", {})
        names = list(value)
        if self.whole:
            names += [name for name in places if name not in value and (name == "id" or name.endswith("_id"))]
        return {name: self._place(name, value.get(name), places.get(name, {}), inside) for name in names}

    def _place(self, name: str, given: Any, schema: dict[str, Any], inside: str) -> Any:
        if name == "id":
            # The same for every asker and every time, or no two answers could be compared.
            return self.farm.id_of(OWN_IDS[inside]) if self.whole else str(uuid5(NAMESPACE_URL, f"{given}{inside}"))
        if name.endswith("_id") or (name == "station" and self.whole):
            wanted = "station_id" if name == "station" else name
            return self.farm.id_of(wanted, _last_digit(given)) if given else filled(wanted, self.farm, self.where)
        return self.of(given, schema, name)


def _last_digit(given: Any) -> int:
    """Two different ids of an example stay different: their last digits tell them apart."""
    digits = re.sub(r"\D", "", str(given))
    return (int(digits[-1]) if digits else 1) - 1


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in schema:
        return dict(document()["components"]["schemas"][schema["$ref"].rpartition("/")[2]])
    return schema


def page_body(route: Route, farm: FarmScene, scene: Scene) -> dict[str, Any]:
    """What somebody who may would send from the form on one of the farm's pages that leads to this address."""
    forms = forms_of(scene, farm)
    given: dict[str, Any] = dict(forms.get(address_of(route, farm, farm), {}))
    for name, values in ({} if given else NO_FORM.get(route.template, {})).items():
        given[name] = [farm.ids.get(value, [value])[0] for value in values]
    given |= {name: [""] for name in LEFT_EMPTY.get(route.template, ()) if name in given}
    given |= files_for(route)
    if route.template.endswith("settings/erase/"):
        given["farm_name"] = [farm.word]
    if route.template.endswith("/count/"):  # counted, where a label keeps people out and the form says so already
        given |= {name: [""] for name in given if name.endswith("-reason")}
    if route.template.endswith("start/people/"):
        given = {"name-0": ["Somebody"], "email-0": ["somebody@example.org"]}  # six lines with one address are refused
    if route.template.endswith("walks/new/"):  # looked at one place
        given = {name: value for name, value in given.items() if name in ("id", "walked_on")}
        given |= {"p0-id": given.get("id", [""]), "p0-place": ["gutters"], "p0-looked": ["nothing"]}
    return given


def files_for(route: Route) -> dict[str, Any]:
    """The file that is chosen in a form of this address, if any."""
    template = route.template
    if template.endswith("file/table/"):
        return {"table": SimpleUploadedFile("counts.csv", CSV, "text/csv")}
    if template.endswith("file/"):
        content = TEMPERATURES if "temperatures" in template else CSV
        return {"file": SimpleUploadedFile("counts.csv", content, "text/csv")}
    if template.endswith("plan/edit/picture/"):
        return {"picture": SimpleUploadedFile("yard.png", PNG, "image/png")}
    if template.endswith("photos/"):
        return {"file": SimpleUploadedFile("card.jpg", JPEG, "image/jpeg")}
    if template.endswith("agreement/paper/"):
        return {"scan": SimpleUploadedFile("signed.png", b"\x89PNG\r\n\x1a\nsigned", "image/png")}
    return {}


def forms_of(scene: Scene, farm: FarmScene) -> dict[str, Fields]:
    """Every form on the pages of a farm, its group and region, by the address that it sends to. Asked once a farm."""
    if farm.name not in scene.forms:
        found: dict[str, Fields] = {}
        owner = next(each for each in scene.askers.values() if each.user == farm.owner)
        coordinator = scene.askers["coordinator afar" if farm.name == "afar" else "coordinator"]
        for route in routes():
            # A file has no form, and that it was taken is noted in the farm's log.
            is_page = not route.is_api and not route.template.startswith(WITHOUT_FORMS) and ".csv" not in route.template
            if route.method == "get" and is_page:
                address = address_of(route, farm, farm)
                answer = (owner if "farm_id" in route.names else coordinator).sender.get(address)
                if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
                    for action, fields in forms_in(answer, address):
                        found.setdefault(action, fields)
        scene.forms[farm.name] = found
    return scene.forms[farm.name]
