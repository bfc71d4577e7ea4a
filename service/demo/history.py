"""The invented history of the demo plant: some hundred stays, the same each time, with two faults planted in it.

One position eats its bearings, and bearings that were left with less clearance than their window die early. The
questions about the history must find both.
"""

import math
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from service.moments import rfc3339

FANS: Final = 36
BAD_POSITION: Final = ("FAN-17", "drive")
BEGIN: Final = datetime(2014, 1, 6, 6, 0, tzinfo=UTC)
END: Final = datetime(2025, 6, 30, 6, 0, tzinfo=UTC)
SHAPE: Final = 1.8
SCALE_H: Final = 30_000.0
BAD_POSITION_LIVES: Final = 0.13  # as long as elsewhere
TIGHT_LIVES: Final = 0.22
TIGHT_SHARE: Final = 0.16
PREVENTIVE_AT_H: Final = 40_000.0
DUTY: Final = 0.92
WINDOW_MM: Final = (0.055, 0.08)
MODES: Final = ("wear.abrasive", "rolling_contact_fatigue.subsurface_initiated", "corrosion.moisture",
                "rolling_contact_fatigue.surface_initiated")  # fmt: skip


def history() -> list[dict[str, Any]]:
    """Return the stays, flat, as an import takes them."""
    chance = random.Random(16)
    stays = []
    for fan in range(1, FANS + 1):
        for position in ("tail", "drive"):
            stays += list(_of_position(chance, f"FAN-{fan:02d}", position))
    return stays


def _of_position(chance: random.Random, asset: str, position: str) -> Iterator[dict[str, Any]]:
    fitted, number = BEGIN + timedelta(days=int(chance.random() * 500)), 1
    while True:
        tight = chance.random() < TIGHT_SHARE
        stay = {
            "external_id": f"{asset}-{position}-{number}",
            "asset": asset,
            "position": position,
            "designation": "22216 K/C3",
            "manufacturer": "Maker A" if chance.random() < 0.6 else "Maker B",
            "installed_at": rfc3339(fitted),
            **_clearances(chance, tight),
        }
        hours = _life_h(chance, tight, (asset, position))
        removed = fitted + timedelta(hours=round(min(hours, PREVENTIVE_AT_H) / DUTY))
        if removed >= END:
            age_h = (END - fitted).total_seconds() / 3600 * DUTY
            yield {**stay, "end_type": "running", "as_of": rfc3339(END), "operating_hours": round(age_h)}
            return
        yield {**stay, **_ended(chance, hours, removed)}
        fitted, number = removed + timedelta(hours=8), number + 1


def _life_h(chance: random.Random, tight: bool, place: tuple[str, str]) -> float:
    """Return the life that chance gives a bearing, [h]."""
    scale_h = SCALE_H * (TIGHT_LIVES if tight else 1.0)
    scale_h *= BAD_POSITION_LIVES if place == BAD_POSITION else 1.0
    return max(scale_h * math.pow(-math.log(1.0 - chance.random()), 1 / SHAPE), 24.0)


def _clearances(chance: random.Random, tight: bool) -> dict[str, float]:
    """Return what was left, where it was written down."""
    low, high = WINDOW_MM
    residual = low - 0.005 - 0.01 * chance.random() if tight else low + (high - low) * chance.random()
    window = {"window_min_mm": low, "window_max_mm": high}
    return {"residual_clearance_mm": round(residual, 4), **window} if chance.random() < 0.8 else {}


def _ended(chance: random.Random, hours: float, removed: datetime) -> dict[str, Any]:
    ended = {"removed_at": rfc3339(removed), "operating_hours": round(min(hours, PREVENTIVE_AT_H))}
    if hours > PREVENTIVE_AT_H:
        return {**ended, "end_type": "removed_preventive", "inspected": True}
    if chance.random() < 0.05:
        return {**ended, "end_type": "removed_other", "inspected": False}
    damage = MODES[int(chance.random() * len(MODES))]
    return {**ended, "end_type": "failed", "inspected": True, "damage": damage}
