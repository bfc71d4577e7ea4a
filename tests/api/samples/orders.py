"""What a crew sends in the course of an order; all invented."""

from typing import Any

from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, inches, order

FITTER, FOREMAN = "A. Fitter", "B. Foreman"
TAKEN_AT = "2020-01-07T09:10:00Z"
GOOD_SERIES = ((0, 20), (15, 34), (30, 43), (45, 49), (60, 52), (90, 50), (120, 46.5), (150, 45.5), (180, 45))
"""Minutes and degC of a housing that warms, peaks while the grease spreads, and settles: common practice, no source."""


def newton_metres(value: float) -> dict[str, Any]:
    """Return a torque."""
    return {"value": value, "unit": "N.m"}


def degc(value: float) -> dict[str, Any]:
    """Return a temperature."""
    return {"value": value, "unit": "degC"}


def reading(kind: str, position: str | None = None, *values: Any, **more: Any) -> dict[str, Any]:
    """Return a reading of one kind; a value is a quantity or the word of an answer."""
    place = {} if position is None else {"position": position}
    taken = {"taken_at": TAKEN_AT, "taken_by": FITTER}
    return {"kind": kind, **place, "values": [{"value": value} for value in values], **taken, **more}


def initial(position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return an initial clearance in inches, one value a row; one value alone is of both rows."""
    return rows("initial_clearance", position, *values_in, **more)


def residual(position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return a residual clearance in inches, one value a row; one value alone is of both rows."""
    return rows("residual_clearance", position, *values_in, **more)


def rows(kind: str, position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return a clearance by row of rollers, in inches."""
    both = values_in * 2 if len(values_in) == 1 else values_in
    values = [{"value": inches(value), "row": row} for row, value in enumerate(both, start=1)]
    return reading(kind, position, **more) | {"values": values}


def confirmed(step: str, position: str | None = None, **more: Any) -> dict[str, Any]:
    """Return the tick of a step."""
    return reading("confirmation", position, True, step=step, **more)


def isolated(step: str = "isolate", **more: Any) -> dict[str, Any]:
    """Return a try-start that proved the isolation."""
    return reading("try_start", None, True, step=step, **more)


def series(position: str, *pairs: tuple[float, float], unit: str = "degC", **more: Any) -> dict[str, Any]:
    """Return the run-in of a housing: minutes and temperatures, a good one without any."""
    said = [{"minute": minute, "temperature": {"value": value, "unit": unit}} for minute, value in pairs or GOOD_SERIES]
    given = reading("run_in_temperature", position, **more)
    return {name: value for name, value in given.items() if name != "values"} | {"series": said}


def limit_written(limit_degc: float, *positions: str, by: str = FOREMAN) -> dict[str, Any]:
    """Return the stop limit with who reads each housing; tail and drive when none is named."""
    watchers = [{"position": name, "person": by} for name in positions or ("tail", "drive")]
    return reading("stop_limit", None, degc(limit_degc), watchers=watchers)


def opened(client: Client, number: str = "WO-1", **more: Any) -> dict[str, Any]:
    """Return a new order for the tail bearing of the fan, everything known that its cards ask for."""
    made = client.post("/v1/work-orders", order(number, positions=("tail",), **{"asset": known_fan(), **more}))
    assert made.status_code == 201, made.json
    body: dict[str, Any] = made.json
    return body


def known_fan(**more: Any) -> dict[str, Any]:
    """Return the fan with a shaft of known size and nuts on a known side."""
    known = {"sleeve_thread": "inch", "lubrication": "grease", "locknut_side": "minus"}
    return fan(**{"shaft_diameter": inches(2.6875), **known, **more})


def sent(client: Client, order_id: str, *readings: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to readings."""
    answer = client.post(f"/v1/work-orders/{order_id}/readings", {"readings": list(readings)})
    assert answer.status_code == 201, answer.json
    body: dict[str, Any] = answer.json
    return body


def closing_readings(
    open_points: list[dict[str, Any]], plan: dict[str, Any], *, clearance_in: float = 0.0025
) -> list[dict[str, Any]]:
    """Return what clears the holds that are open: readings inside their limits, answers, by two persons.

    Parameters
    ----------
    plan : dict
        The instructions in force
    """
    steps = {step["number"]: step for step in plan["steps"]}
    said = (
        closing(kinds[0], point, steps[point["step"]], plan, clearance_in)
        for point in open_points
        for kinds in point["needs"]["kinds"]
    )
    return [each for each in said if each is not None]


def closing(
    kind: str, point: dict[str, Any], step: dict[str, Any], plan: dict[str, Any], clearance_in: float
) -> dict[str, Any] | None:
    """Return what clears one hold, or one part of it."""
    position = point["position"]
    answers: dict[str, Any] = {"swivel": "free", "class_read": _asked_class(plan, position)}
    if kind in answers:
        return reading(kind, position, answers[kind])
    if kind == "try_start":
        return isolated(step["id"])
    if kind == "rings_in":
        return reading(kind, None, *_rings(plan), taken_by=FOREMAN)
    if kind == "stop_limit":
        return limit_written(90, *(each["position"] for each in plan["bolting"]))
    if kind == "run_in_temperature":
        return series(position)
    if kind == "residual_clearance":
        return residual(position, clearance_in)
    if kind == "initial_clearance" and any(t["position"] == position and t["measured"] for t in plan["targets"]):
        return None  # measured already; the class is what is missing
    if kind == "free_gap" and step["record"]["kind"] != kind:
        return _gap(plan)
    limits = next(each for each in step["record"]["limits"] if each["position"] in (None, position))
    aim = limits["aim"] or limits["min"]
    value = {name: aim[name] for name in ("value", "unit")}
    if kind == "initial_clearance":
        return reading(kind, position) | {"values": [{"value": value, "row": row} for row in (1, 2)]}
    return reading(kind, position, *[value] * (2 if kind == "shaft_diameter" else 1))


def _asked_class(plan: dict[str, Any], position: str | None) -> str | None:
    bearings = [each["bearing"] for each in plan["targets"] if each["position"] == position and each["bearing"]]
    return bearings[0]["clearance_class"] if bearings else None


def _rings(plan: dict[str, Any]) -> list[str]:
    return [each["name"] for each in plan["arrangement"]["supports"] if (each["locating_rings"] or {}).get("count")]


def _gap(plan: dict[str, Any]) -> dict[str, Any]:
    """Return the gap of the free bearing at its aim."""
    step = next(each for each in plan["steps"] if (each["record"] or {}).get("kind") == "free_gap")
    limits = step["record"]["limits"][0]
    return reading("free_gap", limits["position"], {name: limits["aim"][name] for name in ("value", "unit")})


def ready_to_complete(client: Client, order_id: str) -> list[dict[str, Any]]:
    """Measure, reduce and close every hold of the tail bearing; return what is still open."""
    still_open = sent(client, order_id, isolated(), initial("tail", 0.0040))["hold_points_open"]
    plan = client.get(f"/v1/work-orders/{order_id}/instructions").json
    left: list[dict[str, Any]] = sent(client, order_id, *closing_readings(still_open, plan))["hold_points_open"]
    return left


def completion(*, outcome: str = "replaced", at: str = "2020-01-07T15:30:00Z", **more: Any) -> dict[str, Any]:
    """Return a completion of an order on the tail bearing."""
    what = {"position": "tail", "outcome": outcome, **more}
    return {"completed_at": at, "completed_by": FITTER, "positions": [what]}
