"""Judging what the mechanic measured (rule C5): accept, recheck or reject, and what to do next.

A reading is the thickest blade or stack that passes with light drag. Limits are judged on it and are inside.
A reading on the wrong scale is named, never converted and never accepted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from service import units
from service.errors import Text
from service.mounting.blades import BladeSet, next_attainable
from service.mounting.messages import message
from service.reference.clearance_classes import ClearanceRange
from service.sentences import Fact

ACCEPT: Final = "accept"
RECHECK: Final = "recheck"
REJECT: Final = "reject"
SCALE_SUSPECT: Final = "reading_scale_suspect"
WORN_IN: Final = "worn_in"
_WORST_FIRST: Final = (REJECT, RECHECK, ACCEPT)

MOST_CLEARANCE_NM: Final = 3_000_000
"""No radial clearance of these bearings is larger: 3 mm, [nm]."""
RECHECK_NM: Final = 5080
"""How far outside a limit a reading is measured again before it is refused: 0.0002 in, [nm]."""

SLIPS: Final = tuple(
    (factor, hint)
    for size, down, up in (
        (Fraction(10), "decimal_point", "decimal_point"),
        (Fraction(100), "decimal_point", "decimal_point"),
        (Fraction(1000), "thousandths", "whole_units"),
        (Fraction("25.4"), "mm_as_inch", "inch_as_mm"),
        (Fraction("2.54"), "mixed_down", "mixed_up"),
        (Fraction(1000) / Fraction("25.4"), "thousandths_as_mm", "mm_as_thousandths"),
        (Fraction(25_400), "micrometres_as_inch", "inches_as_micrometres"),
    )
    for factor, hint in ((size, down), (1 / size, up))
)
"""Slips of scale: the reading divided by the factor, and the message of what may have happened."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a reading is worth.

    Parameters
    ----------
    verdict : str
        ``accept``, ``recheck`` or ``reject``
    code : str or None
        Why not accepted; stable word
    fits : tuple of Quantity
        Every value that would fit after a slip of scale
    fits_class : str or None
        Other clearance class that the value as sent would fit
    """

    verdict: str
    code: str | None
    fits: tuple[units.Quantity, ...]
    fits_class: str | None
    detail: Text
    next: Text


@dataclass(frozen=True, slots=True)
class Measured:
    """Readings of one clearance, by row of rollers; each row holds its repeats, [nm].

    ``rows_nm`` : tuple of tuple of int, shape (rows, repeats)
    """

    rows_nm: tuple[tuple[int, ...], ...]

    @property
    def row_values_nm(self) -> tuple[float, ...]:
        """Return one value per row, the median of its repeats, [nm]."""
        return tuple(median(row) for row in self.rows_nm)


def median(readings_nm: Sequence[int]) -> float:
    """Return the median of repeated readings, [nm]; a whole number stays one."""
    if len(readings_nm) == 1:
        return readings_nm[0]
    in_order = sorted(readings_nm)
    middle = len(in_order) // 2
    if len(in_order) % 2:
        return in_order[middle]
    total_nm = in_order[middle - 1] + in_order[middle]
    return total_nm / 2 if total_nm % 2 else total_nm // 2


def seat_diameter(readings_nm: Sequence[int], *, least_nm: int | None, most_nm: int | None) -> int:
    """Return the one diameter that stands for those measured of a seat, [nm].

    The one farthest outside its limits where one lies outside, since that is what the seat is refused for; else the
    mean, in whole nanometres.

    Parameters
    ----------
    readings_nm : sequence of int, shape (n,)
        Diameters, in whatever planes and directions, [nm]
    least_nm, most_nm : int or None
        Limits, inclusive; None where none are known, [nm]
    """
    if least_nm is not None and most_nm is not None:
        outside = {max(least_nm - each, each - most_nm): each for each in readings_nm}
        if max(outside) > 0:
            return outside[max(outside)]
    return round(sum(readings_nm) / len(readings_nm))


def thin_ring_clearance(*, nine_o_clock_nm: int, three_o_clock_nm: int, vertical_nm: int) -> float:
    """Return the radial internal clearance of a large thin-ringed bearing that sags under its own weight, [nm].

    Parameters
    ----------
    nine_o_clock_nm, three_o_clock_nm : int
        Readings a and b at the sides, [nm]
    vertical_nm : int
        Reading c at 12 o'clock with the bearing standing, at 6 o'clock with it hanging, [nm]

    Source
    ------
    (a + b + c) / 2; common practice, no source.
    """
    total_nm = nine_o_clock_nm + three_o_clock_nm + vertical_nm
    return total_nm / 2 if total_nm % 2 else total_nm // 2


def scale_slips(value_nm: float, ranges: Sequence[ClearanceRange]) -> tuple[tuple[float, str], ...]:
    """Return every value that would lie inside after a slip of scale, [nm], with the message of what may have happened.

    Parameters
    ----------
    value_nm : float
        Reading as sent, [nm]
    ranges : sequence of ClearanceRange, shape (n,)
        Ranges that count as inside, [nm]
    """
    exact_nm = Fraction(value_nm)
    fits: dict[Fraction, str] = {}
    for factor, hint in SLIPS:
        slipped_nm = exact_nm / factor
        if any(limits.min_nm <= slipped_nm <= limits.max_nm for limits in ranges):
            fits.setdefault(slipped_nm, hint)
    return tuple((int(fit) if fit.denominator == 1 else float(fit), hint) for fit, hint in fits.items())


def initial_verdict(
    *,
    row_values_nm: Sequence[float],
    ranges: Sequence[ClearanceRange],
    other_classes: Mapping[str, Sequence[ClearanceRange]],
    blade_set: BladeSet,
    refitted: bool = False,
) -> Verdict:
    """Return the verdict on an initial clearance; the worst row decides.

    Parameters
    ----------
    row_values_nm : sequence of float, shape (rows,)
        One value per row of rollers, [nm]
    ranges : sequence of ClearanceRange, shape (n,)
        The ISO row of the class, and the printed inch row where inch blades are used, [nm]
    other_classes : mapping
        The same for the other classes
    refitted : bool
        A bearing that ran goes back in: worn in, it may lie one blade step above the range (common practice), [-]
    """
    worn = _worn_in if refitted else _initial
    verdicts = [worn(value_nm, ranges, other_classes, blade_set) for value_nm in row_values_nm]
    return min(verdicts, key=_weight)


def _weight(verdict: Verdict) -> tuple[int, bool, bool]:
    """Return what to sort verdicts by, the one that decides first."""
    return _WORST_FIRST.index(verdict.verdict), verdict.code != SCALE_SUSPECT, verdict.code != WORN_IN


def _worn_in(
    value_nm: float,
    ranges: Sequence[ClearanceRange],
    other_classes: Mapping[str, Sequence[ClearanceRange]],
    blade_set: BladeSet,
) -> Verdict:
    """Return the verdict on a bearing that ran: one blade step above its range it is worn in, beyond it stays out."""
    max_nm = max(limits.max_nm for limits in ranges)
    found = _initial(value_nm, ranges, other_classes, blade_set)
    if value_nm <= max_nm or found.code in (SCALE_SUSPECT, "implausible"):
        following_nm = next_attainable(blade_set, max_nm)
        if value_nm <= max_nm or following_nm is None or value_nm > following_nm:
            return found
    elif over_a_step(value_nm, max_nm, blade_set):
        return Verdict(REJECT, "worn_too_far", (), None, found.detail, message("worn_too_far.next"))
    return _said(ACCEPT, WORN_IN, "worn_in", read=units.clearance(value_nm))


def _initial(
    value_nm: float,
    ranges: Sequence[ClearanceRange],
    other_classes: Mapping[str, Sequence[ClearanceRange]],
    blade_set: BladeSet,
) -> Verdict:
    if any(limits.holds(value_nm) for limits in ranges):
        return _said(ACCEPT, None, "initial_accepted")
    fits_class = _named_classes([m for m, rs in other_classes.items() if any(r.holds(value_nm) for r in rs)])
    slips = scale_slips(value_nm, ranges)
    if slips:
        return _suspect(value_nm, slips, fits_class)
    if not 0 <= value_nm <= MOST_CLEARANCE_NM:
        return _implausible(value_nm)
    min_nm, max_nm = min(limits.min_nm for limits in ranges), max(limits.max_nm for limits in ranges)
    facts: dict[str, Fact] = {
        "read": units.clearance(value_nm),
        "min": units.clearance(min_nm),
        "max": units.clearance(max_nm),
    }
    following_nm = next_attainable(blade_set, value_nm)
    if value_nm < min_nm and following_nm is not None and min_nm <= following_nm:
        facts["following"] = units.clearance(following_nm)
        found = _said(RECHECK, "between_blades", "between_blades", **facts)
    elif min_nm - RECHECK_NM <= value_nm <= max_nm + RECHECK_NM:
        found = _said(RECHECK, "near_limit", "initial_near_limit", **facts)
    elif fits_class is None:
        found = _said(REJECT, "wrong_bearing_or_measurement", "wrong_bearing_or_measurement", **facts)
    else:
        facts["clearance_class"] = fits_class
        found = _said(REJECT, "wrong_bearing_or_measurement", "wrong_bearing_or_measurement_fits", **facts)
    return replace(found, fits_class=fits_class)


def _named_classes(marks: Sequence[str]) -> str | None:
    """Return ``C3 or C4``; None for none."""
    named: str | None = None
    for mark in marks:
        named = mark if named is None else str(message("one_of_classes.more", first=named, next=mark))
    return named


def _said(verdict: str, code: str | None, name: str, /, **facts: Fact) -> Verdict:
    """Return a verdict whose two sentences are those of a message."""
    return Verdict(verdict, code, (), None, message(f"{name}.detail", **facts), message(f"{name}.next", **facts))


def _suspect(value_nm: float, slips: Sequence[tuple[float, str]], fits_class: str | None) -> Verdict:
    fits = tuple(units.clearance(fit_nm) for fit_nm, _ in slips)
    named: Text | None = None
    for fit, (_, slip) in zip(fits, slips, strict=True):
        hint = message(f"slips.{slip}")
        if named is None:
            named = message("slip.one", fit=fit, hint=hint)
        else:
            named = message("slip.more", first=named, fit=fit, hint=hint)
    facts: dict[str, Fact] = {"read": units.clearance(value_nm), "slips": named}
    if fits_class is None:
        found = _said(REJECT, SCALE_SUSPECT, "scale_suspect", **facts)
    else:
        found = _said(REJECT, SCALE_SUSPECT, "scale_suspect_fits", **facts, clearance_class=fits_class)
    return replace(found, fits=fits, fits_class=fits_class)


def residual_verdict(
    *,
    row_values_nm: Sequence[float],
    min_nm: float,
    max_nm: float,
    floor_nm: float,
    blade_set: BladeSet,
    initial_row_values_nm: Sequence[float] | None = None,
    read_again: bool = False,
    provisional: bool = False,
) -> Verdict:
    """Return the verdict on a residual clearance: the floor on the smaller row, the ceiling on the larger.

    Parameters
    ----------
    row_values_nm : sequence of float, shape (rows,)
        One value per row of rollers, [nm]
    min_nm, max_nm : float
        The residual window, limits inside, [nm]
    floor_nm : float
        Smallest residual that may ever be left; no recheck below it, [nm]
    blade_set : BladeSet
        The blades it was read with; a blade step is from a reading to the next size they can show
    initial_row_values_nm : sequence of float or None, shape (rows,)
        The initial clearance of the same rows, where it is known row by row, [nm]
    read_again : bool
        The rows differed at the reading before: now they are judged as they are, [-]
    provisional : bool
        The window stands without a measured initial clearance: nothing is judged on it (C4)
    """
    smallest_nm, largest_nm = min(row_values_nm), max(row_values_nm)
    if provisional:
        return _said(RECHECK, "initial_clearance_not_measured", "initial_clearance_not_measured")
    if min_nm <= smallest_nm and largest_nm <= max_nm:
        return _said(ACCEPT, None, "residual_accepted")
    slipped = _slipped(smallest_nm, largest_nm, min_nm, max_nm)
    if slipped is not None:
        return slipped
    if not (smallest_nm >= 0 and largest_nm <= MOST_CLEARANCE_NM):
        return _implausible(smallest_nm if smallest_nm < 0 else largest_nm)
    pairs = tuple(zip(row_values_nm, initial_row_values_nm, strict=True)) if initial_row_values_nm else ()
    grown = next(((now, before) for now, before in pairs if over_a_step(now, before, blade_set)), None)
    if grown is not None:
        read, before = units.clearance(grown[0]), units.clearance(grown[1])
        return _said(REJECT, "residual_over_initial", "residual_over_initial", read=read, before=before)
    if over_a_step(largest_nm, smallest_nm, blade_set) and not read_again:
        rows = {"smallest": units.clearance(smallest_nm), "largest": units.clearance(largest_nm)}
        return _said(RECHECK, "rows_differ", "residual_rows_differ", **rows)
    if any(not min_nm <= now <= max_nm and not over_a_step(before, now, blade_set) for now, before in pairs):
        return _said(RECHECK, "nothing_taken", "nothing_taken")
    return _outside_window(smallest_nm, largest_nm, min_nm, max_nm, floor_nm)


def over_a_step(larger_nm: float, smaller_nm: float, blade_set: BladeSet) -> bool:
    """Return whether two readings lie more than one blade step apart, [-].

    Parameters
    ----------
    larger_nm, smaller_nm : float
        The readings; a larger one that is smaller lies no step above, [nm]
    blade_set : BladeSet
        The blades in use
    """
    following_nm = next_attainable(blade_set, smaller_nm)
    return following_nm is not None and larger_nm > following_nm


def _slipped(smallest_nm: float, largest_nm: float, min_nm: float, max_nm: float) -> Verdict | None:
    """Return the suspicion that the reading outside its window is on a wrong scale, None where nothing would fit."""
    too_tight = smallest_nm < min_nm
    outside_nm = smallest_nm if too_tight else largest_nm
    slips = scale_slips(outside_nm, (ClearanceRange(min_nm, max_nm),))
    if not slips:
        return None
    way_on = "scale_suspect_too_tight.next" if too_tight else "scale_suspect_too_loose.next"
    return replace(_suspect(outside_nm, slips, None), next=message(way_on))


def _implausible(value_nm: float) -> Verdict:
    read, most = units.clearance(value_nm), units.clearance(MOST_CLEARANCE_NM)
    return _said(REJECT, "implausible", "implausible", read=read, most=most)


def _outside_window(smallest_nm: float, largest_nm: float, min_nm: float, max_nm: float, floor_nm: float) -> Verdict:
    window = {"min": units.clearance(min_nm), "max": units.clearance(max_nm)}
    if smallest_nm < min_nm:
        read = units.clearance(smallest_nm)
        if smallest_nm >= max(floor_nm, min_nm - RECHECK_NM):
            return _said(RECHECK, "near_limit", "too_tight_near", read=read, **window)
        return _said(REJECT, "too_tight", "too_tight", read=read, **window)
    read = units.clearance(largest_nm)
    if largest_nm <= max_nm + RECHECK_NM:
        return _said(RECHECK, "near_limit", "too_loose_near", read=read, **window)
    return _said(REJECT, "too_loose", "too_loose", read=read, **window)
