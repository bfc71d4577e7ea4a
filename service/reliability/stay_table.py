"""The columns of stays from which verdicts are made: one row a stay, no row an object."""

from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from service.reliability.lives import Bools, Floats, Ints

NOTHING: Final = 0
SAME: Final = 1
OTHER: Final = 2


@dataclass(frozen=True, slots=True)
class StayTable:
    """Stays of a whole site, n rows; a filter of what is shown does not shorten it.

    Attributes
    ----------
    age_h, entry_h : ndarray, shape (n,)
        Age at the end, and at the beginning, of observation, [h]
    failed : ndarray, shape (n,)
        1 failed, 0 not; between them where a failure is shared out among modes of damage, [-]
    ended : ndarray of bool, shape (n,)
        The bearing was taken out: failed, or removed by plan. False: still running, or lost from sight.
    of_class, position, asset : ndarray of int, shape (n,)
        Number of the class within which lives are compared, of the position, and of its machine.
    begin_h, end_h : ndarray, shape (n,)
        Moment of fitting, and of removal or of the look at a running one, hours since 1970, [h]
    after : ndarray of int, shape (n,)
        What was fitted in the position after it: ``NOTHING``, ``SAME`` class, or ``OTHER``.
    """

    age_h: Floats
    entry_h: Floats
    failed: Floats
    ended: Bools
    of_class: Ints
    position: Ints
    asset: Ints
    begin_h: Floats
    end_h: Floats
    after: Ints

    @property
    def rows(self) -> int:
        """Return the number of stays, [-]."""
        return len(self.age_h)

    @property
    def positions(self) -> int:
        """Return the number of positions with a stay, [-]."""
        return len(np.unique(self.position))

    @property
    def followed(self) -> Bools:
        """Return which stays are followed, in their position, by one of the same class, shape (n,).

        Only those may change places with others. The last of a position or of a class is long for being the last where
        a date ended the row (a filter, a designation that was superseded): a date falls into long lives more often.
        """
        return np.asarray(self.after == SAME)

    def of_rows(self, keep: Bools) -> "StayTable":
        """Return some of the stays; what followed each stays what followed it."""
        return StayTable(**{one.name: getattr(self, one.name)[keep] for one in fields(self)})

    def chosen(self, keep: Bools) -> "StayTable":
        """Return the stays that a filter chooses; those it does not choose are of another class for those before."""
        kind = 2 * self.of_class + keep
        return replace(self, after=_after(self.position, kind, self.begin_h, self.end_h)).of_rows(keep)


def stay_table(
    age_h: ArrayLike,
    failed: ArrayLike,
    *,
    position: ArrayLike,
    begin_h: ArrayLike,
    end_h: ArrayLike,
    ended: ArrayLike | None = None,
    entry_h: ArrayLike | None = None,
    of_class: ArrayLike | None = None,
    asset: ArrayLike | None = None,
) -> StayTable:
    """Return the columns, checked.

    Parameters
    ----------
    age_h, failed, position, begin_h, end_h, ended, entry_h, of_class, asset : array, shape (n,)
        See ``StayTable``. By default what failed has ended and nothing else, all was watched from new, all is one
        class, and each position is a machine of its own.

    Raises
    ------
    ValueError
        No rows, columns of different length, an entry outside 0 <= entry < age, a share of a failure outside 0 .. 1,
        a fitting after the end, a number that is not finite, a negative number of a class, position or machine.
    """
    age, share = np.asarray(age_h, dtype=np.float64), np.asarray(failed, dtype=np.float64)
    place = np.asarray(position, dtype=np.int64)
    kind = np.zeros_like(place) if of_class is None else np.asarray(of_class, dtype=np.int64)
    begin, end = np.asarray(begin_h, dtype=np.float64), np.asarray(end_h, dtype=np.float64)
    found = StayTable(
        age,
        np.zeros_like(age) if entry_h is None else np.asarray(entry_h, dtype=np.float64),
        share,
        share > 0 if ended is None else np.asarray(ended, dtype=np.bool_),
        kind,
        place,
        place if asset is None else np.asarray(asset, dtype=np.int64),
        begin,
        end,
        np.zeros_like(place),
    )
    _check(found)
    return replace(found, after=_after(place, kind, begin, end))


def _after(position: Ints, kind: Ints, begin_h: Floats, end_h: Floats) -> Ints:
    """Return whether nothing, the same kind or another followed each stay in its position, shape (n,)."""
    order = np.lexsort((end_h, begin_h, position))
    place, of_kind = position[order], kind[order]
    found = np.full(len(position), NOTHING, dtype=np.int64)
    same = np.where(of_kind[1:] == of_kind[:-1], SAME, OTHER)
    found[order[:-1]] = np.where(place[1:] == place[:-1], same, NOTHING)
    return found


def _check(found: StayTable) -> None:
    columns = (found.age_h, found.entry_h, found.failed, found.ended, found.of_class, found.position, found.asset)
    if found.rows == 0 or {len(one) for one in (*columns, found.begin_h, found.end_h)} != {found.rows}:
        raise ValueError("columns of the same length, at least one row, are needed")
    if not all(np.all(np.isfinite(one)) for one in (found.age_h, found.entry_h, found.begin_h, found.end_h)):
        raise ValueError("ages and moments must be finite")
    if not (np.all(found.entry_h >= 0) and np.all(found.entry_h < found.age_h)):
        raise ValueError("observation must begin at an age of zero or more and below the age at its end")
    if not (np.all(found.failed >= 0) and np.all(found.failed <= 1)):
        raise ValueError("a share of a failure must lie between 0 and 1")
    if np.any((found.failed > 0) & ~found.ended):
        raise ValueError("what failed has ended")
    if np.any(found.begin_h > found.end_h):
        raise ValueError("a fitting must not come after the end of the stay")
    if min(int(one.min()) for one in (found.of_class, found.position, found.asset)) < 0:
        raise ValueError("numbers of classes, positions and machines begin with 0")
