"""What a reading is worth, judged by the targets of the revision it names (rule C5)."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from service.errors import CannotEvaluate
from service.mounting.blades import BladeSet
from service.mounting.charts import Chart
from service.mounting.designation import bearing_from_dimensions
from service.mounting.guidance import initial_clearance
from service.mounting.readings import RECHECK, Measured, Verdict, initial_verdict, residual_verdict

Target = Mapping[str, Any]


def judge(
    kind: str,
    measured: Measured,
    target: Target,
    *,
    blade_set: BladeSet,
    charts: Sequence[Chart] = (),
    initial_row_values_nm: Sequence[float] | None = None,
    read_again: bool = False,
    refitted: bool = False,
) -> Verdict:
    """Return the verdict on one reading of a record.

    Parameters
    ----------
    kind : str
        ``initial_clearance`` or ``residual_clearance``
    measured : Measured
        The readings by row of rollers, [nm]
    target : dict
        The target of the position, from the plan whose card was in the mechanic's hand
    charts : sequence of Chart, shape (n,)
        The site's charts that this plan was made with
    initial_row_values_nm : sequence of float or None, shape (rows,)
        What the same rows measured before mounting, for a residual clearance, [nm]
    read_again : bool
        The rows differed at the reading before, [-]
    refitted : bool
        The bearing that ran here goes back in, [-]

    Raises
    ------
    CannotEvaluate
        Readings of this kind are not judged (code ``reading_kind_not_judged``).
    """
    if kind == "initial_clearance":
        return _initial(measured, target, blade_set, charts, refitted)
    if kind != "residual_clearance":
        raise CannotEvaluate(
            f"readings of kind {kind!r} are not judged; judged are initial_clearance, residual_clearance",
            code="reading_kind_not_judged",
            field="kind",
        )
    return _residual(measured, target, blade_set, initial_row_values_nm, read_again)


def _initial(
    measured: Measured, target: Target, blade_set: BladeSet, charts: Sequence[Chart], refitted: bool
) -> Verdict:
    bearing = target["bearing"]
    if bearing is None:
        return _NO_BEARING
    limits = initial_clearance(
        bearing_from_dimensions(
            type=bearing["type"],
            bore_mm=bearing["bore"].value,
            taper=bearing["taper"],
            clearance_class=bearing["clearance_class"],
        ),
        system=blade_set.system,
        charts_in_force=charts,
    )
    if limits is None:
        return _NO_RANGE
    return initial_verdict(
        row_values_nm=measured.row_values_nm,
        ranges=limits.inside,
        other_classes=limits.other_classes,
        blade_set=blade_set,
        refitted=refitted,
    )


def _residual(
    measured: Measured,
    target: Target,
    blade_set: BladeSet,
    initial_row_values_nm: Sequence[float] | None,
    read_again: bool,
) -> Verdict:
    window = target["residual_clearance"]
    if window is None:
        return _NO_WINDOW
    return residual_verdict(
        row_values_nm=measured.row_values_nm,
        min_nm=window["min"].value,
        max_nm=window["max"].value,
        floor_nm=window["floor"].value,
        blade_set=blade_set,
        initial_row_values_nm=initial_row_values_nm,
        read_again=read_again,
        provisional=window["provisional"],
    )


_NO_BEARING: Final = Verdict(
    RECHECK,
    "bearing_not_known",
    (),
    None,
    "The bearing is not on record, so there is no range to judge by.",
    "Read the marks on the ring, enter the bearing, and measure with the card that comes back.",
)
_NO_RANGE: Final = Verdict(
    RECHECK,
    "no_range_in_table",
    (),
    None,
    "No table gives the initial clearance of this class for this bore.",
    "Take the range from the bearing maker's book.",
)
_NO_WINDOW: Final = Verdict(
    RECHECK,
    "no_window",
    (),
    None,
    "There is no residual window: the class has no practice row, the initial clearance lies outside its range, or "
    "nothing is left between reduction and smallest residual.",
    "See the STOP step of this bearing. Without one, take the smallest residual clearance from the bearing maker's "
    "book, or measure the initial clearance again.",
)
