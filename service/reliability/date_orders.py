"""When bearings would have been fitted had their lives come in another order within their positions.

Dates of fitting alone cannot be judged against the class: where positions differ, later fittings come more and more
from the bad ones. Within a position every order of the ended lives is equally likely when dates mean nothing (see
life_order).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from service.reliability.lives import Bools, Floats, Ints
from service.reliability.stay_table import StayTable
from service.reliability.strata import crossed


@dataclass(frozen=True, slots=True)
class DateOrders:
    """Stays by position and date of fitting, and which of them may change places.

    Attributes
    ----------
    row : ndarray of int, shape (n,)
        Stay of the table at each place.
    moves : ndarray of int
        Places of lives that ended and were watched from new, those of one position and class together.
    cell : ndarray of int
        Number of position and class of each of ``moves``.
    slot_h : ndarray, shape (n,)
        From this fitting to the next of the position, [h]
    first : ndarray of int, shape (n,)
        First place of the position of each place.
    begin_h : ndarray, shape (n,)
        Moment of fitting, [h]
    """

    row: Ints
    moves: Ints
    cell: Ints
    slot_h: Floats
    first: Ints
    begin_h: Floats

    def drawn(self, number: int, seed: int) -> Iterator[tuple[Ints, Floats]]:
        """Yield random orders: the stay of the table at each place, and the moment at which it is fitted, [h]."""
        rng = np.random.default_rng(seed)
        for _ in range(number):
            # within a cell in random order: the keys of a cell lie between its number and the next
            order = np.argsort(self.cell + rng.random(len(self.cell)))
            place = np.arange(len(self.row))
            place[self.moves] = self.moves[order]
            slot = self.slot_h[place]
            passed = np.cumsum(slot) - slot
            yield self.row[place], self.begin_h[self.first] + (passed - passed[self.first])


def date_orders(table: StayTable) -> DateOrders:
    """Return the stays as they can be put in other orders.

    Running ones, those that entered late, and the last of a class in its position stay in place (see ``life_order``).
    """
    order = np.lexsort((table.end_h, table.begin_h, table.position))
    position, begin = table.position[order], table.begin_h[order]
    same: Bools = position[1:] == position[:-1]
    slot = np.append(np.where(same, begin[1:] - begin[:-1], 0.0), 0.0)
    last = ~np.append(same, False)
    slot[last] = (table.end_h - table.begin_h)[order][last]
    starts = np.flatnonzero(np.diff(position, prepend=-1))
    first = np.repeat(starts, np.diff(starts, append=len(position)))
    cell = crossed(table.position, table.of_class)[order]
    moving = np.flatnonzero((table.ended & (table.entry_h == 0) & table.followed)[order])
    moving = moving[np.argsort(cell[moving], kind="stable")]
    return DateOrders(order, moving, cell[moving], slot, first, begin)
