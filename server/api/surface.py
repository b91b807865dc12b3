"""What a program can count on, a line a thing: addresses, parameters, fields, words. Here lines are only added.

`server/api/surface.txt` is what was published last; `manage.py api_difference` tells what is new since, and fails
where something is gone or a program that worked would be refused.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

METHODS = ("get", "put", "post", "delete", "patch")
NEEDED = "needed"


@dataclass(frozen=True)
class Difference:
    """Lines that are new, lines that are gone, and new lines that would refuse what was taken before."""

    new: list[str]
    gone: list[str]
    refusing: list[str]

    @property
    def is_additive(self) -> bool:
        return not self.gone and not self.refusing


def difference(before: Iterable[str], after: Iterable[str]) -> Difference:
    """What changed between two surfaces."""
    old, now = set(before), set(after)
    owners = {_owner(line) for line in old}
    new = sorted(now - old)
    refusing = [line for line in new if line.endswith(f" {NEEDED}") and _owner(line) in owners]
    return Difference(new, sorted(old - now), refusing)


def surface(document: Mapping[str, Any]) -> list[str]:
    """Every line of an OpenAPI document, in order."""
    schemas = document["components"]["schemas"]
    sent = set(_sent(document))
    lines = [line for path, operations in document["paths"].items() for line in _of_path(path, operations)]
    # With `fields` any field may be missing: those copies say nothing of their own.
    told = {name: schema for name, schema in schemas.items() if not name.startswith("Some")}
    lines += [line for name, schema in told.items() for line in _of_schema(name, schema, is_sent=name in sent)]
    return sorted(set(lines))


def _of_path(path: str, operations: Mapping[str, Any]) -> Iterator[str]:
    for method in METHODS:
        operation = operations.get(method)
        if operation is None:
            continue
        place = f"{method.upper()} {path}"
        yield place
        for each in operation.get("parameters", []):
            yield f"{place} {each['in']} {each['name']}: {_type(each['schema'])} {_need(each.get('required', False))}"
        for kind, content in operation.get("requestBody", {}).get("content", {}).items():
            yield f"{place} takes {kind} {_type(content.get('schema', {}))}"
        for status, answer in operation["responses"].items():
            kinds = answer.get("content", {}).items()
            yield from (f"{place} answers {status} {kind} {_type(each.get('schema', {}))}" for kind, each in kinds)


def _of_schema(name: str, schema: Mapping[str, Any], *, is_sent: bool) -> Iterator[str]:
    yield from (f"{name} = {word}" for word in schema.get("enum", []))
    for field, told in schema.get("properties", {}).items():
        always = field in schema.get("required", [])
        need = _need(always) if is_sent else ("always" if always else "sometimes")
        yield f"{name}.{field}: {_type(told)} {need}"
        yield from (f"{name}.{field} = {word}" for word in told.get("enum", []))


def _need(needed: bool) -> str:  # noqa: FBT001 - a word for a yes or no
    return NEEDED if needed else "optional"


def _type(schema: Mapping[str, Any]) -> str:
    """A schema's type in a word or two; a component by its name."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    for several in ("anyOf", "oneOf", "allOf"):
        if several in schema:
            return "|".join(_type(each) for each in schema[several])
    kind = schema.get("type", "anything")
    kind = "|".join(kind) if isinstance(kind, list) else str(kind)
    if kind.startswith("array"):
        return f"{kind} of {_type(schema.get('items', {}))}"
    return f"{kind} {schema['format']}" if "format" in schema else kind


def _sent(document: Mapping[str, Any]) -> Iterator[str]:
    """The components that requests bring, those within them too."""
    bodies = [
        content.get("schema", {})
        for operations in document["paths"].values()
        for operation in operations.values()
        for content in operation.get("requestBody", {}).get("content", {}).values()
    ]
    found, waiting = set[str](), [name for body in bodies for name in _names(body)]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += _names(document["components"]["schemas"].get(name, {}))
    yield from found


def _names(part: Any) -> list[str]:
    """Every component that a part of the document refers to."""
    if isinstance(part, Mapping):
        own = [str(part["$ref"]).rpartition("/")[2]] if "$ref" in part else []
        return own + [name for inner in part.values() for name in _names(inner)]
    return [name for inner in part for name in _names(inner)] if isinstance(part, list) else []


def _owner(line: str) -> str:
    """What a line belongs to: an operation ("GET /farms") or a component."""
    first, _space, rest = line.partition(" ")
    return f"{first} {rest.partition(' ')[0]}" if first.lower() in METHODS else first.partition(".")[0]
