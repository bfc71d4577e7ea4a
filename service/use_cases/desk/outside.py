"""Bearings that were left with a clearance outside of their window: where, by whom, what came of it."""

from typing import Any, Final

from service import units
from service.store.queries.desk import stays_outside_window
from service.store.transaction import Tx

MOST: Final = 100


def left_outside(tx: Tx) -> list[dict[str, Any]]:
    """Return the stays that were left outside of their window, the latest fitted first, at most ``MOST``."""
    return [
        {
            **{name: row._mapping[name] for name in ("asset_id", "asset", "position", "designation", "installed_at")},
            "removed_at": row.removed_at,
            "end_type": row.end_type,
            "installed_by": row.installed_by,
            "work_order": row.work_order,
            "residual": units.clearance(row.residual_clearance_nm),
            "window_min": units.clearance(row.window_min_nm),
            "window_max": units.clearance(row.window_max_nm),
            "place": "below" if row.residual_clearance_nm < row.window_min_nm else "above",
        }
        for row in stays_outside_window(tx, limit=MOST)
    ]
