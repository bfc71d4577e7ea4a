"""Shaft lines for the tests of the arrangement: bearings by their ISO 15 dimensions, housings from the tables."""

from typing import Any

from service.arrangement.shaft_line import Arrangement, Body, Drive, Support, arrangement
from service.reference.bearings import Bearing
from service.reference.housings import Housing, housing_from_size

STEEL_60_K_WARMER = Body("carbon_steel", 80.0)
BASE_UNCHANGED = Body("concrete", 20.0)


def bearing(number: str, bore_mm: float, outside_diameter_mm: float, width_mm: float) -> Bearing:
    """Return a bearing with a 1:12 bore and C3 by its number and dimensions, [mm]."""
    ball = number.startswith("1") or (number[:2] in ("22", "23") and len(number) == 4)
    return Bearing(
        designation=f"{number} K/C3",
        type="self_aligning_ball" if ball else "spherical_roller",
        series=number[:-2],
        bore_mm=bore_mm,
        outside_diameter_mm=outside_diameter_mm,
        width_mm=width_mm,
        taper="1:12",
        clearance_class="C3",
        clearance_class_assumed=False,
        class_to_confirm=False,
        unread_suffixes=(),
        warnings=(),
    )


B22216 = bearing("22216", 80.0, 140.0, 33.0)  # ISO 15, dimension series 22
B1216 = bearing("1216", 80.0, 140.0, 26.0)  # ISO 15, dimension series 02


def narrow_516() -> Housing:
    """Return metric housing 516 with the seat 43 mm wide."""
    return housing_from_size(size="516", dimensions="metric", seat_design="narrow_seat")


def wide_516() -> Housing:
    """Return metric housing 516 with the seat 58 mm wide."""
    return housing_from_size(size="516", dimensions="metric", seat_design="wide_seat")


def support(name: str, at_mm: float | None, **facts: Any) -> Support:
    """Return a support with a 22216 in a narrow 516 unless the facts say otherwise."""
    return Support(name, at_mm, **{"bearing": B22216, "housing": narrow_516(), "load_direction": "down"} | facts)


def two_supports(span_mm: float = 3000.0, **facts: Any) -> Arrangement:
    """Return the arrangement of a shaft with its drive 400 mm beyond the second of two supports."""
    given: dict[str, Any] = {
        "supports": (support("tail", 0.0), support("drive", span_mm)),
        "drives": (Drive(span_mm + 400.0),),
        "shaft": STEEL_60_K_WARMER,
        "base": BASE_UNCHANGED,
    }
    return arrangement(**given | facts)


def roles_of(answer: Arrangement) -> dict[str, str | None]:
    """Return the role of each support by name."""
    return {one.name: one.decision.role for one in answer.supports}


def codes(found: tuple[Any, ...]) -> list[str]:
    """Return the codes of findings."""
    return [one.code for one in found]


def fields(answer: Arrangement) -> list[str]:
    """Return the fields that are missing."""
    return [one.field for one in answer.missing]
