"""Feeler blades: the sizes a set can show, and the blades that stand for a window (rule C6).

A size is attainable when one blade, or two or three different ones together, make it up. All sizes are whole
nanometres, so that 0.0025 in and 0.0015 + 0.001 in are one size.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import combinations
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate
from service.reference import tables
from service.units import Quantity

LARGEST_STACK: Final = 3
LARGEST_SET: Final = 60
_SYSTEM_OF_UNIT: Final = {"in": "inch", "thou": "inch", "mm": "metric", "um": "metric"}
_KIND_OF_SYSTEM: Final = {"inch": "blade_in", "metric": "blade_mm"}
_STEP_NM: Final = {"inch": 12_700, "metric": 10_000}
_THINNEST_NM: Final = {"inch": 25_400, "metric": 20_000}

Stack = tuple[int, ...]
"""The blades of one stack, thickest first, [nm]."""


@dataclass(frozen=True, slots=True)
class BladeSet:
    """The blades a mechanic has.

    Parameters
    ----------
    system : str
        ``inch`` or ``metric``; chooses the printing of the practice (C3)
    blades_nm : tuple of int
        Different blades, thinnest first, [nm]
    """

    system: str
    blades_nm: tuple[int, ...]
    name: str

    @property
    def kind(self) -> str:
        """Return the kind of quantity of its blades."""
        return _KIND_OF_SYSTEM[self.system]

    def quantities(self, stack: Stack) -> list[units.Quantity]:
        """Return one quantity per blade of a stack."""
        return [units.Quantity(self.kind, blade_nm) for blade_nm in stack]


@dataclass(frozen=True, slots=True)
class BladeTargets:
    """The stacks that stand for a window; None three times where the set does not resolve it."""

    target: Stack | None
    must_pass: Stack | None
    must_not_pass: Stack | None
    blade_set: BladeSet

    @property
    def resolves(self) -> bool:
        """Return whether the set can tell inside from outside."""
        return self.target is not None

    def record(self) -> dict[str, Any]:
        """Return the wire member ``blades``."""
        named = {"target": self.target, "must_pass": self.must_pass, "must_not_pass": self.must_not_pass}
        stacks = {name: None if stack is None else self.blade_set.quantities(stack) for name, stack in named.items()}
        return {**stacks, "resolves": self.resolves}


def blade_set(blades: Sequence[tuple[int, str]], name: str = "own set") -> BladeSet:
    """Return a site's own set.

    Parameters
    ----------
    blades : sequence of (int, str), shape (n,)
        Thickness, [nm], and the unit stamped on the blade (``in``, ``thou``, ``mm`` or ``um``)

    Raises
    ------
    CannotEvaluate
        The set is empty or too large, a blade is not above zero, or units are mixed (``mixed_blade_units``).
    """
    systems = {_SYSTEM_OF_UNIT.get(unit, "") for _, unit in blades}
    if blades and (len(systems) > 1 or "" in systems):
        raise CannotEvaluate(
            "the blades of a set carry one unit: all in inches or all in mm",
            code="mixed_blade_units",
            field="blade_set",
        )
    sizes_nm = tuple(sorted({thickness_nm for thickness_nm, _ in blades}))
    if not 1 <= len(sizes_nm) <= LARGEST_SET or sizes_nm[0] <= 0:
        raise CannotEvaluate(
            f"a set has 1 to {LARGEST_SET} different blades, each thicker than zero",
            code="unusable_blade_set",
            field="blade_set",
        )
    return BladeSet(systems.pop(), sizes_nm, name)


def blade_set_of(given: str | Sequence[Quantity]) -> BladeSet:
    """Return the set that is meant by a name (``inch``, ``metric``) or by its blades, of kind blade_in or blade_mm.

    Raises
    ------
    CannotEvaluate
        As ``blade_set``.
    """
    if isinstance(given, str):
        return {"inch": INCH_SET, "metric": METRIC_SET}[given]
    return blade_set([(int(blade.value), blade.kind.removeprefix("blade_")) for blade in given])


def attainable(given: BladeSet) -> tuple[int, ...]:
    """Return every size that the set can show, thinnest first, [nm]."""
    return _stacks(given.blades_nm)[0]


def stack_of(given: BladeSet, size_nm: int) -> Stack:
    """Return the blades that make up an attainable size: the fewest, then those with the thickest thin blade, [nm]."""
    sizes_nm, stacks = _stacks(given.blades_nm)
    return stacks[bisect_left(sizes_nm, size_nm)]


def next_attainable(given: BladeSet, size_nm: float) -> int | None:
    """Return the smallest size above the given one that the set can show, or None, [nm]."""
    sizes_nm = attainable(given)
    above = bisect_right(sizes_nm, size_nm)
    return sizes_nm[above] if above < len(sizes_nm) else None


def blade_targets(given: BladeSet, *, min_nm: float, max_nm: float, aim_nm: float) -> BladeTargets:
    """Return the stacks for a window of residual clearance.

    Parameters
    ----------
    min_nm, max_nm : float
        The window, limits inside, [nm]
    aim_nm : float
        Residual clearance aimed at, [nm]

    Source
    ------
    Rule C6: a single blade in the middle half of the window beats a stack, since a stack of two reads what two thumbs
    press (of several the one nearest the aim, then the larger); else the attainable size inside the window nearest
    the aim, of two equally near the one of fewer blades, then the larger, as too loose can be corrected and too tight
    cannot. Must pass is the smallest not below the window, must not pass the smallest above it.
    """
    sizes_nm, stacks = _stacks(given.blades_nm)
    first, behind = bisect_left(sizes_nm, min_nm), bisect_right(sizes_nm, max_nm)
    if first >= behind or behind >= len(sizes_nm):
        return BladeTargets(None, None, None, given)
    quarter_nm = (max_nm - min_nm) / 4
    inside = range(first, behind)
    single = [i for i in inside if len(stacks[i]) == 1 and min_nm + quarter_nm <= sizes_nm[i] <= max_nm - quarter_nm]
    chosen = min(single or inside, key=lambda i: (abs(sizes_nm[i] - aim_nm), len(stacks[i]), -sizes_nm[i]))
    return BladeTargets(stacks[chosen], stacks[first], stacks[behind], given)


def blade_to_get(system: str, *, min_nm: float, max_nm: float, aim_nm: float) -> int | None:
    """Return the blade that would show the window, in steps of 0.01 mm or 0.0005 in, or None where none lies inside.

    Parameters
    ----------
    min_nm, max_nm, aim_nm : float
        The window and the aim, [nm]

    Source
    ------
    Steps of blades on sale: trade usage, from memory.
    """
    step_nm = _STEP_NM[system]
    first = max(-(-min_nm // step_nm), _THINNEST_NM[system] / step_nm)
    sizes_nm = [int(i) * step_nm for i in range(int(-(-first // 1)), int(max_nm // step_nm) + 1)]
    return min(sizes_nm, key=lambda size_nm: (abs(size_nm - aim_nm), -size_nm), default=None)


@lru_cache(maxsize=256)
def _stacks(blades_nm: tuple[int, ...]) -> tuple[tuple[int, ...], tuple[Stack, ...]]:
    best: dict[int, Stack] = {}
    for count in range(1, LARGEST_STACK + 1):
        of_this_count: dict[int, Stack] = {}
        for blades in combinations(blades_nm, count):
            size_nm = sum(blades)
            if size_nm not in best and (size_nm not in of_this_count or blades[0] > of_this_count[size_nm][-1]):
                of_this_count[size_nm] = blades[::-1]
        best |= of_this_count
    sizes_nm = tuple(sorted(best))
    return sizes_nm, tuple(best[size_nm] for size_nm in sizes_nm)


@cache
def usual_set(name: str) -> BladeSet:
    """Return a usual set by its name in the table ``blade_sets``."""
    row = next(row for row in tables.rows("blade_sets") if row["set"] == name)
    to_nm = {"mm": units.nm_from_mm, "in": units.nm_from_in}[row["unit"]]
    return blade_set([(to_nm(blade), row["unit"]) for blade in row["blades"].split()], name)


INCH_SET: Final = usual_set("inch 26 blades")
METRIC_SET: Final = usual_set("metric fine (bearing clearance)")
SETS: Final = {"inch": INCH_SET, "metric": METRIC_SET}
