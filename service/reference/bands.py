"""Tables by size class, ``over < d <= incl``: no gap, no overlap, no column running backwards, no extrapolation."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Generic, TypeVar

from service import units
from service.errors import OutOfTable, TableError

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Band(Generic[Row]):
    """One size class and what stands in it."""

    over_mm: float
    incl_mm: float
    row: Row


class Bands(Generic[Row]):
    """A table of adjoining size classes.

    Raises
    ------
    TableError
        The table is empty, or classes leave a gap, overlap or run backwards.
    """

    __slots__ = ("_incl_mm", "bands", "first_over_mm", "last_incl_mm", "name")

    def __init__(self, name: str, bands: Iterable[Band[Row]]) -> None:
        self.name = name
        self.bands: Sequence[Band[Row]] = tuple(bands)
        if not self.bands:
            raise TableError(f"{name}: no rows")
        for band in self.bands:
            if not 0 <= band.over_mm < band.incl_mm:
                raise TableError(f"{name}: class {band.over_mm:g}-{band.incl_mm:g} runs backwards")
        for before, after in pairwise(self.bands):
            if after.over_mm > before.incl_mm:
                raise TableError(f"{name}: gap between {before.incl_mm:g} and {after.over_mm:g}")
            if after.over_mm < before.incl_mm:
                raise TableError(f"{name}: classes overlap at {after.over_mm:g}")
        self._incl_mm = [band.incl_mm for band in self.bands]
        self.first_over_mm = self.bands[0].over_mm
        self.last_incl_mm = self.bands[-1].incl_mm

    def found(self, size_mm: float) -> Row | None:
        """Return the row of a size, or None when no class covers it."""
        if not self.first_over_mm < size_mm <= self.last_incl_mm:
            return None
        return self.bands[bisect_left(self._incl_mm, size_mm)].row

    def at(self, size_mm: float, *, what: str, field: str) -> Row:
        """Return the row of a size.

        Raises
        ------
        OutOfTable
            No class covers the size.
        """
        row = self.found(size_mm)
        if row is None:
            raise OutOfTable(
                (
                    f"{what}: the table covers sizes over ",
                    units.dimension(self.first_over_mm),
                    " up to ",
                    units.dimension(self.last_incl_mm),
                    ", not ",
                    units.dimension(size_mm),
                    "; nothing is extrapolated",
                ),
                field=field,
            )
        return row


def refuse_falling(name: str, column: str, values: Iterable[float | None]) -> None:
    """Refuse a column that falls while the size rises; empty cells are passed over.

    Raises
    ------
    TableError
        A value is smaller than the one in a smaller size class.
    """
    before: float | None = None
    for now in values:
        if now is None:
            continue
        if before is not None and now < before:
            raise TableError(f"{name}: column {column} falls from {before:g} to {now:g}")
        before = now


def refuse_backward(name: str, column: str, smallest: float, largest: float) -> None:
    """Refuse a range whose smallest value is not below its largest, or not above zero.

    Raises
    ------
    TableError
        The range runs backwards.
    """
    if not 0 < smallest <= largest:
        raise TableError(f"{name}: {column} runs backwards: {smallest:g} to {largest:g}")
