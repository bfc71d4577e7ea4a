"""The tools of a job: what its steps ask for, each once, with the size it must reach (rule P5)."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.errors import Text
from service.instructions.plan.scene import Scene
from service.instructions.planning.handling import Way
from service.instructions.planning.messages import listed, message
from service.instructions.planning.parts import thread_of
from service.record import Record
from service.units import NM_PER_MM, Quantity

CONSUMED: Final = ("lint-free cloth", "thin oil", "shims", "tag and clean bag")
"""What steps name among their tools and the list of parts holds."""
SAME: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Bench:
    """What the sizes of tools follow from: the job, its steps, and how each nut is turned and freed."""

    scene: Scene
    steps: tuple[Mapping[str, Any], ...]
    ways: Mapping[str, Way]


Named = list[tuple[Text, Text | None]]
"""Tools by name, with what each must reach."""


def tools(bench: Bench) -> list[Record]:
    """Return [{said, reach, steps}]: the tools in the order in which they are first needed."""
    needed: dict[Text, dict[str, Any]] = {}
    for step in bench.steps:
        for asked in step["tools"]:
            for said, reach in _named(bench, asked):
                known = needed.setdefault(said, {"said": said, "reach": reach, "steps": []})
                if step["id"] not in known["steps"]:
                    known["steps"].append(step["id"])
    return list(needed.values())


def _named(bench: Bench, asked: Text) -> Named:
    words = asked if isinstance(asked, str) else str(asked[0])
    if words.startswith(CONSUMED):
        return []
    for start, family in _FAMILIES:
        if words.startswith(start):
            return family(bench)
    return [(asked, None)]


def _span(values: Iterable[Quantity], said: str = "range") -> Text | None:
    """Return from the smallest to the largest; None for nothing."""
    known = sorted(values, key=lambda each: each.value)
    if not known:
        return None
    one = abs(known[-1].value - known[0].value) <= SAME * known[-1].value
    if said == "range":
        return (known[0],) if one else message(said, min=known[0], max=known[-1])
    return message("reach_one_over_20_percent" if one else said, min=known[0], max=known[-1])


def _torques(bench: Bench) -> list[Quantity]:
    """Return all torques that a wrench is set to: half and full of the caps, full of the bases."""
    caps = [bolting["torque"] for bolting in bench.scene.bolting.values() if bolting.get("torque") is not None]
    halves = [units.torque(each.value / 2) for each in caps]
    book = [each.base_torque_n_m for each in bench.scene.at.values() if each.base_torque_n_m is not None]
    computed = [each["torque"] for each in bench.scene.base_bolts.values() if each["torque"] is not None]
    return [*caps, *halves, *(units.torque(each) for each in book), *computed]


def _torque_wrench(bench: Bench) -> Named:
    return [(message("torque_wrench"), _span(_torques(bench), "reach_over_20_percent"))]


def _indicating_wrench(bench: Bench) -> Named:
    caps = [bolting["torque"] for bolting in bench.scene.bolting.values() if bolting.get("torque") is not None]
    most = max(caps, key=lambda each: each.value, default=None)
    return [(message("indicating_wrench"), None if most is None else message("reach_up_to", max=most))]


def _micrometer(bench: Bench) -> Named:
    at = bench.scene.at
    shafts = [d for name in bench.scene.worked if (d := at[name].shaft_diameter_mm) is not None]
    return [(message("micrometer"), _span(units.dimension(each) for each in shafts))]


def _blades(bench: Bench) -> Named:
    """Return the set of blades, the stamps that the window asks for where it is known, else the range to be read."""
    stamps: dict[Quantity, None] = {}
    ranges: list[Quantity] = []
    for target in bench.scene.targets.values():
        for member in ("target", "must_pass", "must_not_pass"):
            stamps |= dict.fromkeys((target.get("blades") or {}).get(member) or ())
        residual, initial = target.get("residual_clearance") or {}, target.get("initial_clearance") or {}
        ranges += [each for each in (residual.get("min"), initial.get("max")) if each is not None]
    reach = _span(ranges)
    if stamps:
        named = sorted(stamps, key=lambda each: each.value)
        said = listed((each,) for each in named)
        reach = said if reach is None else message("blades_stamped", range=reach, stamps=said)
    metric = bench.scene.job.blade_set.system != "inch"
    return [(message("blades_metric" if metric else "blades_inch"), reach)]


def _thinnest(bench: Bench) -> Named:
    """Return the set: its thinnest blade must not enter where faces meet."""
    metric = bench.scene.job.blade_set.system != "inch"
    return [(message("blades_metric" if metric else "blades_inch"), None)]


def _depth_gauge(bench: Bench) -> Named:
    totals = [each["travel"]["total"] for each in bench.scene.supports.values() if each.get("travel") is not None]
    most = max((units.gap(each.value) for each in totals), key=lambda each: each.value, default=None)
    return [(message("depth_gauge"), None if most is None else message("reach_up_to", max=most))]


def _indicator(bench: Bench) -> Named:
    moved = [
        found["max"]
        for target in bench.scene.targets.values()
        if (found := target.get("axial_displacement")) is not None
    ]
    most = max((units.travel(each.value / NM_PER_MM) for each in moved), key=lambda each: each.value, default=None)
    return [(message("indicator"), None if most is None else message("reach_up_to", max=most))]


def _tape(bench: Bench) -> Named:
    places = [each.at_mm for each in bench.scene.at.values() if each.at_mm is not None]
    if len(places) < 2:
        return [(message("tape"), None)]
    return [(message("tape"), message("reach_up_to", max=units.spacing(max(places) - min(places))))]


def _spanner(bench: Bench) -> Named:
    """Return the spanner of each locknut; where a hydraulic nut drives it, a hand spanner locks it afterwards."""
    named: Named = []
    for name, way in bench.ways.items():
        if way.tightening is None:
            continue
        kind = "hand_spanner" if way.tightening == "hydraulic_nut" else way.tightening
        named.append((_for_nut(bench, name, kind), None))
    return list(dict.fromkeys(named))


def _hydraulic_nut(bench: Bench) -> Named:
    turned = [name for name, way in bench.ways.items() if "hydraulic_nut" in (way.tightening, way.freeing)]
    return list(dict.fromkeys((_for_nut(bench, name, "hydraulic_nut"), None) for name in turned))


def _freeing(bench: Bench) -> Named:
    drift: Named = [(message("drift"), None)] if any(way.freeing == "drift" for way in bench.ways.values()) else []
    freed = [name for name, way in bench.ways.items() if way.freeing == "hydraulic_nut"]
    return [*drift, *dict.fromkeys((_for_nut(bench, name, "hydraulic_nut"), None) for name in freed)]


def _for_nut(bench: Bench, name: str, kind: str) -> Text:
    thread, bearing = thread_of(bench.scene, name), bench.scene.bearing(name)
    if thread is not None:
        return message(kind, thread=thread)
    return message(f"{kind}_unthreaded", bore=f"{bearing.bore_mm:g}" if bearing is not None else "?")


def _hoist(bench: Bench) -> Named:
    masses = [way.lifted for way in bench.ways.values() if way.lifted is not None]
    most = max(masses, key=lambda each: each.value, default=None)
    return [(message("hoist"), None if most is None else (most,))]


def _slings(bench: Bench) -> Named:
    rotor_kg = bench.scene.job.rotor_mass_kg
    return [(message("slings"), None if rotor_kg is None else (units.mass(rotor_kg),))]


def _gauge_and_indicator(bench: Bench) -> Named:
    return [*_indicator(bench), *_depth_gauge(bench)]


_FAMILIES: Final[tuple[tuple[str, Callable[[Bench], Named]], ...]] = (
    ("indicating torque wrench", _indicating_wrench),
    ("torque wrench", _torque_wrench),
    ("micrometer", _micrometer),
    ("feeler blades", _blades),
    ("thinnest feeler blade", _thinnest),
    ("dial indicator or depth gauge", _gauge_and_indicator),
    ("dial indicator", _indicator),
    ("depth gauge", _depth_gauge),
    ("tape", _tape),
    ("spanner for locknut", _spanner),
    ("spanner for the locknut", _spanner),
    ("soft drift or hydraulic nut", _freeing),
    ("hydraulic nut and pump", _hydraulic_nut),
    ("hoist and strap", _hoist),
    ("slings or jacks", _slings),
)
"""How a tool of the steps begins, longest first where one begins another, and what the list says of it."""
