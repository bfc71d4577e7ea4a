"""Which support is nearest a drive, and what several drives decide (rules A2 and A8)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.arrangement.messages import SAYS, message
from service.arrangement.supports import Drive, Support, Wheel
from service.errors import Text

SAME_DISTANCE_MM: Final = 0.5
"""Distances along a shaft closer than this are the same: they are measured with a tape, [mm]."""

DIGITS: Final = 6
"""Distances are kept to a nanometre, so that the origin they are measured from never decides, decimals of [mm]."""

AXIAL_FREEDOM: Final[Mapping[str, int]] = {"gear": 0, "coupling": 0, "chain": 1, "belt": 2}
"""How much axial movement a drive lives with, our own convention: a belt more than a chain, a chain more than a
coupling or gear; between a coupling and a gear it is asked (rule A8)."""


@dataclass(frozen=True, slots=True)
class Nearest:
    """The supports nearest a place or the deciding drives, with the rule; ``question`` when that is left open."""

    indices: tuple[int, ...]
    rule: str = "A2"
    reason: Text | None = None
    question: Text | None = None
    furthest: tuple[int, ...] = ()
    places_mm: tuple[float, ...] = ()

    @staticmethod
    def of(supports: Sequence[Support], at_mm: float | None, candidates: Iterable[int]) -> "Nearest":
        """Return the candidates nearest a place; several when their distances are the same, none when unknown."""
        if at_mm is None:
            return Nearest(())
        distances: dict[int, float] = {}
        for index in candidates:
            place_mm = supports[index].at_mm
            if place_mm is None:
                return Nearest(())
            distances[index] = round(abs(place_mm - at_mm), DIGITS)
        if not distances:
            return Nearest(())
        least, most = min(distances.values()), max(distances.values())
        near = tuple(index for index, one in distances.items() if round(one - least, DIGITS) < SAME_DISTANCE_MM)
        far = tuple(index for index, one in distances.items() if round(most - one, DIGITS) < SAME_DISTANCE_MM)
        return Nearest(near, furthest=far, places_mm=(at_mm,))

    def distance_mm(self, support: Support) -> float | None:
        """Return the distance of a support from the nearest deciding drive, [mm]."""
        if support.at_mm is None or not self.places_mm:
            return None
        return min(abs(support.at_mm - place_mm) for place_mm in self.places_mm)


def nearest_to_drives(supports: Sequence[Support], drives: Sequence[Drive], candidates: Sequence[int]) -> Nearest:
    """Return the support that the drives make locating, or the question that decides (A2, A8)."""
    if not drives:
        return Nearest((), question=message("question.drive"))
    if any(drive.at_mm is None for drive in drives):
        return Nearest((), question=message("question.drives"))
    unplaced = [supports[index].name for index in candidates if supports[index].at_mm is None]
    if unplaced:
        return Nearest((), question=message("question.stands", names=SAYS.listed(unplaced)))
    found = [Nearest.of(supports, drive.at_mm, candidates) for drive in drives]
    if len({one.indices for one in found}) == 1:
        return _agreed(supports, drives, found)
    return _decided_by_kind(supports, drives, found)


def _agreed(supports: Sequence[Support], drives: Sequence[Drive], found: Sequence[Nearest]) -> Nearest:
    near = found[0].indices
    if len(near) > 1:
        return Nearest((), question=_tie_question(supports, near))
    far = set(found[0].furthest).intersection(*(one.furthest for one in found))
    places = tuple(place for one in found for place in one.places_mm)
    reason = message("reason.nearest_drive" if len(drives) == 1 else "reason.nearest_every_drive")
    return Nearest(near, "A2" if len(drives) == 1 else "A8", reason, None, tuple(far), places)


def _tie_question(supports: Sequence[Support], near: Sequence[int]) -> Text:
    return message("question.equally_near", names=SAYS.listed(supports[index].name for index in near))


def _decided_by_kind(supports: Sequence[Support], drives: Sequence[Drive], found: Sequence[Nearest]) -> Nearest:
    """Return the support nearest the drives that allow least axial movement, where they agree (A8)."""
    least = min(AXIAL_FREEDOM[drive.kind] for drive in drives)
    strict = [index for index, drive in enumerate(drives) if AXIAL_FREEDOM[drive.kind] == least]
    near = {found[index].indices for index in strict}
    if len(near) > 1 or len(strict) == len(drives):
        return Nearest((), question=message("question.which_drive"))
    (indices,) = near
    if len(indices) > 1:
        return Nearest((), question=_tie_question(supports, indices))
    kind = _kinds(drives[index].kind for index in strict)
    others = _kinds(drive.kind for drive in drives if AXIAL_FREEDOM[drive.kind] > least)
    reason = message("reason.nearest_kind", kind=kind, others=others)
    places = tuple(place for index in strict for place in found[index].places_mm)
    return Nearest(indices, "A8", reason, None, (), places)


def _kinds(kinds: Iterable[str]) -> Text | None:
    return SAYS.listed(message(f"drive.{kind}") for kind in dict.fromkeys(kinds))


def overhung_question(supports: Sequence[Support], wheels: Sequence[Wheel], locating: int) -> Text | None:
    """Return the question that an overhung wheel raises when its nearest support would be free (A8)."""
    places = [support.at_mm for support in supports if support.at_mm is not None]
    for wheel in wheels:
        if wheel.holds_axial_position is not None or wheel.at_mm is None or len(places) != len(supports):
            continue
        before_mm, behind_mm = min(places) - wheel.at_mm, wheel.at_mm - max(places)
        overhung = round(max(before_mm, behind_mm), DIGITS) > 0
        near = Nearest.of(supports, wheel.at_mm, range(len(supports)))
        if overhung and near.indices != (locating,):
            return message("question.overhung", wheel=wheel.name, position=supports[near.indices[0]].name)
    return None
