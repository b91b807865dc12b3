"""A receiver of webhooks: a real TLS server on this machine, its certificate from an authority of the tests' own."""

import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

NAME = "hooks.example.org"


@dataclass
class Received:
    """One request, as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What came, and how to answer: a status and headers, or a function that does what it likes with the socket."""

    port: int = 0
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    behave: Any = None
    came: list[Received] = field(default_factory=list)
    connections: int = 0

    @property
    def address(self) -> str:
        return f"https://{NAME}:{self.port}/flies?from=farm"


def certificates(folder: Path) -> tuple[Path, Path, Path]:
    """An authority's certificate, and a server's with its key, made by openssl."""
    ca, ca_key, key, request, made = (
        folder / each for each in ("ca.pem", "ca.key", "server.key", "server.csr", "server.pem")
    )
    extra = folder / "san.txt"
    extra.write_text(f"subjectAltName=DNS:{NAME},IP:127.0.0.1\n")
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    for command in (
        ["req", "-x509", *curve, "-keyout", ca_key, "-out", ca, "-subj", "/CN=Tests", "-days", "2",
         "-addext", "basicConstraints=critical,CA:TRUE", "-addext", "keyUsage=critical,keyCertSign"],
        ["req", *curve, "-keyout", key, "-out", request, "-subj", f"/CN={NAME}"],
        ["x509", "-req", "-in", request, "-CA", ca, "-CAkey", ca_key, "-CAcreateserial", "-out", made, "-days", "2",
         "-extfile", extra],
    ):  # fmt: skip
        subprocess.run(["openssl", *map(str, command)], check=True, capture_output=True)
    return ca, made, key


@contextmanager
def receiving(folder: Path, certificate: Path, key: Path) -> Iterator[Receiver]:
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.came.append(Received(self.path, {k.lower(): v for k, v in self.headers.items()}, body))
            if receiver.behave is not None:
                receiver.behave(self)
                return
            self.send_response(receiver.status)
            for name, value in receiver.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: Any) -> None:
            return

    class Server(ThreadingHTTPServer):
        daemon_threads = True

        def get_request(self) -> tuple[socket.socket, Any]:
            receiver.connections += 1
            return super().get_request()

        def handle_error(self, request: Any, client_address: Any) -> None:
            return

    server = Server(("127.0.0.1", 0), Handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    receiver.port = server.server_address[1]
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
