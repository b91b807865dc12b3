"""The command as a person types it, and a service made of answers where none is needed."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from typer.testing import CliRunner

from server.client.__main__ import app

NOWHERE = "http://127.0.0.1:9"
Answer = tuple[int, dict[str, str], bytes]


def run(*words: object, **typed: Any) -> Any:
    return CliRunner().invoke(app, [str(word) for word in words], **typed)


def json_answer(body: Any, status: int = 200, **headers: str) -> Answer:
    kind = "application/json" if status < 400 else "application/problem+json"
    return status, {"Content-Type": kind, **headers}, json.dumps(body).encode()


@contextmanager
def service(answer: Callable[[str, str, dict[str, str], bytes], Answer]) -> Iterator[str]:
    """The address of a service that answers so to method, path, headers and body; without Content-Length if told."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            status, headers, content = answer(self.command, self.path, dict(self.headers), body)
            unframed = headers.pop("unframed", None)
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header(*(("Connection", "close") if unframed else ("Content-Length", str(len(content)))))
            self.end_headers()
            self.wfile.write(content)
            self.close_connection = bool(unframed)

        do_GET = do_PUT = do_POST = answer  # noqa: N815 - as http.server calls them

        def log_message(self, *_: Any) -> None:
            """Nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()
