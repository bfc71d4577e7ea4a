"""An example: receive webhooks, as an integrator would write it. Standard library only.

    python webhook_receiver.py 9000 whsec_...        # then subscribe http://HOST:9000/hook

What a receiver does: check the signature over the exact bytes, check the time, answer 2xx at once, do the work
afterwards, and do it once: the id of a repeated event is the same.
"""

import base64
import hmac
import json
import sys
import time
from collections.abc import Callable, Mapping
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

TOLERANCE_S = 300


def is_genuine(secret: str, headers: Mapping[str, str], body: bytes) -> bool:
    """Return whether the sender holds the secret (Standard Webhooks 1.0.0), and the message is not an old one."""
    message_id, sent_at = headers.get("webhook-id", ""), headers.get("webhook-timestamp", "")
    if not sent_at.isdigit() or abs(time.time() - int(sent_at)) > TOLERANCE_S:
        return False
    key = base64.b64decode(secret.removeprefix("whsec_"))
    digest = hmac.new(key, f"{message_id}.{sent_at}.".encode() + body, sha256).digest()
    expected = "v1," + base64.b64encode(digest).decode()
    given = headers.get("webhook-signature", "").split(" ")
    return any(hmac.compare_digest(each, expected) for each in given)


class Inbox:
    """Takes each event once."""

    def __init__(self, secret: Callable[[], str], handle: Callable[[dict[str, Any]], None]) -> None:
        self.secret, self.handle = secret, handle
        self.seen: set[str] = set()

    def take(self, headers: Mapping[str, str], body: bytes) -> int:
        """Return the status to answer."""
        if not is_genuine(self.secret(), headers, body):
            return 401
        message_id = headers["webhook-id"]
        if message_id not in self.seen:
            self.handle(json.loads(body))
            self.seen.add(message_id)  # in a real system: stored together with what was done
        return 204


def main(port: int, secret: str) -> None:
    """Print every event once."""
    inbox = Inbox(lambda: secret, lambda event: print(event["type"], event["subject"], flush=True))

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            self.send_response(inbox.take({name.lower(): value for name, value in self.headers.items()}, body))
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing but the events."""

    ThreadingHTTPServer(("127.0.0.1", port), Handler).serve_forever()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
