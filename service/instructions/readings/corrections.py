"""Taking a reading back honestly: both stay on record, the old one no longer counts (rule C5).

A reading that was too tight is taken back only by a second person's measurement of the untouched bearing, within one
blade step of what the first says was meant; else it stands.
"""

from collections.abc import Sequence
from typing import Final

from service.errors import CannotEvaluate
from service.instructions.readings.entries import Entry
from service.instructions.readings.messages import verdict
from service.instructions.readings.persons import same_person
from service.mounting.blades import BladeSet, next_attainable
from service.mounting.readings import RECHECK, REJECT, Verdict

REASONS: Final = ("typing_slip", "misread", "wrong_row", "wrong_unit", "wrong_position")
TIGHT: Final = {"residual_clearance": "too_tight", "axial_displacement": "too_far", "nut_turn": "too_far"}
NEEDS_SECOND: Final = "second_person_needed"


def was_too_tight(entry: Entry) -> bool:
    """Return whether an entry says that the bearing was driven up too far."""
    return entry.verdict == REJECT and entry.code == TIGHT.get(entry.kind, "")


def taken_back_by(
    old: Entry, *, kind: str, position: str | None, person: str, reason: str, lead: bool
) -> Verdict | None:
    """Return the verdict that a correction has whatever it reads; None where it is judged like any reading.

    Parameters
    ----------
    old : Entry
        The reading that is taken back
    kind, position, person : str
        What takes it back, of which position, by whom
    reason : str
        One of ``REASONS``
    lead : bool
        Whoever sends it may approve deviations, [-]

    Raises
    ------
    CannotEvaluate
        ``not_its_reader``: neither the same person nor the lead; ``other_reading``: another kind, or another position
        without the reason wrong_position.
    """
    if kind != old.kind or (position != old.position and reason != "wrong_position"):
        said = f"{old.kind} of {old.position or 'the order'} is taken back by a reading of the same kind and position"
        raise CannotEvaluate(said, code="other_reading", field="replaces")
    if not (lead or same_person(person, old.person)):
        said = f"{old.person} took this reading; it is taken back by the same person, or with a key that may approve"
        raise CannotEvaluate(said, code="not_its_reader", field="replaces")
    if was_too_tight(old):
        return verdict(RECHECK, NEEDS_SECOND, "correction_needs_second_person")
    return None


def effective(entries: Sequence[Entry], blade_set: BladeSet) -> list[Entry]:
    """Return the entries that count: without those that were taken back.

    Parameters
    ----------
    entries : sequence of Entry, shape (n,)
        In the order in which they were entered
    blade_set : BladeSet
        The blades in use: their step is how close a second measurement must lie
    """
    by_id = {each.id: each for each in entries if each.id}
    gone: set[str] = set()
    for meant in entries:
        old = by_id.get(meant.replaces or "")
        if old is None:
            continue
        if not was_too_tight(old):
            gone.add(old.id)
        elif _confirmed(old, meant, entries, blade_set):
            gone |= {old.id, meant.id}
    return [each for each in entries if each.id not in gone or not each.id]


def effective_before(entries: Sequence[Entry], candidate: Entry, blade_set: BladeSet) -> list[Entry]:
    """Return the entries that count when ``candidate`` is judged: it may itself bear out what was meant.

    Parameters
    ----------
    entries : sequence of Entry, shape (n,)
        In the order in which they were entered
    candidate : Entry
        The reading that comes next, not judged yet
    blade_set : BladeSet
        The blades in use
    """
    return effective([*entries, candidate], blade_set)[:-1]


def _confirmed(old: Entry, meant: Entry, entries: Sequence[Entry], blade_set: BladeSet) -> bool:
    """Return whether a second person measured what the first says was meant, before anything else was read there."""
    after = list(entries)[list(entries).index(meant) + 1 :]
    same = [each for each in after if each.kind == old.kind and each.position == old.position and not each.replaces]
    if not same or same_person(same[0].person, old.person) or same_person(same[0].person, meant.person):
        return False
    if meant.rows_nm is None or same[0].rows_nm is None or len(meant.rows_nm) != len(same[0].rows_nm):
        return False
    return all(_within_a_step(one, other, blade_set) for one, other in zip(meant.rows_nm, same[0].rows_nm, strict=True))


def _within_a_step(one_nm: float, other_nm: float, blade_set: BladeSet) -> bool:
    low, high = sorted((one_nm, other_nm))
    following = next_attainable(blade_set, low)
    return following is not None and high <= following
