"""Charts of a site: the bearing maker's book, going before the built-in practice (rule C3).

A chart is versioned and never edited. Rows that overlap or run backwards are refused; rows that leave a gap, fall
while the bore rises, or differ from the built-in table by more than two times need ``accept_unusual`` and a reason,
each on its own.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import isfinite, log
from typing import Final

from service.findings import Source
from service.reference import clearance_classes, mounting_practice
from service.words import CLEARANCE_CLASSES, SLEEVE_TAPERS

REDUCTION: Final = "reduction"
INITIAL_CLEARANCE: Final = "initial_clearance"
AXIAL_DISPLACEMENT: Final = "axial_displacement"
NUT_TURN: Final = "nut_turn"
KINDS: Final = (REDUCTION, INITIAL_CLEARANCE, AXIAL_DISPLACEMENT, NUT_TURN)
MOST_DIFFERENT: Final = 2.0
Group = tuple[str | None, str | None, bool | None]
"""Clearance class, taper, on a sleeve: what the rows of a chart are apart by, besides their bores."""
_NO_ROWS: Final[tuple[list[float], list["ChartRow"]]] = ([], [])
TAPER_KINDS: Final = (AXIAL_DISPLACEMENT, NUT_TURN)


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One row of a chart, for bores over < d <= incl, [mm].

    Parameters
    ----------
    min_value, max_value : float
        The range: [nm], or [deg] for nut turn
    clearance_class : str or None
        For initial clearance
    taper, on_sleeve : str, bool or None
        For axial displacement and nut turn
    smallest_residual_nm : mapping
        For reduction: smallest residual clearance by class, [nm]
    accept_unusual, reason : bool, str
        The row stands though it is unusual, and why
    """

    over_mm: float
    incl_mm: float
    min_value: float
    max_value: float
    clearance_class: str | None = None
    taper: str | None = None
    on_sleeve: bool | None = None
    smallest_residual_nm: Mapping[str, int] = field(default_factory=dict)
    accept_unusual: bool = False
    reason: str = ""

    @property
    def group(self) -> Group:
        """Return what rows must share to adjoin each other."""
        return (self.clearance_class, self.taper, self.on_sleeve)


@dataclass(frozen=True, slots=True)
class ChartProvenance:
    """Where a chart comes from: title, edition and page, who entered it and who checked it."""

    title: str
    edition: str
    page: str
    entered_by: str
    checked_by: str

    def words(self, version: int) -> str:
        """Return how to name a version of the book in an answer."""
        page = self.page and f"page {self.page}"
        return ", ".join(part for part in (self.title, self.edition, page, f"version {version}") if part)


@dataclass(frozen=True, slots=True)
class Chart:
    """A site's chart of one kind, for one bearing type and bore form."""

    id: str
    version: int
    kind: str
    bearing_type: str
    tapered: bool
    rows: tuple[ChartRow, ...]
    provenance: ChartProvenance
    source: Source = field(init=False, compare=False)
    _by_group: Mapping[Group, tuple[list[float], list[ChartRow]]] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Keep the source, which names the version, and the rows of each group in the order of their bores."""
        source = Source(f"chart-{self.id}-v{self.version}", self.provenance.words(self.version), "site_chart")
        object.__setattr__(self, "source", source)
        groups: dict[Group, tuple[list[float], list[ChartRow]]] = {}
        for row in sorted(self.rows, key=lambda row: row.incl_mm):
            edges_mm, rows = groups.setdefault(row.group, ([], []))
            edges_mm.append(row.incl_mm)
            rows.append(row)
        object.__setattr__(self, "_by_group", groups)

    def row(self, group: Group, bore_mm: float) -> ChartRow | None:
        """Return the row of a group that covers a bore, [mm], or None."""
        edges_mm, rows = self._by_group.get(group, _NO_ROWS)
        place = bisect_left(edges_mm, bore_mm)
        return rows[place] if place < len(rows) and rows[place].over_mm < bore_mm else None


@dataclass(frozen=True, slots=True)
class RowFault:
    """Why a row is refused; ``row`` counts from 1."""

    row: int
    code: str
    detail: str


def row_for(
    charts: Sequence[Chart],
    *,
    kind: str,
    bearing_type: str,
    tapered: bool,
    bore_mm: float,
    group: Group = (None, None, None),
) -> tuple[ChartRow, Source] | None:
    """Return the row of the first chart that covers a bearing, with its source, or None.

    Parameters
    ----------
    charts : sequence of Chart, shape (n,)
        The site's charts in force, in order of precedence
    bore_mm : float
        Bore d, [mm]
    """
    for chart in charts:
        if chart.kind == kind and chart.bearing_type == bearing_type and chart.tapered == tapered:
            row = chart.row(group, bore_mm)
            if row is not None:
                return row, chart.source
    return None


def chart_faults(chart: Chart) -> Iterator[RowFault]:
    """Yield every fault of a chart's rows."""
    groups: dict[object, list[_Numbered]] = {}
    for number, row in enumerate(chart.rows, start=1):
        faults = list(_row_faults(chart, number, row))
        yield from faults
        codes = {fault.code for fault in faults}
        if codes <= {"unusual"}:
            unusual = bool(codes) or row.accept_unusual
            groups.setdefault(row.group, []).append(_Numbered(number, row, unusual))
    for rows in groups.values():
        in_order = sorted(rows, key=lambda numbered: numbered.row.over_mm)
        for before, after in pairwise(in_order):
            yield from _neighbour_faults(before, after)


@dataclass(frozen=True, slots=True)
class _Numbered:
    """A row with its number; whether it is unusual, accepted or not."""

    number: int
    row: ChartRow
    unusual: bool


def _row_faults(chart: Chart, number: int, row: ChartRow) -> Iterator[RowFault]:
    numbers = (row.over_mm, row.incl_mm, row.min_value, row.max_value, *row.smallest_residual_nm.values())
    if not all(isfinite(value) for value in numbers):
        yield RowFault(number, "not_a_number", "a number of the row is not finite")
        return
    if not 0 <= row.over_mm < row.incl_mm:
        yield RowFault(number, "backwards", f"size class {row.over_mm:g}-{row.incl_mm:g} mm runs backwards")
    if not 0 < row.min_value <= row.max_value:
        yield RowFault(number, "backwards", "the smallest value is not above zero or not below the largest")
    if not all(value > 0 for value in row.smallest_residual_nm.values()):
        yield RowFault(number, "backwards", "a smallest residual clearance is not above zero")
    if (row.clearance_class in CLEARANCE_CLASSES) != (chart.kind == INITIAL_CLEARANCE):
        yield RowFault(number, "wrong_member", "a clearance class stands in rows of initial clearance, and only there")
    if (row.taper in SLEEVE_TAPERS and row.on_sleeve is not None) != (chart.kind in TAPER_KINDS):
        yield RowFault(
            number, "wrong_member", "taper and seat stand in rows of displacement and nut turn, and only there"
        )
    if not set(row.smallest_residual_nm) <= set(CLEARANCE_CLASSES):
        yield RowFault(number, "wrong_member", "a smallest residual clearance names an unknown class")
    if row.accept_unusual and not row.reason.strip():
        yield RowFault(number, "no_reason", "accept_unusual needs a reason")
    if not row.accept_unusual:
        yield from _unusual(chart, number, row)


def _unusual(chart: Chart, number: int, row: ChartRow) -> Iterator[RowFault]:
    """Yield where a row is far from the built-in table at any bore of it, the farthest of each column."""
    farthest: dict[str, tuple[float, float]] = {}
    for bore_mm in _compared_bores_mm(chart, row):
        for what, value, built_in in _BUILT_IN[chart.kind](chart, replace(row, incl_mm=bore_mm)):
            if value > 0:
                compared = (value / built_in, bore_mm)
                farthest[what] = max(farthest.get(what, compared), compared, key=lambda each: abs(log(each[0])))
    for what, (ratio, bore_mm) in farthest.items():
        if not 1 / MOST_DIFFERENT <= ratio <= MOST_DIFFERENT:
            yield RowFault(
                number,
                "unusual",
                f"{what} is {ratio:.3g} times the built-in table at bore {bore_mm:g} mm; check the unit and the "
                "decimal point, or send accept_unusual with a reason",
            )


def _compared_bores_mm(chart: Chart, row: ChartRow) -> list[float]:
    """Return the last bore of every size class of the built-in table that a row reaches into, [mm]."""
    if chart.kind == INITIAL_CLEARANCE:
        edges = [band.incl_mm for band in clearance_classes.table(chart.bearing_type, chart.tapered).bands]
    elif chart.bearing_type == "spherical_roller":
        edges = [band.incl_mm for band in mounting_practice.mm_printing().bands]
    else:
        edges = list(mounting_practice.self_aligning_ball_rows())
    return sorted({edge for edge in edges if row.over_mm < edge < row.incl_mm} | {row.incl_mm})


def _neighbour_faults(before: _Numbered, after: _Numbered) -> Iterator[RowFault]:
    number, row, last = after.number, after.row, before.row
    if row.over_mm < last.incl_mm:
        yield RowFault(number, "overlap", f"overlaps the row up to {last.incl_mm:g} mm")
        return
    if row.accept_unusual:
        return
    if row.over_mm > last.incl_mm:
        yield RowFault(number, "gap", f"bores from {last.incl_mm:g} to {row.over_mm:g} mm are not covered")
    falling = row.min_value < last.min_value or row.max_value < last.max_value
    if falling and not (before.unusual or after.unusual):
        yield RowFault(number, "falling", "the values fall while the bore rises")


Compared = Iterator[tuple[str, float, float]]


def _practice(chart: Chart, row: ChartRow) -> mounting_practice.Practice | None:
    if chart.bearing_type == "spherical_roller":
        return mounting_practice.spherical_roller_mm(row.incl_mm)
    return mounting_practice.self_aligning_ball(row.incl_mm)


def _built_in_reduction(chart: Chart, row: ChartRow) -> Compared:
    practice = _practice(chart, row)
    if practice is None:
        return
    yield "the smallest reduction", row.min_value, practice.reduction_nm[0]
    yield "the largest reduction", row.max_value, practice.reduction_nm[1]
    for mark, value_nm in row.smallest_residual_nm.items():
        if mark in practice.smallest_residual_nm:
            yield f"the smallest residual of {mark}", value_nm, practice.smallest_residual_nm[mark]


def _built_in_initial(chart: Chart, row: ChartRow) -> Compared:
    ranges = clearance_classes.table(chart.bearing_type, chart.tapered).found(row.incl_mm)
    if ranges is None or row.clearance_class is None:
        return
    yield "the smallest clearance", row.min_value, ranges[row.clearance_class].min_nm
    yield "the largest clearance", row.max_value, ranges[row.clearance_class].max_nm


def _built_in_displacement(chart: Chart, row: ChartRow) -> Compared:
    practice = _practice(chart, row)
    limits = practice and practice.displacement_nm.get((row.taper or "", bool(row.on_sleeve)))
    if limits:
        yield "the smallest displacement", row.min_value, limits[0]
        yield "the largest displacement", row.max_value, limits[1]


def _built_in_nut_turn(chart: Chart, row: ChartRow) -> Compared:
    practice = _practice(chart, row)
    if practice is not None and practice.locknut_angle_deg and row.taper == "1:12":
        yield "the smallest turn", row.min_value, practice.locknut_angle_deg
        yield "the largest turn", row.max_value, practice.locknut_angle_deg


_BUILT_IN: Final[Mapping[str, Callable[[Chart, ChartRow], Compared]]] = {
    REDUCTION: _built_in_reduction,
    INITIAL_CLEARANCE: _built_in_initial,
    AXIAL_DISPLACEMENT: _built_in_displacement,
    NUT_TURN: _built_in_nut_turn,
}


def beside_built_in(chart: Chart) -> list[tuple[int, str, float, float]]:
    """Return (row from 1, what, its value, that of the built-in table at the last bore of the row), [nm] or [deg]."""
    return [
        (number, what, value, built_in)
        for number, row in enumerate(chart.rows, start=1)
        for what, value, built_in in _BUILT_IN[chart.kind](chart, row)
    ]
