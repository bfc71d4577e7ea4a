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
from service.reference.clearance_classes import ClearanceRange

ACCEPT: Final = "accept"
RECHECK: Final = "recheck"
REJECT: Final = "reject"
SCALE_SUSPECT: Final = "reading_scale_suspect"
WORN_IN: Final = "worn_in"
WORN_TOO_FAR: Final = (
    "This bearing is not fitted again: its clearance grew by more than one blade step. Measure again; if it stays, fit "
    "a new one."
)
_WORST_FIRST: Final = (REJECT, RECHECK, ACCEPT)

MOST_CLEARANCE_NM: Final = 3_000_000
"""No radial clearance of these bearings is larger: 3 mm, [nm]."""
RECHECK_NM: Final = 5080
"""How far outside a limit a reading is measured again before it is refused: 0.0002 in, [nm]."""

SLIPS: Final = tuple(
    (factor, hint)
    for size, down, up in (
        (Fraction(10), "decimal point", "decimal point"),
        (Fraction(100), "decimal point", "decimal point"),
        (Fraction(1000), "decimal point, or thousandths sent as whole units", "decimal point, or whole units"),
        (Fraction("25.4"), "a number in mm sent with the unit inch", "a number in inches sent with the unit mm"),
        (
            Fraction("2.54"),
            "inches and millimetres mixed, with the decimal point",
            "mm and inches mixed, decimal point",
        ),
        (Fraction(1000) / Fraction("25.4"), "thousandths of an inch sent with the unit mm", "mm sent as thousandths"),
        (Fraction(25_400), "micrometres sent with the unit inch", "inches sent with the unit micrometre"),
    )
    for factor, hint in ((size, down), (1 / size, up))
)
"""Slips of scale: the reading divided by the factor, and what may have happened."""

TOO_TIGHT_WAY_BACK: Final = (
    "Stop. The taper holds: slackening the nut gives nothing back. Loosen the nut a few turns but leave it on, free "
    "the bearing from the sleeve, clean the seats, measure the initial clearance again and start again."
)
TOO_LOOSE: Final = "Go on in small steps and measure after each one; stop inside the window."
ROWS_AGAIN: Final = (
    "Turn the bearing five times, square the outer ring with a straight-edge, blade at the middle of the roller, and "
    "read both rows once more."
)
GREW: Final = (
    "The clearance cannot grow by tightening. Do not tighten on this reading. Same row, same place, same blade set? "
    "Measure again; if it stays, the initial clearance was wrong: free the bearing, measure it anew and start again."
)
NOTHING_TAKEN: Final = (
    "Firm contact was not reached, or this is not the place of the first reading. Measure again at the same place "
    "before the nut is turned further."
)
MEASURE_AGAIN: Final = (
    "Measure again: rings parallel, rollers seated by turning, blade beside a roller and along it, never rolled over."
)


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
    """Return every value that would lie inside after a slip of scale, with what may have happened, [nm].

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
        return Verdict(REJECT, "worn_too_far", (), None, found.detail, WORN_TOO_FAR)
    said: Text = (units.clearance(value_nm), " lies at most one blade step above the range of a new bearing: worn in.")
    return Verdict(ACCEPT, WORN_IN, (), None, said, "Go on to the mounting.")


def _initial(
    value_nm: float,
    ranges: Sequence[ClearanceRange],
    other_classes: Mapping[str, Sequence[ClearanceRange]],
    blade_set: BladeSet,
) -> Verdict:
    if any(limits.holds(value_nm) for limits in ranges):
        return Verdict(ACCEPT, None, (), None, "The initial clearance lies inside its class.", "Go on to the mounting.")
    fits_class = " or ".join(m for m, rs in other_classes.items() if any(r.holds(value_nm) for r in rs)) or None
    slips = scale_slips(value_nm, ranges)
    if slips:
        return _suspect(value_nm, slips, fits_class)
    if not 0 <= value_nm <= MOST_CLEARANCE_NM:
        return _implausible(value_nm)
    min_nm, max_nm = min(limits.min_nm for limits in ranges), max(limits.max_nm for limits in ranges)
    said = (
        units.clearance(value_nm),
        " lies outside the range of the class, ",
        units.clearance(min_nm),
        " to ",
        units.clearance(max_nm),
    )
    following_nm = next_attainable(blade_set, value_nm)
    if value_nm < min_nm and following_nm is not None and min_nm <= following_nm:
        return Verdict(
            RECHECK,
            "between_blades",
            (),
            fits_class,
            (*said, ", but the next size these blades can show is ", units.clearance(following_nm)),
            "Measure again with a stack of blades or a finer set.",
        )
    if min_nm - RECHECK_NM <= value_nm <= max_nm + RECHECK_NM:
        return Verdict(RECHECK, "near_limit", (), fits_class, (*said, " by a hair"), MEASURE_AGAIN)
    fitting = (f"; it would fit class {fits_class}",) if fits_class else ()
    return Verdict(
        REJECT,
        "wrong_bearing_or_measurement",
        (),
        fits_class,
        ("Wrong bearing or wrong measurement: ", *said, *fitting),
        "Compare the mark on the ring with the order, then measure again. Do not mount until both agree.",
    )


def _suspect(value_nm: float, slips: Sequence[tuple[float, str]], fits_class: str | None) -> Verdict:
    fits = tuple(units.clearance(fit_nm) for fit_nm, _ in slips)
    named: list[str | units.Quantity] = []
    for fit, (_, hint) in zip(fits, slips, strict=True):
        named += [" or " if named else "", fit, f" ({hint})"]
    fitting = (f"; as sent it would fit class {fits_class}",) if fits_class else ()
    return Verdict(
        REJECT,
        SCALE_SUSPECT,
        fits,
        fits_class,
        (
            "A slip of scale is suspected: ",
            units.clearance(value_nm),
            " does not fit, but ",
            *named,
            " would",
            *fitting,
        ),
        "Measure again and read the number and the unit stamped on the blade.",
    )


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
        return Verdict(
            RECHECK,
            "initial_clearance_not_measured",
            (),
            None,
            "The window is provisional: no residual clearance is judged without the measured initial clearance.",
            "Measure the initial clearance of this bearing before it is mounted.",
        )
    if min_nm <= smallest_nm and largest_nm <= max_nm:
        return Verdict(ACCEPT, None, (), None, "The residual clearance lies inside its window.", "Go on.")
    slipped = _slipped(smallest_nm, largest_nm, min_nm, max_nm)
    if slipped is not None:
        return slipped
    if not (smallest_nm >= 0 and largest_nm <= MOST_CLEARANCE_NM):
        return _implausible(smallest_nm if smallest_nm < 0 else largest_nm)
    pairs = tuple(zip(row_values_nm, initial_row_values_nm, strict=True)) if initial_row_values_nm else ()
    grown = next(((now, before) for now, before in pairs if over_a_step(now, before, blade_set)), None)
    if grown is not None:
        said: Text = (
            units.clearance(grown[0]),
            " is more than the ",
            units.clearance(grown[1]),
            " of the new bearing.",
        )
        return Verdict(REJECT, "residual_over_initial", (), None, said, GREW)
    if over_a_step(largest_nm, smallest_nm, blade_set) and not read_again:
        said = ("The rows differ: ", units.clearance(smallest_nm), " and ", units.clearance(largest_nm), ".")
        return Verdict(RECHECK, "rows_differ", (), None, said, ROWS_AGAIN)
    if any(not min_nm <= now <= max_nm and not over_a_step(before, now, blade_set) for now, before in pairs):
        said = "Nothing was taken away: the clearance is that of the new bearing."
        return Verdict(RECHECK, "nothing_taken", (), None, said, NOTHING_TAKEN)
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
    way_on = TOO_TIGHT_WAY_BACK if too_tight else f"It is too loose: {TOO_LOOSE.lower()}"
    suspected = _suspect(outside_nm, slips, None)
    return replace(suspected, next=f"{suspected.next} If the same is read again: {way_on}")


def _implausible(value_nm: float) -> Verdict:
    said: Text = (
        units.clearance(value_nm),
        " is not plausible; no such clearance exceeds ",
        units.clearance(MOST_CLEARANCE_NM),
    )
    return Verdict(
        REJECT, "implausible", (), None, said, "Measure again and read the number and the unit stamped on the blade."
    )


def _outside_window(smallest_nm: float, largest_nm: float, min_nm: float, max_nm: float, floor_nm: float) -> Verdict:
    window = (units.clearance(min_nm), " to ", units.clearance(max_nm))
    too_tight = smallest_nm < min_nm
    if too_tight:
        said: Text = (units.clearance(smallest_nm), " is too tight; the window is ", *window)
        if smallest_nm >= max(floor_nm, min_nm - RECHECK_NM):
            return Verdict(RECHECK, "near_limit", (), None, said, MEASURE_AGAIN)
        return Verdict(REJECT, "too_tight", (), None, said, TOO_TIGHT_WAY_BACK)
    said = (units.clearance(largest_nm), " is too loose; the window is ", *window)
    if largest_nm <= max_nm + RECHECK_NM:
        return Verdict(RECHECK, "near_limit", (), None, said, MEASURE_AGAIN)
    return Verdict(REJECT, "too_loose", (), None, said, TOO_LOOSE)
