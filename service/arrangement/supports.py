"""What stands on a shaft line: supports, drives, wheels, and the bodies that grow with temperature."""

from dataclasses import dataclass
from typing import Final

from service.errors import CannotEvaluate
from service.reference.bearings import Bearing
from service.reference.housings import Housing
from service.words import DRIVE_KINDS, LOAD_DIRECTIONS, ROLES

LOCATING: Final = "locating"
FREE: Final = "free"
PLUS: Final = "plus"
MINUS: Final = "minus"
NO_DIRECTION: Final = "none"
OPPOSITE: Final = {PLUS: MINUS, MINUS: PLUS, NO_DIRECTION: NO_DIRECTION}
ADAPTER_SLEEVE: Final = "adapter_sleeve"


@dataclass(frozen=True, slots=True)
class Support:
    """One support of the shaft; None stands for not known.

    Parameters
    ----------
    name : str
        Name of the position, unique on the shaft.
    at_mm : float or None
        Place along the shaft from any origin, plus direction the same for all, [mm]
    radial_load_n : float or None
        Radial load, [N]
    holds_axial_position : bool
        The process needs the shaft held here (fan wheel in its inlet, gear mesh), rule A3.
    can_move : bool or None
        False: the bearing cannot move in its seat (built that way), rule A4.
    role : str or None
        Role on record, "locating" or "free", rule A5.
    locknut_side : str or None
        Side of the locknut, "plus" or "minus".
    replaced : bool
        The bearing is replaced in this job; roles on record stay unless all are (rule A5).
    load_direction : str or None
        "down", "up", "horizontal" or "rotating" with the shaft, rule A9.
    ring_present : bool or None
        As found: a locating ring lies in the housing; overrides the role on record (rule A5).
    rings_planned : int or None
        Rings for this housing in a plan or parts list, [-], rule A7.
    shaft_diameter_mm : float or None
        Diameter of the shaft at the support, [mm]
    seal_travel_mm : float or None
        Axial travel that the seals allow in all, where it is smaller than the seat's, [mm]
    seat : str or None
        How the bearing sits on the shaft; the grip of a sleeve is known for "adapter_sleeve" alone.
    """

    name: str
    at_mm: float | None = None
    bearing: Bearing | None = None
    housing: Housing | None = None
    radial_load_n: float | None = None
    holds_axial_position: bool = False
    can_move: bool | None = None
    role: str | None = None
    locknut_side: str | None = None
    replaced: bool = False
    load_direction: str | None = None
    ring_present: bool | None = None
    rings_planned: int | None = None
    shaft_diameter_mm: float | None = None
    seal_travel_mm: float | None = None
    seat: str | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """Where torque enters or leaves the shaft: a coupling, belt, chain or gear at a place, [mm]."""

    at_mm: float | None
    kind: str = "coupling"


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel on the shaft, [mm]; whether the machine needs its axial position held, None when not known."""

    at_mm: float | None
    name: str = "wheel"
    holds_axial_position: bool | None = None


@dataclass(frozen=True, slots=True)
class Body:
    """The shaft or the base: its material and temperature in service, [degC]; None when not known."""

    material: str | None = None
    temperature_degc: float | None = None


def checked_supports(supports: tuple[Support, ...]) -> None:
    """Check the members that have a fixed set of words.

    Raises
    ------
    CannotEvaluate
        ``too_few_supports`` (none), ``too_many_supports`` (more than 12), ``support_named_twice``, or a word that
        is not one of the known ones (``unknown_word``).
    """
    if not supports:
        raise CannotEvaluate("name the supports of the shaft", code="too_few_supports", field="supports")
    if len(supports) > 12:
        raise CannotEvaluate("at most twelve supports are evaluated", code="too_many_supports", field="supports")
    names: set[str] = set()
    for index, support in enumerate(supports):
        if support.name in names:
            detail = f"support {support.name!r} is named twice"
            raise CannotEvaluate(detail, code="support_named_twice", field=f"supports/{index}/name")
        names.add(support.name)
        _checked_word(support.role, ROLES, f"supports/{index}/role")
        _checked_word(support.locknut_side, (PLUS, MINUS), f"supports/{index}/locknut_side")
        _checked_word(support.load_direction, LOAD_DIRECTIONS, f"supports/{index}/load_direction")


def checked_drives(drives: tuple[Drive, ...]) -> None:
    """Check the kinds of the drives.

    Raises
    ------
    CannotEvaluate
        ``unknown_word``: a kind that is not coupling, belt, chain or gear.
    """
    for index, drive in enumerate(drives):
        _checked_word(drive.kind, DRIVE_KINDS, f"drives/{index}/kind")


def _checked_word(word: str | None, known: tuple[str, ...], field: str) -> None:
    if word is not None and word not in known:
        raise CannotEvaluate(f"{word!r}: say one of {', '.join(known)}", code="unknown_word", field=field)
