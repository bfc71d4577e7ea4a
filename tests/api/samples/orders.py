"""What a mechanic sends in the course of an order; all invented."""

from typing import Any

from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, inches, order

FITTER, FOREMAN = "A. Fitter", "B. Foreman"
TAKEN_AT = "2020-01-07T09:10:00Z"


def newton_metres(value: float) -> dict[str, Any]:
    """Return a torque."""
    return {"value": value, "unit": "N.m"}


def reading(kind: str, position: str | None = None, *values: Any, **more: Any) -> dict[str, Any]:
    """Return a reading of one kind; a value is a quantity."""
    place = {} if position is None else {"position": position}
    taken = {"taken_at": TAKEN_AT, "taken_by": FITTER}
    return {"kind": kind, **place, "values": [{"value": value} for value in values], **taken, **more}


def initial(position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return an initial clearance in inches, one value a row."""
    return rows("initial_clearance", position, *values_in, **more)


def residual(position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return a residual clearance in inches, one value a row."""
    return rows("residual_clearance", position, *values_in, **more)


def rows(kind: str, position: str, *values_in: float, **more: Any) -> dict[str, Any]:
    """Return a clearance by row of rollers; one value alone is of the bearing, as one who reads both rows at once."""
    named = [{} for _ in values_in] if len(values_in) == 1 else [{"row": row} for row in (1, 2)]
    values = [{"value": inches(value), **where} for value, where in zip(values_in, named, strict=True)]
    return reading(kind, position, **more) | {"values": values}


def confirmed(step: str, position: str | None = None, **more: Any) -> dict[str, Any]:
    """Return the confirmation of a step."""
    return reading("confirmation", position, True, step=step, **more)


def opened(client: Client, number: str = "WO-1", **more: Any) -> dict[str, Any]:
    """Return a new order for the tail bearing of the fan, everything known that its cards ask for."""
    made = client.post("/v1/work-orders", order(number, positions=("tail",), **{"asset": known_fan(), **more}))
    assert made.status_code == 201, made.json
    body: dict[str, Any] = made.json
    return body


def known_fan(**more: Any) -> dict[str, Any]:
    """Return the fan with a shaft of known size."""
    return fan(shaft_diameter=inches(2.6875), sleeve_thread="inch", lubrication="grease", **more)


def sent(client: Client, order_id: str, *readings: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to readings."""
    answer = client.post(f"/v1/work-orders/{order_id}/readings", {"readings": list(readings)})
    assert answer.status_code == 201, answer.json
    body: dict[str, Any] = answer.json
    return body


def closing_readings(open_points: list[dict[str, Any]], steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return what clears the hold points that are open: readings at their limits' lower end, and confirmations."""
    by_number = {step["number"]: step for step in steps}
    return [closing(by_number[point["step"]]) for point in open_points]


def closing(step: dict[str, Any]) -> dict[str, Any]:
    """Return what clears one hold point."""
    record, position = step["record"], step["position"]
    kind = record["kind"]
    if kind == "confirmation":
        return confirmed(step["id"], position)
    if kind == "bearing_spacing":
        return reading(kind, position, {"value": 3.0, "unit": "m"})
    if kind == "run_in_temperature":
        return reading(kind, "tail", {"value": 55, "unit": "degC"}, stop_limit={"value": 90, "unit": "degC"})
    if record["limits"] is None:
        return confirmed(step["id"], position)
    return reading(kind, position, {name: record["limits"]["min"][name] for name in ("value", "unit")})


def ready_to_complete(client: Client, order_id: str) -> list[dict[str, Any]]:
    """Measure, reduce and close every hold point of the tail bearing; return what is still open."""
    sent(client, order_id, initial("tail", 0.0040, 0.0040), residual("tail", 0.0025, 0.0025))
    steps = client.get(f"/v1/work-orders/{order_id}/instructions").json["steps"]
    still_open = sent(client, order_id, confirmed("isolate"))["hold_points_open"]
    left: list[dict[str, Any]] = sent(client, order_id, *closing_readings(still_open, steps))["hold_points_open"]
    return left


def completion(*, outcome: str = "replaced", at: str = "2020-01-07T15:30:00Z", **more: Any) -> dict[str, Any]:
    """Return a completion of an order on the tail bearing."""
    what = {"position": "tail", "outcome": outcome, **more}
    return {"completed_at": at, "completed_by": FITTER, "positions": [what]}
