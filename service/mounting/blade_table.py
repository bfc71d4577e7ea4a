"""The readings that a blade set can give inside a class, each judged beforehand: for paper, and without a connection.

Every pair of row readings is judged by ``clearance_target`` itself, so that paper and service never differ.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Any, Final

from service import units
from service.mounting.blades import Stack, attainable
from service.mounting.clearance import ClearanceTarget
from service.mounting.readings import Measured
from service.units import Quantity

MOST_ROWS: Final = 6
"""Most rows of a table that is read at the bench: own convention."""
ACCEPT: Final = "accept"
Judge = Callable[[Measured], ClearanceTarget]


@dataclass(frozen=True, slots=True)
class Row:
    """What two readings of the initial clearance give: smaller and larger row, [nm], and the target made with them."""

    smaller_nm: int
    larger_nm: int
    target: ClearanceTarget

    def record(self) -> dict[str, Any]:
        """Return {rows, min, max, target, must_pass, must_not_pass, blocked}."""
        window, blades = self.target.window, self.target.blades
        given = self.target.blade_set
        blocked = [each.code for each in self.target.blocked] if window is None else []

        def stack(found: Stack | None) -> list[Quantity] | None:
            """Return the blades of a stack as quantities."""
            return None if found is None else given.quantities(found)

        return {
            "rows": [units.clearance(self.smaller_nm), units.clearance(self.larger_nm)],
            "min": None if window is None else units.clearance(window.min_nm),
            "max": None if window is None else units.clearance(window.max_nm),
            "target": stack(blades.target if blades else None),
            "must_pass": stack(blades.must_pass if blades else None),
            "must_not_pass": stack(blades.must_not_pass if blades else None),
            "blocked": blocked[0] if blocked else None,
        }


def blade_table(provisional: ClearanceTarget, judge: Judge) -> dict[str, Any] | None:
    """Return {rows, every_pair, below, above}: what each pair of readings inside the class leaves.

    Where the pairs would fill more than MOST_ROWS rows only rows alike are listed; no rows where those are too many.
    None where nothing is judged by blades, or the clearance is already measured.

    Parameters
    ----------
    provisional : ClearanceTarget
        The target before anything is measured
    judge : callable
        From readings to the target of the same bearing, seat and blade set
    """
    window = provisional.window
    if provisional.measured is not None or window is None or provisional.bearing.type == "self_aligning_ball":
        return None
    given, limits = provisional.blade_set, provisional.initial.limits
    sizes_nm = attainable(given)
    first = max(0, bisect_left(sizes_nm, limits.min_nm) - 2)
    last = bisect_right(sizes_nm, limits.max_nm) + 2
    near = [Row(size_nm, size_nm, judge(Measured(((size_nm,), (size_nm,))))) for size_nm in sizes_nm[first:last]]
    inside = [row for row in near if _verdict(row) == ACCEPT]
    rows = list(_rows(inside, judge))
    return {
        "rows": [row.record() for row in rows],
        "every_pair": len(rows) > 0 and len(rows) == len(inside) * (len(inside) + 1) // 2,
        "below": _beside([row for row in near if inside and row.smaller_nm < inside[0].smaller_nm], -1),
        "above": _beside([row for row in near if inside and row.smaller_nm > inside[-1].smaller_nm], 0),
    }


def _rows(inside: list[Row], judge: Judge) -> Iterator[Row]:
    pairs = len(inside) * (len(inside) + 1) // 2
    if pairs > MOST_ROWS:
        yield from inside if len(inside) <= MOST_ROWS else ()
        return
    for smaller, larger in combinations_with_replacement(inside, 2):
        if smaller is larger:
            yield smaller
            continue
        readings = Measured(((smaller.smaller_nm,), (larger.smaller_nm,)))
        yield Row(smaller.smaller_nm, larger.smaller_nm, judge(readings))


def _verdict(row: Row) -> str | None:
    return None if row.target.measured is None else row.target.measured.verdict.verdict


def _beside(outside: list[Row], which: int) -> dict[str, Any] | None:
    """Return the nearest size outside and the verdict on it; None where the set has none."""
    if not outside:
        return None
    row = outside[which]
    return {"size": units.clearance(row.smaller_nm), "verdict": _verdict(row)}
