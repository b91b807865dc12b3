"""A line between client and service that is cut at random places: each connection carries a few exchanges, then breaks.

It knows just enough of HTTP to cut where it hurts: before a request leaves, in the middle of its body, after the
service has answered and before the client has read it, in the middle of the answer.
"""

import contextlib
import random
import re
import select
import socket
import struct
import threading
from collections import Counter
from dataclasses import dataclass, field
from typing import Self
from urllib.parse import urlsplit

KINDS = ("before the request", "within the request", "after the answer", "within the answer")
MOST_EXCHANGES = 5


@dataclass
class Exchange:
    """One request and its answer as they pass, counted in bytes."""

    up: int = 0
    length: int = 0
    answered: bool = False

    def went_up(self, data: bytes) -> None:
        head, mark, _ = data.partition(b"\r\n\r\n")
        if mark and not self.length:
            found = re.search(rb"(?i)\r\ncontent-length: (\d+)", head)
            self.length = self.up + len(head) + 4 + (int(found[1]) if found else 0)
        self.up += len(data)


@dataclass
class CutLine:
    """`with CutLine(live_server.url, seed) as line:` and talk to `line.url`. `cuts` counts what was done."""

    target: str
    seed: int
    most_exchanges: int = MOST_EXCHANGES
    cuts: Counter[str] = field(default_factory=Counter)
    connections: int = 0
    exchanges: int = 0

    def __enter__(self) -> Self:
        self.ends = threading.Event()
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.listening.settimeout(0.1)
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}"
        self.threads = [threading.Thread(target=self._listen)]
        self.threads[0].start()
        return self

    def __exit__(self, *_: object) -> None:
        self.ends.set()
        for thread in self.threads:
            thread.join(10)
        self.listening.close()

    def _listen(self) -> None:
        while not self.ends.is_set():
            with contextlib.suppress(TimeoutError):
                near, _ = self.listening.accept()
                self.connections += 1
                chance = random.Random(f"{self.seed} {self.connections}")  # noqa: S311 - no secret
                self.threads.append(threading.Thread(target=self._carry_safely, args=(near, chance)))
                self.threads[-1].start()

    def _carry_safely(self, near: socket.socket, chance: random.Random) -> None:
        place = urlsplit(self.target)
        with (
            near,
            contextlib.suppress(OSError),
            socket.create_connection((place.hostname, place.port)) as far,
        ):
            for side in (near, far):
                # A head and its body come in two pieces: Nagle's algorithm would hold back the second.
                side.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._carry(near, far, chance)
            for side in (near, far):
                self._cut(side, chance)

    def _carry(self, near: socket.socket, far: socket.socket, chance: random.Random) -> None:
        """Carry whole exchanges, then part of one."""
        kind, whole, part = chance.choice(KINDS), chance.randrange(self.most_exchanges), chance.random()
        exchange, number = Exchange(), 0
        while not self.ends.is_set():
            ready, _, _ = select.select([near, far], [], [], 0.1)
            for side in ready:
                data = side.recv(65536)
                if not data:
                    return
                if side is near and exchange.answered:
                    exchange, number = Exchange(), number + 1
                self.exchanges += side is near and not exchange.up
                done = self._pass(
                    data, (far if side is near else near), exchange, kind if number == whole else "", part
                )
                if done:
                    self.cuts[done] += 1
                    return

    def _pass(self, data: bytes, to: socket.socket, exchange: Exchange, kind: str, part: float) -> str:
        """Pass a piece on, or as much of it as is to come through; how it was cut, if it was."""
        if not exchange.answered and to.getpeername()[1] == urlsplit(self.target).port:
            if kind == "before the request":
                return kind
            before = exchange.up
            exchange.went_up(data)
            least = int(part * max(exchange.length, exchange.up))
            if kind == "within the request" and exchange.up > least:
                to.sendall(data[: max(0, least - before)])
                return kind
        else:
            exchange.answered = True
            if kind == "after the answer":
                return kind
            if kind == "within the answer":
                to.sendall(data[: int(part * len(data))])
                return kind
        to.sendall(data)
        return ""

    def _cut(self, side: socket.socket, chance: random.Random) -> None:
        """Break off: half of the time without a goodbye (RST), as where a signal is lost."""
        if chance.random() < 0.5:
            side.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        side.close()
