"""Bolts: threads with their stress areas, grades with their strengths, nut factors by state of lubrication."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise

from service.errors import CannotEvaluate, OutOfTable, TableError
from service.reference.tables import rows
from service.units import MM_PER_IN

FULL_THREAD_DEPTH = 0.6134
"""Depth h3 of the external thread over its pitch, minor diameter d3 = d - 2 h3 (ISO 68-1 profile, ISO 898-1), [-]."""


@dataclass(frozen=True, slots=True)
class Thread:
    """A bolt thread; ``system`` is "metric" or "inch", diameters and pitch [mm], stress area [mm2]."""

    name: str
    system: str
    diameter_mm: float
    pitch_mm: float
    pitch_diameter_mm: float
    stress_area_mm2: float

    @property
    def minor_diameter_mm(self) -> float:
        """Return the minor diameter d3 of the external thread, [mm]."""
        return self.diameter_mm - 2 * FULL_THREAD_DEPTH * self.pitch_mm


@dataclass(frozen=True, slots=True)
class BoltGrade:
    """A bolt grade over a range of diameters: proof, yield and tensile strength [MPa]."""

    standard: str
    name: str
    proof_mpa: float
    yield_mpa: float
    tensile_mpa: float


@dataclass(frozen=True, slots=True)
class NutFactor:
    """The nut factor K = T/(F d) of a state of lubrication, with its band, [-]."""

    state: str
    low: float
    nominal: float
    high: float


@cache
def threads() -> Mapping[str, Thread]:
    """Return all threads by name, "M14", "M14x1.5", "1/2-13 UNC".

    Raises
    ------
    TableError
        A stress area is not between the areas of the minor and the pitch diameter.
    """
    known: dict[str, Thread] = {}
    for row in rows("threads_metric"):
        known[row["thread"]] = Thread(
            name=row["thread"],
            system="metric",
            diameter_mm=float(row["diameter_mm"]),
            pitch_mm=float(row["pitch_mm"]),
            pitch_diameter_mm=float(row["pitch_diameter_mm"]),
            stress_area_mm2=float(row["stress_area_mm2"]),
        )
    for row in rows("threads_unified"):
        known[row["thread"]] = Thread(
            name=row["thread"],
            system="inch",
            diameter_mm=float(row["diameter_in"]) * MM_PER_IN,
            pitch_mm=MM_PER_IN / float(row["threads_per_inch"]),
            pitch_diameter_mm=float(row["pitch_diameter_in"]) * MM_PER_IN,
            stress_area_mm2=float(row["stress_area_in2"]) * MM_PER_IN**2,
        )
    for one in known.values():
        _checked_thread(one)
    return known


def _checked_thread(one: Thread) -> None:
    quarter_pi = 0.7853981633974483
    area_at_minor = quarter_pi * one.minor_diameter_mm**2
    area_at_pitch = quarter_pi * one.pitch_diameter_mm**2
    if not area_at_minor < one.stress_area_mm2 < area_at_pitch:
        raise TableError(f"threads: the stress area of {one.name} is not between those of its diameters")


@cache
def _spellings() -> Mapping[str, Thread]:
    """Return the threads by every spelling accepted: with or without series, 1-1/2 or 1 1/2, x or the times sign."""
    known: dict[str, Thread] = {}
    for name, one in threads().items():
        known[_plain(name)] = one
        if one.system == "inch":
            known[_plain(name.rsplit(" ", 1)[0])] = one
        elif "x" not in name:
            known[_plain(f"{name}x{one.pitch_mm:g}")] = one
    return known


def _plain(text: str) -> str:
    words = text.upper().replace("×", "X").replace('"', "").replace("-", " ").split()
    return "-".join(words).replace("-X-", "X")


def thread(text: str, field: str = "bolt/thread") -> Thread:
    """Return a thread by its designation.

    Raises
    ------
    CannotEvaluate
        ``unknown_thread``: not in the tables (M6 to M64; UNC, UNF, 8UN 1/4 to 2 in).
    """
    found = _spellings().get(_plain(text))
    if found is None:
        detail = (
            f"thread {text!r} is not in the tables: write M14, M14x1.5 or 1/2-13 UNC "
            "(ISO 261 M6 to M64, ASME B1.1 1/4 to 2 in)"
        )
        raise CannotEvaluate(detail, code="unknown_thread", field=field)
    return found


@dataclass(frozen=True, slots=True)
class _GradeRow:
    """One row of the strength table; diameters in the unit of the standard, exact."""

    grade: BoltGrade
    system: str
    over: Fraction | None
    from_incl: Fraction | None
    up_to_incl: Fraction

    def holds(self, diameter: Fraction) -> bool:
        """Tell whether a diameter in the unit of the standard is in this row."""
        if self.over is not None and diameter <= self.over:
            return False
        if self.from_incl is not None and diameter < self.from_incl:
            return False
        return diameter <= self.up_to_incl


@cache
def _grade_rows() -> Mapping[str, tuple[_GradeRow, ...]]:
    known: dict[str, list[_GradeRow]] = {}
    for row in rows("bolt_grades"):
        one = _GradeRow(
            grade=BoltGrade(
                standard=row["standard"],
                name=_grade_name(row),
                proof_mpa=float(row["proof_mpa"]),
                yield_mpa=float(row["yield_mpa"]),
                tensile_mpa=float(row["tensile_mpa"]),
            ),
            system="metric" if row["unit"] == "mm" else "inch",
            over=Fraction(row["over"]) if row["over"] else None,
            from_incl=Fraction(row["from_incl"]) if row["from_incl"] else None,
            up_to_incl=Fraction(row["up_to_incl"]),
        )
        if not 0 < one.grade.proof_mpa < one.grade.yield_mpa < one.grade.tensile_mpa:
            raise TableError(f"bolt_grades: proof, yield and tensile strength of {one.grade.name} must rise")
        known.setdefault(one.grade.name.upper(), []).append(one)
    for name, ranges in known.items():
        _checked_ranges(name, ranges)
    return {name: tuple(ranges) for name, ranges in known.items()}


def _checked_ranges(name: str, ranges: list[_GradeRow]) -> None:
    for below, above in pairwise(ranges):
        start = above.over if above.over is not None else above.from_incl
        if start is None or start < below.up_to_incl:
            raise TableError(f"bolt_grades: the ranges of {name} overlap or run backwards")


def _grade_name(row: Mapping[str, str]) -> str:
    standard = row["standard"].split(":")[0]
    return row["grade"] if standard == "ISO 898-1" else f"{standard} {row['grade']}"


def grade_names() -> tuple[str, ...]:
    """Return the grades known, as they are written."""
    return tuple(ranges[0].grade.name for ranges in _grade_rows().values())


def bolt_grade(text: str, of: Thread, field: str = "bolt/grade") -> BoltGrade:
    """Return the strength of a grade at the diameter of a thread.

    Raises
    ------
    CannotEvaluate
        ``unknown_grade``, or ``grade_not_for_thread``: an inch grade on a metric thread or the other way round.
    OutOfTable
        The standard gives no strength for this diameter.
    """
    ranges = _grade_rows().get(" ".join(text.split()).upper())
    if ranges is None:
        detail = f"bolt grade {text!r} is not known; known are {', '.join(grade_names())}"
        raise CannotEvaluate(detail, code="unknown_grade", field=field)
    if ranges[0].system != of.system:
        detail = f"grade {text} ({ranges[0].grade.standard}) is not defined for the thread {of.name}"
        raise CannotEvaluate(detail, code="grade_not_for_thread", field=field)
    diameter = _nominal_diameter(of)
    for one in ranges:
        if one.holds(diameter):
            return one.grade
    raise OutOfTable(f"{ranges[0].grade.standard} gives no strength of grade {text} for {of.name}", field=field)


def _nominal_diameter(of: Thread) -> Fraction:
    """Return the nominal diameter in the unit of the thread's own standard, exact, [mm or in]."""
    if of.system == "metric":
        return Fraction(repr(of.diameter_mm))
    return Fraction(of.diameter_mm / MM_PER_IN).limit_denominator(64)


LUBRICATION_STATES: Mapping[str, str] = {
    "dry": "dry, plain steel",
    "oiled": "lightly oiled",
    "anti_seize": "anti-seize",
    "unknown": "unknown condition",
}


@cache
def nut_factors() -> Mapping[str, NutFactor]:
    """Return the nut factor band of each state: dry, oiled, anti_seize, unknown.

    Raises
    ------
    TableError
        A state is missing or its band does not hold its nominal value.
    """
    printed = {row["condition"]: row for row in rows("nut_factors") if row["quantity"] == "nut_factor"}
    known = {}
    for state, condition in LUBRICATION_STATES.items():
        if condition not in printed:
            raise TableError(f"nut_factors: no row {condition!r}")
        row = printed[condition]
        one = NutFactor(state, float(row["low"]), float(row["nominal"]), float(row["high"]))
        if not 0 < one.low <= one.nominal <= one.high:
            raise TableError(f"nut_factors: the band of {condition!r} does not hold its nominal value")
        known[state] = one
    return known
