"""The bearing as the rules see it, and the boundary dimensions of ISO 15."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from service import units
from service.errors import TableError
from service.findings import Source, Warned
from service.reference import tables
from service.words import BEARING_TYPES, TAPERS

SPHERICAL_ROLLER: Final = "spherical_roller"
SELF_ALIGNING_BALL: Final = "self_aligning_ball"
TYPES: Final = BEARING_TYPES


@dataclass(frozen=True, slots=True)
class Bearing:
    """One bearing, read from its designation or given by its dimensions.

    Parameters
    ----------
    clearance_class_assumed : bool
        No class was marked, so CN was taken (C1).
    class_to_confirm : bool
        The class must be read from the ring before work goes on: assumed, or from a combined mark (C1).
    unread_suffixes : tuple of str
        Letters that the standards do not define; kept, never interpreted.
    """

    designation: str | None
    type: str
    series: str | None
    bore_mm: float
    outside_diameter_mm: float | None
    width_mm: float | None
    taper: str
    clearance_class: str
    clearance_class_assumed: bool
    class_to_confirm: bool
    unread_suffixes: tuple[str, ...]
    warnings: tuple[Warned, ...]

    @property
    def tapered(self) -> bool:
        """Return whether the bore is tapered."""
        return self.taper != "cylindrical"

    def record(self) -> dict[str, Any]:
        """Return the wire member ``bearing``."""
        return {
            "designation": self.designation,
            "type": self.type,
            "series": self.series,
            "bore": units.dimension(self.bore_mm),
            "outside_diameter": _dimension(self.outside_diameter_mm),
            "width": _dimension(self.width_mm),
            "taper": self.taper,
            "clearance_class": self.clearance_class,
            "clearance_class_assumed": self.clearance_class_assumed,
            "unread_suffixes": list(self.unread_suffixes),
        }


def _dimension(value_mm: float | None) -> units.Quantity | None:
    return None if value_mm is None else units.dimension(value_mm)


@dataclass(frozen=True, slots=True)
class BoundaryDimensions:
    """A row of ISO 15: bore d, outside diameter D and width B of one size, and the taper its K form is made with."""

    number: str
    type: str
    series: str
    bore_mm: float
    outside_diameter_mm: float
    width_mm: float
    tapered_as: str
    agreeing_publications: int
    confidence: str


def boundary_dimensions(number: str) -> BoundaryDimensions | None:
    """Return the row of a basic number such as ``22216`` or ``230/500``, or None."""
    return sizes().get(number)


def iso_15() -> Source:
    """Return the source of the boundary dimensions."""
    return tables.provenance("bearings_iso15").source


@cache
def sizes() -> Mapping[str, BoundaryDimensions]:
    """Return all rows by basic number.

    Raises
    ------
    TableError
        A number occurs twice, or a row has a bore that is not smaller than its outside diameter.
    """
    return _checked(tuple(_row(row) for row in tables.rows("bearings_iso15")))


def _row(row: Mapping[str, str]) -> BoundaryDimensions:
    return BoundaryDimensions(
        number=row["designation"],
        type=row["type"],
        series=row["series"],
        bore_mm=float(row["bore_mm"]),
        outside_diameter_mm=float(row["outside_diameter_mm"]),
        width_mm=float(row["width_mm"]),
        tapered_as=row["k_taper"],
        agreeing_publications=int(row["agreeing_publications"]),
        confidence=row["confidence"],
    )


def _checked(rows: tuple[BoundaryDimensions, ...]) -> Mapping[str, BoundaryDimensions]:
    by_number: dict[str, BoundaryDimensions] = {}
    for row in rows:
        if row.number in by_number:
            raise TableError(f"bearings_iso15: {row.number} occurs twice")
        if not 0 < row.bore_mm < row.outside_diameter_mm or not 0 < row.width_mm < row.outside_diameter_mm:
            raise TableError(f"bearings_iso15: {row.number} has impossible dimensions")
        if row.type not in TYPES or row.tapered_as not in TAPERS:
            raise TableError(f"bearings_iso15: {row.number} has an unknown type or taper")
        by_number[row.number] = row
    return by_number
