"""The public API from Python, with what a program should do about a slow or broken network."""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self
from uuid import UUID

import httpx
from uuid_utils.compat import uuid7

from server.client import operations
from server.client.answers import Away, Refused, json_of, retry_after, settled
from server.client.language import language
from server.client.operations import Operation
from server.client.patience import LONGEST_WAIT, Patience

TIMEOUT = httpx.Timeout(120, connect=10)
UNREACHABLE = "{site} can't be reached. Check the address and the network, then try again."
FAILED = "The import failed at the service, and it may be sent again: {detail}"
# From here on a file is taken up at once and imported while we ask how far it is.
LARGE = 200_000  # bytes, some 5,000 rows
ASK_AGAIN = 1.0  # seconds, where the service doesn't say

Farm = UUID | str
Content = Callable[[], Mapping[str, Any]]
# Called with the rows done and the rows there are.
Watch = Callable[[int, int], None]


@dataclass(frozen=True)
class Plan:
    """How a table is to be taken. `order` is day_first or month_first; `atomic` is all of it or nothing."""

    order: str = ""
    dry_run: bool = False
    atomic: bool = False

    def query(self) -> dict[str, str]:
        flags = {name: "true" for name in ("dry_run", "atomic") if getattr(self, name)}
        return ({"order": self.order} if self.order else {}) | flags


@dataclass
class Flyround:
    """One farm's door: `with Flyround("https://...", token) as flyround: flyround.me()`.

    Raises Refused where the service says no, and Away where it can't be reached or is busy for too long.
    """

    site: str
    token: str = field(repr=False)
    patience: Patience = field(default_factory=Patience)
    transport: httpx.BaseTransport | None = None

    def __post_init__(self) -> None:
        headers = {
            "Authorization": f"Bearer {self.token}",
            "Accept": "application/json",
            "Accept-Language": language(),
            "User-Agent": "flyround-client",
        }
        self.http = httpx.Client(
            base_url=self.site.rstrip("/"), headers=headers, timeout=TIMEOUT, transport=self.transport
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.http.close()

    def me(self) -> dict[str, Any]:
        """Who the token makes you, and for which farm."""
        return self._json(operations.ME)

    def farms(self) -> Iterator[dict[str, Any]]:
        """The farms that the token may read."""
        return self._rows(operations.FARMS, {})

    def seasons(self, farm: Farm) -> Iterator[dict[str, Any]]:
        """The farm's seasons, newest first."""
        return self._rows(operations.SEASONS, {"farm_id": farm})

    def stations(self, farm: Farm) -> Iterator[dict[str, Any]]:
        """The farm's cards, traps and places of leg counts, with their ids and labels."""
        return self._rows(operations.STATIONS, {"farm_id": farm})

    def results(self, farm: Farm, since: date | None = None) -> Iterator[dict[str, Any]]:
        """What the weekly check concluded, oldest week first."""
        return self._rows(operations.RESULTS, {"farm_id": farm}, {"since": since.isoformat()} if since else {})

    def round_fields(self) -> frozenset[str]:
        """The fields that a round may have, as the service's own OpenAPI document says."""
        response = self._answer(Operation("GET", operations.DOCUMENT), {})
        try:
            return operations.fields_of(operations.document_in(response.content), operations.SEND_ROUND)
        except ValueError as error:
            raise Away(f"{self.site} serves no OpenAPI document. Check the address.") from error

    def send_round(
        self, farm: Farm, round_id: UUID | str, body: Mapping[str, Any], *, say_sent_at: bool = False
    ) -> dict[str, Any]:
        """Send a round, or what is new of it; sent again, it is stored once.

        `say_sent_at` tells the service when each try left, by this clock; only where `round_fields` has sent_at.
        """

        def content() -> dict[str, Any]:
            return {"json": {**body, "sent_at": datetime.now(UTC).isoformat()} if say_sent_at else dict(body)}

        stored = self._json(operations.SEND_ROUND, {"farm_id": farm, "round_id": round_id}, content)
        if str(stored.get("id")) != str(round_id):
            raise Away(f"{self.site} answered for another round than the one that was sent. Check the address.")
        return stored

    def send_readings(
        self, farm: Farm, readings: Sequence[Mapping[str, Any]], plan: Plan = Plan(), *, key: str = ""
    ) -> dict[str, Any]:
        """Send many readings in one list: what became of each is in `results`."""
        headers = {"Idempotency-Key": key or str(uuid7())}
        sent = {"json": {"readings": list(readings)}, "params": plan.query(), "headers": headers}
        return self._json(operations.SEND_READINGS, {"farm_id": farm}, lambda: sent)

    def send_file(self, farm: Farm, file: Path, plan: Plan = Plan(), *, watch: Watch | None = None) -> dict[str, Any]:
        """Import a CSV file and wait until it is done: what became of each row is in `results`."""
        begun = self.begin_import(farm, file.read_bytes(), plan, key=str(uuid7()))
        return self.follow_import(farm, begun["id"], watch) if "state" in begun else begun

    def begin_import(self, farm: Farm, content: bytes, plan: Plan, *, key: str) -> dict[str, Any]:
        """Hand in a CSV file. A large one comes back as an import with a `state`, to be followed.

        The same `key` gets the same answer, so that after a lost one nothing begins anew.
        """
        headers = {"Content-Type": "text/csv", **({"Idempotency-Key": key} if key else {})}
        if len(content) >= LARGE and not plan.dry_run:
            headers["Prefer"] = "respond-async"
        sent = {"content": content, "params": plan.query(), "headers": headers}
        return self._json(operations.SEND_FILE, {"farm_id": farm}, lambda: sent)

    def follow_import(self, farm: Farm, import_id: str, watch: Watch | None = None) -> dict[str, Any]:
        """Ask how far an import is until it has ended, as often as the service likes; then with its `results`.

        Raises Refused where it was refused, Away where it failed there.
        """
        names = {"farm_id": farm, "import_id": import_id}
        while True:
            response = self._answer(operations.IMPORT, names)
            found = json_of(response)
            if watch is not None:
                watch(int(found.get("rows_done") or 0), int(found.get("rows") or 0))
            if found["state"] not in ("waiting", "running"):
                break
            time.sleep(self._until_asked_again(response))
        problem = found.get("problem") or {}
        if found["state"] == "refused":
            raise Refused(422, problem)
        if found["state"] == "failed":
            raise Away(FAILED.format(detail=problem.get("detail", "")), only_this=True)
        return {**found, "results": list(self._rows(operations.IMPORT_RESULTS, names, {"limit": "1000"}))}

    def exports(self, farm: Farm) -> Iterator[dict[str, Any]]:
        """The tables that can be taken home: each with its name, its formats and the filters of its query."""
        return self._rows(operations.EXPORTS, {"farm_id": farm})

    def export(self, farm: Farm, file: str, query: Mapping[str, str], out: BinaryIO) -> bool:
        """Write one file of the farm's exports to `out`, piece by piece; once only, who was cut off begins again.

        True where the answer told its end, by a length or by chunks; without them a broken line looks like the end.
        """
        address = operations.EXPORT.address(farm_id=farm, file=file)
        try:
            with self.http.stream("GET", address, params=query, headers={"Accept": "*/*"}) as response:
                if not response.is_success:
                    response.read()
                settled(response, datetime.now(UTC))
                out.writelines(response.iter_bytes())
                return "Content-Length" in response.headers or "Transfer-Encoding" in response.headers
        except (httpx.TransportError, httpx.DecodingError) as error:
            raise Away(UNREACHABLE.format(site=self.site)) from error

    def wait(self, tried: int, away: Away) -> None:
        """The pause before the next try; raises `away` where there should be none."""
        pause = self.patience.pause(tried, away.after)
        if pause is None:
            raise away
        time.sleep(pause)

    def _until_asked_again(self, response: httpx.Response) -> float:
        after = min(LONGEST_WAIT, retry_after(response, datetime.now(UTC)))
        return after or self.patience.pace * ASK_AGAIN

    def _rows(
        self, operation: Operation, names: Mapping[str, object], asked: Mapping[str, str] | None = None
    ) -> Iterator[dict[str, Any]]:
        """Every row of a list, page after page."""
        query = httpx.QueryParams(asked or {})
        while True:
            given = {"params": query}
            page = self._json(operation, names, lambda given=given: given)  # type: ignore[misc]
            yield from page["results"]
            if not page.get("next"):
                return
            # The query alone: a token never follows a link to another place.
            query = httpx.URL(page["next"]).params

    def _json(self, operation: Operation, names: Mapping[str, object] = {}, content: Content = dict) -> dict[str, Any]:
        return json_of(self._answer(operation, names, content))

    def _answer(self, operation: Operation, names: Mapping[str, object], content: Content = dict) -> httpx.Response:
        """The answer, asked for again a few times where the network or the service is only busy."""
        tried = 0
        while True:
            try:
                return self._once(operation.method, operation.address(**names), content())
            except Away as away:
                self.wait(tried, away)
            tried += 1

    def _once(self, method: str, address: str, content: Mapping[str, Any]) -> httpx.Response:
        try:
            response = self.http.request(method, address, **content)
        except (httpx.TransportError, httpx.DecodingError) as error:
            raise Away(UNREACHABLE.format(site=self.site)) from error
        return settled(response, datetime.now(UTC))
