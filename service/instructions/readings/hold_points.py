"""Which holds of a plan are open, given what was read and approved (rules I2 and C5).

Each of the nine holds is closed only by what proves it; a tick closes none. Entries stand in the order in which they
were entered; nothing is overwritten, and the last one counts.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from service.errors import Text
from service.instructions.closing import READ_NEVER_CONFIRMED
from service.instructions.readings.corrections import TIGHT
from service.instructions.readings.entries import DEVIATION, Entry
from service.instructions.readings.messages import message
from service.instructions.readings.persons import same_person
from service.instructions.readings.readings import Reading, Value, measured_of, target_of
from service.mounting.messages import message as way_back
from service.mounting.readings import ACCEPT, RECHECK, REJECT, Verdict

ON_THE_TAPER: Final = ("residual_clearance", "axial_displacement", "nut_turn")
"""What is read after the bearing has been driven up: it counts only since the last start."""
REPLACED: Final = ("replaced", "refitted")
ONLY_REPLACING: Final = (2, 3, 4, 5)
"""Holds of work that is done only where a bearing is replaced or fitted again."""
AFTER_PLACING: Final = 5
"""Holds from here on are done anew for the whole shaft once a bearing was freed and started again."""

Needs = tuple[tuple[str, ...], ...]
"""Kinds of readings that close a hold: all groups, one kind of each group."""


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """An open hold: its step, what closes it, and the last entry when there is one."""

    number: int
    id: str
    hold: int | None
    stop: str | None
    position: str | None
    title: str
    kinds: Needs
    limits: Mapping[str, Any] | None
    last: Entry | None

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        last = None if self.last is None else {"verdict": self.last.verdict, "code": self.last.code}
        return {
            "step": self.number,
            "id": self.id,
            "hold": self.hold,
            "stop": self.stop,
            "position": self.position,
            "title": self.title,
            "needs": {
                "kinds": [list(group) for group in self.kinds],
                "limits": None if self.limits is None else {name: self.limits[name] for name in ("min", "max")},
                "who": "another_person" if self.stop is not None or self.hold == 6 else None,
                "said": self._said(),
            },
            "last": last,
        }

    def _said(self) -> Text:
        if self.stop is not None:
            return message("needs_deviation")
        kinds = message("needs_and").join(str(message("needs_or")).join(group) for group in self.kinds)  # type: ignore[union-attr]
        return message("needs_readings", kinds=kinds.replace("_", " "))


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
        said, back = message("start_again_first"), way_back("too_tight.next")
        return Verdict(REJECT, "initial_clearance_needed", (), None, said, back)
    start = _revision_since_start(entries, reading.position)
    if start is not None and revision < start:
        facts = {"revision": str(revision), "start": str(start)}
        said, following = message("revision_superseded", **facts), message("revision_superseded", "next", **facts)
        return Verdict(RECHECK, "revision_superseded", (), None, said, following)
    return verdict


def _since_start(entries: Sequence[Entry], position: str | None) -> list[Entry]:
    """Return the entries of a position from its last start: an accepted measure of the bearing before it is mounted."""
    own = [each for each in entries if each.position == position]
    blades = any(each.kind == "initial_clearance" for each in own)
    starts = [n for n, each in enumerate(own) if each.verdict == ACCEPT and _is_start(each, blades=blades)]
    return own[starts[-1] :] if starts else own


def _revision_since_start(entries: Sequence[Entry], position: str | None) -> int | None:
    """Return the revision that the last start stands in: it made it, or told again what an earlier one had told."""
    own = [each for each in entries if each.position == position and each.verdict == ACCEPT]
    blades = any(each.kind == "initial_clearance" for each in own)
    made = [each.made_revision for each in own if _is_start(each, blades=blades) and each.made_revision is not None]
    return max(made, default=None)


def _is_start(entry: Entry, *, blades: bool) -> bool:
    return entry.kind == "initial_clearance" or (not blades and entry.kind == "class_read")


def _too_tight(since: Iterable[Entry], kind: str) -> bool:
    """Return whether the bearing was driven up too far; blades are believed more than displacement and nut turn."""
    return any(
        _is_tight(each) and (each.kind == "residual_clearance" or kind != "residual_clearance") for each in since
    )


def _is_tight(entry: Entry) -> bool:
    return entry.verdict == REJECT and entry.code == TIGHT.get(entry.kind, "")


def open_hold_points(
    plan: Mapping[str, Any], entries: Sequence[Entry], outcomes: Mapping[str, str] | None = None
) -> list[HoldPoint]:
    """Return the holds that are open, in the order of work, one for each position of their step.

    Parameters
    ----------
    entries : sequence of Entry, shape (n,)
        What counts: see ``corrections.effective``
    outcomes : mapping of position to replaced, refitted, inspected_only or not_done
        What was done; without it every hold of the plan is asked for.
    """
    found = []
    for step in plan["steps"]:
        if step["hold"] is None and step["stop"] is None:
            continue
        for position in step["positions"] or [None]:
            if _asked(step, position, outcomes):
                opened = _open(step, position, plan, entries)
                found += [] if opened is None else [opened]
    return found


def _asked(step: Mapping[str, Any], position: str | None, outcomes: Mapping[str, str] | None) -> bool:
    """Return whether a hold belongs to what was done."""
    if outcomes is None:
        return True
    done = set(outcomes.values()) - {"not_done"}
    if step["hold"] in ONLY_REPLACING:
        done &= set(REPLACED)
    return bool(done) if position is None or position not in outcomes else outcomes[position] in done


def _open(
    step: Mapping[str, Any], position: str | None, plan: Mapping[str, Any], entries: Sequence[Entry]
) -> HoldPoint | None:
    needs = needed_kinds(step, position, plan)
    counting = _counting(step, position, plan, entries)
    answering = [each for each in counting if _answers(each, step, position, needs)]
    again = step["hold"] == 3 and _driven_too_far(_since_start(entries, position), plan, position)
    if _cleared(step, position, needs, answering) and not again:
        return None
    return HoldPoint(
        step["number"],
        step["id"],
        step["hold"],
        step["stop"],
        position,
        step["title"],
        needs,
        _limits(step, position),
        answering[-1] if answering else None,
    )


def _counting(
    step: Mapping[str, Any], position: str | None, plan: Mapping[str, Any], entries: Sequence[Entry]
) -> Sequence[Entry]:
    """Return the entries that count for a hold: since the bearing, or any bearing of the shaft, was started again."""
    if step["hold"] in (3, 4) and position is not None:
        own = _since_start(entries, position)
        return own if step["hold"] == 4 else [*(each for each in entries if each.kind == "class_read"), *own]
    if step["hold"] is not None and step["hold"] >= AFTER_PLACING:
        restarted = max((_restart(entries, name) for name in plan["positions"]), default=0)
        return entries[restarted:]
    return entries


def _restart(entries: Sequence[Entry], position: str) -> int:
    """Return from which entry on a position was started again after it had been driven up; 0 where it was not.

    A bearing that no blade measures is started again with its class, once it was too tight or bound.
    """
    driven, freed, found = False, False, 0
    for n, each in enumerate(entries):
        if each.position != position:
            continue
        if each.kind in ON_THE_TAPER:
            driven = True
        freed = freed or _is_tight(each) or each.code == "binds"
        begun = each.kind == "initial_clearance" or (each.kind == "class_read" and freed)
        if driven and each.verdict == ACCEPT and begun:
            driven, freed, found = False, False, n
    return found


def _limits(step: Mapping[str, Any], position: str | None) -> Mapping[str, Any] | None:
    limits = (step["record"] or {}).get("limits", ())
    return next((each for each in limits if each["position"] in (None, position)), None)


def _driven_too_far(since: Sequence[Entry], plan: Mapping[str, Any], position: str | None) -> bool:
    """Return whether the bearing must be freed and started again; a deviation after it lets it be as it is."""
    mounting = {each["id"] for each in plan["steps"] if each["hold"] in (3, 4) and position in each["positions"]}
    tight = [n for n, each in enumerate(since) if each.kind in ON_THE_TAPER and _is_tight(each)]
    if _by_blades(plan, position):
        tight = [n for n in tight if since[n].kind == "residual_clearance"]
    deviations = [n for n, each in enumerate(since) if each.kind == DEVIATION and each.step in mounting]
    return bool(tight) and (not deviations or deviations[-1] < tight[-1])


def _by_blades(plan: Mapping[str, Any], position: str | None) -> bool:
    """Return whether the blades decide at this position: there they are believed more than any witness."""
    blades = (target_of(plan, position) or {}).get("blades")
    return blades is not None and blades["resolves"] is not False


def needed_kinds(step: Mapping[str, Any], position: str | None, plan: Mapping[str, Any]) -> Needs:
    """Return the kinds of readings that close a hold; () for a STOP, which only a deviation closes."""
    if step["stop"] is not None:
        return ()
    kind = (step["record"] or {}).get("kind", "confirmation")
    if step["hold"] == 3:
        return ((kind,),) if kind == "class_read" else ((kind,), ("class_read",))
    if step["hold"] == 4:
        return _needed_of_mounting(kind, target_of(plan, position))
    if step["hold"] == 6:
        gaps = any((each["record"] or {}).get("kind") == "free_gap" for each in plan["steps"])
        return (("free_gap",), ("rings_in",)) if gaps else (("rings_in",),)
    return ((kind,),)


def _needed_of_mounting(kind: str, target: Mapping[str, Any] | None) -> Needs:
    if kind == "swivel":
        moved = target is not None and target["axial_displacement"] is not None
        return (("axial_displacement", "nut_turn"), ("swivel",)) if moved else (("swivel",),)
    blades = None if target is None else target["blades"]
    if kind == "residual_clearance" and blades is not None and blades["resolves"] is False:
        return (ON_THE_TAPER,)
    return ((kind,),)


def _answers(entry: Entry, step: Mapping[str, Any], position: str | None, needs: Needs) -> bool:
    if entry.kind == DEVIATION:
        return entry.step == step["id"] and entry.position == position
    if not any(entry.kind in group for group in needs):
        return False
    if entry.kind == "try_start" and (entry.step or "isolate") != step["id"]:
        return False
    return position is None or entry.position == position


def _cleared(step: Mapping[str, Any], position: str | None, needs: Needs, answering: Sequence[Entry]) -> bool:
    """Return whether the last entries clear the hold: of each group, at each place where it was read."""
    takers = [each.person for each in answering if each.kind != DEVIATION]
    approved = [n for n, each in enumerate(answering) if each.kind == DEVIATION]
    if approved:
        last = approved[-1]
        if not any(same_person(answering[last].person, taker) for taker in takers):
            answering = answering[last + 1 :]
            if not answering:
                return True
    if not needs:
        return False
    return all(_group_cleared(group, answering) for group in needs)


def _group_cleared(group: tuple[str, ...], answering: Sequence[Entry]) -> bool:
    last: dict[str | None, bool] = {}
    for entry in answering:
        if entry.kind in group:
            last[entry.position] = entry.verdict == ACCEPT
    return bool(last) and all(last.values())


def entry_of(
    reading: Reading,
    verdict: Verdict,
    *,
    revision: int,
    person: str,
    plan: Mapping[str, Any],
    replaces: str | None = None,
) -> Entry:
    """Return a judged reading as an entry; a tick of a step that is done once has no position."""
    entry = Entry(
        kind=reading.kind,
        position=reading.position,
        step=reading.step,
        verdict=verdict.verdict,
        code=verdict.code,
        revision=revision,
        person=person,
        rows_nm=rows_of(reading.values) if reading.kind in READ_NEVER_CONFIRMED else None,
        value=value_of(reading),
        replaces=replaces,
    )
    if reading.kind != "confirmation":
        return entry
    return replace(entry, position=_place(plan, reading))


def rows_of(values: Sequence[Value]) -> tuple[float, ...]:
    """Return one value for each row of a clearance, [nm]."""
    return measured_of(values).row_values_nm


def value_of(reading: Reading) -> float | None:
    """Return the one number of a reading that later ones are judged by; of a series the last temperature, [degC]."""
    if reading.kind == "run_in_temperature":
        return reading.series[-1].temperature_degc if reading.series else None
    return reading.numbers[0] if reading.kind in ("stop_limit", "seat_spacing") else None


def _place(plan: Mapping[str, Any], reading: Reading) -> str | None:
    once = any(each["id"] == reading.step and not each["positions"] for each in plan["steps"])
    return None if once else reading.position


__all__ = [
    "DEVIATION",
    "Entry",
    "HoldPoint",
    "entry_of",
    "needed_kinds",
    "open_hold_points",
    "rows_of",
    "same_person",
    "value_of",
    "verdict_in_sequence",
]
