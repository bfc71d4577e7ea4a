"""Where the job stands: each step at each bearing, what is done, what comes next, what blocks it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote

from service.instructions.readings.entries import Entry
from service.mounting.readings import ACCEPT

HELD: Final = "HELD"
FREE: Final = "FREE"
_ROLES: Final = {"locating": HELD, "free": FREE}
AS_FOUND: Final = "as_found"


@dataclass(frozen=True, slots=True)
class Place:
    """A step at one of its bearings, or once for the shaft.

    Parameters
    ----------
    done : bool
        Closed by what closes it, [-]
    passed : bool
        A line without a tick before a hold that is closed, [-]
    """

    step: Mapping[str, Any]
    position: str | None
    role: str | None
    done: bool
    passed: bool = False

    @property
    def number(self) -> int:
        """Return the number of the step."""
        return int(self.step["number"])

    @property
    def path(self) -> str:
        """Return its address below that of the card."""
        return f"/step/{self.number}" + ("" if self.position is None else f"/{quote(self.position, safe='')}")

    @property
    def where(self) -> str:
        """Return position and role in words; empty where it is done once."""
        return ", ".join(each for each in (self.position, self.role) if each)


@dataclass(frozen=True, slots=True)
class Progress:
    """All places of a plan in the order of work."""

    places: tuple[Place, ...]

    @property
    def next(self) -> Place | None:
        """Return the first place that is neither done nor passed by a closed hold; None where all is done."""
        left = [each for each in self.places if not each.done]
        return next((each for each in left if not each.passed), left[0] if left else None)

    def after(self, place: Place | None) -> Place | None:
        """Return the first place behind one that is not done; where all behind it is done, the next of all."""
        behind = () if place is None else self.places[self.places.index(place) + 1 :]
        return next((each for each in behind if not each.done), self.next)

    def at(self, number: int, position: str | None) -> Place | None:
        """Return the place of a step; without a position the first that is not done."""
        own = [each for each in self.places if each.number == number]
        if position is not None:
            return next((each for each in own if each.position == position), None)
        return next((each for each in own if not each.done), own[0] if own else None)

    def beside(self, place: Place) -> tuple[Place | None, Place | None]:
        """Return the places before and after one."""
        at = self.places.index(place)
        before = self.places[at - 1] if at else None
        return before, self.places[at + 1] if at + 1 < len(self.places) else None

    def count(self, place: Place) -> tuple[int, int]:
        """Return which line of how many a place is on, counted in steps."""
        numbers = list(dict.fromkeys(each.number for each in self.places))
        return numbers.index(place.number) + 1, len(numbers)

    @property
    def holds(self) -> list[tuple[int, str, bool]]:
        """Return each step that is signed, by its number: its hold, or STOP, and whether it is closed everywhere."""
        found: dict[int, tuple[str, bool]] = {}
        for each in self.places:
            name = "STOP" if each.step["stop"] is not None else each.step["hold"]
            if name is not None:
                found[each.number] = (str(name), found.get(each.number, ("", True))[1] and each.done)
        return [(number, name, closed) for number, (name, closed) in found.items()]


def progress(
    plan: Mapping[str, Any],
    entries: Sequence[Entry],
    still_open: Sequence[tuple[int, str | None]],
    looked_at: Sequence[str],
) -> Progress:
    """Return where a job stands.

    Parameters
    ----------
    entries : sequence of Entry, shape (n,)
        What counts
    still_open : sequence of (step number, position), shape (m,)
        Holds and STOPs that are open
    looked_at : sequence of str, shape (k,)
        Positions whose as-found form was sent
    """
    roles = roles_of(plan)
    found = [
        Place(step, position, roles.get(position or ""), _done(step, position, entries, still_open, looked_at))
        for step in plan["steps"]
        for position in step["positions"] or [None]
    ]
    closed = [each for each in found if each.done and each.step["hold"] is not None]
    return Progress(tuple(_passed(each, closed) for each in found))


def roles_of(plan: Mapping[str, Any]) -> dict[str, str | None]:
    """Return HELD, FREE or None by position."""
    supports = (plan["arrangement"] or {}).get("supports", ())
    return {each["name"]: _ROLES.get(each["role"] or "") for each in supports}


def _done(
    step: Mapping[str, Any],
    position: str | None,
    entries: Sequence[Entry],
    still_open: Sequence[tuple[int, str | None]],
    looked_at: Sequence[str],
) -> bool:
    if step["hold"] is not None or step["stop"] is not None:
        return (step["number"], position) not in still_open
    kind = (step["record"] or {}).get("kind")
    if step["id"] == "as-found" and position in looked_at:
        return True
    own = [each for each in entries if each.verdict == ACCEPT and position in (None, each.position)]
    return any(
        each.step == step["id"]
        if each.kind == "confirmation"
        else each.kind == kind and each.step in (None, step["id"])
        for each in own
    )


def _passed(place: Place, closed: Sequence[Place]) -> Place:
    """Return the place, marked where a later hold of the same bearing or of the whole shaft is closed."""
    if place.done or place.step["hold"] is not None or place.step["stop"] is not None:
        return place
    later = any(
        each.number > place.number and (None in (each.position, place.position) or each.position == place.position)
        for each in closed
    )
    return Place(place.step, place.position, place.role, done=False, passed=later)
