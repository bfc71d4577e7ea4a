"""Radial internal clearance before mounting, by type, bore form, bore and class: ISO 5753-1 (rule C2)."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import groupby, pairwise
from typing import Final

from service import units
from service.errors import TableError
from service.findings import Source
from service.reference import tables
from service.reference.bands import Band, Bands, refuse_backward, refuse_falling
from service.words import CLEARANCE_CLASSES

_TABLES: Final = {
    ("spherical_roller", True): "iso5753_srb_tapered",
    ("spherical_roller", False): "iso5753_srb_cylindrical",
    ("self_aligning_ball", True): "iso5753_saball_tapered",
    ("self_aligning_ball", False): "iso5753_saball_cylindrical",
}


@dataclass(frozen=True, slots=True)
class ClearanceRange:
    """Smallest and largest radial internal clearance, both inside, [nm]; whole numbers in every table."""

    min_nm: float
    max_nm: float

    def holds(self, value_nm: float) -> bool:
        """Return whether a clearance lies inside, limits included."""
        return self.min_nm <= value_nm <= self.max_nm


Classes = Mapping[str, ClearanceRange]


def initial_ranges(*, bearing_type: str, tapered: bool, bore_mm: float, field: str = "bearing/bore") -> Classes:
    """Return the range of every class for a bore, [nm].

    Parameters
    ----------
    bearing_type : str
        ``spherical_roller`` or ``self_aligning_ball``
    tapered : bool
        Tapered or cylindrical bore
    bore_mm : float
        Bore d, over < d <= incl, [mm]
    field : str
        Member to name when the bore lies outside the table

    Raises
    ------
    OutOfTable
        No row covers the bore.

    Source
    ------
    ISO 5753-1; see the provenance beside each table.
    """
    what = f"ISO 5753-1, {bearing_type.replace('_', ' ')} bearings, {'tapered' if tapered else 'cylindrical'} bore"
    return table(bearing_type, tapered).at(bore_mm, what=what, field=field)


def iso_5753_1() -> Source:
    """Return the source of the initial clearance."""
    return tables.provenance("iso5753_srb_tapered").source


@cache
def table(bearing_type: str, tapered: bool) -> Bands[Classes]:
    """Return the checked table of a bearing type and bore form."""
    name = _TABLES[bearing_type, tapered]
    return checked(name, tables.rows(name))


def checked(name: str, rows: Iterable[Mapping[str, str]]) -> Bands[Classes]:
    """Return the rows as size classes.

    Raises
    ------
    TableError
        A class is missing, a range runs backwards, or a column falls as the bore rises.
    """
    bands = Bands(name, (_band(name, key, tuple(group)) for key, group in groupby(rows, key=_edges)))
    for mark in CLEARANCE_CLASSES:
        in_order = [band.row[mark] for band in bands.bands]
        refuse_falling(name, f"{mark} min", (row.min_nm for row in in_order))
        refuse_falling(name, f"{mark} max", (row.max_nm for row in in_order))
    return bands


def _edges(row: Mapping[str, str]) -> tuple[float, float]:
    return float(row["d_over_mm"]), float(row["d_incl_mm"])


def _band(name: str, edges: tuple[float, float], rows: tuple[Mapping[str, str], ...]) -> Band[Classes]:
    if tuple(row["class"] for row in rows) != CLEARANCE_CLASSES:
        raise TableError(f"{name}: {edges[0]:g}-{edges[1]:g} has not each class once, in order")
    ranges = {row["class"]: _range(name, row) for row in rows}
    for smaller, larger in pairwise(CLEARANCE_CLASSES):
        if not (ranges[smaller].min_nm < ranges[larger].min_nm and ranges[smaller].max_nm < ranges[larger].max_nm):
            raise TableError(f"{name}: {edges[0]:g}-{edges[1]:g}: {larger} is not above {smaller}")
    return Band(*edges, ranges)


def _range(name: str, row: Mapping[str, str]) -> ClearanceRange:
    smallest_nm, largest_nm = (int(row[column]) * units.NM_PER_UM for column in ("min_um", "max_um"))
    refuse_backward(name, f"{row['class']} from {row['d_over_mm']}", smallest_nm, largest_nm)
    return ClearanceRange(smallest_nm, largest_nm)
