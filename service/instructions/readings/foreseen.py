"""Verdicts on blade readings before they are taken: what a phone without a signal looks up, as paper does (rule C5).

Each is the verdict of the service itself on that pair of rows, so that looking up and judging never differ. What a
table does not hold is judged when it is sent.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from service.errors import CannotEvaluate
from service.instructions.closing import READ_NEVER_CONFIRMED
from service.instructions.plan.calculations import target_record
from service.instructions.plan.job import Job
from service.instructions.readings.entries import Entry
from service.instructions.readings.hold_points import verdict_in_sequence
from service.instructions.readings.readings import Reading, Value, target_of, two_rows, verdict_of
from service.mounting.blades import BladeSet, attainable
from service.mounting.readings import ACCEPT, Measured, Verdict
from service.units import clearance

MOST_SIZES: Final = 40
"""Most sizes of one table, [-]; a wider one is judged when it is sent."""
MOST_CELLS: Final = 6000
"""Most verdicts of a reading's tables together, [-]: a page stays small."""
BEYOND: Final = 3
"""Sizes beyond the largest clearance of the class that are foreseen: own convention, [-]."""

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Situation:
    """What a reading would be judged by if it were sent now.

    Parameters
    ----------
    revision : int
        The revision in force, [-]
    entries : sequence of Entry, shape (n,)
        What counts so far
    """

    plan: Mapping[str, Any]
    job: Job
    revision: int
    entries: Sequence[Entry]

    @property
    def blade_set(self) -> BladeSet:
        """Return the blades in use."""
        return self.job.blade_set


@dataclass(frozen=True, slots=True)
class Foreseen:
    """Verdicts by the sizes that row 1 and row 2 may show.

    Parameters
    ----------
    sizes_nm : tuple of int, shape (n,)
        Nothing passes (0), then what the blades can show, [nm]
    verdicts : tuple of tuple of Verdict, shape (n, n)
        By row 1, then row 2
    target : dict
        The target that they are judged by
    targets : mapping of pair to target
        What an accepted initial clearance makes of the target
    after : mapping of pair to Foreseen
        The same table once this initial clearance is accepted
    """

    kind: str
    sizes_nm: tuple[int, ...]
    verdicts: tuple[tuple[Verdict, ...], ...]
    target: Mapping[str, Any]
    targets: Mapping[Pair, Mapping[str, Any]] = field(default_factory=dict)
    after: Mapping[Pair, "Foreseen"] = field(default_factory=dict)

    @property
    def pairs(self) -> Iterator[tuple[Pair, Verdict]]:
        """Yield each pair of rows with its verdict."""
        for one, row in zip(self.sizes_nm, self.verdicts, strict=True):
            for two, found in zip(self.sizes_nm, row, strict=True):
                yield (one, two), found


def foreseen(kind: str, position: str, now: Situation) -> Foreseen | None:
    """Return the table of a clearance at a position; None where blades do not judge it, or it would be too wide.

    Parameters
    ----------
    kind : str
        ``initial_clearance`` or ``residual_clearance``; others have no table
    """
    target = target_of(now.plan, position)
    if kind not in READ_NEVER_CONFIRMED or target is None or not two_rows(now.plan, position):
        return None
    sizes_nm = _sizes(target, now.blade_set)
    if not sizes_nm:
        return None
    table = _table(kind, position, sizes_nm, now)
    starts = table if kind == "initial_clearance" else _table("initial_clearance", position, sizes_nm, now)
    targets = {pair: _target_after(pair, position, now) for pair, found in starts.pairs if found.verdict == ACCEPT}
    if kind == "initial_clearance":
        return replace(table, targets=targets)
    if (len(targets) + 1) * len(sizes_nm) ** 2 > MOST_CELLS:
        return table
    later = {
        pair: _table(kind, position, sizes_nm, _after(pair, position, made, now)) for pair, made in targets.items()
    }
    return replace(table, after=later)


def _sizes(target: Mapping[str, Any], blade_set: BladeSet) -> tuple[int, ...]:
    """Return the sizes that a table is made for; () where they would be too many or the range is not known."""
    limits = target["initial_clearance"]
    if limits is None:
        return ()
    sizes_nm = attainable(blade_set)
    last = bisect_right(sizes_nm, limits["max"].value) + BEYOND
    return (0, *sizes_nm[:last]) if last < MOST_SIZES else ()


def _table(kind: str, position: str, sizes_nm: tuple[int, ...], now: Situation) -> Foreseen:
    rows = tuple(tuple(_verdict(kind, position, (one, two), now) for two in sizes_nm) for one in sizes_nm)
    target = target_of(now.plan, position)
    return Foreseen(kind, sizes_nm, rows, target or {})


def _verdict(kind: str, position: str, pair: Pair, now: Situation) -> Verdict:
    """Return the verdict of the service on a pair of rows."""
    values = tuple(Value(quantity=clearance(size_nm), row=row) for row, size_nm in enumerate(pair, start=1))
    reading = Reading(kind=kind, position=position, values=values, method="blades")
    found = verdict_of(reading, now.plan, blade_set=now.blade_set, charts=now.job.charts, earlier=now.entries)
    return verdict_in_sequence(found, reading, now.revision, now.entries)


def _target_after(pair: Pair, position: str, now: Situation) -> Mapping[str, Any]:
    """Return the target of the revision that an accepted initial clearance makes."""
    measured = {**now.job.measured, position: Measured(tuple((size_nm,) for size_nm in pair))}
    job = replace(now.job, measured=measured, refitted=tuple(name for name in now.job.refitted if name != position))
    place = next(each for each in job.positions if each.name == position)
    try:
        return {"position": position, **target_record(job, place)}
    except CannotEvaluate:
        return {"position": position, "residual_clearance": None, "blades": None, "blocked": []}


def _after(pair: Pair, position: str, made: Mapping[str, Any], now: Situation) -> Situation:
    """Return the situation after an initial clearance was accepted."""
    targets = [made if each["position"] == position else each for each in now.plan["targets"]]
    start = Entry(
        kind="initial_clearance",
        position=position,
        step=None,
        verdict=ACCEPT,
        code=None,
        revision=now.revision,
        made_revision=now.revision + 1,
        person="",
        rows_nm=pair,
    )
    plan = {**now.plan, "targets": targets}
    return Situation(plan, now.job, now.revision + 1, (*now.entries, start))
