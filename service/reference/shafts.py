"""Limits of the shaft under an adapter sleeve: size h9 with form IT5/2, or the inch practice."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from service import units
from service.findings import Source
from service.reference import tables
from service.reference.bands import Band, Bands, refuse_backward, refuse_falling

_MM_PER_IN: Final = 25.4
_SIXTEENTH_MM: Final = _MM_PER_IN / 16
_NOMINAL_WITHIN_MM: Final = 0.001


@dataclass(frozen=True, slots=True)
class ShaftLimits:
    """Deviations of a shaft from its nominal diameter and its form tolerance, [nm].

    Parameters
    ----------
    upper_nm, lower_nm : int
        Limit deviations, [nm]
    form_nm : int or None
        Cylindricity, the stricter of two common readings (IT5/2), [nm]; None where none is printed
    form_other_nm : int or None
        The other reading (full IT5), [nm]
    """

    upper_nm: int
    lower_nm: int
    form_nm: int | None
    form_other_nm: int | None
    publications: int
    source: Source


def limits_under_sleeve(*, diameter_mm: float, system: str) -> ShaftLimits | None:
    """Return the limits of a shaft under an adapter sleeve, or None when no row covers the diameter.

    Parameters
    ----------
    diameter_mm : float
        Nominal shaft diameter, [mm]
    system : str
        ``metric`` (ISO 286-2, h9) or ``inch`` (common practice)

    Source
    ------
    ISO 286-2; inch: common practice, no source.
    """
    return _METHODS[system]().found(diameter_mm)


def shaft_system(diameter_mm: float) -> str:
    """Return ``inch`` for a shaft made to sixteenths of an inch, else ``metric``; a whole millimetre is metric.

    Parameters
    ----------
    diameter_mm : float
        Nominal shaft diameter, [mm]

    Source
    ------
    The inch shafts of adapter sleeves are all sixteenths of an inch, the metric ones whole millimetres (see
    adapter_sleeves). The housing does not tell: inch shafts run in metric blocks too.
    """
    sixteenths = diameter_mm / _SIXTEENTH_MM
    is_inch = abs(sixteenths - round(sixteenths)) * _SIXTEENTH_MM < _NOMINAL_WITHIN_MM
    is_whole_mm = abs(diameter_mm - round(diameter_mm)) < _NOMINAL_WITHIN_MM
    return "inch" if is_inch and not is_whole_mm else "metric"


@cache
def metric_limits() -> Bands[ShaftLimits]:
    """Return h9 with IT5/2 by nominal diameter, [mm]."""
    name = "shaft_tolerances_iso286"
    bands = Bands(name, (Band(float(r["over_mm"]), float(r["up_to_incl_mm"]), _metric(r)) for r in tables.rows(name)))
    refuse_falling(name, "h9", (-band.row.lower_nm for band in bands.bands))
    refuse_falling(name, "IT5", (band.row.form_other_nm for band in bands.bands))
    return bands


@cache
def inch_limits() -> Bands[ShaftLimits]:
    """Return the inch practice by nominal diameter, [mm]."""
    name = "shaft_tolerances_inch"
    bands = Bands(
        name,
        (
            Band(float(r["over_in"]) * _MM_PER_IN, float(r["up_to_incl_in"]) * _MM_PER_IN, _inch(r))
            for r in tables.rows(name)
        ),
    )
    refuse_falling(name, "tolerance", (-band.row.lower_nm for band in bands.bands))
    return bands


def _metric(row: Mapping[str, str]) -> ShaftLimits:
    lower_nm, it9_nm = int(row["h9_lower_um"]) * units.NM_PER_UM, int(row["IT9_um"]) * units.NM_PER_UM
    refuse_backward("shaft_tolerances_iso286", "h9 against IT9", it9_nm, -lower_nm)
    it5_nm = int(row["IT5_um"]) * units.NM_PER_UM
    return ShaftLimits(
        int(row["h9_upper_um"]) * units.NM_PER_UM,
        lower_nm,
        it5_nm // 2,
        it5_nm,
        int(row["n_sources_agree"]),
        tables.provenance("shaft_tolerances_iso286").source,
    )


def _inch(row: Mapping[str, str]) -> ShaftLimits:
    upper_nm, lower_nm = units.nm_from_in(row["upper_in"]), units.nm_from_in(row["lower_in"])
    source = tables.provenance("shaft_tolerances_inch").source
    return ShaftLimits(upper_nm, lower_nm, None, None, int(row["n_sources_agree"]), source)


_METHODS: Final = {"metric": metric_limits, "inch": inch_limits}
