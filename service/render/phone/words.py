"""A verdict in words that say what to do now: a mark, a few words, what is left to leave, the next moves."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.mounting.blades import BladeSet, next_attainable, stack_of
from service.mounting.readings import ACCEPT, RECHECK, Verdict
from service.render.phone.figures import Figures
from service.words import CLEARANCE_READINGS

_HEADS: Final[Mapping[str, str]] = {
    "too_tight": "STOP: too tight",
    "too_far": "STOP: too far",
    "too_loose": "Too loose: go on",
    "reading_scale_suspect": "Check the number",
    "implausible": "Check the number",
    "wrong_bearing_or_measurement": "STOP: not this bearing, or read wrong",
    "residual_over_initial": "STOP: it cannot grow",
    "initial_clearance_needed": "STOP: start again first",
    "rows_differ": "Rows apart: read again",
    "nothing_taken": "Nothing taken yet",
    "row_missing": "The other row too",
    "class_differs": "STOP: another class",
    "not_isolated": "STOP: not isolated",
    "binds": "STOP: it binds",
    "rings_wrong": "STOP: look at the rings",
    "over_stop_limit": "STOP THE MACHINE",
    "not_steady": "STOP THE MACHINE",
    "not_steady_yet": "Go on reading",
    "series_missing": "Go on reading",
    "series_has_gaps": "Go on reading",
    "no_rise": "Read again",
    "high_rise": "Hot: a second person looks",
    "same_person": "Another person looks",
    "initial_clearance_not_measured": "Measure the new bearing first",
    "second_person_needed": "A second person measures",
    "no_limits": "Kept; no limits to judge by",
    "travel_not_known": "Kept; ask for the travel",
}
_USUAL: Final = {"accept": "Inside its range", "recheck": "Measure again", "reject": "STOP: not accepted"}
_TICKED: Final = ("confirmation", "try_start", "class_read", "swivel", "rings_in", "stop_limit")
_SENTENCES: Final = re.compile(r"(?<=[.?!]) (?=[A-Z])")


@dataclass(frozen=True, slots=True)
class Spoken:
    """What is said of a reading, without what was read.

    Parameters
    ----------
    leave, goes_in, must_not : str or None
        The residual clearance to leave and the blades that show it, once it is known
    now : tuple of str
        What to do, one sentence each
    """

    verdict: str
    code: str | None
    head: str
    leave: str | None = None
    goes_in: str | None = None
    must_not: str | None = None
    now: tuple[str, ...] = ()

    def record(self) -> dict[str, Any]:
        """Return the members that the script shows; what is not known is left out."""
        shown: dict[str, Any] = {"v": self.verdict, "c": self.code, "h": self.head, "l": self.leave}
        shown |= {"g": self.goes_in, "m": self.must_not, "n": list(self.now)}
        return {name: value for name, value in shown.items() if value}


def spoken(
    kind: str, found: Verdict, figures: Figures, *, target: Mapping[str, Any] | None, rows_nm: tuple[float, ...] = ()
) -> Spoken:
    """Return what is said of a reading.

    Parameters
    ----------
    target : mapping or None
        The clearance target in force after the reading
    rows_nm : tuple of float, shape (rows,)
        What a clearance reads, for the blade to try next, [nm]
    """
    head = _HEADS.get(found.code or "", _USUAL[found.verdict])
    if found.verdict == ACCEPT:
        head = "Done" if kind in _TICKED else _USUAL[ACCEPT]
        if found.code == "worn_in":
            head = "Worn in, may go back"
    sentences = tuple(_SENTENCES.split(figures.line(found.next))) if found.next else ()
    shown = _left(kind, found, figures, target)
    return Spoken(
        found.verdict, found.code, head, **shown, now=(*_try(kind, found, figures, target, rows_nm), *sentences)
    )


def _left(kind: str, found: Verdict, figures: Figures, target: Mapping[str, Any] | None) -> dict[str, str | None]:
    """Return what to leave, and the blades for it, where an initial clearance was accepted or the nut goes on."""
    wanted = (kind == "initial_clearance" and found.verdict == ACCEPT) or found.code == "too_loose"
    window = (target or {}).get("residual_clearance")
    if not wanted or target is None or window is None or window["provisional"]:
        return {}
    blades = target.get("blades") or {}
    return {
        "leave": figures.span(window["min"], window["max"]),
        "goes_in": figures.stack(blades.get("target") or blades.get("must_pass")),
        "must_not": figures.stack(blades.get("must_not_pass")),
    }


def _try(
    kind: str, found: Verdict, figures: Figures, target: Mapping[str, Any] | None, rows_nm: tuple[float, ...]
) -> tuple[str, ...]:
    """Return the blade to try next."""
    if kind not in CLEARANCE_READINGS or not rows_nm or target is None:
        return ()
    blades = target.get("blades") or {}
    stop = figures.stack(blades.get("must_not_pass"))
    if kind == "residual_clearance" and found.code == "too_loose" and stop:
        return (f"A small step on the nut, then try the {stop}: it must not go in any more.",)
    return ()


def next_blade(found: Verdict, rows_nm: tuple[float, ...], blade_set: BladeSet, figures: Figures) -> str | None:
    """Return the sentence that names the blade to try once more; None where reading again is not what is asked."""
    if found.verdict != RECHECK or found.code not in ("between_blades", "near_limit") or not rows_nm:
        return None
    following_nm = next_attainable(blade_set, min(rows_nm))
    if following_nm is None:
        return None
    stack = figures.stack(blade_set.quantities(stack_of(blade_set, following_nm)))
    return f"Try the {stack}: does it pass with light drag?"
