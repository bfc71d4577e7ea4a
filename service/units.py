"""Units of measurement: exact factors, and the quantity that domain records carry.

Inside the service every number has its unit in its name (``_nm``, ``_mm``, ``_n_m`` ...). Clearances, blades and
their limits are integer nanometres, because 0.0001 in is exactly 2540 nm and a limit must compare exactly.
Nothing here rounds for a reader: that is done in ``service.render``.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

NM_PER_MM: Final = 1_000_000
NM_PER_UM: Final = 1_000
NM_PER_IN: Final = 25_400_000
NM_PER_THOU: Final = 25_400
MM_PER_IN: Final = 25.4
N_PER_LBF: Final = 4.4482216152605  # exact: 0.45359237 kg x 9.80665 m/s2
N_M_PER_LBF_FT: Final = 1.3558179483314004  # exact (rule B5)
KG_PER_LB: Final = 0.45359237  # exact
MPA_PER_PSI: Final = N_PER_LBF / MM_PER_IN**2

_LBF = Fraction("4.4482216152605")
_IN_M = Fraction("0.0254")


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``base = value * factor + offset`` in the base unit of its dimension."""

    symbol: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


def _units() -> Iterator[tuple[tuple[str, ...], Unit]]:
    """Yield the names of each unit, our symbol first, UCUM synonyms after it."""
    length, force, torque, pressure = "length", "force", "torque", "pressure"
    temperature, difference, mass, time = "temperature", "temperature_difference", "mass", "time"
    yield ("mm",), Unit("mm", length, Fraction(1))
    yield ("m",), Unit("m", length, Fraction(1000))
    yield ("um",), Unit("um", length, Fraction(1, 1000))
    yield ("in", "[in_i]"), Unit("in", length, Fraction("25.4"))
    yield ("ft", "[ft_i]"), Unit("ft", length, Fraction("304.8"))
    yield ("thou", "[mil_i]"), Unit("thou", length, Fraction("0.0254"))
    yield ("N",), Unit("N", force, Fraction(1))
    yield ("kN",), Unit("kN", force, Fraction(1000))
    yield ("lbf", "[lbf_av]"), Unit("lbf", force, _LBF)
    yield ("N.m",), Unit("N.m", torque, Fraction(1))
    yield ("lbf.ft", "[ft_i].[lbf_av]", "[lbf_av].[ft_i]"), Unit("lbf.ft", torque, _LBF * _IN_M * 12)
    yield ("lbf.in", "[in_i].[lbf_av]", "[lbf_av].[in_i]"), Unit("lbf.in", torque, _LBF * _IN_M)
    yield ("MPa",), Unit("MPa", pressure, Fraction(1))
    yield ("psi", "[psi]"), Unit("psi", pressure, _LBF / Fraction("25.4") ** 2)
    yield ("degC", "Cel"), Unit("degC", temperature, Fraction(1))
    yield ("degF", "[degF]"), Unit("degF", temperature, Fraction(5, 9), Fraction(-160, 9))
    yield ("K",), Unit("K", temperature, Fraction(1), Fraction("-273.15"))
    yield ("K",), Unit("K", difference, Fraction(1))
    yield ("degF_diff",), Unit("degF_diff", difference, Fraction(5, 9))
    yield ("kg",), Unit("kg", mass, Fraction(1))
    yield ("g",), Unit("g", mass, Fraction(1, 1000))
    yield ("lb", "[lb_av]"), Unit("lb", mass, Fraction("0.45359237"))
    yield ("oz", "[oz_av]"), Unit("oz", mass, Fraction("0.45359237") / 16)
    yield ("h",), Unit("h", time, Fraction(1))
    yield ("rpm", "/min", "{rev}/min"), Unit("rpm", "speed", Fraction(1))
    yield ("deg",), Unit("deg", "angle", Fraction(1))
    yield ("mm/s",), Unit("mm/s", "velocity", Fraction(1))
    yield ("in/s", "[in_i]/s"), Unit("in/s", "velocity", Fraction("25.4"))


BASE_UNIT: Final = {
    "length": "mm",
    "force": "N",
    "torque": "N.m",
    "pressure": "MPa",
    "temperature": "degC",
    "temperature_difference": "K",
    "mass": "kg",
    "time": "h",
    "speed": "rpm",
    "angle": "deg",
    "velocity": "mm/s",
}
UNITS: Final[dict[str, dict[str, Unit]]] = {dimension: {} for dimension in BASE_UNIT}
for _names, _unit in _units():
    for _name in _names:
        UNITS[_unit.dimension][_name] = _unit
DIMENSIONS_OF: Final[dict[str, tuple[str, ...]]] = {
    name: tuple(d for d in UNITS if name in UNITS[d]) for table in UNITS.values() for name in table
}


def exact(value: float | int | str | Decimal | Fraction) -> Fraction:
    """Return the number as it was written: a float stands for its shortest decimal, [-]."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


def to_base(value: float | int, unit: Unit) -> float:
    """Return the value in the base unit of the unit's dimension (mm, N, N.m, MPa, degC, K, kg, h ...)."""
    return float(exact(value) * unit.factor + unit.offset)


def to_nm(value: float | int, unit: Unit) -> int:
    """Return a length in whole nanometres, [nm]; the nearest one, ties to even."""
    return round(exact(value) * unit.factor * NM_PER_MM)


def nm_from_mm(value: str | float | int | Decimal) -> int:
    """Return a length written in mm as whole nanometres, [nm].

    Raises
    ------
    ValueError
        The value is finer than a nanometre.
    """
    return _whole(exact(value) * NM_PER_MM, value)


def nm_from_in(value: str | float | int | Decimal) -> int:
    """Return a length written in inches as whole nanometres, [nm].

    Raises
    ------
    ValueError
        The value is finer than a nanometre.
    """
    return _whole(exact(value) * NM_PER_IN, value)


def _whole(nanometres: Fraction, value: object) -> int:
    if nanometres.denominator != 1:
        raise ValueError(f"{value} is not a whole number of nanometres")
    return nanometres.numerator


@dataclass(frozen=True, slots=True)
class Kind:
    """How a kind of quantity is held: the unit of the number in the record, and its dimension."""

    dimension: str
    held_in: str


KINDS: Final[dict[str, Kind]] = {
    # lengths held in nanometres
    "clearance": Kind("length", "nm"),
    "blade_in": Kind("length", "nm"),  # a feeler blade or stack, stamped in inches
    "blade_mm": Kind("length", "nm"),  # a feeler blade or stack, stamped in millimetres
    "displacement": Kind("length", "nm"),
    # lengths held in millimetres
    "dimension": Kind("length", "mm"),
    "distance": Kind("length", "mm"),
    # lengths on the shaft line, printed as the tool that reads them shows them; limits are rounded inward
    "gap": Kind("length", "mm"),
    "gap_least": Kind("length", "mm"),
    "gap_most": Kind("length", "mm"),
    "spacing": Kind("length", "mm"),
    "spacing_least": Kind("length", "mm"),
    "spacing_most": Kind("length", "mm"),
    "lift_least": Kind("length", "mm"),
    "lift_most": Kind("length", "mm"),
    # axial displacement as an indicator reads it
    "travel": Kind("length", "mm"),
    "travel_least": Kind("length", "mm"),
    "travel_most": Kind("length", "mm"),
    "force": Kind("force", "N"),
    "torque": Kind("torque", "N.m"),
    "torque_computed": Kind("torque", "N.m"),
    "pressure": Kind("pressure", "MPa"),
    "temperature": Kind("temperature", "degC"),
    "temperature_difference": Kind("temperature_difference", "K"),
    "mass": Kind("mass", "kg"),
    "grease": Kind("mass", "kg"),
    "temperature_limit": Kind("temperature", "degC"),
    "temperature_aim": Kind("temperature", "degC"),
    "nut_turn": Kind("angle", "deg"),
    "time": Kind("time", "h"),
    "speed": Kind("speed", "rpm"),
    "angle": Kind("angle", "deg"),
    "velocity": Kind("velocity", "mm/s"),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its kind, as records carry it: unit-neutral, unrounded, in the unit that ``KINDS`` names.

    ``service.render.present`` turns it into the wire's ``{value, unit, text}`` in either unit system.
    """

    kind: str
    value: int | float

    @property
    def tagged(self) -> dict[str, Any]:
        """Return the form in which a record is stored and hashed."""
        return {"quantity": self.kind, KINDS[self.kind].held_in: self.value}


def clearance(value_nm: int | float) -> Quantity:
    """Return a radial internal clearance, [nm]."""
    return Quantity("clearance", value_nm)


def displacement(value_nm: int | float) -> Quantity:
    """Return an axial displacement of a ring on its taper, [nm]."""
    return Quantity("displacement", value_nm)


def dimension(value_mm: float) -> Quantity:
    """Return a dimension of a part or a small distance, [mm]."""
    return Quantity("dimension", value_mm)


def distance(value_mm: float) -> Quantity:
    """Return a distance along a shaft, [mm]."""
    return Quantity("distance", value_mm)


def gap(value_mm: float) -> Quantity:
    """Return a gap, travel or offset as a depth gauge reads it, [mm]."""
    return Quantity("gap", value_mm)


def gap_limits(low_mm: float, high_mm: float) -> tuple[Quantity, Quantity]:
    """Return the limits of a gap, printed inward, [mm]."""
    return Quantity("gap_least", low_mm), Quantity("gap_most", high_mm)


def spacing(value_mm: float) -> Quantity:
    """Return a distance of bearings or seats as a tape reads it, [mm]."""
    return Quantity("spacing", value_mm)


def spacing_limits(low_mm: float, high_mm: float) -> tuple[Quantity, Quantity]:
    """Return the limits of a spacing, printed inward, [mm]."""
    return Quantity("spacing_least", low_mm), Quantity("spacing_most", high_mm)


def lift_least(value_mm: float) -> Quantity:
    """Return how high a shaft is lifted at least, printed up, [mm]."""
    return Quantity("lift_least", value_mm)


def lift_most(value_mm: float) -> Quantity:
    """Return how far one end of a shaft is lifted at most, printed down, [mm]."""
    return Quantity("lift_most", value_mm)


def travel(value_mm: float) -> Quantity:
    """Return an axial displacement as an indicator reads it, [mm]."""
    return Quantity("travel", value_mm)


def travel_limits(low_mm: float, high_mm: float) -> tuple[Quantity, Quantity]:
    """Return the limits of an axial displacement, printed inward, [mm]."""
    return Quantity("travel_least", low_mm), Quantity("travel_most", high_mm)


def nut_turn(value_deg: float) -> Quantity:
    """Return a turn of a nut as the eye reads it, [deg]."""
    return Quantity("nut_turn", value_deg)


def grease(value_g: float) -> Quantity:
    """Return an amount of grease, [g]."""
    return Quantity("grease", value_g / 1000)


def temperature_limit(value_degc: float) -> Quantity:
    """Return a temperature that must not be reached, printed to the safe side, [degC]."""
    return Quantity("temperature_limit", value_degc)


def temperature_aim(value_degc: float) -> Quantity:
    """Return a temperature that must be reached, printed up, [degC]."""
    return Quantity("temperature_aim", value_degc)


def mass(value_kg: float) -> Quantity:
    """Return a mass, [kg]."""
    return Quantity("mass", value_kg)


def torque(value_n_m: float) -> Quantity:
    """Return a tightening torque, [N m]."""
    return Quantity("torque", value_n_m)


def torque_computed(value_n_m: float) -> Quantity:
    """Return a torque that no book prints, shown as a wrench can be set, [N m]."""
    return Quantity("torque_computed", value_n_m)


def force(value_n: float) -> Quantity:
    """Return a force, [N]."""
    return Quantity("force", value_n)


def angle(value_deg: float) -> Quantity:
    """Return an angle, [deg]."""
    return Quantity("angle", value_deg)


def temperature(value_degc: float) -> Quantity:
    """Return a temperature, [degC]."""
    return Quantity("temperature", value_degc)


def temperature_difference(value_k: float) -> Quantity:
    """Return a temperature difference, [K]."""
    return Quantity("temperature_difference", value_k)
