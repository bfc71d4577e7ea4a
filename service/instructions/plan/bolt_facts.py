"""What the steps may say of bolts: cap bolt torque, its stages and order, the wrench, the base bolts."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service import units
from service.errors import Text
from service.instructions.plan.messages import between, known_message, message
from service.sentences import Fact


def cap_bolt_facts(bolting: Mapping[str, Any]) -> dict[str, "Fact | Text"]:
    """Return the facts of the cap bolts of one block."""
    wrench, torque = bolting.get("wrench") or {}, bolting.get("torque")
    state = (bolting.get("nut_factor") or {}).get("state")
    return {
        "cap_torque": torque,
        "cap_setting": wrench.get("setting") or torque,
        "cap_half": None if torque is None else units.torque(torque.value / 2),
        "cap_bolt": bolt_words(bolting.get("bolt")),
        "bolt_order": _order(bolting.get("sequence") or ()),
        "bolt_state": message(f"state_{state}") if state in ("dry", "oiled", "anti_seize") else None,
        "wrench_setting": wrench.get("setting"),
        "wrench_first": wrench.get("first_setting"),
        "wrench_needed": between(wrench.get("needed")),
        "torque_source": bolting.get("torque_source"),
    }


def cap_bolt_flags(bolting: Mapping[str, Any]) -> Iterator[str]:
    """Yield the conditions of the cap bolts of one block."""
    if bolting.get("confidence") in (None, "none", "single_publication"):
        yield "torque_to_confirm"
    wrench = bolting.get("wrench") or {}
    if wrench.get("suitable") is False:
        yield "wrench_unsuitable"
    if any(each["code"] == "over_proof" for each in bolting.get("blocked") or ()):
        yield "over_proof"


def base_bolt_facts(base: Mapping[str, Any] | None, book_n_m: float | None) -> dict[str, "Fact | Text"]:
    """Return the facts of the base bolts of one block: the torque of the book, else the computed one."""
    if book_n_m is not None:
        return {"base_torque": units.torque(book_n_m), "base_source": None}
    if base is None or base["torque"] is None:
        return {}
    return {
        "base_torque": units.torque_computed(base["torque"].value),
        "base_bolt": bolt_words(base),
        "base_source": base["sources"][0]["id"] if base["sources"] else None,
    }


def base_bolt_flags(base: Mapping[str, Any] | None, book_n_m: float | None) -> Iterator[str]:
    """Yield the conditions of the base bolts of one block."""
    if book_n_m is None and base is not None and base["torque"] is not None:
        yield "base_torque_computed"


def bolt_words(bolt: Mapping[str, Any] | None) -> Text | None:
    """Return ``2 x M16, grade 8.8``; None where the thread is not known."""
    if bolt is None or bolt["thread"] is None:
        return None
    facts = {"count": bolt.get("count"), "thread": bolt["thread"], "grade": bolt.get("grade")}
    for name in ("bolts_all", "bolts_grade", "bolts_count"):
        said = known_message(name, **facts)
        if said is not None:
            return said
    return message("bolts_thread", **facts)


def _order(sequence: Sequence[str]) -> Text | None:
    return message(f"bolt_order_{len(sequence)}") if len(sequence) in (2, 4) else None
