"""What the steps may say of one support: role, rings, growth, travel, and the gap to set a free bearing to."""

from collections.abc import Iterable, Mapping
from typing import Any

from service import units
from service.instructions.plan import phrases
from service.instructions.plan.job import Job
from service.instructions.plan.template import Fact

PER_K: float = 10.0
"""Temperature step for which the correction of a setting is printed, [K]."""


def arrangement_facts(job: Job, support: Mapping[str, Any] | None) -> dict[str, Fact]:
    """Return the facts of one support as the arrangement answers it."""
    if support is None:
        return {}
    travel, places = support.get("travel") or {}, _places(job)
    away = phrases.direction(support, support.get("direction"), places)
    facts: dict[str, Fact] = {
        "role_words": phrases.ROLE_WORDS.get(support["role"] or ""),
        "role_reason": phrases.as_words(support.get("reason")) if support["role"] else None,
        "ring_words": phrases.ring_words(support),
        "ring_parts": phrases.ring_parts(support),
        "growth": support.get("growth") if support["role"] == "free" else None,
        "growth_towards": away or ("to either side" if support.get("growth") is not None else None),
        "travel_total": travel.get("total"),
        "travel_needed": travel.get("needed"),
        "travel_available": travel.get("available"),
    }
    if travel.get("total") is not None:
        facts["travel_half"] = units.dimension(travel["total"].value / 2)
    offset = support.get("offset")
    if offset:
        facts |= {f"offset_{name}": offset.get(name) for name in ("min", "max", "aim")}
        facts["offset_towards"] = phrases.direction(support, offset.get("direction"), places)
    return facts | _setting_facts(job, support)


def _setting_facts(job: Job, support: Mapping[str, Any]) -> dict[str, Fact]:
    """Return the gap to set, where it is measured, and what the temperature of the shaft does to it."""
    expansion = support.get("expansion") or {}
    gap, correction = expansion.get("setting_gap") or {}, expansion.get("setting_correction") or {}
    facts: dict[str, Fact] = {f"gap_{name}": gap.get(name) for name in ("min", "aim", "max")}
    facts["gap_side"] = _side(support, gap.get("side"), _places(job))
    facts["per_10_k"] = correction.get("per_10_k")
    facts["ten_k"] = units.temperature_difference(PER_K)
    facts["assembly_temperature"] = units.temperature(job.assembly_temperature_degc)
    if job.setting_temperature_degc is not None and correction.get("correction") is not None:
        facts["setting_temperature"] = units.temperature(job.setting_temperature_degc)
        facts["correction"] = units.dimension(abs(correction["correction"].value))
        further = correction["correction"].value >= 0
        facts["correction_towards"] = f"{'away from' if further else 'towards'} {support.get('held_by')}"
    return facts


def _side(support: Mapping[str, Any], side: str | None, places: Mapping[str, float | None]) -> str | None:
    """Return the side of a seat: facing the locating bearing, or facing away from it."""
    way = phrases.direction(support, side, places)
    return None if way is None else f"facing {way.replace('towards ', '')}"


def _places(job: Job) -> dict[str, float | None]:
    return {position.name: position.at_mm for position in job.positions}


def arrangement_flags(support: Mapping[str, Any] | None) -> Iterable[str]:
    """Yield the conditions of one support."""
    if support is None or support["role"] is None:
        return
    yield support["role"]
    rings = support.get("locating_rings") or {}
    if rings.get("count"):
        yield "has_rings"
    elif support["role"] == "locating":
        yield "rings_unknown"
    setting = {"against_shoulder_opposite_nut": "against_shoulder"}.get(support["setting"], support["setting"])
    if setting is not None:
        yield setting
    elif support["role"] == "free":
        yield "no_setting"
    if (support.get("expansion") or {}).get("setting_gap"):
        yield "gap_known"
    if (support.get("travel") or {}).get("limited_by") == "seals":
        yield "seals_limit"
    correction = (support.get("expansion") or {}).get("setting_correction") or {}
    if correction.get("correction") is not None:
        yield "shaft_temperature_known"
