"""A reading as it was sent, and its verdict by the plan whose card was in hand (rules C5, B3, A6, I2, I9).

What a plan gives limits for is judged by them. Spacing and run-in temperature have none in common practice: they are
written down. Nothing else is accepted without limits.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.bolting.readings import torque_verdict
from service.errors import CannotEvaluate, Text
from service.instructions.closing import READ_NEVER_CONFIRMED, is_confirmable, is_stop
from service.instructions.readings.judging import judge
from service.mounting.blades import BladeSet, next_attainable
from service.mounting.charts import Chart
from service.mounting.readings import (
    ACCEPT,
    RECHECK,
    RECHECK_NM,
    REJECT,
    TOO_LOOSE,
    TOO_TIGHT_WAY_BACK,
    Measured,
    Verdict,
    median,
    thin_ring_clearance,
)
from service.units import Quantity

Plan = Mapping[str, Any]
Judge = Callable[["Reading", Plan], Verdict]

OF_THE_ORDER: Final = ("confirmation", "bearing_spacing", "run_in_temperature")
"""Kinds of readings that may belong to the order as a whole; all others name a position."""
MOUNTING_KINDS: Final = ("initial_clearance", "residual_clearance", "axial_displacement", "nut_turn")
"""Kinds of readings that belong to a bearing that is being mounted."""
THIN_RING_POINTS: Final = ({"left", "right", "top"}, {"left", "right", "bottom"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value of a reading; a confirmation has no quantity. ``row`` 1 or 2, ``point`` top, bottom, left, right."""

    quantity: Quantity | None = None
    row: int | None = None
    point: str | None = None
    repeat: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was measured or confirmed, of which kind, where."""

    kind: str
    values: tuple[Value, ...]
    position: str | None = None
    step: str | None = None
    method: str | None = None
    stop_limit: Quantity | None = None

    @property
    def numbers(self) -> list[float]:
        """Return the values in the unit of their kind."""
        return [value.quantity.value for value in self.values if value.quantity is not None]


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


def verdict_of(reading: Reading, plan: Plan, *, blade_set: BladeSet, charts: Sequence[Chart] = ()) -> Verdict:
    """Return the verdict on a reading by a plan, without regard to what was read before.

    Raises
    ------
    CannotEvaluate
        The plan has no such position or step, or the values do not make one reading.
    """
    _check_place(reading, plan)
    if reading.kind in READ_NEVER_CONFIRMED:
        return _clearance(reading, plan, blade_set, charts)
    return _JUDGES[reading.kind](reading, plan)


def step_of(plan: Plan, step: str, position: str | None) -> Mapping[str, Any]:
    """Return the step of this id and position.

    Raises
    ------
    CannotEvaluate
        ``unknown_step``; ``position_required`` where several positions have the step.
    """
    found = [each for each in plan["steps"] if each["id"] == step]
    if not found:
        raise CannotEvaluate(f"the instructions have no step {step!r}", code="unknown_step", field="step")
    named = [each for each in found if position is None or each["position"] in (position, None)]
    if len(named) == 1:
        one: Mapping[str, Any] = named[0]
        return one
    places = ", ".join(each["position"] or "the order" for each in found)
    code = "position_required" if named else "unknown_step"
    raise CannotEvaluate(f"step {step!r} stands at: {places}; name one", code=code, field="position")


def _check_place(reading: Reading, plan: Plan) -> None:
    if reading.position is None:
        if reading.kind not in OF_THE_ORDER:
            raise CannotEvaluate(
                f"a reading of {reading.kind} names its position", code="position_required", field="position"
            )
        return
    mounted = reading.kind in MOUNTING_KINDS
    known = [each["position"] for each in plan["targets" if mounted else "bolting"]]
    if reading.position not in known:
        said = f"{reading.position!r} is not a position of this order; known are {', '.join(known)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")


def _target(reading: Reading, plan: Plan) -> Mapping[str, Any]:
    found: Mapping[str, Any] = next(each for each in plan["targets"] if each["position"] == reading.position)
    return found


def _clearance(reading: Reading, plan: Plan, blade_set: BladeSet, charts: Sequence[Chart]) -> Verdict:
    measured = measured_of(reading.values)
    found = judge(reading.kind, measured, _target(reading, plan), blade_set=blade_set, charts=charts)
    named = {value.row for value in reading.values}
    if found.verdict == ACCEPT and len(named) == 1 and None not in named:
        said = (*_words(found.detail), f" Only row {named.pop()} was read; the tighter row decides.")
        return Verdict(RECHECK, "one_row_read", (), None, said, "Measure the other row too and send both together.")
    smallest_nm, largest_nm = min(measured.row_values_nm), max(measured.row_values_nm)
    following_nm = next_attainable(blade_set, smallest_nm)
    if found.verdict == ACCEPT and following_nm is not None and largest_nm > following_nm:
        said = (*_words(found.detail), " The rows differ by more than one blade step: ")
        said = (*said, Quantity("clearance", smallest_nm), " and ", Quantity("clearance", largest_nm))
        following = "Seat the rollers by turning and measure both rows again; a STOP step of this bearing comes first."
        return Verdict(ACCEPT, "rows_differ", (), None, said, following)
    return found


def _words(text: Text) -> tuple[str | Quantity, ...]:
    return (text,) if isinstance(text, str) else text


def _on_the_taper(reading: Reading, plan: Plan) -> Verdict:
    """Return the verdict on an axial displacement or a nut turn: its target is the limit."""
    target = _target(reading, plan)
    if target["residual_clearance"] is None and target["measured"] is not None:
        said = "There is no residual window for this bearing, so nothing may be tightened."
        return Verdict(RECHECK, "no_window", (), None, said, "Settle the STOP step of this bearing first.")
    limits = target[reading.kind]
    if limits is None:
        return _without_limits(reading)
    return _inside(
        reading,
        limits,
        margin=RECHECK_NM if reading.kind == "axial_displacement" else 0.0,
        low=("too_loose", TOO_LOOSE),
        high=("too_far", TOO_TIGHT_WAY_BACK),
    )


def _torque(reading: Reading, plan: Plan) -> Verdict:
    target = next(each["torque"] for each in plan["bolting"] if each["position"] == reading.position)
    if target is None:
        return _without_limits(reading)
    found = [torque_verdict(reading_n_m=each, target_n_m=target.value) for each in reading.numbers]
    worst = min(found, key=lambda each: _WORST_FIRST.index(each.verdict))
    return Verdict(worst.verdict, worst.code, worst.fits, None, worst.detail, worst.next)


def _by_step(low: tuple[str, Text], high: tuple[str, Text], *, kept: bool = False) -> Judge:
    """Return the judge by the limits of the step that asks for a reading; ``kept``: accepted where it has none."""

    def _judged(reading: Reading, plan: Plan) -> Verdict:
        limits = next(_limits_asked(reading, plan), None)
        if limits is not None:
            return _inside(reading, limits, margin=0.0, low=low, high=high)
        return _written_down(reading) if kept else _without_limits(reading)

    return _judged


def _limits_asked(reading: Reading, plan: Plan) -> Iterator[Mapping[str, Quantity]]:
    for step in plan["steps"]:
        record = step["record"]
        if record is None or record["kind"] != reading.kind or record.get("limits") is None:
            continue
        if step["position"] in (None, reading.position) and reading.step in (None, step["id"]):
            yield record["limits"]


def _inside(
    reading: Reading, limits: Mapping[str, Quantity], *, margin: float, low: tuple[str, Text], high: tuple[str, Text]
) -> Verdict:
    """Return accept inside the limits, which count as inside; recheck within the margin; else reject."""
    least, most = _comparable(limits["min"]), _comparable(limits["max"])
    values = [_comparable(value.quantity) for value in reading.values if value.quantity is not None]
    between = (" lies between ", limits["min"], " and ", limits["max"])
    if all(least <= value <= most for value in values):
        return Verdict(ACCEPT, None, (), None, ("What was read", *between, "."), "Go on.")
    worst = max(range(len(values)), key=lambda n: max(least - values[n], values[n] - most))
    too_low = values[worst] < least
    shown = [value.quantity for value in reading.values if value.quantity is not None][worst]
    outside = (" lies below " if too_low else " lies above ", limits["min"] if too_low else limits["max"])
    said: Text = (shown, *outside, "; asked is ", limits["min"], " to ", limits["max"], ".")
    code, following = low if too_low else high
    if max(least - values[worst], values[worst] - most) <= margin:
        return Verdict(RECHECK, "near_limit", (), None, said, "Measure again.")
    return Verdict(REJECT, code, (), None, said, following)


def _comparable(quantity: Quantity) -> float:
    """Return the number in which limits are compared: lengths in whole nanometres."""
    return round(quantity.value * 1_000_000) if quantity.kind in ("dimension", "distance") else quantity.value


def _run_in(reading: Reading, plan: Plan) -> Verdict:
    limit = reading.stop_limit
    if limit is None:
        return _by_step(*_STOP_LIMIT, kept=True)(reading, plan)
    if max(reading.numbers) < limit.value:
        return Verdict(ACCEPT, None, (), None, ("It stays below the stop limit of ", limit, "."), "Log until steady.")
    said = ("The stop limit of ", limit, " is reached.")
    return Verdict(REJECT, "stop_limit_reached", (), None, said, _STOP_LIMIT[1][1])


def _confirmation(reading: Reading, plan: Plan) -> Verdict:
    step = step_of(plan, reading.step or "", reading.position)
    if is_stop(step):
        said = "A STOP step is not confirmed away."
        return Verdict(REJECT, "deviation_needed", (), None, said, "Settle it, or have another person approve why not.")
    if step["hold_point"] and not is_confirmable(step):
        said = f"This step asks for a reading of {step['record']['kind']}; a confirmation does not stand for it."
        return Verdict(REJECT, "reading_needed", (), None, said, "Send the reading.")
    return Verdict(ACCEPT, None, (), None, "Confirmed.", "Go on.")


def _without_limits(reading: Reading) -> Verdict:
    said = f"The instructions give no limits for {reading.kind.replace('_', ' ')}, so it is kept but not judged."
    following = "Take the limits from the maker's book, compare, and confirm the step by name."
    return Verdict(RECHECK, "no_limits", (), None, said, following)


def _written_down(reading: Reading) -> Verdict:
    said = f"Written down: the instructions give no limits for {reading.kind.replace('_', ' ')}."
    return Verdict(ACCEPT, "not_judged", (), None, said, "Go on.")


_WORST_FIRST: Final = (REJECT, RECHECK, ACCEPT)
_STOP_LIMIT: Final[tuple[tuple[str, Text], tuple[str, Text]]] = (
    ("too_cold", "Measure again."),
    ("stop_limit_reached", "Stop the machine, isolate it and look: grease, clearance, free bearing, seals."),
)
_JUDGES: Final[dict[str, Judge]] = {
    "axial_displacement": _on_the_taper,
    "nut_turn": _on_the_taper,
    "cap_bolt_torque": _torque,
    "free_setting": _by_step(
        ("setting_too_small", "Move the outer ring: the bearing needs this room to move when the shaft grows."),
        ("setting_too_large", "Move the outer ring: too little room is left on the other side."),
    ),
    "shaft_diameter": _by_step(
        ("shaft_too_small", "Stop. A sleeve does not grip a worn shaft: repair it."),
        ("shaft_too_large", "Stop. Compare shaft and sleeve: metric and inch shafts lie close together."),
    ),
    "bearing_spacing": _by_step(
        ("spacing_too_small", "Measure from centre to centre and set it again."),
        ("spacing_too_large", "Measure from centre to centre and set it again."),
        kept=True,
    ),
    "run_in_temperature": _run_in,
    "confirmation": _confirmation,
}
