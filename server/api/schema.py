"""What the OpenAPI document says beyond what drf-spectacular reads from the views: nouns, tokens, problems."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

from farms.errors import FlyroundError
from server.api.problems import CONTENT_TYPE, PLAIN, TITLES, status_of

INTRODUCTION = """Weekly fly counts of dairies: send rounds, read results.

**Who asks.** A program sends its farm's token as `Authorization: Bearer fly_...`; the farm's owner makes it. A token
sees its own farm only. What isn't yours is answered like what doesn't exist.

**Ids** of rounds and readings are made by you, UUID version 7 at best, so that a round can be sent as often as the
network asks for and is stored once.

**Days** are calendar days in the farm's time zone, weeks are named by the Monday of the ISO 8601 week. Moments have an
offset.

**Missing is never zero.** A card that was lost has no count and a reason.

**Nothing is overwritten.** A reading is corrected by a later one, with a reason; what was withdrawn or switched off
stays on record.

**Input is strict.** A field that isn't known or a number in quotes is refused, and nothing of the request is stored.

**Errors** have one form, RFC 9457 `application/problem+json`: a stable `code`, a sentence that says what to do, and
a JSON pointer to each place; see the schema Problem for all codes.

**Too often** is answered with 429 and `Retry-After`: wait so many seconds, then go on. One token may ask 600 times a
minute, and move 120 whole tables in ten minutes, unless the service is set up otherwise.

**Long lists** come in pages: follow `next` until it is null. Rows that arrive meanwhile move nothing: none is lost and
none comes twice. `fields` names the fields that you need.

**Sent again, done once.** A round is sent as often as you like. Every other POST takes an `Idempotency-Key`: the same
request under the same key is done once, and gets the same answer for 30 days.

**Seen, then changed.** Every answer to GET has a strong `ETag`: send it as `If-None-Match` and get 304 while nothing is
new. A PATCH needs it as `If-Match`.

**Nothing is taken away** within /api/v1; things are added. Should something have to go, its answers say so long before
by `Deprecation` (RFC 9745) and `Sunset` (RFC 8594).
"""
FIELDS_TOLD = "Only these fields of each record, with commas between them; all of them unless it is given."
KNOWN_TOLD = "The ETag of the answer that you have: 304 without a body where it is still right."
MATCH_TOLD = "The ETag of the record as you have seen it. Without it 428, and 412 where it was changed since."
KEY_TOLD = (
    "A text of your own for this request, at best a UUID: sent again with it within 30 days, the request is done once "
    "and the first answer is given again. 409 in_flight while the first is being answered; 422 "
    "idempotency_key_reused where it said something else."
)
ETAG_TOLD = "A strong tag of this state."
# Where the errors come from that the API can answer with: those of mail and pages aren't listed.
ANSWERED = ("farms.errors", "farms.services", "monitoring.errors", "alerts.services", "server.api")
POINTED = {"pointer": "/readings/3/count", "code": "count_negative"}
POINTED["detail"] = "A count can't be less than 0. Give what was counted, from 0."


class NounSchema(AutoSchema):
    """Tags by noun (stations, rounds); a view's first line is the summary, the rest its description."""

    def get_tags(self) -> list[str]:
        nouns = [token for token in self._tokenize_path() if token]
        return [nouns[1] if nouns[0] in ("farms", "groups", "regions") and len(nouns) > 1 else nouns[0]]

    def get_summary(self) -> str:
        return super().get_description().partition("\n\n")[0]

    def is_deprecated(self) -> bool:
        return getattr(self.view, "leaving", None) is not None or super().is_deprecated()

    def get_description(self) -> str:  # type: ignore[override]
        return super().get_description().partition("\n\n")[2]


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "server.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A token of the farm: `fly_...`"}


def add_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:  # noqa: FBT001 - drf-spectacular's signature
    """Give every operation the problems that it may answer with, and the document the list of all codes."""
    result["info"]["description"] = INTRODUCTION
    components = result["components"]
    components["schemas"]["Problem"] = _problem_schema()
    components["responses"] = {f"Problem{status}": _response(status) for status in PLAIN}
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            _add_headers(method, operation)
            if any(each["name"] == "fields" for each in operation.get("parameters", [])):
                _allow_some_fields(operation["responses"]["200"]["content"]["application/json"], components["schemas"])
            for status in _statuses(path, operation):
                operation["responses"][str(status)] = {"$ref": f"#/components/responses/Problem{status}"}
    return result


def _add_headers(method: str, operation: dict[str, Any]) -> None:
    """What every view of the API takes and gives besides its own: tags, keys, some fields only."""
    parameters = operation.setdefault("parameters", [])
    given = [(status, each) for status, each in operation["responses"].items() if status in ("200", "201")]
    in_json = any("application/json" in each.get("content", {}) for _status, each in given)
    if method == "get" and in_json:
        # Of what is no record of ours (a table's schema) all is told.
        if any(_named(each["content"]["application/json"]["schema"]) for _status, each in given):
            parameters.append(_parameter("fields", "query", FIELDS_TOLD))
        parameters.append(_parameter("If-None-Match", "header", KNOWN_TOLD))
        operation["responses"]["304"] = {"description": "Not Modified. What you have is still right."}
    if method == "post" and operation.get("security") != []:
        parameters.append(_parameter("Idempotency-Key", "header", KEY_TOLD))
    if method == "patch":
        parameters.append({**_parameter("If-Match", "header", MATCH_TOLD), "required": True})
    if method in ("get", "patch") and in_json:
        for _status, each in given:
            each["headers"] = {"ETag": {"schema": {"type": "string"}, "description": ETAG_TOLD}}
    if not parameters:
        del operation["parameters"]


def _allow_some_fields(content: dict[str, Any], schemas: dict[str, Any]) -> None:
    """Say in the answer's schema that with `fields` a record has some of its fields only."""
    page = schemas.get(_named(content["schema"]), {}).get("properties", {}).get("results")
    holder, key = (page, "items") if page is not None else (content, "schema")
    name = _named(holder[key])
    if not name:  # said already, by another address that answers the same page
        return
    some = f"Some{name}"
    schemas[some] = {each: told for each, told in schemas[name].items() if each != "required"}
    schemas[some]["description"] = f"{name} with those fields only that were asked for."
    reference = "#/components/schemas/"
    holder[key] = {"anyOf": [{"$ref": reference + name}, {"$ref": reference + some}]}


def _named(schema: dict[str, Any]) -> str:
    """The component that a schema refers to; empty where it is none."""
    return str(schema.get("$ref", "")).rpartition("/")[2]


def _parameter(name: str, place: str, told: str) -> dict[str, Any]:
    return {"in": place, "name": name, "schema": {"type": "string"}, "description": told}


def _statuses(path: str, operation: dict[str, Any]) -> list[int]:
    statuses = {406, 429, 500}
    if operation.get("security") != []:
        statuses |= {401, 403}
    # A body may name what isn't there, too: such an operation says so itself.
    if "{" in path or "404" in operation["responses"]:
        statuses |= {404}
    if "409" in operation["responses"]:
        statuses |= {409}
    if "304" in operation["responses"] or operation.get("parameters"):
        statuses |= {422}
    if "304" in operation["responses"]:
        statuses |= {412}
    if any(each["name"] == "If-Match" for each in operation.get("parameters", [])):
        statuses |= {412, 428}
    if any(each["name"] == "Idempotency-Key" for each in operation.get("parameters", [])):
        statuses |= {409, 422}
    if "requestBody" in operation:
        statuses |= {400, 409, 413, 415, 422}
    return sorted(statuses)


def _response(status: int) -> dict[str, Any]:
    code, sentence = PLAIN[status][0], str(PLAIN[status][1])
    example: dict[str, Any] = {"type": "about:blank", "title": TITLES[status], "status": status, "code": code}
    example |= {"detail": sentence, **({"errors": [POINTED]} if status == 422 else {})}
    example["request_id"] = "5f0f2a9be1f74d2f8d7a1f6a0c0e9b51"
    content = {"schema": {"$ref": "#/components/schemas/Problem"}, "example": example}
    return {"description": f"{TITLES[status]}. {sentence}", "content": {CONTENT_TYPE: content}}


def _problem_schema() -> dict[str, Any]:
    text, whole = {"type": "string"}, {"type": "integer"}
    error = {
        "type": "object",
        "required": ["detail"],
        "properties": {
            "pointer": {**text, "description": "JSON pointer (RFC 6901) into what was sent; empty for all of it."},
            "parameter": {**text, "description": "Instead of a pointer: the name after the question mark."},
            "code": text,
            "detail": {**text, "description": "What to do about it."},
        },
    }
    return {
        "type": "object",
        "description": "RFC 9457. Codes are stable; sentences may change, and follow Accept-Language.\n\n" + _codes(),
        "required": ["type", "title", "status", "code", "detail", "request_id"],
        "properties": {
            "type": text,
            "title": text,
            "status": whole,
            "code": text,
            "detail": {**text, "description": "A full sentence that says what to do."},
            "errors": {"type": "array", "items": error},
            "details": {"type": "object", "description": "Figures and records that the sentence speaks of."},
            "request_id": {
                **text,
                "description": "Also in the X-Request-ID header; name it in a report.",
            },
        },
    }


def _codes() -> str:
    """A table of all codes, each with its status and sentence."""
    known = {(status, code): str(sentence) for status, (code, sentence) in PLAIN.items()}
    for kind in sorted(_kinds(FlyroundError), key=lambda kind: (kind.__module__, kind.__name__)):
        known.setdefault((status_of(kind), kind.code), str(kind.message))
    rows = [f"| {status} | `{code}` | {sentence} |" for (status, code), sentence in sorted(known.items())]
    return "\n".join(["| status | code | sentence |", "|---|---|---|", *rows])


def _kinds(kind: type[FlyroundError]) -> list[type[FlyroundError]]:
    """Every kind of error that has a code of its own, and that the API may answer with."""
    found = [each for child in kind.__subclasses__() for each in (child, *_kinds(child))]
    return [each for each in found if "code" in vars(each) and each.__module__.startswith(ANSWERED)]
