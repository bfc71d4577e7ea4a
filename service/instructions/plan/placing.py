"""The member ``placement`` of a plan: where held and free bearings stand, and how far a shaft may be lifted."""

from collections.abc import Mapping
from typing import Any, Final

from service import units
from service.arrangement import placement
from service.arrangement.expansion import DIGITS, SettingGap
from service.instructions.plan.scene import PLACE_BEFORE_LOCKING, Scene
from service.record import Record

CENTRED_BAND_MM: Final = 1.0
"""How far a free bearing may lie off its aim where its growth is not known, [mm]: own convention."""


def placement_record(scene: Scene) -> Record | None:
    """Return {held, spacing, free, lift}; None while no single bearing is held."""
    if scene.held is None:
        return None
    free = [_free(scene, name) for name in scene.free]
    return {
        "held": _held(scene, scene.held),
        "spacing": free[0]["spacing"] if len(free) == 1 else None,
        "free": free,
        "lift": _lift(scene),
    }


def _held(scene: Scene, held: str) -> Record:
    """Return the held bearing: its sense is that of the only free one, or of the nearest."""
    nearest = scene.free[0] if scene.free else None
    off_mm = None if nearest is None else held_off_centre_mm(scene, nearest)
    return {
        "position": held,
        "nut_side": scene.at[held].locknut_side,
        "off_centre": _gap(off_mm),
        "setting": scene.supports[held]["setting"],
        "displacement": _gap(scene.displacement_mm(held)),
    }


def held_off_centre_mm(scene: Scene, free: str) -> float | None:
    """Return how far the held bearing lies off its seat centre, out to this free bearing = plus, [mm]."""
    held = scene.held
    if held is None:
        return None
    rings = (scene.supports[held]["locating_rings"] or {}).get("count")
    if rings == 2:
        return 0.0
    bearing, housing, nut = scene.bearing(held), scene.at[held].housing, scene.nut_side(held, free)
    travel_mm = None if bearing is None or housing is None else housing.travel_mm(bearing)
    if rings != 1 or travel_mm is None or nut is None or travel_mm < 0:
        return None
    return placement.held_off_centre(travel_mm=travel_mm, ring_count=rings, nut_side=nut)


def out_gap(scene: Scene, free: str) -> SettingGap | None:
    """Return limits and aim of the gap on the out side of a free bearing, [mm].

    Where its growth is not known it is set in the middle of its travel, which is common practice, within 1 mm.
    """
    support = scene.supports[free]
    travel, out = (support.get("travel") or {}).get("total"), scene.out(free)
    if travel is None or support["setting"] is None:
        return None
    total_mm = travel.value
    found = (support.get("expansion") or {}).get("setting_gap")
    if found is None:
        if support.get("expansion") is not None:
            return None
        low = max(total_mm / 2 - CENTRED_BAND_MM, min(scene.job.reserve_mm, total_mm / 2))
        return SettingGap(out or "plus", low, total_mm / 2, total_mm - low, total_mm)
    low, aim, high = (found[name].value for name in ("min", "aim", "max"))
    if out is None or found["side"] == out:
        return SettingGap(found["side"], low, aim, high, total_mm)
    low, aim, high = (round(total_mm - each, DIGITS) for each in (high, aim, low))
    return SettingGap(out, low, aim, high, total_mm)


def _free(scene: Scene, name: str) -> Record:
    gap, way = out_gap(scene, name), scene.way(name)
    displacement_mm, nut = scene.displacement_mm(name), scene.nut_side(name)
    before, limits = _before(scene, name, gap)
    return {
        "position": name,
        "gap_side": None if gap is None else gap.side,
        "nut_side": nut,
        "out": scene.out(name),
        "gap_before": _gap(before),
        "gap_before_limits": limits,
        "gap_aim": None if gap is None else _gap(gap.aim_mm),
        "gap_limits": None if gap is None else _limits(gap.min_mm, gap.max_mm),
        "growth_known": scene.supports[name].get("expansion") is not None,
        "displacement": _gap(displacement_mm),
        "way": way,
        "spacing": spacing_record(scene, name, gap),
    }


def _before(scene: Scene, name: str, gap: SettingGap | None) -> tuple[float | None, Record | None]:
    """Return the gap before the nut is turned, and its limits: of the free nut, or of the held one (held_last)."""
    turned = scene.held if scene.held_last else name
    if gap is None or turned is None or scene.job.kind != "replacement":
        return None, None
    if not scene.held_last and (scene.way(name) != PLACE_BEFORE_LOCKING or name not in scene.worked):
        return None, None
    moved_mm = scene.displacement_mm(turned)
    nut = scene.nut_side(turned, name)
    if moved_mm is None or nut is None:
        return None, None
    if scene.held_last:
        nut = placement.IN if nut == placement.OUT else placement.OUT
    before_mm = placement.gap_before(gap_aim_mm=gap.aim_mm, displacement_mm=moved_mm, nut_side=nut)
    low, high = placement.gap_before_limits(gap=gap, gap_before_mm=before_mm)
    return before_mm, _limits(low, high) if low <= high else None


def seats_mm(scene: Scene, free: str) -> float | None:
    """Return the distance of the seat centres of the held and a free bearing, as read, else on record, [mm]."""
    if free in scene.job.seats_mm:
        return scene.job.seats_mm[free]
    here, there = scene.at[free].at_mm, None if scene.held is None else scene.at[scene.held].at_mm
    return None if here is None or there is None else round(abs(here - there), DIGITS)


def spacing_record(scene: Scene, name: str, gap: SettingGap | None) -> Record | None:
    """Return the spacing of the held and one free bearing, as far as places and travel are known."""
    seats = seats_mm(scene, name)
    held_off, free_off = held_off_centre_mm(scene, name), None
    if gap is not None:
        free_off = placement.free_off_centre(travel_mm=gap.total_mm, gap_aim_mm=gap.aim_mm)
    record: dict[str, Any] = {
        "seats": None if seats is None else units.spacing(seats),
        "seats_read": name in scene.job.seats_mm,
        "held_off_centre": _gap(held_off),
        "free_off_centre": _gap(free_off),
        **dict.fromkeys(("change", "bearings", "edges", "min", "max", "allowed_error", "tape_uncertainty")),
        "tape_can_decide": None,
    }
    if held_off is None or free_off is None or gap is None:
        return record
    wider_mm = _wider_mm(scene, name)
    record["change"] = None if wider_mm is None else units.gap(round(free_off - held_off + wider_mm, DIGITS))
    if seats is None:
        return record
    tape_mm = placement.tape_uncertainty(seats)
    bearings = placement.bearing_spacing(
        seat_spacing_mm=seats, held_off_centre_mm=held_off, free_off_centre_mm=free_off
    )
    allowed_mm = placement.allowed_error(gap=gap, tape_uncertainty_mm=tape_mm)
    least, most = units.spacing_limits(bearings - max(allowed_mm, 0.0), bearings + max(allowed_mm, 0.0))
    record |= {
        "bearings": units.spacing(bearings),
        "edges": None if wider_mm is None else units.spacing(round(bearings + wider_mm, DIGITS)),
        "tape_uncertainty": units.gap(tape_mm),
        "allowed_error": units.gap(allowed_mm),
        "tape_can_decide": allowed_mm > 0,
        **({"min": least, "max": most} if allowed_mm > 0 else {}),
    }
    return record


def _wider_mm(scene: Scene, name: str) -> float | None:
    """Return what the distance of the in edges of the inner rings is over that of the centres, [mm]."""
    held, free = scene.bearing(scene.held or name), scene.bearing(name)
    if held is None or free is None or held.width_mm is None or free.width_mm is None:
        return None
    return placement.edge_spacing(bearing_spacing_mm=0.0, held_width_mm=held.width_mm, free_width_mm=free.width_mm)


def lift_height_mm(scene: Scene) -> float | None:
    """Return how high both ends are lifted to strip or mount, [mm]; None where a bearing worked on is not known."""
    largest = [bearing.outside_diameter_mm for name in scene.worked if (bearing := scene.bearing(name)) is not None]
    if not largest or len(largest) < len(scene.worked) or None in largest:
        return None
    return placement.lift_height(max(each for each in largest if each is not None))


def lift_limit_mm(scene: Scene) -> float | None:
    """Return the most that the free end alone may be lifted, [mm]."""
    spans = [seats for name in scene.free if (seats := seats_mm(scene, name)) is not None]
    if not spans or scene.held_between:
        return None
    sealing = "sealed" if any(scene.sealed(name) for name in scene.at) else "open"
    if any(each.seals == "labyrinth" for each in scene.job.positions):
        sealing = "labyrinth"
    return placement.lift_limit(span_mm=max(spans), sealing=sealing)


def _lift(scene: Scene) -> Mapping[str, Any]:
    height_mm, limit_mm = lift_height_mm(scene), lift_limit_mm(scene)
    return {
        "lift_height": None if height_mm is None else units.lift_least(height_mm),
        "lift_limit": None if limit_mm is None else units.lift_most(limit_mm),
    }


def _gap(value_mm: float | None) -> units.Quantity | None:
    return None if value_mm is None else units.gap(value_mm)


def _limits(low_mm: float, high_mm: float) -> Record:
    low, high = units.gap_limits(low_mm, high_mm)
    return {"min": low, "max": high}
