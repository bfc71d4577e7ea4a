"""The record of a plan as the sheets ask it: who is held, what a reading's limits are, which side is which."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from service.instructions.plan.scene import CONTRADICTIONS
from service.render.card.shaft_line import Shaft
from service.render.sheets.content import FREE, HELD, OPEN
from service.render.sheets.figures import Figures

ROLES: Final = {"locating": HELD, "free": FREE}
ON_LINE: Final[Mapping[str, int]] = {
    "sleeve_does_not_fit": 1,
    "class_too_tight": 4,
    "rows_differ": 4,
    "operating_preload": 4,
    "heat_not_enough": 3,
    "travel_too_small": 8,
    "rings_in_free_housing": 8,
    "no_rings_in_locating_housing": 8,
    "rings_not_in_exactly_one": 8,
    "rings_too_wide": 8,
    "bearing_does_not_fit_housing": 8,
    "free_seat_tight": 8,
    **dict.fromkeys(CONTRADICTIONS, 8),
    "over_proof": 9,
}
"""On which line of a bearing no number may be printed, by what blocks it."""


@dataclass(frozen=True)
class Plan:
    """The record of a plan, and what stands along its shaft; positions in order along it, minus at the left."""

    record: Mapping[str, Any]
    figures: Figures
    shaft: Shaft | None = None

    @cached_property
    def supports(self) -> Mapping[str, Mapping[str, Any]]:
        """Return the supports by name, in order along the shaft; all null where no arrangement is made."""
        found = self.record["arrangement"]
        if found is None:
            return {name: {"name": name, "role": None} for name in self.record["positions"]}
        return {each["name"]: each for each in found["supports"]}

    @cached_property
    def targets(self) -> Mapping[str, Mapping[str, Any]]:
        """Return the clearance targets by position."""
        return {each["position"]: each for each in self.record["targets"]}

    @cached_property
    def free(self) -> Mapping[str, Mapping[str, Any]]:
        """Return where each free bearing is placed."""
        placement = self.record.get("placement")
        return {} if placement is None else {each["position"]: each for each in placement["free"]}

    @cached_property
    def worked(self) -> tuple[str, ...]:
        """Return the positions of the order, along the shaft."""
        return tuple(name for name in self.supports if name in self.record["positions"])

    @cached_property
    def contradicts(self) -> bool:
        """Return whether the roles on record contradict each other: then no ring is set by them."""
        return any(each["code"] in CONTRADICTIONS for each in self.record["blocked"])

    def role(self, name: str) -> str:
        """Return HELD, FREE or OPEN."""
        return OPEN if self.contradicts else ROLES.get(self.supports[name]["role"], OPEN)

    def step(self, kind: str, name: str | None = None) -> Mapping[str, Any] | None:
        """Return the first step at which a kind of reading is taken, at this position."""
        for each in self.record["steps"]:
            asked = each["record"] and each["record"]["kind"] == kind
            if asked and (name is None or not each["positions"] or name in each["positions"]):
                found: Mapping[str, Any] = each
                return found
        return None

    def hold(self, kind: str, name: str | None = None) -> int | None:
        """Return the hold at which a kind of reading is signed."""
        step = self.step(kind, name)
        return None if step is None else step["hold"]

    def limits(self, kind: str, name: str) -> Mapping[str, Any] | None:
        """Return {min, max, aim} of a reading at a position; None where they are not known."""
        step = self.step(kind, name)
        for each in [] if step is None else step["record"]["limits"]:
            if each["position"] in (name, None):
                found: Mapping[str, Any] = each
                return found
        return None

    def blocks(self, name: str, line: int) -> bool:
        """Return whether something that blocks the work forbids the numbers of a line."""
        return any(
            ON_LINE.get(each["code"]) == line and each.get("position") in (name, None)
            for each in self.record["blocked"]
        )

    def by_position(self, list_name: str, name: str) -> Mapping[str, Any] | None:
        """Return the record of a position in ``bolting`` or ``base_bolts``."""
        return next((each for each in self.record[list_name] if each["position"] == name), None)

    def side(self, way: str | None) -> str:
        """Return a side in words of the plant, by the support that stands last that way; empty where not known."""
        names = list(self.supports)
        if way not in ("minus", "plus") or not names:
            return ""
        last = names[-1] if way == "plus" else names[0]
        return last if last.lower().endswith("side") else f"{last} side"

    @cached_property
    def drive_side(self) -> str | None:
        """Return on which side of the shaft the drive stands, minus or plus; None where that is not known."""
        places = [] if self.shaft is None else [each["at"].value for each in self.shaft.supports if each.get("at")]
        drives = [] if self.shaft is None else [each["at"].value for each in self.shaft.drives]
        if not places or len(drives) != 1:
            return None
        return "plus" if drives[0] > sum(places) / len(places) else "minus"

    def nut_side(self, name: str) -> str | None:
        """Return the side of the locknut of a bearing, minus or plus; None where it is not on record."""
        given = () if self.shaft is None else self.shaft.supports
        for each in given:
            if each["name"] == name:
                side: str | None = each.get("locknut_side")
                return side
        return None

    def names(self) -> Iterator[tuple[str, str]]:
        """Yield each position along the shaft with its role."""
        for name in self.supports:
            yield name, self.role(name)
