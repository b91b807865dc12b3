"""What can come back instead of what was asked for: a refusal by the service, or no answer of it at all."""

from collections.abc import Mapping
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any

import httpx

PROBLEM = "application/problem+json"
# Nothing was stored, and the same may be sent again: every write of this client is safe to repeat.
BUSY = (408, 425, 429, 502, 503, 504)
BUSY_SENTENCE = "The service is busy or being updated. What was sent isn't lost; try again later."
ELSE_ANSWERED = (
    "{site} answered {status}, but not as Flyround does. Check the address (https?), or sign in to the network first."
)


class Refused(Exception):
    """The service said no: its status, its stable code, its sentence, and what it named."""

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        self.status = status
        self.problem = dict(problem)
        self.code = str(problem.get("code", ""))
        self.errors: list[dict[str, Any]] = list(problem.get("errors") or [])
        super().__init__(problem.get("detail") or f"The service answered {status}.")


class Away(Exception):
    """Nothing is known of what became of the request: nobody answered, the service is busy, or something else spoke.

    It may be sent again. `after`: the seconds that the service asked for. `only_this`: others may do better.
    """

    def __init__(self, sentence: str, *, after: float = 0.0, only_this: bool = False) -> None:
        self.after = after
        self.only_this = only_this
        super().__init__(sentence)


def settled(response: httpx.Response, now: datetime) -> httpx.Response:
    """An answer that says what was asked for. Raises Refused or Away for any other.

    Only a problem of the service's own form is a refusal: a network's sign-in page or a proxy's 403 says nothing about
    what was sent, and a page with status 200 stored nothing.
    """
    status = response.status_code
    problem = problem_in(response)
    if status in BUSY or (status == 409 and "Idempotency-Key" in response.request.headers):
        # 409 with a key: what was sent before under it is still at work.
        raise Away(str(problem.get("detail") or BUSY_SENTENCE), after=retry_after(response, now))
    if status == 500 and problem:
        raise Away(str(problem["detail"]), after=retry_after(response, now), only_this=True)
    if problem:
        raise Refused(status, problem)
    if not response.is_success:
        raise Away(ELSE_ANSWERED.format(site=response.request.url.host, status=status))
    return response


def json_of(response: httpx.Response) -> dict[str, Any]:
    """The object in an answer. Raises Away where something in between answered."""
    try:
        found = response.json()
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise Away(ELSE_ANSWERED.format(site=response.request.url.host, status=response.status_code))
    return found


def problem_in(response: httpx.Response) -> dict[str, Any]:
    """The problem of an answer (RFC 9457); empty where it holds none."""
    if response.headers.get("Content-Type", "").partition(";")[0].strip() != PROBLEM:
        return {}
    try:
        found = response.json()
    except ValueError:
        return {}
    return found if isinstance(found, dict) and "detail" in found else {}


def retry_after(response: httpx.Response, now: datetime) -> float:
    """The seconds that an answer asks to wait, said as seconds or as a date (RFC 9110, 10.2.3); 0 where it doesn't."""
    said = response.headers.get("Retry-After", "").strip()
    if said.isdecimal():
        return float(said[:9])
    try:
        then = parsedate_to_datetime(said)
    except (ValueError, TypeError):
        return 0.0
    return max(0.0, (then.replace(tzinfo=then.tzinfo or UTC) - now).total_seconds())
