"""The parts of a job with their real sizes and masses, once each (rule P4).

A part is {kind, positions, said, size, count, amount, mass, note}: ``said`` names it in words, ``size`` holds its
dimensions by name, ``mass`` is that of one as printed, ``amount`` what is drawn where it is not counted.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import Any, Final

from service import units
from service.errors import Text
from service.instructions.plan.bolt_facts import bolt_words
from service.instructions.plan.scene import Scene
from service.instructions.planning.fills import Fill, fills
from service.instructions.planning.masses import bearing_mass, printed_mass, sleeve_mass
from service.instructions.planning.messages import listed, message
from service.record import Record
from service.reference.bearings import Bearing
from service.reference.housing_tables import RingSet, rings
from service.reference.sleeves import sleeve_thread
from service.units import Quantity

TAB_WASHER_TO_MM: Final = 200.0
"""Largest bore with a tab washer; above it a clip or a washer, by the sleeve at hand (rule C10)."""
SPARES: Final = 1
SHIMMED_AT: Final = ("bases", "set-held", "move-base")
_KINDS: Final = {"spherical_roller": "spherical roller", "self_aligning_ball": "self-aligning ball"}


def parts(scene: Scene, steps: Iterable[Mapping[str, Any]]) -> list[Record]:
    """Return the parts of a job; those that are alike at several positions stand once, with their number."""
    walked = {step["id"] for step in steps}
    found = [*_of_replacement(scene), *_lubricants(scene)] if scene.job.kind == "replacement" else [*_lubricants(scene)]
    if walked & set(SHIMMED_AT):
        found.append(_part("shims", (), message("shims"), note=message("as_needed")))
    found += _consumables(scene)
    return _with_spares(_once(found))


def _part(
    kind: str,
    positions: tuple[str, ...],
    said: Text,
    *,
    size: Mapping[str, Quantity] | None = None,
    count: int | None = None,
    amount: Quantity | None = None,
    mass_kg: float | None = None,
    note: Text | None = None,
) -> Record:
    return {
        "kind": kind,
        "positions": list(positions),
        "said": said,
        "size": dict(size or {}),
        "count": count,
        "amount": amount,
        "mass": None if mass_kg is None else units.mass(mass_kg),
        "note": note,
    }


def _of_replacement(scene: Scene) -> Iterator[Record]:
    for name in scene.worked:
        if name not in scene.job.refitted:
            yield _bearing(scene, name)
            yield from _sleeve(scene, name)
    for name in scene.worked:
        yield from _lock(scene, name)
    if scene.held in scene.worked:
        yield from _rings(scene, scene.held)
    for name in scene.worked:
        yield from _seals(scene, name)
    for name in scene.in_order:
        yield from _cap_bolts(scene, name)


def _cap_bolts(scene: Scene, name: str) -> Iterator[Record]:
    """Yield the cap bolts of a block, to be at hand: they are changed where the break-away torques say so."""
    fitted = scene.at[name].cap_bolts
    said = None if fitted is None else bolt_words(asdict(fitted.bolt))
    if said is not None:
        yield _part("cap_bolt", (name,), message("cap_bolts", bolts=said), note=message("cap_bolts_where"))


def _bearing(scene: Scene, name: str) -> Record:
    bearing = scene.bearing(name)
    if bearing is None:
        return _part("bearing", (name,), message("bearing_unknown"), count=1)
    size = {"bore": units.dimension(bearing.bore_mm)}
    known = bearing.outside_diameter_mm is not None and bearing.width_mm is not None
    facts = {"bore": _mm(bearing.bore_mm), "designation": bearing.designation}
    if bearing.outside_diameter_mm is not None and bearing.width_mm is not None:
        size |= {
            "outside_diameter": units.dimension(bearing.outside_diameter_mm),
            "width": units.dimension(bearing.width_mm),
        }
        facts |= {"outside": _mm(bearing.outside_diameter_mm), "width": _mm(bearing.width_mm)}
    if bearing.designation is None:
        said = message(
            "bearing_by_size",
            type=_KINDS[bearing.type],
            clearance_class=bearing.clearance_class,
            bore=_mm(bearing.bore_mm),
        )
    else:
        said = message("bearing" if known else "bearing_without_size", **facts)
    mass_kg = bearing_mass(bearing)
    return _part(
        "bearing", (name,), said, size=size, count=1, mass_kg=None if mass_kg is None else printed_mass(mass_kg)
    )


def _mm(value_mm: float) -> str:
    return f"{value_mm:g}"


def thread_of(scene: Scene, name: str) -> str | None:
    """Return the thread of the locknut at a position; None where the series or the bore is not known."""
    bearing, system = scene.bearing(name), scene.at[name].sleeve_thread
    if bearing is None or system is None or scene.seat(name) != "adapter_sleeve":
        return None
    found = sleeve_thread(bore_mm=bearing.bore_mm, system=system)
    return None if found is None else found.thread


def _sleeve(scene: Scene, name: str) -> Iterator[Record]:
    bearing, seat, shaft_mm = scene.bearing(name), scene.seat(name), scene.at[name].shaft_diameter_mm
    if bearing is None or seat not in ("adapter_sleeve", "withdrawal_sleeve"):
        return
    size = {"bearing_bore": units.dimension(bearing.bore_mm)}
    if shaft_mm is not None:
        size["shaft"] = units.dimension(shaft_mm)
    said = _sleeve_words(scene, name, bearing)
    mass_kg = printed_mass(sleeve_mass(bearing.bore_mm))
    yield _part("sleeve", (name,), said, size=size, count=1, mass_kg=mass_kg, note=message("about_mass"))


def _sleeve_words(scene: Scene, name: str, bearing: Bearing) -> Text:
    position, thread = scene.at[name], thread_of(scene, name)
    if position.sleeve is not None:
        return message("sleeve_named", name=position.sleeve)
    bore = _mm(bearing.bore_mm)
    if scene.seat(name) == "withdrawal_sleeve":
        return message("withdrawal_sleeve", bore=bore)
    if position.shaft_diameter_mm is None:
        return message("adapter_sleeve_unknown", bore=bore)
    shaft = units.dimension(position.shaft_diameter_mm)
    if thread is None:
        return message("adapter_sleeve_unthreaded", bore=bore, shaft=shaft)
    return message("adapter_sleeve", bore=bore, shaft=shaft, thread=thread)


def _lock(scene: Scene, name: str) -> Iterator[Record]:
    bearing, seat = scene.bearing(name), scene.seat(name)
    if bearing is None or seat not in ("adapter_sleeve", "withdrawal_sleeve", "tapered_journal"):
        return
    bore, thread = _mm(bearing.bore_mm), thread_of(scene, name)
    if seat != "adapter_sleeve":
        said = message("shaft_nut_lock", bore=bore)
    elif bearing.bore_mm > TAB_WASHER_TO_MM:
        said = message("locking_clip", bore=bore)
    elif thread is None:
        said = message("lock_washer_unthreaded", bore=bore)
    else:
        said = message("lock_washer", thread=thread)
    yield _part("lock", (name,), said, count=1, note=message("spare"))


def _rings(scene: Scene, held: str | None) -> Iterator[Record]:
    """Yield the rings of the held block; of each seat design where it is open which one the block has."""
    if held is None or scene.roles_blocked:
        return
    housing = scene.at[held].housing
    options = _ring_options(scene, held)
    if any(each.count == 0 for each in options):
        return
    note = message("ring_held")
    if housing is None or housing.seat_bore_mm is None or not options or None in [each.width_mm for each in options]:
        count = {each.count for each in options}
        number = count.pop() if len(count) == 1 else None
        yield _part("locating_ring", (held,), message("locating_ring_unmeasured"), count=number, note=note)
        return
    outside = units.dimension(housing.seat_bore_mm)
    if len(options) == 1:
        width = units.gap(options[0].width_mm or 0.0)
        size = {"outside_diameter": outside, "width": width}
        said = message("locating_ring", width=width, outside=outside)
        yield _part("locating_ring", (held,), said, size=size, count=options[0].count, note=note)
        return
    choices = listed(
        message("ring_choice", count=each.count, width=units.gap(each.width_mm or 0.0)) for each in options
    )
    said = message("locating_ring_open", outside=outside, choices=choices)
    yield _part("locating_ring", (held,), said, size={"outside_diameter": outside}, note=note)


def _ring_options(scene: Scene, held: str) -> list[RingSet]:
    """Return the rings as decided, else those of each seat design that the block may have."""
    decided = scene.supports[held]["locating_rings"]
    if decided is not None:
        return [RingSet(decided["count"], None if decided["width"] is None else decided["width"].value)]
    housing, bearing = scene.at[held].housing, scene.bearing(held)
    if housing is None or bearing is None:
        return []
    found = [rings(seat, bearing) for seat in housing.candidates]
    return [] if None in found else sorted(dict.fromkeys(each for each in found if each), key=lambda one: one.count)


def _seals(scene: Scene, name: str) -> Iterator[Record]:
    """Yield two seals a block; an end cover may take the place of the outer one where nothing is known beyond it."""
    position = scene.at[name]
    kind = "seal" if position.seals is None else f"seal_{position.seals}"
    size: dict[str, Quantity] = {}
    if position.shaft_diameter_mm is None:
        said = message(f"{kind}_unknown")
    else:
        size["shaft"] = units.dimension(position.shaft_diameter_mm)
        said = message(kind, shaft=size["shaft"])
    if _may_end(scene, name):
        yield _part("seal", (name,), said, size=size, count=1, note=message("seal_inboard"))
        yield _part("end_cover", (name,), message("end_cover"), size=size, count=1)
    else:
        yield _part("seal", (name,), said, size=size, count=2, note=message("seal_sides"))


def _may_end(scene: Scene, name: str) -> bool:
    """Return whether the shaft may end in this block: it is the last one, no drive or wheel is known beyond it."""
    along = [each for each in scene.job.positions if each.at_mm is not None]
    place = scene.at[name].at_mm
    if place is None or not along or name not in (along[0].name, along[-1].name):
        return False
    wheels = [each.at_mm for each in scene.job.wheels if each.at_mm is not None]
    others = [*wheels, *(each.at_mm for each in scene.job.drives if each.at_mm is not None)]
    before = name == along[0].name and not any(at < place for at in others)
    after = name == along[-1].name and not any(at > place for at in others)
    return before or after


def _lubricants(scene: Scene) -> Iterator[Record]:
    for fill in fills(scene):
        yield _lubricant(scene, fill)


def _lubricant(scene: Scene, fill: Fill) -> Record:
    name = scene.at[fill.position].grease
    if fill.oil:
        said = message("oil_unnamed") if name is None else message("oil", name=name)
        return _part("oil", (fill.position,), said, note=message("oil_level"))
    said = message("grease_unnamed") if name is None else message("grease", name=name)
    if scene.job.kind != "replacement":
        return _part("grease", (fill.position,), said, note=message("grease_topped"))
    note = None if fill.drawn_g is None else message("grease_by_book" if fill.by_book else "grease_estimated")
    amount = None if fill.drawn_g is None else units.grease(fill.drawn_g)
    return _part("grease", (fill.position,), said, amount=amount, note=note)


def _consumables(scene: Scene) -> Iterator[Record]:
    if scene.job.kind != "replacement":
        yield _part("consumable", (), message("cloth"))
        return
    yield from (_part("consumable", (), message(each)) for each in ("cloth", "thin_oil"))
    for name in scene.worked:
        yield _part("consumable", (name,), message("tags"), count=1)


def _once(found: Iterable[Record]) -> list[Record]:
    """Return the parts, those that are alike once: numbers and amounts added up, positions one after the other."""
    kept: list[Record] = []
    for part in found:
        same = next((each for each in kept if _alike(each, part)), None)
        if same is None:
            kept.append(part)
        else:
            same |= added(same, part)
    return kept


def _alike(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    alike = all(one[member] == other[member] for member in ("kind", "said", "size", "note"))
    return alike and (one["amount"] is None) == (other["amount"] is None)


def added(one: Mapping[str, Any], other: Mapping[str, Any]) -> Record:
    """Return what two parts that are alike are together: positions, count and amount."""
    positions = [*one["positions"], *(each for each in other["positions"] if each not in one["positions"])]
    counts = [each["count"] for each in (one, other)]
    amounts = [each["amount"] for each in (one, other)]
    return {
        "positions": positions,
        "count": None if None in counts else sum(counts),
        "amount": None if None in amounts else Quantity(amounts[0].kind, sum(each.value for each in amounts)),
    }


def _with_spares(found: list[Record]) -> list[Record]:
    """Return the parts with one lock more of each kind: a tab bent twice breaks."""
    return [{**each, "count": each["count"] + SPARES} if each["kind"] == "lock" else each for each in found]
