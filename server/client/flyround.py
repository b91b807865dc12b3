"""The public API from Python, with what a program should do about a slow network."""

import time
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from uuid import UUID

import httpx

PATIENCE = httpx.Timeout(120, connect=10)
PAUSES = (1, 2, 4)  # seconds
# Nothing was stored, and the same may be sent again: every write of this client is safe to repeat.
PASSING = (429, 502, 503, 504)


class Refused(Exception):
    """The service said no: its status, its stable code, its sentence, and what it named."""

    def __init__(self, response: httpx.Response) -> None:
        self.status = response.status_code
        self.problem = _problem_in(response)
        self.code = str(self.problem.get("code", ""))
        self.errors: list[dict[str, str]] = self.problem.get("errors", [])
        super().__init__(self.problem.get("detail") or f"The service answered {self.status}.")


class Flyround:
    """One farm's door: `with Flyround("https://...", key) as flyround: flyround.farms()`.

    Raises Refused where the service says no, and httpx.TransportError where it can't be reached.
    """

    def __init__(self, address: str, key: str, *, wait: float = 1.0) -> None:
        self.wait = wait
        self.http = httpx.Client(
            base_url=f"{address.rstrip('/')}/api/v1/",
            headers={"Authorization": f"Bearer {key}", "Accept": "application/json"},
            timeout=PATIENCE,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.http.close()

    def me(self) -> dict[str, Any]:
        """Who the key makes you, and for which farm."""
        return self._json("GET", "me")

    def farms(self) -> Iterator[dict[str, Any]]:
        """The farms that the key may read."""
        return self.rows("farms")

    def send_file(self, farm: UUID | str, file: Path, *, order: str = "", **plan: bool) -> dict[str, Any]:
        """Import a CSV file. `order` is day_first or month_first; `plan` may say dry_run or atomic."""
        asked = {**({"order": order} if order else {}), **_said(plan)}
        headers = {"Content-Type": "text/csv"}
        path = f"farms/{farm}/imports"
        return self._json("POST", path, params=asked, content=file.read_bytes(), headers=headers)

    def send_readings(self, farm: UUID | str, readings: Sequence[Mapping[str, Any]], **plan: bool) -> dict[str, Any]:
        """Send many readings; `plan` may say dry_run or atomic."""
        return self._json("POST", f"farms/{farm}/readings/bulk", params=_said(plan), json={"readings": readings})

    def send_round(self, farm: UUID | str, round_id: UUID | str, round_sent: Mapping[str, Any]) -> dict[str, Any]:
        """Send a round, or what is new of it; sent again, it is stored once."""
        return self._json("PUT", f"farms/{farm}/rounds/{round_id}", json=round_sent)

    def results(self, farm: UUID | str, since: date | None = None) -> Iterator[dict[str, Any]]:
        """What the weekly check concluded, oldest week first."""
        return self.rows(f"farms/{farm}/assessments", **({"since": since.isoformat()} if since else {}))

    def rows(self, path: str, **asked: str) -> Iterator[dict[str, Any]]:
        """Every row of a list, page after page."""
        page = self._json("GET", path, params=asked)
        while True:
            yield from page["results"]
            if not page.get("next"):
                return
            page = self._json("GET", page["next"])

    def _json(self, method: str, path: str, **content: Any) -> dict[str, Any]:
        response = self._answer(method, path, content)
        if response.is_error:
            raise Refused(response)
        found: dict[str, Any] = response.json()
        return found

    def _answer(self, method: str, path: str, content: Mapping[str, Any]) -> httpx.Response:
        """The answer, tried again a few times where the network or the service is only busy."""
        for pause in PAUSES:
            try:
                response = self.http.request(method, path, **content)
            except httpx.TransportError:
                pass
            else:
                if response.status_code not in PASSING:
                    return response
            time.sleep(pause * self.wait)
        return self.http.request(method, path, **content)


def _said(plan: Mapping[str, bool]) -> dict[str, str]:
    return {name: "true" for name, wanted in plan.items() if wanted}


def _problem_in(response: httpx.Response) -> dict[str, Any]:
    """The problem+json of an answer; empty where something in between answered."""
    try:
        found = response.json()
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
