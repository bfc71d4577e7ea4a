"""Readings entered one after the other into a plan, as the service does it, for the tests of holds and verdicts."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from service import units
from service.instructions.readings.corrections import effective, effective_before, taken_back_by
from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.hold_points import HoldPoint, entry_of, open_hold_points, verdict_in_sequence
from service.instructions.readings.readings import Reading, Value, verdict_of
from service.instructions.readings.run_in import Pair
from service.mounting.blades import INCH_SET, BladeSet
from service.mounting.readings import Verdict
from service.units import Quantity

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def thou(*rows: float) -> tuple[Value, ...]:
    """Return one clearance a row, in thousandths of an inch."""
    return tuple(
        Value(quantity=units.clearance(round(each * 25_400)), row=row) for row, each in enumerate(rows, start=1)
    )


@dataclass
class Order:
    """An order in the hands of a crew: its plan, and what was entered."""

    plan: dict[str, Any]
    blade_set: BladeSet = INCH_SET
    entries: list[Entry] = field(default_factory=list)
    minutes: int = 0

    def read(
        self,
        kind: str,
        *given: Quantity | str | bool | Value,
        at: str | None = None,
        by: str = "A. Fitter",
        series: tuple[Pair, ...] = (),
        step: str | None = None,
        reason: str | None = None,
        replaces: str | None = None,
        lead: bool = False,
        minutes: int = 5,
        method: str | None = None,
        watched: tuple[str, ...] = ("tail", "drive"),
    ) -> Verdict:
        """Enter a reading and return its verdict."""
        values = tuple(
            each
            if isinstance(each, Value)
            else Value(quantity=each)
            if isinstance(each, Quantity)
            else Value(word=each)
            for each in given
        )
        reading = Reading(
            kind=kind,
            values=values,
            series=series,
            position=at,
            step=step,
            person=by,
            reason=reason,
            method=method,
            watched=watched,
        )
        blank = Verdict("recheck", None, (), None, "", "")
        asked = entry_of(reading, blank, revision=1, person=by, plan=self.plan)
        counting = effective_before(self.entries, asked, self.blade_set)
        found = verdict_of(reading, self.plan, blade_set=self.blade_set, earlier=counting)
        found = verdict_in_sequence(found, reading, 1, counting)
        if replaces is not None:
            old = next(each for each in self.entries if each.id == replaces)
            fixed = taken_back_by(old, kind=kind, position=at, person=by, reason=reason or "misread", lead=lead)
            found = fixed or found
        entry = entry_of(reading, found, revision=1, person=by, plan=self.plan, replaces=replaces)
        self.minutes += minutes
        at_time = NOON + timedelta(minutes=self.minutes)
        self.entries.append(replace(entry, id=str(len(self.entries)), taken_at=at_time))
        return found

    def tick(self, step: str, at: str | None = None) -> Verdict:
        """Tick a step."""
        return self.read("confirmation", True, step=step, at=at)

    def deviate(self, step: str, at: str | None = None, by: str = "B. Foreman") -> None:
        """Approve a deviation from a step."""
        self.entries.append(
            Entry(
                kind=DEVIATION,
                position=at,
                step=step,
                verdict="accept",
                code=None,
                revision=1,
                person=by,
                id=str(len(self.entries)),
            )
        )

    def open(self, outcomes: dict[str, str] | None = None) -> list[HoldPoint]:
        """Return the open holds."""
        return open_hold_points(self.plan, effective(self.entries, self.blade_set), outcomes)

    def holds(self) -> list[tuple[int | None, str | None]]:
        """Return number and position of the open holds."""
        return [(point.hold, point.position) for point in self.open()]


GOOD_SERIES = tuple(
    Pair(minute, degc)
    for minute, degc in ((0, 20), (15, 34), (30, 43), (45, 49), (60, 52), (90, 50), (120, 46.5), (150, 45.5), (180, 45))
)
