"""A reading as it was sent, and its verdict by the plan whose card was in hand (rules C5, B3, A6, A7, I2, I9).

Order of the tests: unit and plausibility, rows complete, sequence, limits. Nothing is accepted without limits, and a
tick stands for no reading.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.bolting.readings import torque_verdict
from service.errors import CannotEvaluate
from service.instructions.closing import is_confirmable, is_stop
from service.instructions.readings.entries import Entry
from service.instructions.readings.judging import judge
from service.instructions.readings.messages import message, verdict
from service.instructions.readings.persons import same_person
from service.instructions.readings.placing import SEATS_OFF_RECORD, gap_verdict, seats_verdict, spacing_verdict
from service.instructions.readings.run_in import (
    DEFAULT_STOP_DEGC,
    EXPLAINED,
    Pair,
    series_verdict,
    stop_limit_verdict,
)
from service.mounting.blades import BladeSet
from service.mounting.charts import Chart
from service.mounting.messages import message as way_on
from service.mounting.readings import (
    ACCEPT,
    RECHECK,
    REJECT,
    SCALE_SUSPECT,
    Measured,
    Verdict,
    median,
    over_a_step,
    thin_ring_clearance,
)
from service.units import Quantity

Plan = Mapping[str, Any]

OF_THE_ORDER: Final = ("confirmation", "bearing_spacing", "seat_spacing", "try_start", "rings_in", "stop_limit")
"""Kinds of readings that may belong to the order as a whole; all others name a position."""
OF_A_PAIR: Final = ("bearing_spacing", "seat_spacing")
"""Kinds that are read between the held and one free bearing."""
MOUNTING_KINDS: Final = (
    "initial_clearance",
    "residual_clearance",
    "axial_displacement",
    "nut_turn",
    "class_read",
    "swivel",
)
"""Kinds of readings that belong to a bearing that is being mounted."""
ANSWERS: Final = ("class_read", "try_start", "swivel", "rings_in")
"""Kinds that are words and not numbers."""
SWIVELS: Final = ("free", "slight_resistance", "binds")
THIN_RING_POINTS: Final = ({"left", "right", "top"}, {"left", "right", "bottom"})
ROWS: Final = (1, 2)
_WORST_FIRST: Final = (REJECT, RECHECK, ACCEPT)
SHAFT_RECHECK_MM: Final = 0.01
SHAFT_PLAUSIBLE: Final = 0.05
LEAST_DIAMETERS: Final = 2
"""Smallest and largest: one diameter shows no wear and no form."""
SHAFT_SLIPS: Final = (25.4, 10.0, 2.0)
BALL_ZERO_MM: Final = {None: 0.10, "hand": 0.10, "indicator": 0.05}
"""Doubt of firm contact by hand, and with an indicator and a zero set by mallet: own convention, [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value of a reading. ``row`` 1 or 2, ``point`` top, bottom, left, right; ``word`` where it is no number."""

    quantity: Quantity | None = None
    row: int | None = None
    point: str | None = None
    repeat: int | None = None
    word: str | bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was measured, answered or ticked, of which kind, where, and by whom; ``watched``: housings that somebody is
    named to read while the machine runs in."""

    kind: str
    values: tuple[Value, ...] = ()
    series: tuple[Pair, ...] = ()
    position: str | None = None
    step: str | None = None
    method: str | None = None
    person: str = ""
    reason: str | None = None
    refitted: bool = False
    watched: tuple[str, ...] = ()

    @property
    def numbers(self) -> list[float]:
        """Return the values in the unit of their kind."""
        return [value.quantity.value for value in self.values if value.quantity is not None]

    @property
    def word(self) -> str | bool | None:
        """Return the one word of an answer."""
        return self.values[0].word if self.values else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What a reading is judged by: the plan, the blades in use, the site's charts and what was entered before."""

    plan: Plan
    blade_set: BladeSet
    charts: Sequence[Chart] = ()
    earlier: Sequence[Entry] = ()


Judge = Callable[[Reading, Judged], Verdict]


def measured_of(values: Sequence[Value]) -> Measured:
    """Return clearance readings by row of rollers; a large thin ring measured at three points gives one value a row.

    Raises
    ------
    CannotEvaluate
        Some values name their row and others do not, or points that are not combined (``points_not_combined``).
    """
    rows = {value.row for value in values}
    if None in rows and len(rows) > 1:
        raise CannotEvaluate("name the row of every value, or of none", code="row_missing", field="values")
    in_order = sorted(rows, key=lambda row: row or 0)
    return Measured(tuple(_row([value for value in values if value.row == row]) for row in in_order))


def _row(values: Sequence[Value]) -> tuple[int, ...]:
    by_point: dict[str | None, list[int]] = {}
    for value in values:
        if value.quantity is not None:
            by_point.setdefault(value.point, []).append(int(value.quantity.value))
    if len(by_point) == 1:
        return tuple(next(iter(by_point.values())))
    if set(by_point) not in THIN_RING_POINTS:
        raise CannotEvaluate(
            "values of one row are repeats at one point, or left, right and top (or bottom) of a thin ring",
            code="points_not_combined",
            field="values",
        )
    at = {point: round(median(readings)) for point, readings in by_point.items()}
    vertical_nm = at["top"] if "top" in at else at["bottom"]
    value_nm = thin_ring_clearance(nine_o_clock_nm=at["left"], three_o_clock_nm=at["right"], vertical_nm=vertical_nm)
    return (round(value_nm),)


def verdict_of(
    reading: Reading,
    plan: Plan,
    *,
    blade_set: BladeSet,
    charts: Sequence[Chart] = (),
    earlier: Sequence[Entry] = (),
) -> Verdict:
    """Return the verdict on a reading by a plan; ``earlier`` tells what the new bearing measured, and what was read.

    Raises
    ------
    CannotEvaluate
        The plan has no such position or step, or the values do not make one reading.
    """
    _check_place(reading, plan)
    by = Judged(plan=plan, blade_set=blade_set, charts=charts, earlier=earlier)
    return _JUDGES[reading.kind](reading, by)


def step_of(plan: Plan, step: str, position: str | None) -> Mapping[str, Any]:
    """Return the step of this id that is done at this position, or once for the order.

    Raises
    ------
    CannotEvaluate
        ``unknown_step``; ``position_required`` where several positions have the step and none is named.
    """
    found = [each for each in plan["steps"] if each["id"] == step]
    if not found:
        raise CannotEvaluate(f"the instructions have no step {step!r}", code="unknown_step", field="step")
    places = ", ".join(name for each in found for name in each["positions"] or ["the order"])
    if position is None:
        if all(len(each["positions"]) > 1 for each in found):
            said = f"step {step!r} is done at: {places}; name one"
            raise CannotEvaluate(said, code="position_required", field="position")
        named = [each for each in found if len(each["positions"]) <= 1]
    else:
        named = [each for each in found if position in each["positions"] or not each["positions"]]
    if not named:
        said = f"step {step!r} is done at: {places}, not at {position!r}"
        raise CannotEvaluate(said, code="unknown_step", field="position")
    one: Mapping[str, Any] = named[0]
    return one


def target_of(plan: Plan, position: str | None) -> Mapping[str, Any] | None:
    """Return the clearance target of a position, None where the plan has none."""
    return next((each for each in plan["targets"] if each["position"] == position), None)


def two_rows(plan: Plan, position: str | None) -> bool:
    """Return whether both rows of rollers of this bearing are read: all but ball bearings and unknown ones."""
    bearing = (target_of(plan, position) or {}).get("bearing")
    return bearing is not None and bearing["type"] == "spherical_roller"


def _check_place(reading: Reading, plan: Plan) -> None:
    if reading.position is None:
        if reading.kind not in OF_THE_ORDER:
            raise CannotEvaluate(
                f"a reading of {reading.kind} names its position", code="position_required", field="position"
            )
        free = [each["position"] for each in (plan.get("placement") or {}).get("free", ())]
        if reading.kind in OF_A_PAIR and len(free) > 1:
            said = f"each free bearing has its own distance from the held one; name one of {', '.join(free)}"
            raise CannotEvaluate(said, code="position_required", field="position")
        return
    mounted = reading.kind in MOUNTING_KINDS
    known = [each["position"] for each in plan["targets" if mounted else "bolting"]]
    if reading.position not in known:
        said = f"{reading.position!r} is not a position of this order; known are {', '.join(known)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")


def _clearance(reading: Reading, by: Judged) -> Verdict:
    target = target_of(by.plan, reading.position)
    if target is None:
        raise AssertionError("the place of the reading was checked")
    measured = measured_of(reading.values)
    named = {value.row for value in reading.values}
    if two_rows(by.plan, reading.position) and named != set(ROWS):
        left = [str(row) for row in ROWS if row not in named]
        return verdict(RECHECK, "row_missing", "row_missing", rows=" and ".join(left))
    before = _initial_rows(reading, by)
    found = judge(
        reading.kind,
        measured,
        target,
        blade_set=by.blade_set,
        charts=by.charts,
        initial_row_values_nm=before if before is not None and len(before) == len(measured.row_values_nm) else None,
        read_again=_rows_read_before(reading, by),
        refitted=reading.refitted,
    )
    smallest_nm, largest_nm = min(measured.row_values_nm), max(measured.row_values_nm)
    if found.verdict == ACCEPT and over_a_step(largest_nm, smallest_nm, by.blade_set):
        rows = {"smallest": Quantity("clearance", smallest_nm), "largest": Quantity("clearance", largest_nm)}
        return verdict(ACCEPT, "rows_differ", "rows_differ_accepted", **rows)
    return found


def _own(reading: Reading, by: Judged) -> list[Entry]:
    return [each for each in by.earlier if each.position == reading.position]


def _initial_rows(reading: Reading, by: Judged) -> tuple[float, ...] | None:
    """Return what the new bearing measured, row by row, as it was last accepted."""
    if reading.kind != "residual_clearance":
        return None
    found = [each.rows_nm for each in _own(reading, by) if each.kind == "initial_clearance" and each.verdict == ACCEPT]
    return found[-1] if found else None


def _rows_read_before(reading: Reading, by: Judged) -> bool:
    """Return whether the reading before this one was sent back because its rows differed."""
    same = [each for each in _own(reading, by) if each.kind == reading.kind]
    return bool(same) and same[-1].code == "rows_differ" and same[-1].verdict == RECHECK


def _on_the_taper(reading: Reading, by: Judged) -> Verdict:
    """Return the verdict on an axial displacement or a nut turn: its target is the limit, the zero may be in doubt."""
    target = target_of(by.plan, reading.position)
    limits = None if target is None else target[reading.kind]
    if target is None or limits is None:
        return verdict(RECHECK, "no_limits", "no_limits")
    least, most = _witness_limits(reading, target, limits)
    values = [each.quantity for each in reading.values if each.quantity is not None]
    low = min(values, key=lambda each: each.value)
    high = max(values, key=lambda each: each.value)
    if least <= low.value and high.value <= most:
        return verdict(ACCEPT, None, "inside", min=limits["min"], max=limits["max"])
    said = {"read": high if high.value > most else low, "min": limits["min"], "max": limits["max"]}
    if high.value > most:
        return Verdict(REJECT, "too_far", (), None, message("outside", **said), way_on("too_tight.next"))
    return Verdict(REJECT, "too_loose", (), None, message("outside", **said), way_on("too_loose.next"))


def _witness_limits(reading: Reading, target: Mapping[str, Any], limits: Mapping[str, Quantity]) -> tuple[float, float]:
    """Return the limits of a witness; narrower than the doubt of firm contact they are its middle and that doubt."""
    least, most = limits["min"].value, limits["max"].value
    doubt = BALL_ZERO_MM.get(reading.method, BALL_ZERO_MM[None]) * 1e6
    if reading.kind == "nut_turn":
        moved = target.get("axial_displacement")
        if moved is None:
            return least, most
        per_nm = (least + most) / (moved["min"].value + moved["max"].value)
        doubt *= per_nm
    if most - least >= 2 * doubt:
        return least, most
    middle = (least + most) / 2
    return middle - doubt, middle + doubt


def _torque(reading: Reading, by: Judged) -> Verdict:
    """Return the verdict on what the wrench was set to: with an adapter on it that is not the torque at the bolt."""
    bolting = next(each for each in by.plan["bolting"] if each["position"] == reading.position)
    return _torques(reading, (bolting.get("wrench") or {}).get("setting") or bolting["torque"])


def _base_torque(reading: Reading, by: Judged) -> Verdict:
    found = [each for each in by.plan["base_bolts"] if each["position"] == reading.position]
    target = found[0].get("torque") if found else None
    return verdict(ACCEPT, None, "written_down") if target is None else _torques(reading, target)


def _torques(reading: Reading, target: Quantity | None) -> Verdict:
    if target is None:
        return verdict(RECHECK, "no_limits", "no_limits")
    found = [torque_verdict(reading_n_m=each, target_n_m=target.value) for each in reading.numbers]
    worst = min(found, key=lambda each: _WORST_FIRST.index(each.verdict))
    return Verdict(worst.verdict, worst.code, worst.fits, None, worst.detail, worst.next)


def _shaft(reading: Reading, by: Judged) -> Verdict:
    """Return the verdict on a shaft diameter: every reading in its limits, slips and radii named."""
    limits = _limits_asked(reading, by.plan)
    if limits is None:
        return verdict(RECHECK, "no_limits", "no_limits")
    least, most = limits["min"], limits["max"]
    values = [each.quantity for each in reading.values if each.quantity is not None]
    worst = max(values, key=lambda each: max(_nm(least) - _nm(each), _nm(each) - _nm(most)))  # the first of two alike
    off = max(_nm(least) - _nm(worst), _nm(worst) - _nm(most))
    if off <= 0:
        return _shaft_inside(values, limits)
    factors = [factor for slip in SHAFT_SLIPS for factor in (slip, 1 / slip)]
    fits = tuple(
        Quantity(worst.kind, round(worst.value * f, 6))
        for f in factors
        if least.value * 0.999 <= worst.value * f <= most.value * 1.001
    )
    if fits:
        listed: tuple[str | Quantity, ...] = fits[:1] if len(fits) == 1 else (fits[0], " or ", fits[1])
        detail = message("slip", read=worst, fits=listed)
        return Verdict(REJECT, SCALE_SUSPECT, fits, None, detail, message("slip", "next"))
    nominal = (least.value + most.value) / 2
    if abs(worst.value / nominal - 1) > SHAFT_PLAUSIBLE:
        return verdict(REJECT, "implausible", "implausible", read=worst, min=least, max=most)
    said = message("outside", read=worst, min=least, max=most)
    if off <= SHAFT_RECHECK_MM * 1e6:
        return Verdict(RECHECK, "near_limit", (), None, said, message("shaft_near", "next"))
    code = "shaft_too_small" if worst.value < least.value else "shaft_too_large"
    return Verdict(REJECT, code, (), None, said, message(code, "next"))


def _shaft_inside(values: Sequence[Quantity], limits: Mapping[str, Any]) -> Verdict:
    """Return the verdict on diameters that lie in their limits: read more than once, and round enough."""
    if len(values) < LEAST_DIAMETERS:
        return verdict(RECHECK, "shaft_read_once", "shaft_read_once")
    smallest, largest = (choose(values, key=lambda each: each.value) for choose in (min, max))
    form = limits.get("form")
    if form is not None and _nm(largest) - _nm(smallest) > 2 * form.value:
        off = Quantity("clearance", _nm(largest) - _nm(smallest))
        facts = {"smallest": smallest, "largest": largest, "off": off, "form": Quantity("clearance", 2 * form.value)}
        return verdict(REJECT, "shaft_out_of_round", "shaft_out_of_round", **facts)
    return verdict(ACCEPT, None, "inside", min=limits["min"], max=limits["max"])


def _nm(quantity: Quantity) -> int:
    return round(quantity.value * 1_000_000)


def _limits_asked(reading: Reading, plan: Plan) -> Mapping[str, Any] | None:
    """Return the limits of the step that asks for a reading of this kind at this position."""
    for step in plan["steps"]:
        record = step["record"]
        if record is None or record["kind"] != reading.kind or reading.step not in (None, step["id"]):
            continue
        for limits in record["limits"]:
            if limits["position"] in (None, reading.position):
                return None if limits["min"] is None or limits["max"] is None else limits
    return None


def _run_in(reading: Reading, by: Judged) -> Verdict:
    stop_degc, room = stop_limit_of(by.earlier, by.plan), (by.plan.get("run_in") or {}).get("room")
    room_degc = None if room is None else room.value
    found = series_verdict(reading.series, stop_degc=stop_degc, system=by.plan["units"], room_degc=room_degc)
    if found.code not in EXPLAINED:
        return found
    before = [each for each in _own(reading, by) if each.kind == reading.kind and each.code == found.code]
    if before and reading.reason and not same_person(before[-1].person, reading.person):
        facts = {"person": reading.person, "reason": reading.reason}
        return verdict(ACCEPT, found.code, "second_series", **facts)
    return found


def stop_limit_of(entries: Sequence[Entry], plan: Plan) -> float:
    """Return the temperature at which the machine is stopped: as written down, else the plan's, [degC]."""
    written = [each.value for each in entries if each.kind == "stop_limit" and each.verdict == ACCEPT]
    if written and written[-1] is not None:
        return written[-1]
    asked = plan.get("run_in")
    return DEFAULT_STOP_DEGC if asked is None else float(asked["stop_limit"].value)


def _stop_limit(reading: Reading, by: Judged) -> Verdict:
    asked = by.plan.get("run_in")
    site = None if asked is None or asked["default"] else asked["stop_limit"].value
    found = stop_limit_verdict(reading.numbers[0], site_degc=site)
    left = [name for name in _run_in_positions(by.plan) if name not in reading.watched]
    if found.verdict != ACCEPT or not left:
        return found
    return verdict(RECHECK, "watchers_missing", "watchers_missing", names=", ".join(left))


def _run_in_positions(plan: Plan) -> Sequence[str]:
    """Return the housings that are read while the machine runs in."""
    asked = (each for each in plan["steps"] if (each["record"] or {}).get("kind") == "run_in_temperature")
    return [name for step in asked for name in step["positions"]]


def _spacing(reading: Reading, by: Judged) -> Verdict:
    return _worst(spacing_verdict(each, by.plan, reading.position) for each in _quantities(reading))


def _seats(reading: Reading, by: Judged) -> Verdict:
    own = [each for each in by.earlier if each.kind == reading.kind and each.position in (None, reading.position)]
    before = own[-1].value if own and own[-1].code == SEATS_OFF_RECORD else None
    return _worst(seats_verdict(each, by.plan, reading.position, read_before=before) for each in _quantities(reading))


def _gap(reading: Reading, by: Judged) -> Verdict:
    before = reading.kind == "free_gap_before"
    return _worst(gap_verdict(each, by.plan, reading.position, before=before) for each in _quantities(reading))


def _quantities(reading: Reading) -> list[Quantity]:
    return [value.quantity for value in reading.values if value.quantity is not None]


def _worst(found: Iterable[Verdict]) -> Verdict:
    return min(found, key=lambda each: _WORST_FIRST.index(each.verdict))


def _class_read(reading: Reading, by: Judged) -> Verdict:
    bearing = (target_of(by.plan, reading.position) or {}).get("bearing")
    read = str(reading.word)
    if bearing is None:
        return verdict(RECHECK, "class_not_known", "class_not_known", read=read)
    asked = bearing["clearance_class"]
    if read == asked:
        return verdict(ACCEPT, None, "class_read", read=read)
    return verdict(REJECT, "class_differs", "class_differs", read=read, asked=asked)


def _try_start(reading: Reading, by: Judged) -> Verdict:
    if reading.word is True:
        return verdict(ACCEPT, None, "try_start")
    return verdict(REJECT, "not_isolated", "try_start_failed")


def _swivel(reading: Reading, by: Judged) -> Verdict:
    if reading.word == "binds":
        return verdict(REJECT, "binds", "swivel_binds")
    return verdict(ACCEPT, None, "swivel_free")


def _rings_in(reading: Reading, by: Judged) -> Verdict:
    """Return the verdict of the last look: rings in the held block alone, said by who did not read the gap."""
    gaps = [each.person for each in by.earlier if each.kind == "free_gap" and each.verdict == ACCEPT]
    if any(same_person(reading.person, person) for person in gaps):
        return verdict(RECHECK, "same_person", "gap_reader_looked", person=reading.person)
    supports = (by.plan["arrangement"] or {}).get("supports", ())
    planned = sorted(each["name"] for each in supports if ((each.get("locating_rings") or {}).get("count") or 0) > 0)
    read = sorted(str(value.word) for value in reading.values if value.word is not None)
    facts = {"read": ", ".join(read) or "none", "asked": ", ".join(planned) or "none"}
    if read == planned:
        return verdict(ACCEPT, None, "rings_in", **facts)
    return verdict(REJECT, "rings_wrong", "rings_wrong", **facts)


def _confirmation(reading: Reading, by: Judged) -> Verdict:
    """Return the verdict on a tick: it closes a line, never a hold, a STOP or a question."""
    step = step_of(by.plan, reading.step or "", reading.position)
    if is_stop(step):
        return verdict(REJECT, "deviation_needed", "deviation_needed")
    if not is_confirmable(step):
        kinds = (step["record"] or {}).get("kind", "a reading")
        return verdict(REJECT, "reading_needed", "reading_needed", kinds=kinds.replace("_", " "))
    return verdict(ACCEPT, None, "confirmed")


_JUDGES: Final[dict[str, Judge]] = {
    "initial_clearance": _clearance,
    "residual_clearance": _clearance,
    "axial_displacement": _on_the_taper,
    "nut_turn": _on_the_taper,
    "cap_bolt_torque": _torque,
    "base_bolt_torque": _base_torque,
    "shaft_diameter": _shaft,
    "bearing_spacing": _spacing,
    "seat_spacing": _seats,
    "free_gap_before": _gap,
    "free_gap": _gap,
    "class_read": _class_read,
    "try_start": _try_start,
    "swivel": _swivel,
    "rings_in": _rings_in,
    "stop_limit": _stop_limit,
    "run_in_temperature": _run_in,
    "confirmation": _confirmation,
}
KINDS: Final = tuple(_JUDGES)
"""Every kind of reading."""
