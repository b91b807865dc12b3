"""What this client asks of the public API: each request by its method and its path in the OpenAPI document.

A test holds them against the committed document, and what is sent against the schemas there.
"""

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import yaml

DOCUMENT = "/api/v1/openapi.yaml"
# The C parser where there is one: the document has some 7,000 lines.
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True)
class Operation:
    """A method and a path with names in curly brackets, as the document writes them."""

    method: str
    path: str

    def address(self, **names: object) -> str:
        """The path with its names filled in."""
        return self.path.format(**{name: quote(str(value), safe="") for name, value in names.items()})


ME = Operation("GET", "/api/v1/me")
FARMS = Operation("GET", "/api/v1/farms")
SEASONS = Operation("GET", "/api/v1/farms/{farm_id}/seasons")
STATIONS = Operation("GET", "/api/v1/farms/{farm_id}/stations")
RESULTS = Operation("GET", "/api/v1/farms/{farm_id}/assessments")
SEND_ROUND = Operation("PUT", "/api/v1/farms/{farm_id}/rounds/{round_id}")
SEND_READINGS = Operation("POST", "/api/v1/farms/{farm_id}/readings/bulk")
SEND_FILE = Operation("POST", "/api/v1/farms/{farm_id}/imports")
IMPORT = Operation("GET", "/api/v1/farms/{farm_id}/imports/{import_id}")
IMPORT_RESULTS = Operation("GET", "/api/v1/farms/{farm_id}/imports/{import_id}/results")
EXPORTS = Operation("GET", "/api/v1/farms/{farm_id}/exports")
EXPORT = Operation("GET", "/api/v1/farms/{farm_id}/exports/{file}")

ALL = (
    ME, FARMS, SEASONS, STATIONS, RESULTS, SEND_ROUND, SEND_READINGS, SEND_FILE, IMPORT, IMPORT_RESULTS, EXPORTS,
    EXPORT,
)  # fmt: skip


def document_in(text: bytes) -> dict[str, Any]:
    """The OpenAPI document. Raises ValueError where it is none."""
    try:
        # A safe loader: it makes plain values only.
        found = yaml.load(text, LOADER)  # noqa: S506
    except yaml.YAMLError as error:
        raise ValueError("not YAML") from error
    if not isinstance(found, dict) or "paths" not in found:
        raise ValueError("not an OpenAPI document")
    return found


def fields_of(document: dict[str, Any], operation: Operation) -> frozenset[str]:
    """The names that an operation's JSON body may hold."""
    asked = document["paths"].get(operation.path, {}).get(operation.method.lower(), {})
    schema = asked.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema", {})
    name = schema.get("$ref", "").rpartition("/")[2]
    schema = document.get("components", {}).get("schemas", {}).get(name, schema)
    return frozenset(schema.get("properties", {}))
