"""A book of the demo plant that was wrong: a bearing mounted by it, an order that goes by it, and its recall."""

from datetime import UTC, datetime, timedelta
from typing import Any, Final

import requests

from service.moments import rfc3339

ENTERED_BY: Final = "R. Planner"
CHECKED_BY: Final = "S. Engineer"
FITTER: Final = "C. Mechanic"
FOREMAN: Final = "D. Foreman"
DONE_AT: Final = rfc3339(datetime.now(UTC) - timedelta(days=6))
TAKEN_AT: Final = rfc3339(datetime.now(UTC) - timedelta(days=6, hours=5))
SERIES: Final = ((0, 20), (15, 34), (30, 43), (45, 49), (60, 52), (90, 50), (120, 46.5), (150, 45.5), (180, 45))
"""Minutes and degC of a housing that warms, peaks while the grease spreads, and settles: common practice, no source."""


def _mm(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "mm"}


def _chart(least: float, most: float) -> dict[str, Any]:
    row = {
        "bore_over": _mm(65),
        "bore_incl": _mm(80),
        "min": _mm(least),
        "max": _mm(most),
        "smallest_residual": {"CN": _mm(0.025), "C3": _mm(0.04)},
    }
    return {"kind": "reduction", "bearing_type": "spherical_roller", "rows": [row]}


WRONG: Final = _chart(0.030, 0.040)
RIGHT: Final = _chart(0.040, 0.050)
REASON: Final = "The row for bores over 65 to 80 mm was copied one line too high from the printed page."
PROVENANCE: Final = {
    "title": "Bearing handbook of the maker",
    "edition": "2024",
    "page": "112",
    "entered_by": ENTERED_BY,
    "checked_by": CHECKED_BY,
}


def entered_chart(session: requests.Session, base_url: str, rows: dict[str, Any]) -> str:
    """Enter a version of the chart, and return its id."""
    chart = {**rows, "name": "spherical roller bearings", "provenance": PROVENANCE}
    return str(_sent(session, f"{base_url}/v1/charts", chart)["id"])


def complete_order(session: requests.Session, base_url: str, order: dict[str, Any]) -> None:
    """Send what a crew reads at the one position of an order, and complete it."""
    url = f"{base_url}/v1/work-orders/{order['id']}"
    position = order["positions"][0]
    plan = order["instructions"]
    target = next(each for each in plan["targets"] if each["position"] == position)
    middle = (target["initial_clearance"]["min"]["value"] + target["initial_clearance"]["max"]["value"]) / 2
    unit = target["initial_clearance"]["min"]["unit"]
    start = [_reading("try_start", None, True, step="isolate"), _rows("initial_clearance", position, middle, unit)]
    still_open = _sent(session, f"{url}/readings", {"readings": start})["hold_points_open"]
    plan = session.get(f"{url}/instructions", timeout=20).json()
    readings = [
        reading
        for point in still_open
        for kinds in point["needs"]["kinds"]
        if (reading := _closing(kinds[0], point, plan)) is not None
    ]
    _sent(session, f"{url}/readings", {"readings": readings})
    done = {
        "completed_at": DONE_AT,
        "completed_by": FITTER,
        "positions": [{"position": position, "outcome": "replaced", "installed": {"designation": "22216 K/C3"}}],
    }
    _sent(session, f"{url}/completion", done)


def recall(session: requests.Session, base_url: str, chart_id: str) -> dict[str, Any]:
    """Recall the chart with its rows as they should have been."""
    return _sent(session, f"{base_url}/v1/charts/{chart_id}/recall", {"reason": REASON, "corrected": RIGHT})


def _closing(kind: str, point: dict[str, Any], plan: dict[str, Any]) -> dict[str, Any] | None:
    """Return what clears one hold, or one part of it: inside its limits, by two persons where two are asked for."""
    position = point["position"]
    step = next(each for each in plan["steps"] if each["number"] == point["step"])
    target = next((each for each in plan["targets"] if each["position"] == position), None)
    if kind == "swivel":
        return _reading(kind, position, "free")
    if kind == "class_read":
        return _reading(kind, position, target["bearing"]["clearance_class"] if target else "C3")
    if kind == "try_start":
        return _reading(kind, None, True, step=step["id"])
    if kind == "rings_in":
        return _reading(kind, None, *_ringed(plan), taken_by=FOREMAN)
    if kind == "stop_limit":
        watchers = [{"position": each["position"], "person": FOREMAN} for each in plan["bolting"]]
        return _reading(kind, None, {"value": 90, "unit": "degC"}, watchers=watchers)
    if kind == "run_in_temperature":
        pairs = [{"minute": minute, "temperature": {"value": value, "unit": "degC"}} for minute, value in SERIES]
        return _without_values(_reading(kind, position)) | {"series": pairs}
    if kind == "initial_clearance" and target is not None and target["measured"]:
        return None
    if kind == "free_gap":
        step = next(each for each in plan["steps"] if (each["record"] or {}).get("kind") == kind)
    limits = next(
        each for each in step["record"]["limits"] if each["position"] in (None, position) or kind == "free_gap"
    )
    aim = limits["aim"] or limits["min"]
    if kind == "residual_clearance":
        return _rows(kind, position, aim["value"], aim["unit"])
    value = {name: aim[name] for name in ("value", "unit")}
    values = [value, value] if kind == "shaft_diameter" else [value]
    return _reading(kind, limits["position"] if kind == "free_gap" else position, *values)


def _ringed(plan: dict[str, Any]) -> list[str]:
    return [each["name"] for each in plan["arrangement"]["supports"] if (each["locating_rings"] or {}).get("count")]


def _reading(kind: str, position: str | None, *values: Any, taken_by: str = FITTER, **more: Any) -> dict[str, Any]:
    place = {} if position is None else {"position": position}
    said = {"values": [{"value": value} for value in values], "taken_at": TAKEN_AT, "taken_by": taken_by}
    return {"kind": kind, **place, **said, **more}


def _rows(kind: str, position: str, value: float, unit: str) -> dict[str, Any]:
    both = [{"value": {"value": value, "unit": unit}, "row": row} for row in (1, 2)]
    return {**_reading(kind, position), "values": both}


def _without_values(reading: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in reading.items() if name != "values"}


def _sent(session: requests.Session, url: str, document: dict[str, Any]) -> dict[str, Any]:
    answer = session.post(url, json=document, timeout=30)
    if not answer.ok:
        raise RuntimeError(f"{url}: {answer.status_code} {answer.text[:400]}")
    body: dict[str, Any] = answer.json()
    return body
