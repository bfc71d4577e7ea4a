"""Two books of a site that both give a number for one bearing, and not the same: said, never chosen silently (C3)."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from service import units
from service.findings import Source, Warned
from service.mounting import charts
from service.mounting.charts import Chart, ChartRow, Group
from service.mounting.messages import SAYS
from service.reference.bearings import Bearing
from service.units import Quantity

_QUANTITY: Final[Mapping[str, Callable[[float], Quantity]]] = {
    charts.REDUCTION: units.clearance,
    charts.INITIAL_CLEARANCE: units.clearance,
    charts.AXIAL_DISPLACEMENT: units.displacement,
    charts.NUT_TURN: units.angle,
}


def competing_charts(in_force: Sequence[Chart], bearing: Bearing, *, seat: str) -> Iterator[Warned]:
    """Yield a warning for each kind of number that two charts in force give differently for a bearing.

    Parameters
    ----------
    in_force : sequence of Chart, shape (n,)
        The site's charts in order of precedence
    """
    if len(in_force) < 2:
        return
    on_taper = (None, bearing.taper, seat != "tapered_journal")
    groups: Mapping[str, Group] = {
        charts.REDUCTION: (None, None, None),
        charts.INITIAL_CLEARANCE: (bearing.clearance_class, None, None),
        charts.AXIAL_DISPLACEMENT: on_taper,
        charts.NUT_TURN: on_taper,
    }
    used: dict[str, tuple[ChartRow, Source]] = {}
    tapered, bore_mm, bearing_type = bearing.tapered, bearing.bore_mm, bearing.type
    for chart in in_force:
        if chart.bearing_type != bearing_type or chart.tapered != tapered:
            continue
        row = chart.row(groups[chart.kind], bore_mm)
        if row is None:
            continue
        first = used.setdefault(chart.kind, (row, chart.source))
        if first[0] is not row and _numbers(first[0], bearing) != _numbers(row, bearing):
            yield _differ(chart.kind, first, (row, chart.source))


def _numbers(row: ChartRow, bearing: Bearing) -> tuple[float | None, ...]:
    return row.min_value, row.max_value, row.smallest_residual_nm.get(bearing.clearance_class)


def _differ(kind: str, used: tuple[ChartRow, Source], other: tuple[ChartRow, Source]) -> Warned:
    quantity = _QUANTITY[kind]
    return SAYS.warned(
        "charts_differ",
        number=SAYS.message(f"numbers.{kind}"),
        used=used[1].title,
        used_min=quantity(used[0].min_value),
        used_max=quantity(used[0].max_value),
        other=other[1].title,
        other_min=quantity(other[0].min_value),
        other_max=quantity(other[0].max_value),
    )
