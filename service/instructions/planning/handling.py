"""How each bearing of a job is turned up its taper, freed, and lifted: what its tools and people follow from."""

from dataclasses import dataclass

from service import units
from service.instructions.plan import planned
from service.instructions.plan.scene import TAPERED_SEATS, Scene
from service.instructions.planning import ways
from service.instructions.planning.masses import lifting
from service.mounting.nut_force import NutForce, nut_force
from service.record import Record
from service.units import Quantity


@dataclass(frozen=True, slots=True)
class Way:
    """One bearing of the job: way of tightening and freeing, force on its nut, mass with its sleeve as printed."""

    position: str
    tightening: str | None
    freeing: str | None
    force: NutForce | None
    oil: str | None
    lifted: Quantity | None

    def tightening_record(self) -> Record:
        """Return {position, way, force, torque, oil}."""
        return {
            "position": self.position,
            "way": self.tightening,
            "force": None if self.force is None else units.force(self.force.force_n),
            "torque": None if self.force is None else units.torque_computed(self.force.torque_n_m),
            "oil": self.oil,
        }


def ways_of(scene: Scene) -> dict[str, Way]:
    """Return how the bearing of each position worked on is handled; empty for an inspection."""
    if scene.job.kind != "replacement":
        return {}
    return {name: way for name in scene.worked if (way := _way(scene, name)) is not None}


def _way(scene: Scene, name: str) -> Way | None:
    bearing, seat = scene.bearing(name), scene.seat(name)
    if bearing is None:
        return None
    lifted_kg = planned.lifted_mass_kg(bearing, on_sleeve=seat in ("adapter_sleeve", "withdrawal_sleeve"))
    lifted = None if lifted_kg is None else units.mass(lifted_kg)
    if seat not in TAPERED_SEATS:
        return Way(name, None, None, None, None, lifted)
    reduction = (scene.targets.get(name) or {}).get("reduction")
    force = None if reduction is None else nut_force(bearing, reduction_nm=reduction["max"].value)
    turned = ways.HYDRAULIC_NUT if scene.hydraulic(name) else planned.tightening_way(bearing, None)
    return Way(name, turned, planned.freeing_way(bearing), force, ways.oil_injection(bearing.bore_mm), lifted)


def mass_records(scene: Scene, handled: dict[str, Way]) -> list[Record]:
    """Return [{what, position, mass, handling}]: each bearing with its sleeve, then the rotor, always hoisted."""
    found: list[Record] = [
        {
            "what": "bearing",
            "position": name,
            "mass": way.lifted,
            "handling": None if way.lifted is None else lifting(way.lifted.value),
        }
        for name, way in handled.items()
    ]
    rotor_kg = scene.job.rotor_mass_kg
    rotor = None if rotor_kg is None else units.mass(rotor_kg)
    return [*found, {"what": "rotor", "position": None, "mass": rotor, "handling": "hoist"}]
