"""What the OpenAPI document says beyond what drf-spectacular reads from the views: nouns, tokens, problems."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

from farms.errors import FlyroundError
from server.api.problems import CONTENT_TYPE, PLAIN, TITLES, status_of

EXAMPLE = {
    "type": "about:blank",
    "title": "Unprocessable Content",
    "status": 422,
    "code": "invalid",
    "detail": "Some of what was sent can't be stored. Correct what is named below and send it again.",
    "errors": [{"pointer": "/readings/3/count", "code": "min_value", "detail": "Give 0 or more."}],
    "request_id": "5f0f2a9be1f74d2f8d7a1f6a0c0e9b51",
}


class NounSchema(AutoSchema):
    """Tags by noun (stations, rounds); a view's first line is the summary, the rest its description."""

    def get_tags(self) -> list[str]:
        nouns = [token for token in self._tokenize_path() if token]
        return [nouns[1] if nouns[0] in ("farms", "groups", "regions") and len(nouns) > 1 else nouns[0]]

    def get_summary(self) -> str:
        return super().get_description().partition("\n\n")[0]

    def get_description(self) -> str:  # type: ignore[override]
        return super().get_description().partition("\n\n")[2]


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "server.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A token of the farm: `fly_...`"}


def add_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:  # noqa: FBT001 - drf-spectacular's signature
    """Give every operation the problems that it may answer with, and the document the list of all codes."""
    components = result["components"]
    components["schemas"]["Problem"] = _problem_schema()
    components["responses"] = {f"Problem{status}": _response(status) for status in PLAIN}
    for path, operations in result["paths"].items():
        for operation in operations.values():
            for status in _statuses(path, operation):
                operation["responses"][str(status)] = {"$ref": f"#/components/responses/Problem{status}"}
    return result


def _statuses(path: str, operation: dict[str, Any]) -> list[int]:
    statuses = {406, 500}
    if operation.get("security") != []:
        statuses |= {401, 403}
    if "{" in path:
        statuses |= {404}
    if operation.get("parameters"):
        statuses |= {422}
    if "requestBody" in operation:
        statuses |= {400, 409, 413, 415, 422}
    if path.endswith("/phone"):
        statuses |= {429}
    return sorted(statuses)


def _response(status: int) -> dict[str, Any]:
    schema = {"$ref": "#/components/schemas/Problem"}
    content: dict[str, Any] = {"schema": schema}
    if status == EXAMPLE["status"]:
        content["example"] = EXAMPLE
    return {"description": f"{TITLES[status]}. {PLAIN[status][1]}", "content": {CONTENT_TYPE: content}}


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
    known |= {(status_of(kind), kind.code): str(kind.message) for kind in _kinds(FlyroundError) if "code" in vars(kind)}
    rows = [f"| {status} | `{code}` | {sentence} |" for (status, code), sentence in sorted(known.items())]
    return "\n".join(["| status | code | sentence |", "|---|---|---|", *rows])


def _kinds(kind: type[FlyroundError]) -> list[type[FlyroundError]]:
    return [found for child in kind.__subclasses__() for found in (child, *_kinds(child))]
