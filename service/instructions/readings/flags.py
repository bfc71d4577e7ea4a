"""What the lead looks at before an order is closed: times out of order, holds signed in one go; never forbidden.

Paper is typed in later and phones lose their signal: only the time at which a reading was taken counts.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.hold_points import ON_THE_TAPER, REPLACED, needed_kinds
from service.instructions.readings.persons import same_person
from service.instructions.readings.run_in import housings_apart
from service.mounting.readings import ACCEPT

IN_ONE_GO_S: Final = 60
IN_ONE_GO: Final = 3
BEFORE_PREDECESSOR: Final = "time_before_predecessor"
SIGNED_IN_ONE_GO: Final = "signed_in_one_go"
COMPLETED_BEFORE: Final = "completed_before_reading"
HOUSINGS_APART: Final = "housings_apart"
DRIVEN_NOT_SAID: Final = "mounted_but_not_replaced"
UNRELEASED: Final = "work_begun_unreleased"


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing to look at: its code, the step and position it is about, and the persons named."""

    code: str
    step: str | None
    position: str | None
    persons: tuple[str, ...]

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"code": self.code, "step": self.step, "position": self.position, "persons": list(self.persons)}


@dataclass(frozen=True, slots=True)
class Signed:
    """A hold that was signed: when, by whom, where in the order of work."""

    number: int
    step: str
    position: str | None
    at: datetime
    person: str


def flags(
    plan: Mapping[str, Any],
    entries: Sequence[Entry],
    *,
    completed_at: datetime | None = None,
    outcomes: Mapping[str, str] | None = None,
) -> list[Flag]:
    """Return what the lead acknowledges by name at completion.

    Parameters
    ----------
    entries : sequence of Entry, shape (n,)
        What counts, with the times at which it was taken
    completed_at : datetime or None
        When the work was completed, None while the order is open
    outcomes : mapping of position to outcome, or None
        What is said to have been done, None while the order is open
    """
    signed = signed_holds(plan, entries)
    found = [Flag(BEFORE_PREDECESSOR, each.step, each.position, (each.person,)) for each, _ in out_of_order(signed)]
    found += [Flag(SIGNED_IN_ONE_GO, one.step, one.position, (one.person,)) for one, *_ in in_one_go(signed)]
    found += [*_housings(entries), *_not_said(entries, outcomes or {})]
    if completed_at is not None:
        late = [each for each in entries if each.taken_at is not None and each.taken_at > completed_at]
        found += [Flag(COMPLETED_BEFORE, each.step, each.position, (each.person,)) for each in late]
    return found


def _housings(entries: Sequence[Entry]) -> Iterator[Flag]:
    """Yield a flag where two housings ended their run-in further apart than is usual: the lead knows why, or asks."""
    last = {each.position: each for each in entries if each.kind == "run_in_temperature" and each.verdict == ACCEPT}
    if housings_apart([each.value for each in last.values() if each.value is not None]):
        hottest = max(last.values(), key=lambda each: each.value or 0.0)
        yield Flag(HOUSINGS_APART, hottest.step, hottest.position, ())


def _not_said(entries: Sequence[Entry], outcomes: Mapping[str, str]) -> Iterator[Flag]:
    """Yield a flag for each bearing that was driven up its taper and is said not to have been replaced."""
    for position, outcome in outcomes.items():
        driven = [each for each in entries if each.position == position and each.kind in ON_THE_TAPER]
        if driven and outcome not in REPLACED:
            yield Flag(DRIVEN_NOT_SAID, driven[-1].step, position, (driven[-1].person,))


def signed_holds(plan: Mapping[str, Any], entries: Sequence[Entry]) -> list[Signed]:
    """Return the signed holds in the order of work: for each the last accepted reading that closes it."""
    return sorted(_signed(plan, entries), key=lambda each: each.number)


def _signed(plan: Mapping[str, Any], entries: Sequence[Entry]) -> Iterator[Signed]:
    for step in plan["steps"]:
        if step["hold"] is None:
            continue
        for position in step["positions"] or [None]:
            kinds = {kind for group in needed_kinds(step, position, plan) for kind in group}
            closing = [
                each
                for each in entries
                if each.kind in kinds
                and each.kind not in ("class_read", DEVIATION)
                and each.verdict == ACCEPT
                and position in (None, each.position)
                and (each.kind != "try_start" or (each.step or "isolate") == step["id"])
                and each.taken_at is not None
            ]
            if closing and closing[-1].taken_at is not None:
                last = closing[-1]
                yield Signed(step["number"], step["id"], position, closing[-1].taken_at, last.person)


def out_of_order(signed: Sequence[Signed]) -> Iterator[tuple[Signed, Signed]]:
    """Yield the holds that were taken before one that stands before them in the order of work, of the same place.

    Each comes with the first of those that should have been taken before.
    """
    for n, each in enumerate(signed):
        before = [
            one
            for one in signed[:n]
            if one.number < each.number
            and one.at > each.at
            and (one.position is None or each.position is None or one.position == each.position)
        ]
        if before:
            yield each, before[0]


def in_one_go(signed: Sequence[Signed]) -> Iterator[tuple[Signed, ...]]:
    """Yield the holds that one person signed within a minute, three or more of them; each person once."""
    done: list[str] = []
    for first in sorted(signed, key=lambda each: each.at):
        if any(same_person(first.person, name) for name in done):
            continue
        until = first.at + timedelta(seconds=IN_ONE_GO_S)
        together = [s for s in signed if first.at <= s.at <= until and same_person(s.person, first.person)]
        if len({(s.step, s.position) for s in together}) >= IN_ONE_GO:
            done.append(first.person)
            yield tuple(together)
