"""An example: follow the feed of events by polling, as an integrator would write it.

    python poller.py http://HOST:8080 capsaddle_... [--once]

The place in the feed is kept in a file, written after an event was worked on: a crash repeats one, and loses none.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import requests

PLACE = Path("capsaddle-events.place")


def events(base_url: str, key: str, *, once: bool) -> Iterator[dict[str, Any]]:
    """Yield events from the place where the last run ended; waiting for news is the server's part (``wait``)."""
    session = requests.Session()
    session.headers["Authorization"] = f"Bearer {key}"
    after = PLACE.read_text() if PLACE.exists() else "0"
    while True:
        try:
            answer = session.get(
                f"{base_url}/v1/events", params={"after": after, "limit": 100, "wait": 0 if once else 25}, timeout=60
            )
        except requests.ConnectionError:
            time.sleep(2)
            continue
        if answer.status_code in (429, 503):
            time.sleep(float(answer.headers.get("Retry-After", "2")))
            continue
        answer.raise_for_status()
        items = answer.json()["items"]
        for event in items:
            yield event
            after = event["id"]
            PLACE.write_text(after)
        if once and not items:
            return


if __name__ == "__main__":
    for found in events(sys.argv[1], sys.argv[2], once="--once" in sys.argv):
        print(found["id"], found["type"], found["subject"], flush=True)
