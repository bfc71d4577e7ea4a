"""What the steps may say of bolts: cap bolt torque, its stages and order, the wrench, the base bolts."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from service.instructions.plan import phrases
from service.instructions.plan.template import Fact, joined
from service.units import Quantity

STATE_WORDS: Final[Mapping[str, str]] = {"dry": "dry", "oiled": "oiled", "anti_seize": "with anti-seize"}
ORDER_WORDS: Final[Mapping[int, str]] = {
    2: "first one side of the bore, then the other",
    4: "1 and 2 on one side of the bore, 3 and 4 on the other, 3 opposite 1",
}


def cap_bolt_facts(bolting: Mapping[str, Any]) -> dict[str, Fact]:
    """Return the facts of the cap bolts of one block."""
    wrench = bolting.get("wrench") or {}
    return {
        "cap_torque": bolting.get("torque"),
        "cap_stages": phrases.stages(bolting),
        "cap_bolt": bolting.get("bolt_words"),
        "book_bolt": bolting.get("book_bolt_words"),
        "bolt_order": _order(bolting.get("sequence") or ()),
        "bolt_state": STATE_WORDS.get((bolting.get("nut_factor") or {}).get("state") or ""),
        "proof_share": share_words(bolting.get("share_of_proof"), bolting.get("share_of_proof_band")),
        "wrench_setting": wrench.get("setting"),
        "wrench_first": wrench.get("first_setting"),
        "wrench_needed": phrases.between(wrench.get("needed")),
        "torque_source": bolting.get("torque_source"),
    }


def cap_bolt_flags(bolting: Mapping[str, Any]) -> Iterable[str]:
    """Yield the conditions of the cap bolts of one block."""
    if bolting.get("confidence") in (None, "none", "single_publication"):
        yield "torque_to_confirm"
    wrench = bolting.get("wrench") or {}
    if wrench.get("suitable") is False:
        yield "wrench_unsuitable"
    if any(each["code"] == "over_proof" for each in bolting.get("blocked") or ()):
        yield "over_proof"


def base_bolt_facts(base: Mapping[str, Any] | None) -> dict[str, Fact]:
    """Return the facts of the base bolts of one block."""
    if base is None:
        return {}
    return {
        "base_torque": base["torque"],
        "base_bolt": _base_words(base),
        "base_share": share_words(None, base["share_of_proof_band"]),
        "base_source": base["sources"][0]["id"] if base["sources"] else None,
    }


def base_bolt_flags(base: Mapping[str, Any] | None) -> Iterable[str]:
    """Yield the conditions of the base bolts of one block."""
    if base is not None:
        yield "base_bolts_known"


def share_words(share: float | None, band: Mapping[str, float] | None) -> str | None:
    """Return a share of proof load, or its band over the state of the threads, in per cent."""
    if band is None:
        return None
    spread = f"{band['min'] * 100:.0f} % to {band['max'] * 100:.0f} %"
    return spread if share is None else f"about {share * 100:.0f} % ({spread} with the friction of the threads)"


def _order(sequence: Sequence[str]) -> str | None:
    said = ORDER_WORDS.get(len(sequence))
    return None if said is None else f"{', '.join(sequence)} ({said})"


def _base_words(base: Mapping[str, Any]) -> tuple[str | Quantity, ...] | None:
    count = f"{base['count']} x " if base["count"] else ""
    grade = f", grade {base['grade']}" if base["grade"] else ", grade not on record: read the mark on the head"
    return phrases.as_words(joined((f"{count}{base['thread']}{grade}",)))
