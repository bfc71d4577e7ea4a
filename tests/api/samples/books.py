"""Charts and housings that the tests enter; books, people and numbers are invented unless a test says otherwise."""

from typing import Any

from tests.api.samples.checked import Client

PROVENANCE = {
    "title": "Book of the maker",
    "edition": "7",
    "page": "31",
    "entered_by": "R. Example",
    "checked_by": "S. Example",
}


def mm(value: float) -> dict[str, Any]:
    """Return a length in millimetres."""
    return {"value": value, "unit": "mm"}


def n_m(value: float) -> dict[str, Any]:
    """Return a torque in newton-metres."""
    return {"value": value, "unit": "N.m"}


def reduction_row(over: float, incl: float, least: float, most: float, **more: Any) -> dict[str, Any]:
    """Return a row of reductions, in mm."""
    return {"bore_over": mm(over), "bore_incl": mm(incl), "min": mm(least), "max": mm(most), **more}


def reductions(*rows: dict[str, Any], name: str = "spherical roller bearings") -> dict[str, Any]:
    """Return a chart of reductions of spherical roller bearings."""
    return {
        "kind": "reduction",
        "name": name,
        "bearing_type": "spherical_roller",
        "provenance": PROVENANCE,
        "rows": list(rows) or [reduction_row(65, 80, 0.042, 0.052, smallest_residual={"C3": mm(0.044)})],
    }


def torques(*rows: dict[str, Any], name: str = "cap bolts") -> dict[str, Any]:
    """Return a chart of cap bolt torques."""
    return {"kind": "cap_bolt_torque", "name": name, "provenance": PROVENANCE, "rows": list(rows)}


def torque_row(value: float, housing: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a row of cap bolt torques."""
    return {"housing": housing, "torque": n_m(value), **more}


def housing(name: str = "block 7", **more: Any) -> dict[str, Any]:
    """Return a housing of the site, its cap bolts and their torque known."""
    return {
        "name": name,
        "seat_width": mm(60),
        "seat_bore": mm(140),
        "locating_rings": {"count": 2, "width": mm(13.5)},
        "cap_bolts": {"thread": "M16", "grade": "8.8", "count": 2, "torque": n_m(150)},
        "provenance": PROVENANCE,
        **more,
    }


def entered(client: Client, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """Return the book as it is on record after it was entered."""
    made = client.post(path, body)
    assert made.status_code == 201, made.text
    answer: dict[str, Any] = made.json
    return answer
