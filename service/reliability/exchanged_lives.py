"""Lives of a position in another order: what a date splits when the lives that ended had come in any order."""

from dataclasses import dataclass, replace

import numpy as np

from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Bools, Floats, Ints, lives


@dataclass(frozen=True, slots=True)
class Split:
    """Failures and hazard spent after the date, or in all."""

    observed: float
    expected: float


@dataclass(frozen=True, slots=True)
class Plant:
    """Stays sorted by position and begin, with the hazard of their class and the blocks in which lives may move.

    Attributes
    ----------
    begin_h, length_h, gap_h : ndarray, shape (n,)
        Fitting, time fitted, and time empty before it, calendar, [h]
    age_h, entry_h, carried_h : ndarray, shape (n,)
        Age at the end, at the beginning of observation, at fitting, [h]
    movable : ndarray of bool, shape (n,)
        Ended, watched from new, followed by one of its class, and not alone in its block (position and class).
    spent, at_end : ndarray, shape (n,)
        Hazard spent, and that of the class at the end, [-]
    step_key, step_hazard : ndarray
        Nelson-Aalen of all classes, ages shifted by class times ``span``.
    """

    begin_h: Floats
    length_h: Floats
    age_h: Floats
    entry_h: Floats
    carried_h: Floats
    failed: Bools
    position: Ints
    class_number: Ints
    movable: Bools
    block: Ints
    gap_h: Floats
    spent: Floats
    at_end: Floats
    step_key: Floats
    step_hazard: Floats
    span: float

    @classmethod
    def of(
        cls, begin_h: Floats, end_h: Floats, age_h: Floats, entry_h: Floats, carried_h: Floats, failed: Bools,
        running: Bools, position: Ints, class_number: Ints, followed: Bools | None = None,
    ) -> "Plant":  # fmt: skip
        """Return the plant of stays in any order."""
        order = np.lexsort((begin_h, position))
        begin, end, age, entry, carried = (one[order] for one in (begin_h, end_h, age_h, entry_h, carried_h))
        place, number = position[order], class_number[order].astype(np.int64)
        first = np.diff(place, prepend=-1) != 0
        gap = np.where(first, 0.0, begin - np.concatenate(([0.0], end[:-1])))
        # the last of its class (see life_order), one that entered late, one that overlaps the stay before: unmoved
        after = np.append((place[1:] == place[:-1]) & (number[1:] == number[:-1]), False)
        movable = ~running[order] & (entry <= 0) & (gap >= 0) & (after if followed is None else followed[order])
        block = place.astype(np.int64) * (int(number.max()) + 1) + number
        _, block = np.unique(block, return_inverse=True)
        movable &= np.bincount(block, movable)[block] >= 2
        key, hazard, span = _hazard(age, entry, failed[order], number)
        at_end = hazard[np.searchsorted(key, number * span + age, side="right") - 1]
        at_entry = hazard[np.searchsorted(key, number * span + entry, side="right") - 1]
        return cls(begin, end - begin, age, entry, carried, failed[order], place, number, movable, block, gap,
                   at_end - at_entry, at_end, key, hazard, span)  # fmt: skip

    def crossing(self, date_h: float) -> "Plant":
        """Return the positions whose movable lives begin before the date and end after it: only there order matters."""
        _, number = np.unique(self.position, return_inverse=True)
        size = int(number.max()) + 1
        first, last = np.full(size, np.inf), np.full(size, -np.inf)
        rows = np.flatnonzero(self.movable)
        np.minimum.at(first, number[rows], self.begin_h[rows])
        np.maximum.at(last, number[rows], self.begin_h[rows] + self.length_h[rows])
        keep = ((first < date_h) & (last > date_h))[number]
        return self.of_rows(keep)

    def of_rows(self, keep: Bools) -> "Plant":
        """Return some of the stays, the hazard staying that of all."""
        return replace(
            self,
            begin_h=self.begin_h[keep],
            length_h=self.length_h[keep],
            age_h=self.age_h[keep],
            entry_h=self.entry_h[keep],
            carried_h=self.carried_h[keep],
            failed=self.failed[keep],
            position=self.position[keep],
            class_number=self.class_number[keep],
            movable=self.movable[keep],
            block=self.block[keep],
            gap_h=self.gap_h[keep],
            spent=self.spent[keep],
            at_end=self.at_end[keep],
        )

    def shuffled(self, rng: np.random.Generator) -> Ints:
        """Return which life stands in each place: movable lives of a block in a random order, the others unmoved."""
        found = np.arange(len(self.begin_h))
        rows = np.flatnonzero(self.movable)
        drawn = rows[np.argsort(self.block[rows] + rng.random(len(rows)), kind="stable")]
        found[rows[np.argsort(self.block[rows], kind="stable")]] = drawn
        return found

    def after(self, date_h: float, life: Ints) -> Split:
        """Return failures and hazard spent after the date with these lives in the places, dates counted anew."""
        length = self.length_h[life]
        ends = np.cumsum(length + self.gap_h)
        first = np.flatnonzero(np.diff(self.position, prepend=-1) != 0)
        if len(first) == 0:
            return Split(0.0, 0.0)
        offset = self.begin_h[first] - (ends - length)[first]
        ends = ends + np.repeat(offset, np.diff(first, append=len(ends)))
        begins = ends - length
        whole, part = begins >= date_h, (begins < date_h) & (ends > date_h)
        expected = float(self.spent[life[whole]].sum())
        rows = life[part]
        if len(rows):
            rate = (self.age_h[rows] - self.carried_h[rows]) / length[part]
            age = np.maximum(self.carried_h[rows] + (date_h - begins[part]) * rate, self.entry_h[rows])
            place = np.searchsorted(self.step_key, self.class_number[rows] * self.span + age, side="right") - 1
            expected += float((self.at_end[rows] - self.step_hazard[place]).sum())
        return Split(float(np.count_nonzero(self.failed[life[whole | part]])), expected)


def _hazard(age: Floats, entry: Floats, failed: Bools, number: Ints) -> tuple[Floats, Floats, float]:
    """Return class x span + failure age, rising, and Nelson-Aalen of the class there; each class begins with 0."""
    # one day from service.reliability.hazard
    span = 2.0 * float(age.max()) + 1.0
    seen, group = np.unique(number, return_inverse=True)
    steps = survival_steps(lives(age, failed, entry_h=entry, group=group))
    key = np.concatenate((seen * span, seen[steps.group] * span + steps.time_h))
    hazard = np.concatenate((np.zeros(len(seen)), steps.cumulative_hazard))
    order = np.argsort(key, kind="stable")
    return key[order], hazard[order], span
