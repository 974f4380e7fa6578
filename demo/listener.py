"""Somebody outside who hears of tickets: takes webhooks and holds their signatures to the secret.

By the Standard Webhooks specification, version 1: HMAC-SHA-256 over id, timestamp and body.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from demo.client import Failed

PREFIX = "whsec_"
LONGEST_S = 30.0


class Listener:
    """What came, with its headers; `address` is where it listens."""

    def __init__(self, server: ThreadingHTTPServer) -> None:
        self.address = f"http://127.0.0.1:{server.server_address[1]}/tickets"
        self._came: list[tuple[dict[str, str], bytes]] = []

    def take(self, headers: dict[str, str], body: bytes) -> None:
        self._came.append((headers, body))

    def heard(self, event: str, secret: str, **data: Any) -> dict[str, Any]:
        """Wait for the message of an event with this data, signed as it must be. Raises Failed."""
        deadline = time.monotonic() + LONGEST_S
        while time.monotonic() < deadline:
            for headers, body in list(self._came):
                message: dict[str, Any] = json.loads(body)
                told = message["data"]
                if message["type"] == event and all(told[k] == v for k, v in data.items()):
                    _require_signed(headers, body, secret)
                    return message
            time.sleep(0.1)
        raise Failed(f"no webhook told of {event} {data} within {LONGEST_S:.0f} s")


def _require_signed(headers: dict[str, str], body: bytes, secret: str) -> None:
    key = base64.b64decode(secret.removeprefix(PREFIX))
    head = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode()
    wanted = base64.b64encode(hmac.digest(key, head + body, hashlib.sha256)).decode()
    given = [one.partition(",")[2] for one in headers["webhook-signature"].split()]
    if not any(hmac.compare_digest(one, wanted) for one in given):
        raise Failed(f"a webhook is not signed with its secret: {headers['webhook-signature']}")


@contextmanager
def listening() -> Iterator[Listener]:
    """A listener on a free port of this machine, until the block ends."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            listener.take({name.lower(): value for name, value in self.headers.items()}, body)
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: Any) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        listener = Listener(server)
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        try:
            yield listener
        finally:
            server.shutdown()
            thread.join()
