"""Facts that are several words long: ranges, spacing, rings, stages, the bolts of a cap."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final

from service import units
from service.errors import Text
from service.instructions.plan.job import PositionFacts
from service.instructions.plan.template import joined, listed
from service.units import Quantity

ROLE_WORDS: Final = {"locating": "LOCATING (held)", "free": "FREE (must be able to move)"}
CLASS_WORDS: Final = {"inch": "inch set", "metric": "metric set"}
SETTING_WORDS: Final = {
    "against_shoulder_opposite_nut": "on the locknut side, bearing against the shoulder opposite the locknut",
    "between_rings": "one each side, bearing centred between them",
}


def as_words(text: Text | None) -> tuple[str | Quantity, ...] | None:
    """Return a text as the parts of a longer one; None stays None."""
    if text is None or text == "":
        return None
    return (text,) if isinstance(text, str) else text


def between(bounds: Mapping[str, Any] | None) -> tuple[str | Quantity, ...] | None:
    """Return ``min to max``; None when either is not known."""
    if bounds is None or bounds.get("min") is None or bounds.get("max") is None:
        return None
    return (bounds["min"], " to ", bounds["max"])


def stack(blades: Sequence[Quantity] | None) -> tuple[str | Quantity, ...] | None:
    """Return the blades of one stack by their stamps."""
    return None if not blades else as_words(listed([(blade,) for blade in blades], last=" + "))


def spacing(positions: Iterable[PositionFacts]) -> tuple[str | Quantity, ...] | None:
    """Return the distances between neighbouring bearings; None when a place is not known or there is one only."""
    along = list(positions)
    if len(along) < 2 or any(each.at_mm is None for each in along):
        return None
    return as_words(
        listed(
            [
                (f"{near.name} to {far.name} ", units.distance(far.at_mm - near.at_mm))
                for near, far in pairwise(along)
                if near.at_mm is not None and far.at_mm is not None
            ],
            last=", ",
        )
    )


def ring_words(support: Mapping[str, Any] | None) -> tuple[str | Quantity, ...] | None:
    """Return how many rings of which width lie where in one block; None when that is not known."""
    if support is None or support.get("role") is None or not support.get("locating_rings"):
        return None
    rings = support["locating_rings"]
    if rings.get("count") is None:
        return None
    if rings["count"] == 0:
        return ("none",)
    width = ("width ", rings["width"]) if rings.get("width") is not None else ("width not known",)
    where = SETTING_WORDS.get(support.get("setting") or "")
    return as_words(joined((f"{rings['count']}, ", *width, f", {where}" if where else "")))


def ring_parts(support: Mapping[str, Any]) -> tuple[str | Quantity, ...] | None:
    """Return the rings of one block as a line of a parts list; None where it has none or they are not known."""
    rings = support.get("locating_rings") or {}
    if support.get("role") != "locating" or not rings.get("count"):
        return None
    width = ("width ", rings["width"]) if rings.get("width") is not None else ("width not known",)
    return as_words(joined((f"{rings['count']} x locating ring, ", *width)))


def ring_summary(supports: Sequence[Mapping[str, Any]]) -> tuple[str | Quantity, ...] | None:
    """Return which rings lie in which block, over the whole shaft; None when one of them is not known."""
    if [each["role"] for each in supports].count("locating") != 1:
        return None
    said: list[str | Quantity] = []
    for each in sorted(supports, key=lambda one: one["role"] != "locating"):
        words = ring_words(each)
        if words is None:
            return None
        said += [" " if said else "", f"{ROLE_WORDS[each['role']]} {each['name']}: ", *words, "."]
    return as_words(joined(said))


def direction(support: Mapping[str, Any], way: str | None, places: Mapping[str, float | None]) -> str | None:
    """Return plus or minus along the shaft as seen from the locating bearing: ``away from drive``."""
    held = support.get("held_by")
    here, there = places.get(support["name"]), places.get(held) if isinstance(held, str) else None
    if way not in ("plus", "minus") or here is None or there is None or here == there:
        return None
    return f"{'away from' if (here > there) == (way == 'plus') else 'towards'} {held}"


def stages(bolting: Mapping[str, Any]) -> tuple[str | Quantity, ...] | None:
    """Return the stages of tightening; None when no torque is known."""
    if bolting.get("torque") is None or not bolting.get("stages"):
        return None
    parts: list[Text] = []
    for stage in bolting["stages"]:
        torque = stage.get("torque")
        share = f"{stage['percent']} %" if isinstance(stage.get("percent"), int | float) else ""
        parts.append(joined((f"{share} ", torque)) if torque is not None else share or "hand-tight")
    return as_words(listed(parts, last=", then "))


def shaft_limits(
    diameter_mm: float, upper_nm: int, lower_nm: int
) -> tuple[Quantity, Quantity, tuple[str | Quantity, ...]]:
    """Return smallest and largest diameter of a shaft, [mm], and both as words."""
    smallest = units.dimension(round(diameter_mm + lower_nm / units.NM_PER_MM, 6))
    largest = units.dimension(round(diameter_mm + upper_nm / units.NM_PER_MM, 6))
    return smallest, largest, (smallest, " to ", largest)
