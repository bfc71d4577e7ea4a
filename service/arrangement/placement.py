"""Where the bearings stand on their shaft, and how the free one is set before its sleeve is locked (rule A7).

"Out" is the direction along the shaft from the held to the free bearing, "in" the other; every free position has its
own. Seat centres and bearing centres are not the same points: a bearing held by one ring lies against a shoulder.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from math import atan, ceil, degrees
from typing import Final

from service.arrangement.expansion import DIGITS, SettingGap

OUT: Final = "out"
IN: Final = "in"

GAP_BEFORE_BAND_MM: Final = 1.0
"""How far the gap before tightening may lie from its aim: own convention."""
GAP_RECHECK_MM: Final = 0.2
"""How far outside its limits a gap is read again before anything is moved: own convention."""
CONTACT_BAND_MM: Final = 0.3
"""How far from its final mark less the displacement a ring may stand at firm contact: own convention."""
TAPE_FLOOR_MM: Final = 1.0
"""Least doubt of a length taken with a tape along a shaft: own convention."""
LIFT_CLEARANCE_MM: Final = 10.0
LIFT_MM_PER_M: Final = {"open": 10, "sealed": 8, "labyrinth": 5}
"""Most that one end is lifted per metre of span: own convention; 0.57, 0.46 and 0.29 degrees."""

ACCEPT: Final = "accept"
RECHECK: Final = "recheck"
REJECT: Final = "reject"


def held_off_centre(*, travel_mm: float, ring_count: int, nut_side: str) -> float:
    """Return how far the held bearing lies off the centre of its seat, out = plus, [mm].

    Parameters
    ----------
    travel_mm : float
        Seat width minus bearing width of the held bearing, [mm]
    ring_count : int
        Locating rings in its seat, 1 or 2 [-]
    nut_side : str
        The side of its locknut, "out" or "in"

    Raises
    ------
    ValueError
        Another number of rings than 1 or 2: nothing holds the bearing, or nothing is known.

    Source
    ------
    One ring lies on the side of the nut and the bearing against the shoulder away from it; two equal rings hold it in
    the middle: common practice, no source.
    """
    if ring_count == 2:
        return 0.0
    if ring_count != 1:
        raise ValueError(f"{ring_count} rings do not hold a bearing")
    return round(travel_mm / 2 if nut_side == IN else -travel_mm / 2, DIGITS)


def free_off_centre(*, travel_mm: float, gap_aim_mm: float) -> float:
    """Return how far the free bearing is to lie off the centre of its seat, out = plus, [mm].

    Parameters
    ----------
    travel_mm : float
        Its travel in all, [mm]
    gap_aim_mm : float
        Gap to leave between outer ring and shoulder on the out side, [mm]
    """
    return round(travel_mm / 2 - gap_aim_mm, DIGITS)


def bearing_spacing(*, seat_spacing_mm: float, held_off_centre_mm: float, free_off_centre_mm: float) -> float:
    """Return the distance of the two bearing centres on the shaft, [mm].

    Parameters
    ----------
    seat_spacing_mm : float
        Distance of the two seat centres, bases at their marks, [mm]
    held_off_centre_mm, free_off_centre_mm : float
        How far each bearing lies off its seat centre, out = plus, [mm]
    """
    return round(seat_spacing_mm - held_off_centre_mm + free_off_centre_mm, DIGITS)


def edge_spacing(*, bearing_spacing_mm: float, held_width_mm: float, free_width_mm: float) -> float:
    """Return the distance between the in edges of the two inner rings, which is what is marked on a shaft, [mm].

    Parameters
    ----------
    bearing_spacing_mm : float
        Distance of the bearing centres, [mm]
    held_width_mm, free_width_mm : float
        Widths of the inner rings, [mm]
    """
    return round(bearing_spacing_mm + (held_width_mm - free_width_mm) / 2, DIGITS)


def seat_spacing_from_shoulders(
    *, measured_mm: float, held_seat_mm: float, free_seat_mm: float, shoulders: str
) -> float:
    """Return the distance of the seat centres from one that was measured between the shoulders on one side, [mm].

    Parameters
    ----------
    measured_mm : float
        Distance from shoulder to the same shoulder, [mm]
    held_seat_mm, free_seat_mm : float
        Widths of the two seats, [mm]
    shoulders : str
        The side of both shoulders, "in" or "out"
    """
    half = (free_seat_mm - held_seat_mm) / 2
    return round(measured_mm + (half if shoulders == IN else -half), DIGITS)


def tape_uncertainty(length_mm: float) -> float:
    """Return the doubt of a length taken with a tape, [mm].

    Parameters
    ----------
    length_mm : float
        What is measured, [mm]

    Source
    ------
    Directive 2014/32/EU, annex X (MI-008), class II: 0.3 + 0.2 L, L in metres up to the next; the floor of 1.0 mm is
    our own convention.
    """
    return round(max(TAPE_FLOOR_MM, 0.3 + 0.2 * ceil(length_mm / 1000)), DIGITS)


def allowed_error(*, gap: SettingGap, tape_uncertainty_mm: float) -> float:
    """Return how far the spacing on the shaft may be off while the free bearing keeps its room, [mm].

    Zero or less: a tape cannot decide, only the gap can.

    Parameters
    ----------
    gap : SettingGap
        Limits and aim of the gap at the free bearing, [mm]
    tape_uncertainty_mm : float
        Doubt of the tape, [mm]
    """
    return round(min(gap.aim_mm - gap.min_mm, gap.max_mm - gap.aim_mm) - tape_uncertainty_mm, DIGITS)


def spacing_verdict(*, error_mm: float, allowed_error_mm: float, tape_uncertainty_mm: float) -> tuple[str, str | None]:
    """Return verdict and code of a spacing that was read on the shaft.

    Parameters
    ----------
    error_mm : float
        Read minus required, [mm]
    allowed_error_mm, tape_uncertainty_mm : float
        As ``allowed_error`` and ``tape_uncertainty`` return them, [mm]
    """
    if allowed_error_mm <= 0:
        return RECHECK, "tape_cannot_decide"
    off_mm = abs(error_mm)
    if off_mm <= allowed_error_mm:
        return ACCEPT, None
    if off_mm <= allowed_error_mm + tape_uncertainty_mm:
        return RECHECK, "spacing_doubtful"
    return REJECT, "spacing_off"


def gap_before(*, gap_aim_mm: float, displacement_mm: float, nut_side: str) -> float:
    """Return the gap at which the free bearing is placed while its nut is hand-tight, on the out side, [mm].

    Tightening moves the bearing away from its own nut by the displacement.

    Parameters
    ----------
    gap_aim_mm : float
        Gap to leave in the end, on the out side, [mm]
    displacement_mm : float
        Axial displacement on the sleeve, from firm contact, middle of its range; 0 where the bearing stays, [mm]
    nut_side : str
        The side of its locknut, "out" or "in"
    """
    return round(gap_aim_mm - displacement_mm if nut_side == OUT else gap_aim_mm + displacement_mm, DIGITS)


def gap_before_limits(*, gap: SettingGap, gap_before_mm: float) -> tuple[float, float]:
    """Return the limits of the gap before tightening, so that the final gap stays inside its own, [mm].

    Parameters
    ----------
    gap : SettingGap
        Limits and aim of the final gap, on the out side, [mm]
    gap_before_mm : float
        As ``gap_before`` returns it, [mm]
    """
    shift_mm = gap.aim_mm - gap_before_mm
    low = max(gap_before_mm - GAP_BEFORE_BAND_MM, gap.min_mm - shift_mm, 0.0)
    high = min(gap_before_mm + GAP_BEFORE_BAND_MM, gap.max_mm - shift_mm)
    return round(low, DIGITS), round(high, DIGITS)


@dataclass(frozen=True, slots=True)
class GapVerdict:
    """Verdict on a gap; ``move_mm`` is how far the base must move, [mm], and ``toward`` in which direction."""

    verdict: str
    code: str | None
    move_mm: float
    toward: str | None


def gap_verdict(*, read_mm: float, min_mm: float, aim_mm: float, max_mm: float) -> GapVerdict:
    """Return the verdict on a gap read on the out side, and what would put it right.

    Parameters
    ----------
    read_mm, min_mm, aim_mm, max_mm : float
        The reading, its limits (inclusive) and its aim, [mm]
    """
    off_mm = max(min_mm - read_mm, read_mm - max_mm, 0.0)
    if off_mm == 0:
        return GapVerdict(ACCEPT, None, 0.0, None)
    move_mm = round(abs(aim_mm - read_mm), DIGITS)
    toward = OUT if read_mm < aim_mm else IN
    if round(off_mm, DIGITS) <= GAP_RECHECK_MM:
        return GapVerdict(RECHECK, "gap_doubtful", move_mm, toward)
    return GapVerdict(REJECT, "gap_too_small" if read_mm < min_mm else "gap_too_large", move_mm, toward)


def lift_height(outside_diameter_mm: float) -> float:
    """Return how high both ends are lifted so that a bearing clears the end wall of its base, [mm].

    Parameters
    ----------
    outside_diameter_mm : float
        D of the larger bearing, [mm]

    Source
    ------
    D / 2 + 10 mm, up to the next 5 mm: geometry, the clearance of 10 mm our own convention.
    """
    return float(ceil((outside_diameter_mm / 2 + LIFT_CLEARANCE_MM) / 5) * 5)


def lift_limit(*, span_mm: float, sealing: str = "open") -> float:
    """Return the most that one end alone may be lifted, in whole millimetres, [mm].

    Parameters
    ----------
    span_mm : float
        Distance of the two supports, [mm]
    sealing : str
        "open", "sealed" (sealed bearings) or "labyrinth" (labyrinth seals)
    """
    return float(int(Decimal(str(span_mm)) * LIFT_MM_PER_M[sealing] / 1000))


def tilt(*, lift_mm: float, span_mm: float) -> float:
    """Return how far a shaft tilts when one end is lifted, [deg]."""
    return degrees(atan(lift_mm / span_mm))


def inward(low: float, high: float, *, step: float) -> tuple[float, float]:
    """Return limits rounded inward to what an instrument can show; equal or crossed limits stay as they are.

    Parameters
    ----------
    low, high : float
        The limits, in the unit of ``step``
    step : float
        Smallest difference that is read
    """
    unit = Decimal(str(step))
    inside = (
        float((Decimal(str(low)) / unit).to_integral_value(ROUND_CEILING) * unit),
        float((Decimal(str(high)) / unit).to_integral_value(ROUND_FLOOR) * unit),
    )
    return inside if inside[0] <= inside[1] else (low, high)
