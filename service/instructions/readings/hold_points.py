"""Which hold points of a plan are open, given what was read, confirmed and approved (rules I2 and C5).

Entries stand in the order in which they were entered; nothing is overwritten, and the last one counts.
"""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from service.instructions.closing import is_confirmable, is_stop
from service.instructions.readings.readings import Reading
from service.mounting.readings import ACCEPT, RECHECK, REJECT, TOO_TIGHT_WAY_BACK, Verdict

DEVIATION: Final = "deviation"
ON_THE_TAPER: Final = ("residual_clearance", "axial_displacement", "nut_turn")
"""What is read after the bearing has been driven up: it counts only since the last start."""
ONLY_REPLACING: Final = ("removal", "parts_check", "shaft_and_housing", "layout", "mount", "lower")
"""Phases that are done only where a bearing is replaced."""
_START_STEPS: Final = ("initial-swivel",)
_TIGHT: Final = {"residual_clearance": "too_tight", "axial_displacement": "too_far", "nut_turn": "too_far"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A reading, a confirmation or an approved deviation. ``person`` took or approved it.

    Parameters
    ----------
    revision : int
        The revision it was judged by, [-]
    made_revision : int or None
        The revision that an accepted initial clearance made, [-]
    """

    kind: str
    position: str | None
    step: str | None
    verdict: str
    code: str | None
    revision: int
    person: str
    made_revision: int | None = None


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """An open hold point: its step, what clears it, and the last entry when there is one."""

    number: int
    id: str
    position: str | None
    title: str
    needs: str
    last: Entry | None

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        last = None if self.last is None else {"verdict": self.last.verdict, "code": self.last.code}
        return {
            "step": self.number,
            "id": self.id,
            "position": self.position,
            "title": self.title,
            "needs": self.needs,
            "last": last,
        }


def same_person(one: str, other: str) -> bool:
    """Return whether two names may be those of one person: the same words, however they are set, or no word at all."""
    words, others = _words(one), _words(other)
    return not words or not others or words == others


def _words(name: str) -> list[str]:
    """Return the words of a name in one form: no case, no width, no points, in the order of the alphabet."""
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    visible = "".join(c for c in plain if unicodedata.category(c) != "Cf")
    return sorted("".join(c if c.isalnum() else " " for c in visible).split())


def verdict_in_sequence(verdict: Verdict, reading: Reading, revision: int, entries: Sequence[Entry]) -> Verdict:
    """Return the verdict with regard to what was read before at this position.

    Parameters
    ----------
    revision : int
        The revision that the reading was judged by, [-]
    """
    if verdict.verdict != ACCEPT or reading.kind not in ON_THE_TAPER:
        return verdict
    since = _since_start(entries, reading.position)
    if _too_tight(since, reading.kind):
        said = (
            "After a reading that was too tight nothing is accepted before the bearing was freed and its initial "
            "clearance measured again (a ball bearing: turned and swivelled by hand, and confirmed)."
        )
        return Verdict(REJECT, "initial_clearance_needed", (), None, said, TOO_TIGHT_WAY_BACK)
    start = since[0].made_revision if since else None
    if start is not None and revision < start:
        said = f"Judged by revision {revision}, but the initial clearance was measured again for revision {start}."
        following = f"Take the card of revision {start} or later, and measure."
        return Verdict(RECHECK, "revision_superseded", (), None, said, following)
    return verdict


def _since_start(entries: Sequence[Entry], position: str | None) -> list[Entry]:
    """Return the entries of a position from its last start: an accepted initial clearance, or ring checked free."""
    own = [each for each in entries if each.position == position]
    starts = [n for n, each in enumerate(own) if each.verdict == ACCEPT and _is_start(each)]
    return own[starts[-1] :] if starts else own


def _is_start(entry: Entry) -> bool:
    return entry.kind == "initial_clearance" or (entry.kind == "confirmation" and entry.step in _START_STEPS)


def _too_tight(since: Iterable[Entry], kind: str) -> bool:
    """Return whether the bearing was driven up too far; blades are believed more than displacement and nut turn."""
    return any(
        _is_tight(each) and (each.kind == "residual_clearance" or kind != "residual_clearance") for each in since
    )


def _is_tight(entry: Entry) -> bool:
    return entry.verdict == REJECT and entry.code == _TIGHT.get(entry.kind, "")


def open_hold_points(
    plan: Mapping[str, Any], entries: Sequence[Entry], outcomes: Mapping[str, str] | None = None
) -> list[HoldPoint]:
    """Return the hold points that are open, in the order of work.

    Parameters
    ----------
    outcomes : mapping of position to replaced, inspected_only or not_done
        What was done; without it every hold point of the plan is asked for.
    """
    held = [step for step in plan["steps"] if step["hold_point"] and _asked(step, outcomes)]
    return [found for step in held if (found := _open(step, plan, entries)) is not None]


def _asked(step: Mapping[str, Any], outcomes: Mapping[str, str] | None) -> bool:
    """Return whether a hold point belongs to what was done."""
    if outcomes is None:
        return True
    done = set(outcomes.values()) - {"not_done"}
    if step["phase"] in ONLY_REPLACING:
        done &= {"replaced"}
    position = step["position"]
    return bool(done) if position is None or position not in outcomes else outcomes[position] in done


def _open(step: Mapping[str, Any], plan: Mapping[str, Any], entries: Sequence[Entry]) -> HoldPoint | None:
    kinds = closing_kinds(step, plan)
    if _is_mounting(step) and step["position"] is not None:
        entries = _since_start(entries, step["position"])
    answering = [each for each in entries if _answers(each, step, kinds)]
    again = _is_start_step(step) and _driven_too_far(entries, plan, step["position"])
    if _cleared(answering) and not again:
        return None
    needs = _needs(step, kinds)
    return HoldPoint(
        step["number"], step["id"], step["position"], step["title"], needs, answering[-1] if answering else None
    )


def _is_mounting(step: Mapping[str, Any]) -> bool:
    return _is_start_step(step) or (step["record"] or {}).get("kind") in ON_THE_TAPER


def _is_start_step(step: Mapping[str, Any]) -> bool:
    return step["id"] in _START_STEPS or (step["record"] or {}).get("kind") == "initial_clearance"


def _driven_too_far(since: Sequence[Entry], plan: Mapping[str, Any], position: str | None) -> bool:
    """Return whether the bearing must be freed and started again; a deviation after it lets it be as it is."""
    closing = {kind for step in plan["steps"] if step["position"] == position for kind in closing_kinds(step, plan)}
    mounting = {step["id"] for step in plan["steps"] if step["position"] == position and _is_mounting(step)}
    tight = [n for n, each in enumerate(since) if each.kind in closing and _is_tight(each)]
    deviations = [n for n, each in enumerate(since) if each.kind == DEVIATION and each.step in mounting]
    return bool(tight) and (not deviations or deviations[-1] < tight[-1])


def closing_kinds(step: Mapping[str, Any], plan: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the kinds of readings that close a hold point, besides a confirmation or deviation that names it."""
    kind = (step["record"] or {}).get("kind")
    if not step["hold_point"] or kind in (None, "confirmation"):
        return ()
    if kind == "axial_displacement":
        return ("axial_displacement", "nut_turn")
    if kind == "residual_clearance" and _blades_too_coarse(plan, step["position"]):
        return ON_THE_TAPER
    return (kind,)


def _blades_too_coarse(plan: Mapping[str, Any], position: str | None) -> bool:
    found = [each for each in plan["targets"] if each["position"] == position]
    blades = found[0]["blades"] if found else None
    return bool(blades is not None and blades["resolves"] is False)


def _answers(entry: Entry, step: Mapping[str, Any], kinds: tuple[str, ...]) -> bool:
    if entry.kind in (DEVIATION, "confirmation"):
        return bool(entry.step == step["id"] and entry.position == step["position"])
    return entry.kind in kinds and (step["position"] is None or step["position"] == entry.position)


def _cleared(answering: Sequence[Entry]) -> bool:
    """Return whether the last entry clears the hold point; of an order's step, the last of each position."""
    cleared: dict[str | None, bool] = {}
    takers = [each.person for each in answering if each.kind != DEVIATION]
    for entry in answering:
        if entry.kind == DEVIATION:
            if not any(same_person(entry.person, taker) for taker in takers):
                cleared = {None: True}
        elif entry.kind == "confirmation" and entry.verdict == ACCEPT:
            cleared = {None: True}
        else:
            cleared.pop(None, None)
            cleared[entry.position] = entry.verdict == ACCEPT
    return bool(cleared) and all(cleared.values())


def _needs(step: Mapping[str, Any], kinds: tuple[str, ...]) -> str:
    """Return what clears a hold point, in words."""
    if is_stop(step):
        return "a deviation approved by another person"
    if not kinds:
        return "a confirmation"
    asked = "an accepted reading: " + " or ".join(kinds)
    return f"{asked}, or a confirmation" if is_confirmable(step) else asked


def entry_of(reading: Reading, verdict: Verdict, *, revision: int, person: str, plan: Mapping[str, Any]) -> Entry:
    """Return a judged reading as an entry; one of a step of the whole order has no position."""
    entry = Entry(
        kind=reading.kind,
        position=reading.position,
        step=reading.step,
        verdict=verdict.verdict,
        code=verdict.code,
        revision=revision,
        person=person,
    )
    if reading.kind != "confirmation":
        return entry
    return replace(entry, position=_place(plan, reading))


def _place(plan: Mapping[str, Any], reading: Reading) -> str | None:
    found = [each["position"] for each in plan["steps"] if each["id"] == reading.step]
    return found[0] if len(found) == 1 else reading.position


__all__ = [
    "DEVIATION",
    "Entry",
    "HoldPoint",
    "closing_kinds",
    "entry_of",
    "open_hold_points",
    "same_person",
    "verdict_in_sequence",
]
