"""Common practice for tapered bores: reduction, smallest residual, axial displacement. Not a standard (rule C3).

Two printings exist for spherical roller bearings, mm and inch, each with its own rounding; self-aligning ball
bearings have a table of single bores. The practice holds for solid steel shafts.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import product

from service import units
from service.errors import TableError
from service.findings import Source
from service.reference import tables
from service.reference.bands import Band, Bands, refuse_backward, refuse_falling
from service.reference.clearance_classes import Classes, ClearanceRange
from service.words import CLEARANCE_CLASSES, SLEEVE_TAPERS, TAPERS

Range = tuple[int, int]
"""Smallest and largest value, [nm]."""
ToNm = Callable[[str], int]


@dataclass(frozen=True, slots=True)
class Practice:
    """What common practice prints for one bore.

    Parameters
    ----------
    reduction_nm : tuple of int
        Reduction of the radial internal clearance, smallest and largest, [nm]
    smallest_residual_nm : mapping
        Smallest residual clearance by class, [nm]; a class that is not printed is not in it
    displacement_nm : mapping
        Axial displacement by (taper, on a sleeve), [nm]; what is not printed is not in it
    locknut_angle_deg : float or None
        Turn of the locknut, [deg]
    printed_ranges : mapping or None
        Initial clearance as this printing gives it, only where it has its own rounding, [nm]
    """

    reduction_nm: Range
    smallest_residual_nm: Mapping[str, int]
    displacement_nm: Mapping[tuple[str, bool], Range]
    locknut_angle_deg: float | None
    printed_ranges: Classes | None
    source: Source


RowOf = Callable[[str, Mapping[str, str]], Practice]


def spherical_roller_mm(bore_mm: float) -> Practice | None:
    """Return the row of the mm printing, or None when no row covers the bore, [mm]."""
    return mm_printing().found(bore_mm)


def spherical_roller_inch(bore_mm: float) -> Practice | None:
    """Return the row of the inch printing, or None when no row covers the bore, [mm]."""
    return inch_printing().found(bore_mm)


def self_aligning_ball(bore_mm: float) -> Practice | None:
    """Return the row of a bore, or None: single bores are printed and nothing is interpolated, [mm]."""
    return self_aligning_ball_rows().get(bore_mm)


def band_in_print(bore_mm: float) -> Range | None:
    """Return the smallest and the largest reduction that competing printings give for a bore, [nm]."""
    return printings().found(bore_mm)


@cache
def mm_printing() -> Bands[Practice]:
    """Return the mm printing, checked."""
    return checked("mounting_srb", tables.rows("mounting_srb"), _mm_row)


@cache
def inch_printing() -> Bands[Practice]:
    """Return the inch printing, checked."""
    return checked("mounting_srb_inch", tables.rows("mounting_srb_inch"), _inch_row)


def printed_ratios(bore_mm: float, taper: str) -> tuple[float, ...]:
    """Return reduction over axial displacement of each competing printing for a bore, middles of their ranges, [-].

    Parameters
    ----------
    bore_mm : float
        Bore d, [mm]
    taper : str
        ``1:12`` or ``1:30``
    """
    bands = ratios_in_print().get(taper)
    return (bands.found(bore_mm) if bands else None) or ()


@cache
def ratios_in_print() -> Mapping[str, Bands[tuple[float, ...]]]:
    """Return the ratios of all printings by taper and size class; displacement on a shaft, no sleeve."""
    by_taper: dict[str, Bands[tuple[float, ...]]] = {}
    for taper in SLEEVE_TAPERS:
        column = "axial_displacement_" + taper.replace(":", "_") + "_{}_mm"
        found: dict[tuple[float, float], list[float]] = {}
        for row in tables.rows("mounting_srb_families"):
            if row[column.format("max")]:
                taken, moved = (_range(row, name, units.nm_from_mm) for name in ("reduction_{}_mm", column))
                found.setdefault((float(row["d_over_mm"]), float(row["d_incl_mm"])), []).append(sum(taken) / sum(moved))
        bands = (Band(*edges, tuple(ratios)) for edges, ratios in sorted(found.items()))
        by_taper[taper] = Bands("mounting_srb_families", bands)
    return by_taper


@cache
def printings() -> Bands[Range]:
    """Return the band that the competing printings span, by size class, [nm]."""
    spans: dict[tuple[float, float], list[Range]] = {}
    for row in tables.rows("mounting_srb_families"):
        reduction = _range(row, "reduction_{}_mm", units.nm_from_mm)
        spans.setdefault((float(row["d_over_mm"]), float(row["d_incl_mm"])), []).append(reduction)
    return Bands(
        "mounting_srb_families",
        (Band(*edges, (min(r[0] for r in rs), max(r[1] for r in rs))) for edges, rs in sorted(spans.items())),
    )


@cache
def self_aligning_ball_rows() -> Mapping[float, Practice]:
    """Return the rows of self-aligning ball bearings by bore, [mm]."""
    return checked_single_bores(tables.rows("mounting_saball"))


def checked(name: str, rows: Iterable[Mapping[str, str]], row_of: RowOf) -> Bands[Practice]:
    """Return the rows of a printing as size classes.

    Raises
    ------
    TableError
        A range runs backwards or a column falls as the bore rises.
    """
    bands = Bands(name, (Band(float(r["d_over_mm"]), float(r["d_incl_mm"]), row_of(name, r)) for r in rows))
    _refuse_falling_columns(name, [band.row for band in bands.bands])
    return bands


def checked_single_bores(rows: Iterable[Mapping[str, str]]) -> Mapping[float, Practice]:
    """Return the rows of self-aligning ball bearings by bore, [mm].

    Raises
    ------
    TableError
        Bores do not rise, a range runs backwards or a column falls. The displacement on a sleeve is left out of
        the last check: it is printed 0.01 mm smaller at 25 mm than at 20 mm (see the note in the provenance).
    """
    name = "mounting_saball"
    by_bore: dict[float, Practice] = {}
    for row in rows:
        bore_mm = float(row["d_mm"])
        if by_bore and bore_mm <= max(by_bore):
            raise TableError(f"{name}: bore {bore_mm:g} does not rise")
        by_bore[bore_mm] = _ball_row(name, row)
    _refuse_falling_columns(name, list(by_bore.values()), seats=(False,))
    return by_bore


def _refuse_falling_columns(name: str, rows: list[Practice], seats: tuple[bool, ...] = (False, True)) -> None:
    columns: dict[str, list[float | None]] = {}
    for row in rows:
        for mark in CLEARANCE_CLASSES:
            columns.setdefault(f"residual {mark}", []).append(row.smallest_residual_nm.get(mark))
        ranges: dict[str, Range | None] = {"reduction": row.reduction_nm}
        for key in product(TAPERS, seats):
            ranges[f"displacement {key}"] = row.displacement_nm.get(key)
        for column, limits in ranges.items():
            columns.setdefault(f"{column} min", []).append(limits and limits[0])
            columns.setdefault(f"{column} max", []).append(limits and limits[1])
    for column, values in columns.items():
        refuse_falling(name, column, values)


def _mm_row(name: str, row: Mapping[str, str]) -> Practice:
    columns = {
        ("1:12", False): "axial_displacement_1_12_{}_mm",
        ("1:12", True): "axial_displacement_1_12_on_sleeve_{}_mm",
        ("1:30", False): "axial_displacement_1_30_{}_mm",
        ("1:30", True): "axial_displacement_1_30_on_sleeve_{}_mm",
    }
    angle = row["locknut_angle_1_12_deg"]
    return Practice(
        reduction_nm=_range(row, "reduction_{}_mm", units.nm_from_mm, name),
        smallest_residual_nm=_residuals(row, "residual_min_{}_mm"),
        displacement_nm=_displacements(name, row, columns, units.nm_from_mm),
        locknut_angle_deg=float(angle) if angle else None,
        printed_ranges=None,
        source=tables.provenance("mounting_srb").source,
    )


def _inch_row(name: str, row: Mapping[str, str]) -> Practice:
    columns = {
        ("1:12", False): "axial_displacement_1_12_shaft_{}_in",
        ("1:30", False): "axial_displacement_1_30_shaft_{}_in",
    }
    ranges = {mark: _range(row, mark + "_{}_in", units.nm_from_in, name) for mark in CLEARANCE_CLASSES}
    return Practice(
        reduction_nm=_range(row, "reduction_{}_in", units.nm_from_in, name),
        smallest_residual_nm={},
        displacement_nm=_displacements(name, row, columns, units.nm_from_in),
        locknut_angle_deg=None,
        printed_ranges={mark: ClearanceRange(*limits) for mark, limits in ranges.items()},
        source=tables.provenance("mounting_srb_inch").source,
    )


def _ball_row(name: str, row: Mapping[str, str]) -> Practice:
    columns = {
        ("1:12", False): "axial_displacement_on_shaft_{}_mm",
        ("1:12", True): "axial_displacement_on_sleeve_{}_mm",
    }
    angle = row["locknut_angle_deg"]
    return Practice(
        reduction_nm=_range(row, "reduction_{}_mm", units.nm_from_mm, name),
        smallest_residual_nm=_residuals(row, "residual_{}_mm"),
        displacement_nm=_displacements(name, row, columns, units.nm_from_mm),
        locknut_angle_deg=float(angle) if angle else None,
        printed_ranges=None,
        source=tables.provenance("mounting_saball").source,
    )


def _residuals(row: Mapping[str, str], column: str) -> Mapping[str, int]:
    cells = {mark: row.get(column.format(mark)) for mark in CLEARANCE_CLASSES}
    return {mark: units.nm_from_mm(cell) for mark, cell in cells.items() if cell}


def _displacements(
    name: str, row: Mapping[str, str], columns: Mapping[tuple[str, bool], str], to_nm: ToNm
) -> Mapping[tuple[str, bool], Range]:
    filled = {key: column for key, column in columns.items() if row[column.format("min")]}
    return {key: _range(row, column, to_nm, name) for key, column in filled.items()}


def _range(row: Mapping[str, str], column: str, to_nm: ToNm, name: str = "mounting_srb_families") -> Range:
    smallest_nm, largest_nm = to_nm(row[column.format("min")]), to_nm(row[column.format("max")])
    refuse_backward(name, column.format("min/max"), smallest_nm, largest_nm)
    return smallest_nm, largest_nm
