"""Published life and recurrence data, read from tests/data/lives."""

import csv
from pathlib import Path

from service.reliability.lives import Lives, lives

LIVES = Path(__file__).parents[2] / "data" / "lives"


def table(name: str) -> list[dict[str, str]]:
    with (LIVES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def published_lives(name: str, mode: str | None = None) -> Lives:
    """The lives of a set; with a mode, failures of other modes are censored."""
    rows = table(name)
    return lives(
        [float(row["time"]) for row in rows],
        [row["status"] == "failed" and mode in (None, row.get("mode")) for row in rows],
        count=[float(row["count"]) for row in rows],
    )


def published_systems(name: str) -> list[tuple[list[float], float]]:
    """The event ages of each system and the age at which its observation ended."""
    events: dict[str, list[float]] = {}
    ends: dict[str, float] = {}
    for row in table(name):
        if row["event"] == "end":
            ends[row["system"]] = float(row["time"])
        else:
            events.setdefault(row["system"], []).append(float(row["time"]))
    return [(sorted(events.get(system, [])), end) for system, end in ends.items()]
