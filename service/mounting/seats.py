"""Seats of a bearing: what it sits on, and what must hold for it (rules C1, C3)."""

from service import units
from service.errors import CannotEvaluate
from service.findings import Warned
from service.mounting.messages import SAYS
from service.reference.bearings import Bearing
from service.words import SEATS


def seat_of(bearing: Bearing, given: str | None) -> tuple[str, tuple[Warned, ...]]:
    """Return the seat, the one given or the usual one for the bore, with a warning when it was assumed.

    Parameters
    ----------
    given : str or None
        One of SEATS, or None when not told

    Raises
    ------
    CannotEvaluate
        The seat is unknown, or bore and seat do not belong together (``bore_not_tapered``, ``bore_not_cylindrical``).
    """
    if given is None:
        seat = "adapter_sleeve" if bearing.tapered else "cylindrical"
        return seat, (SAYS.warned("seat_assumed", seat=SAYS.message(f"seats.{seat}")),)
    if given not in SEATS:
        raise CannotEvaluate(f"{given!r} is not one of {', '.join(SEATS)}", code="unknown_seat", field="seat")
    if given == "cylindrical" and bearing.tapered:
        raise CannotEvaluate(
            f"the bore is tapered {bearing.taper}: it does not sit on a cylindrical seat without a sleeve",
            code="bore_not_cylindrical",
            field="seat",
        )
    if given != "cylindrical" and not bearing.tapered:
        raise CannotEvaluate(
            f"no K is in the designation, so the bore is cylindrical: it does not sit on a {given.replace('_', ' ')}; "
            "check the designation on the ring",
            code="bore_not_tapered",
            field="bearing/designation" if bearing.designation else "bearing/taper",
        )
    return given, ()


def hollow_shaft_warning(bearing: Bearing, *, shaft_bore_mm: float, shaft_diameter_mm: float | None) -> Warned | None:
    """Return the warning that the practice does not hold for a shaft with a large bore, or None.

    Parameters
    ----------
    shaft_bore_mm : float
        Bore of the hollow shaft, [mm]
    shaft_diameter_mm : float or None
        Diameter of the shaft; the bearing bore stands in when not known, [mm]

    Raises
    ------
    CannotEvaluate
        The bore of the shaft is not smaller than the shaft.

    Source
    ------
    Practice holds for shaft bores up to half the shaft diameter; common practice, no source.
    """
    outside_mm = shaft_diameter_mm or bearing.bore_mm
    if not 0 <= shaft_bore_mm < min(outside_mm, bearing.bore_mm):
        raise CannotEvaluate(
            ("the shaft bore of ", units.dimension(shaft_bore_mm), " is not smaller than the shaft"),
            code="impossible_dimensions",
            field="shaft_bore",
        )
    if shaft_bore_mm <= outside_mm / 2:
        return None
    return SAYS.warned("hollow_shaft", limit=units.dimension(outside_mm / 2))
