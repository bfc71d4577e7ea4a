"""The clearance target of one bearing as a value, and its record (wire answer of a clearance target)."""

from dataclasses import dataclass
from typing import Any

from service import units
from service.findings import Blocked, Missing, Source, Warned
from service.mounting.blades import BladeSet, BladeTargets
from service.mounting.guidance import Displacement, Initial, NutTurn, Reduction
from service.mounting.operating import OperatingClearance
from service.mounting.readings import Measured, Verdict
from service.mounting.taper_fit import Fit
from service.mounting.window import Window
from service.reference.bearings import Bearing


@dataclass(frozen=True, slots=True)
class MeasuredClearance:
    """The measured initial clearance, judged: ``value_nm`` is the mean of its rows, [nm]."""

    readings: Measured
    row_values_nm: tuple[float, ...]
    value_nm: float
    verdict: Verdict
    position_in_range: float | None

    @property
    def accepted(self) -> bool:
        """Return whether a window may be computed from it."""
        return self.verdict.verdict == "accept"

    def record(self) -> dict[str, Any]:
        """Return the wire member ``measured``."""
        record: dict[str, Any] = {
            "value": units.clearance(self.value_nm),
            "rows": [units.clearance(each) for each in self.row_values_nm],
            "verdict": self.verdict.verdict,
            "position_in_range": self.position_in_range,
        }
        if self.verdict.fits_class is not None:
            record["fits_class"] = self.verdict.fits_class
        return record


@dataclass(frozen=True, slots=True)
class ClearanceTarget:
    """What one bearing must have before, what to take away and what must be left.

    Parameters
    ----------
    window : Window or None
        None when no rule gives one, the reading is not accepted, or nothing lies inside (then ``blocked`` says so)
    blades : BladeTargets or None
        None without a measured window and for bearings that are not judged by blades
    elastic_displacement_nm : tuple of float or None
        Axial displacement by elastic theory, solid or hollow shaft, without a sleeve's own closing, [nm]
    """

    bearing: Bearing
    seat: str
    blade_set: BladeSet
    initial: Initial
    measured: MeasuredClearance | None
    reduction: Reduction | None
    window: Window | None
    blades: BladeTargets | None
    displacement: Displacement | None
    elastic_displacement_nm: tuple[float, float] | None
    nut_turn: NutTurn | None
    fit: Fit | None
    operating: OperatingClearance | None
    missing: tuple[Missing, ...]
    blocked: tuple[Blocked, ...]
    warnings: tuple[Warned, ...]
    sources: tuple[Source, ...]

    def record(self) -> dict[str, Any]:
        """Return the wire answer, quantities still unit-neutral."""
        limits = self.initial.limits
        return {
            "bearing": self.bearing.record(),
            "initial_clearance": {
                "min": units.clearance(limits.min_nm),
                "max": units.clearance(limits.max_nm),
                "source": self.initial.source.id,
            },
            "measured": self.measured.record() if self.measured else None,
            "reduction": self._reduction_record(),
            "residual_clearance": self._residual_record(),
            "blades": self.blades.record() if self.blades else None,
            "axial_displacement": self._displacement_record(),
            "nut_turn": _turn_record(self.nut_turn),
            "fit": self.fit.record() if self.fit else None,
            "operating_clearance": self.operating.record() if self.operating else None,
            "missing": [one.record() for one in self.missing],
            "blocked": [one.record() for one in self.blocked],
            "warnings": [one.record() for one in self.warnings],
            "sources": [one.record() for one in self.sources],
        }

    def _reduction_record(self) -> dict[str, Any] | None:
        if self.reduction is None:
            return None
        min_nm, max_nm = self.reduction.limits_nm
        band = self.reduction.band_in_print_nm
        return {
            "min": units.clearance(min_nm),
            "max": units.clearance(max_nm),
            "aim": _optional(self.window.reduction_aim_nm if self.window else None),
            "source": self.reduction.source.id,
            "band_in_print": band and {"min": units.clearance(band[0]), "max": units.clearance(band[1])},
        }

    def _residual_record(self) -> dict[str, Any] | None:
        if self.reduction is None or self.window is None:
            return None
        window = self.window
        return {
            "min": units.clearance(window.min_nm),
            "max": units.clearance(window.max_nm),
            "aim": _optional(window.aim_nm),
            "floor": units.clearance(window.floor_nm),
            "source": self.reduction.source.id,
            "provisional": window.provisional,
            "floor_source": window.floor_source.id,
        }

    def _displacement_record(self) -> dict[str, Any] | None:
        elastic = self.elastic_displacement_nm
        elastic_record = elastic and {"min": units.displacement(elastic[0]), "max": units.displacement(elastic[1])}
        if self.displacement is None:
            return None
        min_nm, max_nm = self.displacement.limits_nm
        return {
            "min": units.displacement(min_nm),
            "max": units.displacement(max_nm),
            "source": self.displacement.source.id,
            "elastic": elastic_record,
        }


def _optional(value_nm: float | None) -> units.Quantity | None:
    return None if value_nm is None else units.clearance(value_nm)


def _turn_record(turn: NutTurn | None) -> dict[str, Any] | None:
    if turn is None:
        return None
    return {"min": units.angle(turn.limits_deg[0]), "max": units.angle(turn.limits_deg[1]), "thread": turn.thread}
