"""A round as a browser sends it: the form's own hidden fields, and what a person typed."""

import re
from typing import Any

from tests.server.web.pages import at, hidden_fields


class Sheet:
    """The count form as it was shown. `fields` is what a browser would send back without anything typed."""

    def __init__(self, client: Any, farm: Any, address: str = "") -> None:
        self.client, self.address = client, address or at("count", farm)
        self.page = client.get(self.address)
        text = self.page.content.decode()
        self.fields: dict[str, Any] = hidden_fields(self.page) | {"walk-counted_by": ""}
        self.fields["line"] = re.findall(r'name="line" value="([^"]*)"', text)
        self.fields["walk-walked_on"] = re.search(r'name="walk-walked_on"[^>]*value="([^"]*)"', text)[1]
        for line in self.fields["line"]:
            prefix = self.prefix(line)
            self.fields[f"{prefix}-part"] = "1"
            if re.search(rf'name="{prefix}-fresh"[^>]* checked', text):
                self.fields[f"{prefix}-fresh"] = "on"

    @staticmethod
    def prefix(line: str) -> str:
        station, placement, _hung = line.split(".")
        return placement or station

    def prefix_of(self, station: Any) -> str:
        return next(self.prefix(line) for line in self.fields["line"] if line.startswith(str(station.id)))

    def type(self, station: Any, **typed: Any) -> "Sheet":
        """Type into a station's fields; None takes a tick away."""
        for name, value in typed.items():
            self.fields[f"{self.prefix_of(station)}-{name}"] = value
        self.fields = {name: value for name, value in self.fields.items() if value is not None}
        return self

    def send(self, **walk: Any) -> Any:
        return self.client.post(self.address, self.fields | {f"walk-{name}": value for name, value in walk.items()})
