"""The pumps of the demo plant, and who fitted its fans: what the desk is worth looking at for.

Beside the two faults of the fans (``service.demo.history``), planted here: one position whose bearings last less and
less long, and one batch of a maker that does not last. All invented, the same each time.
"""

import math
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zlib import crc32

from service.demo.history import DUTY, MODES, history
from service.moments import rfc3339

PUMPS: Final = 30
DESIGNATION: Final = "22220 K/C3"
BEGIN: Final = datetime(2013, 3, 4, 6, 0, tzinfo=UTC)
END: Final = datetime(2025, 6, 30, 6, 0, tzinfo=UTC)
SHAPE: Final = 2.0
SCALE_H: Final = 26_000.0
FALLING: Final = ("PMP-07", "inboard")
FALLING_LIVES_H: Final = (24_000, 19_500, 14_800, 10_900, 7_600, 5_200, 3_400, 2_300)
BATCH: Final = "C-1804"
BATCH_MAKER: Final = "Maker C"
BATCH_FITTED: Final = (datetime(2018, 4, 1, tzinfo=UTC), datetime(2019, 1, 1, tzinfo=UTC))
BATCH_LIVES: Final = 0.16  # as long as of other batches
MAKERS: Final = ("Maker A", "Maker C")
TIMES: Final = ("installed_at", "removed_at", "as_of")
CREW: Final = ("A. Fitter", "B. Millwright", "C. Mechanic")
TIGHT_HAND: Final = 1
"""Who left most of the fans' clearances below their window."""


def plant_history(until: datetime = END) -> list[dict[str, Any]]:
    """Return the stays of the whole plant, flat, as an import takes them; the last look at it was at ``until``."""
    later = timedelta(days=(until - END).days)
    return [_moved(stay, later) for stay in (*map(_with_fitter, history()), *_pumps())]


def _moved(stay: dict[str, Any], later: timedelta) -> dict[str, Any]:
    """Return a stay as it would be had everything happened later."""
    times: dict[str, Any] = {
        name: rfc3339(datetime.fromisoformat(stay[name]) + later) for name in TIMES if name in stay
    }
    return {**stay, **times}


def _with_fitter(stay: dict[str, Any]) -> dict[str, Any]:
    """Return a stay with who mounted it: by its name, so that nothing else of the plan changes."""
    lot = crc32(stay["external_id"].encode()) % 100
    tight = stay.get("residual_clearance_mm", 1.0) < stay.get("window_min_mm", 0.0)
    by = TIGHT_HAND if tight and lot < 80 else lot % len(CREW)
    return {**stay, "installed_by": CREW[by]}


def _pumps() -> Iterator[dict[str, Any]]:
    chance = random.Random(20)
    for pump in range(1, PUMPS + 1):
        for position in ("inboard", "outboard"):
            yield from _of_position(chance, f"PMP-{pump:02d}", position)


def _of_position(chance: random.Random, asset: str, position: str) -> Iterator[dict[str, Any]]:
    fitted, number = BEGIN + timedelta(days=int(chance.random() * 700)), 0
    falling = (asset, position) == FALLING
    if falling:
        fitted = BEGIN
    while True:
        maker = MAKERS[chance.random() < 0.5]
        of_batch = maker == BATCH_MAKER and BATCH_FITTED[0] <= fitted < BATCH_FITTED[1] and not falling
        hours = SCALE_H * math.pow(-math.log(1.0 - chance.random()), 1 / SHAPE)
        hours *= BATCH_LIVES if of_batch else 1.0
        if falling:
            hours = FALLING_LIVES_H[min(number, len(FALLING_LIVES_H) - 1)]
        removed = fitted + timedelta(hours=round(max(hours, 100) / DUTY))
        stay = {
            "external_id": f"{asset}-{position}-{number + 1}",
            "asset": asset,
            "position": position,
            "designation": DESIGNATION,
            "manufacturer": maker,
            "batch": BATCH if of_batch else f"{maker[-1]}-{fitted:%y%m}",
            "installed_at": rfc3339(fitted),
            "installed_by": CREW[int(chance.random() * len(CREW))],
        }
        if removed >= END:
            age_h = round((END - fitted).total_seconds() / 3600 * DUTY)
            yield {**stay, "end_type": "running", "as_of": rfc3339(END), "operating_hours": age_h}
            return
        damage = MODES[int(chance.random() * len(MODES))]
        ended = {"removed_at": rfc3339(removed), "operating_hours": round(max(hours, 100))}
        yield {**stay, **ended, "end_type": "failed", "inspected": True, "damage": damage}
        fitted, number = removed + timedelta(hours=8), number + 1
