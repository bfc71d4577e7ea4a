"""Everything that is known when the steps are chosen: the job, its calculations, and what follows for each position."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from service.arrangement.placement import IN, OUT
from service.instructions.plan import planned
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.planning.ways import HYDRAULIC_NUT
from service.reference.bearings import Bearing

CONTRADICTIONS: Final = ("cross_located", "unlocated", "no_free_support")
TAPERED_SEATS: Final = ("adapter_sleeve", "withdrawal_sleeve", "tapered_journal")
VERTICAL_FROM_DEG: Final = 45.0
"""From here on the axial part of the weight is the larger one and the shaft counts as vertical: own convention."""
HOT_SHAFT_DEGC: Final = 70.0
PLACE_BEFORE_LOCKING: Final = "place_before_locking"
MOVE_BASE: Final = "move_base"
BY_SHOULDER: Final = "by_shoulder"
"""Ways of setting a free bearing; by shoulder: the place on the shaft is given, the base is pinned, the gap decides."""


@dataclass(frozen=True)
class Scene:
    """The job, the records of its calculations by position, and who is held, free and worked on."""

    job: Job
    targets: Mapping[str, Mapping[str, Any]]
    arrangement: Mapping[str, Any] | None
    bolting: Mapping[str, Mapping[str, Any]]
    base_bolts: Mapping[str, Mapping[str, Any]]

    @cached_property
    def at(self) -> Mapping[str, PositionFacts]:
        """Return the positions of the shaft by name, in order along it."""
        return {each.name: each for each in self.job.positions}

    @cached_property
    def supports(self) -> Mapping[str, Mapping[str, Any]]:
        """Return the answers of the arrangement by name."""
        return {} if self.arrangement is None else {each["name"]: each for each in self.arrangement["supports"]}

    @cached_property
    def roles_blocked(self) -> bool:
        """Return whether the roles contradict each other, so that no bearing may be set by them (A1, A4)."""
        found: Sequence[Mapping[str, Any]] = () if self.arrangement is None else self.arrangement["blocked"]
        return any(each["code"] in CONTRADICTIONS for each in found)

    @cached_property
    def held(self) -> str | None:
        """Return the one bearing that is held; None while that is not settled."""
        named = [name for name, each in self.supports.items() if each["role"] == "locating"]
        return named[0] if len(named) == 1 and not self.roles_blocked else None

    @cached_property
    def open_roles(self) -> tuple[str, ...]:
        """Return the positions whose role is not settled."""
        if self.held is None:
            return tuple(self.at)
        return tuple(name for name, each in self.supports.items() if each["role"] is None)

    @cached_property
    def free(self) -> tuple[str, ...]:
        """Return the free bearings, from the held one outward."""
        if self.held is None:
            return ()
        named = [name for name, each in self.supports.items() if each["role"] == "free"]
        return tuple(sorted(named, key=self._distance))

    @cached_property
    def in_order(self) -> tuple[str, ...]:
        """Return all positions in the order of work: held, free from it outward, then those left open."""
        first = (*((self.held,) if self.held else ()), *self.free)
        return (*first, *(name for name in self.at if name not in first))

    @cached_property
    def worked(self) -> tuple[str, ...]:
        """Return the positions whose bearing is replaced or refitted, in the order of work."""
        return tuple(name for name in self.in_order if name in self.job.replaced)

    @cached_property
    def vertical(self) -> bool:
        """Return whether the shaft stands so steep that the horizontal order of work does not hold."""
        inclined = self.job.inclination_deg
        return inclined is not None and abs(inclined) > VERTICAL_FROM_DEG

    @cached_property
    def held_between(self) -> bool:
        """Return whether free bearings stand on both sides of the held one: no end can be lifted alone."""
        return len({self.out(name) for name in self.free if self.out(name)}) > 1

    @cached_property
    def held_last(self) -> bool:
        """Return whether only the held bearing is put on anew, on a sleeve, and places the free ones by the shaft."""
        held = self.held
        return (
            held is not None
            and self.job.kind == "replacement"
            and self.worked == (held,)
            and self.seat(held) == "adapter_sleeve"
            and any(not self.slides(name) for name in self.free)
        )

    def _distance(self, name: str) -> float:
        here, there = self.at[name].at_mm, self.at[self.held or name].at_mm
        return 0.0 if here is None or there is None else abs(here - there)

    def bearing(self, name: str) -> Bearing | None:
        """Return the bearing to be fitted at a position, else the one on record."""
        return self.job.bearing_at(self.at[name])

    def seat(self, name: str) -> str | None:
        """Return what the bearing sits on, by the record or by its bore; None where neither is known."""
        bearing = self.bearing(name)
        if self.at[name].seat is not None or bearing is None:
            return self.at[name].seat
        return "adapter_sleeve" if bearing.tapered else "cylindrical"

    def sealed(self, name: str) -> bool:
        """Return whether the bearing has seals of its own, by the record or by its suffixes."""
        bearing, said = self.bearing(name), self.at[name].sealed
        if said is not None or bearing is None:
            return bool(said)
        return any(each.code == "width_not_known" for each in bearing.warnings)

    def out(self, name: str) -> str | None:
        """Return the direction from the held bearing to this one, plus or minus; None where places are not known."""
        here, there = self.at[name].at_mm, None if self.held is None else self.at[self.held].at_mm
        if here is None or there is None or here == there:
            return None
        return "plus" if here > there else "minus"

    def nut_side(self, name: str, toward: str | None = None) -> str | None:
        """Return the side of a locknut, out or in as seen at the free bearing ``toward`` (itself by default)."""
        side, out = self.at[name].locknut_side, self.out(toward or name)
        if side is None or out is None:
            return None
        return OUT if side == out else IN

    def slides(self, name: str) -> bool:
        """Return whether the base of a free bearing may be moved along the shaft (R10); take-up bases may not."""
        return self.at[name].base_movement == "may_slide" and not self.job.take_up

    @cached_property
    def room_degc(self) -> float:
        """Return the temperature of the shaft while it is worked on, [degC]."""
        set_at = self.job.setting_temperature_degc
        return self.job.assembly_temperature_degc if set_at is None else set_at

    def interference_mm(self, name: str) -> float | None:
        """Return the largest interference of a cylindrical bore on its shaft, [mm]; None while it is not known."""
        fit_mm = self.at[name].interference_mm
        return fit_mm[1] if fit_mm is not None and self.seat(name) == "cylindrical" else None

    def by_shoulder(self, name: str) -> bool:
        """Return whether the shaft gives the place of the bearing: nothing moves it along while it is mounted."""
        return self.seat(name) not in ("adapter_sleeve", None)

    def way(self, name: str) -> str:
        """Return how a free bearing is set: placed before its sleeve is locked, by its base, or by its shoulder."""
        if self.slides(name):
            return MOVE_BASE
        return BY_SHOULDER if self.by_shoulder(name) else PLACE_BEFORE_LOCKING

    def hydraulic(self, name: str) -> bool:
        """Return whether the nut of a bearing is driven by a hydraulic nut, by its bore or by the torque it takes."""
        bearing = self.bearing(name)
        if bearing is None or not bearing.tapered:
            return False
        reduction = (self.targets.get(name) or {}).get("reduction")
        way = planned.tightening_way(bearing, None if reduction is None else reduction["max"].value)
        return way == HYDRAULIC_NUT

    def displacement_mm(self, name: str) -> float | None:
        """Return how far tightening moves the bearing, middle of its range, [mm]; 0 where its shoulder keeps it."""
        if self.seat(name) in ("withdrawal_sleeve", "cylindrical"):
            return 0.0
        found = (self.targets.get(name) or {}).get("axial_displacement")
        if found is None:
            return None
        return float((found["min"].value + found["max"].value) / 2 / 1_000_000)
