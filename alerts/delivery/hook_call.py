"""One call of a webhook's address: looked up, judged, and called at the very IP address that was judged.

No second look-up comes between: whoever changes a name's answer in that moment reaches nothing else. The certificate
is checked against the name all the same. Nothing is followed, nothing of the answer but its status is looked at, and
the whole call has ten seconds, however slowly the other side answers.
"""

import socket
import ssl
import time
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from ipaddress import ip_address
from typing import Any
from urllib.parse import SplitResult

import httpcore
from django.conf import settings

from alerts.models.webhook import HookProblem
from alerts.outbound import IP, WebhookAddressWrong, all_may_be_reached, checked, literal

CONNECT, WHOLE = 3.0, 10.0  # seconds
MOST_READ = 16 * 1024  # bytes in all, TLS beneath not counted: a status line and headers are far less
Resolve = Callable[[str, int], list[IP]]


class NotTakenError(Exception):
    """The other side didn't take what was sent; `problem` says why, `gone` that it wants nothing any more."""

    def __init__(self, problem: HookProblem, status: int | None = None) -> None:
        super().__init__(problem.value)
        self.problem = problem
        self.status = status

    @property
    def gone(self) -> bool:
        return self.status == 410


def resolve(host: str, port: int) -> list[IP]:
    """Every address that a name has now. In a thread of its own, since the system's look-up knows no time limit."""
    if (address := literal(host)) is not None:
        return [address]
    threads = ThreadPoolExecutor(1)
    try:
        found = threads.submit(socket.getaddrinfo, host, port, type=socket.SOCK_STREAM).result(CONNECT)
    finally:
        threads.shutdown(wait=False)
    return list(dict.fromkeys(ip_address(each[4][0]) for each in found))


def post(address: str, body: bytes, headers: Mapping[str, str], *, resolver: Resolve = resolve) -> int:
    """Send a body to an address; the status, where it is of the 2xx. Raises NotTakenError for whatever else happens."""
    ends = time.monotonic() + WHOLE
    try:
        parts = checked(address)
    except WebhookAddressWrong as error:
        raise NotTakenError(HookProblem.FORBIDDEN) from error
    backend = Pinned(judged(parts, resolver), ends)
    try:
        status = _status(parts, body, headers, backend)
    except NotTakenError:
        raise
    except httpcore.TimeoutException as error:
        raise NotTakenError(HookProblem.SLOW) from error
    except httpcore.ConnectError as error:
        is_tls = isinstance(error.__context__, ssl.SSLError) or "certificate" in str(error).lower()
        raise NotTakenError(HookProblem.CERTIFICATE if is_tls else HookProblem.NO_CONNECTION) from error
    except (httpcore.NetworkError, httpcore.ProtocolError, OSError) as error:
        raise NotTakenError(HookProblem.NO_ANSWER) from error
    if not 200 <= status < 300:
        raise NotTakenError(HookProblem.MOVED if 300 <= status < 400 else HookProblem.STATUS, status)
    return status


def judged(parts: SplitResult, resolver: Resolve) -> list[IP]:
    """The addresses that the host has at this moment, every one of which may be reached. Raises NotTakenError."""
    try:
        found = resolver(parts.hostname or "", port_of(parts))
    except (OSError, TimeoutError, UnicodeError, ValueError) as error:
        raise NotTakenError(HookProblem.NO_NAME) from error
    if not all_may_be_reached(found):
        raise NotTakenError(HookProblem.FORBIDDEN if found else HookProblem.NO_NAME)
    return found


def port_of(parts: SplitResult) -> int:
    return parts.port or (443 if parts.scheme == "https" else 80)


def _status(parts: SplitResult, body: bytes, headers: Mapping[str, str], backend: "Pinned") -> int:
    url = httpcore.URL(
        scheme=parts.scheme, host=parts.hostname or "", port=parts.port,
        target=(parts.path or "/") + (f"?{parts.query}" if parts.query else ""),
    )  # fmt: skip
    limits = {"timeout": {"connect": CONNECT, "read": WHOLE, "write": WHOLE, "pool": WHOLE}}
    sent = {"Host": parts.netloc, "Connection": "close", "Content-Length": str(len(body)), **headers}
    with (
        httpcore.ConnectionPool(ssl_context=_trust(), network_backend=backend, retries=0) as pool,
        pool.stream("POST", url, headers=list(sent.items()), content=body, extensions=limits) as answer,
    ):
        return int(answer.status)  # its body is never read: it could be anything, and as long as it likes


def _trust() -> ssl.SSLContext:
    """The usual authorities, and in the tests one of their own."""
    context = ssl.create_default_context()
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if settings.WEBHOOKS_TEST_CA:
        context.load_verify_locations(settings.WEBHOOKS_TEST_CA)
    return context


class Pinned(httpcore.NetworkBackend):
    """Connects to the addresses that were judged, whatever name it is asked for, until a moment of the clock."""

    def __init__(self, addresses: Iterable[IP], ends: float) -> None:
        self.addresses = list(addresses)
        self.ends = ends
        self.below = httpcore.SyncBackend()

    def connect_tcp(
        self, host: str, port: int, timeout: float | None = None, local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:  # fmt: skip
        """To the first of them that answers."""
        failure: Exception = httpcore.ConnectTimeout()
        for address in self.addresses[:4]:
            try:
                stream = self.below.connect_tcp(str(address), port, min(CONNECT, left(self.ends)))
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                failure = error
            else:
                return Bounded(stream, self.ends)
        raise failure


class Bounded(httpcore.NetworkStream):
    """A connection that ends at a moment of the clock, and after so many bytes."""

    def __init__(self, stream: httpcore.NetworkStream, ends: float) -> None:
        self.stream = stream
        self.ends = ends
        self.may_read = MOST_READ

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        if self.may_read <= 0:
            raise httpcore.ReadError()
        data = self.stream.read(min(max_bytes, self.may_read), left(self.ends))
        self.may_read -= len(data)
        return data

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self.stream.write(buffer, left(self.ends))

    def close(self) -> None:
        self.stream.close()

    def start_tls(
        self, ssl_context: ssl.SSLContext, server_hostname: str | None = None, timeout: float | None = None
    ) -> httpcore.NetworkStream:
        seconds = min(CONNECT, left(self.ends))
        return Bounded(self.stream.start_tls(ssl_context, server_hostname, seconds), self.ends)

    def get_extra_info(self, info: str) -> Any:
        return self.stream.get_extra_info(info)


def left(ends: float) -> float:
    """Seconds that are left. Raises httpcore.ReadTimeout where there are none."""
    seconds = ends - time.monotonic()
    if seconds <= 0:
        raise httpcore.ReadTimeout()
    return seconds
