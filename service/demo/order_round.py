"""A round of the demo's order: what a crew sends while the nut can still be turned, and what it is told."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import requests

from service.moments import rfc3339

CREW: Final = "A. Fitter"
READ_AT: Final = rfc3339(datetime.now(UTC) - timedelta(hours=3))
PLACE: Final = "drive"
"""The end that is held: it is done first."""


def _reading(kind: str, *values: Any, by: str = CREW, **more: Any) -> dict[str, Any]:
    said = {"values": [each if isinstance(each, dict) and "row" in each else {"value": each} for each in values]}
    return {"kind": kind, "taken_at": READ_AT, "taken_by": by, **said, **more}


def _rows(kind: str, *values_in: float, **more: Any) -> dict[str, Any]:
    rows = [{"value": {"value": value, "unit": "in"}, "row": row} for row, value in enumerate(values_in, start=1)]
    return _reading(kind, *rows, position=PLACE, **more)


READINGS: Final = (
    ("locked out, tried to start", _reading("try_start", True, step="isolate")),
    ("class on the ring", _reading("class_read", "C3", position=PLACE)),
    ("new bearing, row 1 alone", _rows("initial_clearance", 0.0040)),
    ("new bearing, both rows", _rows("initial_clearance", 0.0040, 0.0040)),
    ("first steps of the nut", _rows("residual_clearance", 0.0030, 0.0030)),
    ("sent as 0.025 in", _rows("residual_clearance", 0.025, 0.025)),
    ("after the tab", _rows("residual_clearance", 0.0025, 0.0025)),
)
"""What is sent, in the order of the work: some of it wrong, as it happens."""


def round_of(session: requests.Session, order_url: str) -> Iterator[str]:
    """Yield what becomes of each reading of the round, and how many holds are open after it."""
    still_open: list[dict[str, Any]] = []
    for said, reading in READINGS:
        answer = session.post(f"{order_url}/readings", json={"readings": [reading]}, timeout=10)
        answer.raise_for_status()
        judged = answer.json()
        item, still_open = judged["items"][0], judged["hold_points_open"]
        yield f"{said}: {item['verdict'].upper()}. {item['detail']} {item['next']}"
    yield f"{len(still_open)} holds are open; the next one: {still_open[0]['title']}, {still_open[0]['needs']['said']}."
