"""What the steps may say of where bearings stand: rings, setting, spacing, gaps, lifting."""

from collections.abc import Iterator, Mapping
from typing import Any

from service import units
from service.errors import Text
from service.instructions.plan.messages import between, known_message, listed, message
from service.instructions.plan.scene import BY_SHOULDER, MOVE_BASE, PLACE_BEFORE_LOCKING, Scene
from service.record import Record
from service.sentences import Fact

Known = dict[str, "Fact | Text"]


def line_facts(scene: Scene, placement: Record | None) -> Known:
    """Return the facts of the shaft line; those of the only free bearing too, for steps done once."""
    if placement is None or scene.held is None:
        return {}
    facts: Known = {
        "lift_limit": placement["lift"]["lift_limit"],
        "rings": ring_words(scene, scene.held),
        "held_setting": held_setting(scene),
        "coupling_gap_allowance": _coupling_allowance(scene),
        "mark_travel": _mark_travel(scene),
        "to_mark": listed(_to_mark(scene)),
        "ring_out": listed(_rings_to_take_out(scene)),
    }
    if len(scene.free) == 1:
        facts |= free_facts(scene, placement["free"][0])
        facts |= _spacing_facts(placement["free"][0]["spacing"])
    return facts


def _mark_travel(scene: Scene) -> units.Quantity | None:
    """Return how far the rings travel past their marks, where all that are put on travel alike."""
    moved = {scene.displacement_mm(name) for name in _to_mark(scene)}
    alike = moved.pop() if len(moved) == 1 else None
    return units.travel(alike) if alike else None


def _to_mark(scene: Scene) -> list[str]:
    """Return the bearings that go to a mark on the shaft: on a sleeve, and not against a shoulder."""
    return [name for name in scene.worked if not scene.by_shoulder(name)]


def _rings_to_take_out(scene: Scene) -> list[str]:
    """Return the free bearings in whose block a locating ring was found."""
    return [name for name in scene.free if scene.at[name].ring_present]


def place_facts(scene: Scene, placement: Record | None, name: str) -> Known:
    """Return the facts of where one bearing stands."""
    support = scene.supports.get(name)
    facts: Known = {"rings": ring_words(scene, name), "seat_width_asked": _seat_asked(scene, name)}
    moved_mm = scene.displacement_mm(name)
    facts["s"] = None if not moved_mm else units.travel(moved_mm)
    facts["nut_side"] = side_word(scene, name, scene.at[name].locknut_side)
    if placement is None or support is None:
        return facts
    for each in placement["free"]:
        if each["position"] == name:
            facts |= free_facts(scene, each) | _spacing_facts(each["spacing"])
    return facts


def free_facts(scene: Scene, free: Mapping[str, Any]) -> Known:
    """Return the facts of one free bearing: its gap before and after, growth and reserve."""
    name = free["position"]
    support, limits, before = scene.supports[name], free["gap_limits"] or {}, free["gap_before_limits"] or {}
    expansion = support.get("expansion") or {}
    warm = scene.job.setting_temperature_degc
    mover = scene.held if scene.held_last and scene.held is not None else name
    moved_mm = scene.displacement_mm(mover)
    return {
        "s": None if not moved_mm else units.travel(moved_mm),
        "gap_side": side_word(scene, name, free["out"]),
        "gap_before": free["gap_before"],
        "gap_before_min": before.get("min"),
        "gap_before_max": before.get("max"),
        "gap_before_limits": between(before),
        "gap_aim": free["gap_aim"],
        "gap_min": limits.get("min"),
        "gap_max": limits.get("max"),
        "gap_limits": between(limits),
        "growth": _gap(support.get("growth")) if expansion else None,
        "growth_side": side_word(scene, name, support.get("direction")),
        "heat_up": _gap(expansion.get("heat_up")),
        "reserve": units.gap(scene.job.reserve_mm) if expansion else None,
        "setting_temperature": units.temperature(scene.job.assembly_temperature_degc if warm is None else warm),
        "per_10_k": _gap((expansion.get("setting_correction") or {}).get("per_10_k")),
    }


def _spacing_facts(spacing: Mapping[str, Any]) -> Known:
    """Return the spacing to be marked: as a number once the seats were read, else as the sum that gives it."""
    change, read = spacing["change"], spacing["seats_read"]
    off = spacing["held_off_centre"]
    facts: Known = {
        "spacing_seats": spacing["seats"],
        "held_off_centre": None if off is None or off.value == 0 else units.gap(abs(off.value)),
        "allowed_error": spacing["allowed_error"] if spacing["tape_can_decide"] else None,
        "spacing_aim": spacing["edges"] if read else None,
        "spacing_shaft": spacing["edges"] if read else None,
        "spacing_sum": _sum(change),
    }
    if read and spacing["edges"] is not None and spacing["min"] is not None:
        shift = spacing["edges"].value - spacing["bearings"].value
        least, most = units.spacing_limits(spacing["min"].value + shift, spacing["max"].value + shift)
        facts |= {"spacing_min": least, "spacing_max": most, "spacing_limits": between({"min": least, "max": most})}
    return facts


def _sum(change: units.Quantity | None) -> Text | None:
    if change is None:
        return None
    if change.value == 0:
        return message("seats_as_read")
    sense = "plus" if change.value > 0 else "minus"
    return message(f"seats_{sense}", amount=units.gap(abs(change.value)))


def line_flags(scene: Scene, placement: Record | None) -> Iterator[str]:
    """Yield the conditions of the shaft line."""
    if scene.roles_blocked:
        yield "roles_blocked"
    elif scene.held is None:
        yield "roles_open"
    if scene.held_between or any(scene.hydraulic(name) for name in scene.free if name in scene.worked):
        yield "lift_level"
    if scene.held_last:
        yield "held_last"
    if len(scene.free) > 1:
        yield "several_free"
    if _rings_to_take_out(scene):
        yield "ring_to_take_out"
    if len(scene.free) == 1 and _marked(scene, scene.free[0]):
        yield "marked"
    if not scene.free:
        yield "no_free"
    ways = {scene.way(name) for name in scene.free}
    if MOVE_BASE in ways:
        yield "some_base_slides"
    if BY_SHOULDER in ways:
        yield "some_by_shoulder"
    if PLACE_BEFORE_LOCKING in ways:
        yield "some_placed"
    if placement is None:
        return
    if any(each["position"] in scene.job.seats_mm for each in placement["free"]):
        yield "seats_read"
    if any(each["spacing"]["tape_can_decide"] is False for each in placement["free"]):
        yield "tape_cannot_decide"


def place_flags(scene: Scene, placement: Record | None, name: str) -> Iterator[str]:
    """Yield the conditions of where one bearing stands."""
    support = scene.supports.get(name)
    if support is None or support["role"] is None:
        return
    yield support["role"]
    if support["role"] == "free" and scene.held is not None:
        yield scene.way(name)
        if _marked(scene, name):
            yield "marked"
    if (support.get("travel") or {}).get("limited_by") == "seals":
        yield "seals_limit"
    if support["role"] == "free" and support["setting"] is None:
        yield "no_setting"
    correction = (support.get("expansion") or {}).get("setting_correction") or {}
    if correction and correction.get("correction") is None:
        yield "shaft_temperature_asked"
    if name in scene.job.seats_mm:
        yield "seats_read"


def _marked(scene: Scene, free: str) -> bool:
    """Return whether a bearing of the pair, held and free, goes to a mark on the shaft and not to a shoulder."""
    return any(
        name in scene.worked and scene.seat(name) in ("adapter_sleeve", None) for name in (scene.held, free) if name
    )


def ring_words(scene: Scene, name: str) -> Text | None:
    """Return how many rings of which width lie where in one block; None when that is not known."""
    support = scene.supports.get(name)
    if support is None or support.get("role") is None or scene.held is None or not support.get("locating_rings"):
        return None
    rings = support["locating_rings"]
    if not rings.get("count"):
        return message("rings_none")
    width = None if rings.get("width") is None else units.gap(rings["width"].value)
    side = side_word(scene, name, scene.at[name].locknut_side)
    key = "rings_two" if rings["count"] == 2 else "rings_one"
    if key == "rings_one" and side is None:
        key = "rings_one_nut"
    return known_message(key, width=width, side=side) or message(f"{key}_unmeasured", side=side)


def held_setting(scene: Scene) -> Text | None:
    """Return how the held bearing lies in its seat: hard against a shoulder, or centred between its rings."""
    if scene.held is None:
        return None
    setting, nut = scene.supports[scene.held]["setting"], scene.at[scene.held].locknut_side
    if setting == "between_rings":
        return message("setting_between_rings")
    if setting != "against_shoulder_opposite_nut":
        return None
    side = None if nut is None else side_word(scene, scene.held, "minus" if nut == "plus" else "plus")
    return message("setting_against_side", side=side) if side else message("setting_against")


def side_word(scene: Scene, name: str, way: str | None) -> Text | None:
    """Return a side of a bearing in words of the plant, "tail side": by the last support that way, else by its own."""
    here = scene.at[name].at_mm
    if way not in ("plus", "minus") or here is None:
        return None
    beyond = [
        each
        for each in scene.job.positions
        if each.at_mm is not None and (each.at_mm > here if way == "plus" else each.at_mm < here)
    ]
    known = sorted(beyond, key=lambda each: abs((each.at_mm or 0.0) - here))
    last = known[-1].name if known else name
    return last if last.lower().endswith("side") else message("side", name=last)


def _seat_asked(scene: Scene, name: str) -> Text | None:
    """Return the request to measure the seat, only where its two designs differ (R4)."""
    housing = scene.at[name].housing
    if housing is None or housing.seat_width_mm is not None:
        return None
    return message("seat_width_asked")


def _coupling_allowance(scene: Scene) -> units.Quantity | None:
    """Return what the free end grows towards its coupling; None where the coupling hangs on the held end."""
    held = scene.held
    drives = [drive for drive in scene.job.drives if drive.kind == "coupling" and drive.at_mm is not None]
    here = None if held is None else scene.at[held].at_mm
    if here is None or len(drives) != 1 or not scene.free or drives[0].at_mm is None:
        return None
    at_mm = drives[0].at_mm
    nearest = min(scene.at.values(), key=lambda each: abs((each.at_mm or 0.0) - at_mm))
    growth, place = scene.supports.get(nearest.name, {}).get("growth"), nearest.at_mm
    if nearest.name == held or growth is None or place is None or place == here:
        return None
    return units.gap(round(growth.value * abs(at_mm - here) / abs(place - here), 6))


def _gap(found: units.Quantity | None) -> units.Quantity | None:
    return None if found is None else units.gap(found.value)
