"""A maintenance system that is not ours: its own server, its own JSON, its own idea of an order.

    python maintenance_system.py PORT BASE_URL KEY FOLDER [FAILURES]

It opens orders through the field map ``north-mill``, takes webhooks (the first FAILURES of them it answers with 500),
writes the card into the long text of its order and the steps into short texts, and passes on what the mechanic enters.
What it knows is kept in FOLDER, one file an order. It knows our service by its documents only.
"""

import json
import os
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import requests
from webhook_receiver import Inbox

PORT, BASE_URL, KEY, FOLDER = int(sys.argv[1]), sys.argv[2], sys.argv[3], Path(sys.argv[4])
LONGEST_LINE, LONGEST_SHORT_TEXT = 96, 28
LOCK = threading.RLock()
state: dict[str, Any] = {"failures_left": int(sys.argv[5]) if len(sys.argv) > 5 else 0, "secret": "", "events": []}


def asked(method: str, path: str, *, key: str | None = None, **options: Any) -> requests.Response:
    """Ask our service until it answers; a write carries its own key, so that a repetition changes nothing."""
    headers = {"Authorization": f"Bearer {KEY}", **options.pop("headers", {})}
    if key is not None:
        headers["Idempotency-Key"] = key
    until = time.monotonic() + 60
    while True:
        try:
            answer = requests.request(method, f"{BASE_URL}{path}", headers=headers, timeout=10, **options)
        except requests.RequestException:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)
            continue
        if answer.status_code != 503:
            return answer
        time.sleep(0.1)


def kept(number: str) -> dict[str, Any]:
    """Return an order of ours."""
    held: dict[str, Any] = json.loads((FOLDER / f"{number}.json").read_text())
    return held


def keep(held: dict[str, Any]) -> None:
    """Store an order of ours, whole or not at all."""
    file = FOLDER / f"{held['no']}.json"
    draft = file.with_suffix(".new")
    draft.write_text(json.dumps(held))
    os.replace(draft, file)


def raised(order: dict[str, Any]) -> dict[str, Any]:
    """Raise an order here and send it to the service in our own shape."""
    with LOCK:
        keep({**order, "status": "RAISED", "longText": [], "tasks": [], "written": 0})
    answer = asked("POST", "/v1/inbound/north-mill", key=f"raise-{order['no']}", json={"order": order})
    if not answer.ok:
        return {"refused": answer.json()}
    reply = answer.json()
    with LOCK:
        held = kept(order["no"])
        held |= {"bearingOrder": answer.headers["Location"].rsplit("/", 1)[1], "status": "SENT"}
        keep(held)
        written(held, reply["longText"], reply["tasks"])
    return reply  # type: ignore[no-any-return]


def written(held: dict[str, Any], long_text: list[str], tasks: list[dict[str, Any]]) -> None:
    """Write into fields that are as narrow as they are: whatever does not fit is refused, never cut."""
    for line in long_text:
        if len(line) > LONGEST_LINE or not line.isascii():
            raise ValueError(f"a line does not fit: {line!r}")
    for task in tasks:
        if len(task["short"]) > LONGEST_SHORT_TEXT or not task["short"].isascii():
            raise ValueError(f"a short text does not fit: {task['short']!r}")
    keep(held | {"longText": long_text, "tasks": tasks, "written": held["written"] + 1})


def told(event: dict[str, Any]) -> None:
    """Do what an event asks for: fetch the card again when there is a new one, close the order when it is done."""
    name = event["type"].removeprefix("internal.capsaddle.")
    with LOCK:
        if name in ("work_order.opened", "instructions.revised", "work_order.completed"):
            order = asked("GET", event["data"]["link"]).json()
            held = kept(order["external"]["number"])
            if name == "work_order.completed":
                keep(held | {"status": "CLOSED", "closings": held.get("closings", 0) + 1})
            else:
                answer = asked("GET", f"{event['data']['link']}/instructions", headers={"Accept": "text/plain"})
                written(held, answer.text.rstrip("\n").split("\n"), held["tasks"])
        state["events"].append(event["id"])


def passed_on(number: str, what: str, body: dict[str, Any], key: str) -> dict[str, Any]:
    """Pass on what the mechanic entered, and return what the service says to it."""
    answer = asked("POST", f"/v1/work-orders/{kept(number)['bearingOrder']}/{what}", key=key, json=body)
    return {"status": answer.status_code, "answer": answer.json()}


INBOX = Inbox(lambda: state["secret"], told)


class Handler(BaseHTTPRequestHandler):
    """The maintenance system's own little API."""

    def do_POST(self) -> None:
        """Take a webhook, or what people do at this system."""
        body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
        if self.path == "/hook":
            return self._answer(self._hook(body), {})
        given = json.loads(body)
        _, *parts = self.path.split("/")
        if parts == ["secret"]:
            state["secret"] = given["secret"]
            return self._answer(200, {})
        if parts == ["orders"]:
            return self._answer(200, raised(given))
        number, what = parts[1], parts[2]
        return self._answer(200, passed_on(number, what, given["body"], given["key"]))

    def do_GET(self) -> None:
        """Show an order, or which events came."""
        with LOCK:
            self._answer(200, {"ids": state["events"]} if self.path == "/events" else kept(self.path.split("/")[2]))

    def _hook(self, body: bytes) -> int:
        with LOCK:
            if state["failures_left"] > 0:
                state["failures_left"] -= 1
                return 500
            return INBOX.take({name.lower(): value for name, value in self.headers.items()}, body)

    def _answer(self, status: int, body: dict[str, Any]) -> None:
        data = b"" if status == 204 else json.dumps(body).encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        self.wfile.write(data)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


if __name__ == "__main__":
    ThreadingHTTPServer(("127.0.0.1", PORT), Handler).serve_forever()
