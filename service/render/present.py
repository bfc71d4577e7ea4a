"""From a unit-neutral record to what a reader sees: ``{value, unit, text}`` in the chosen unit system.

The only place where numbers are rounded. ``value`` stays unrounded; ``text`` is rounded to nearest, limits of gaps and
spacings inward, to what the tool that reads them shows, and prints both unit systems, the chosen one first. A feeler
blade is always written by its stamp.
"""

import re
from collections.abc import Callable
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import lru_cache
from math import floor, isfinite
from typing import Any

import orjson

from service.record import Kept, decoded
from service.units import (
    KG_PER_LB,
    KINDS,
    MM_PER_IN,
    MPA_PER_PSI,
    N_M_PER_LBF_FT,
    N_PER_LBF,
    NM_PER_IN,
    NM_PER_MM,
    Quantity,
)
from service.words import UnitSystem


def present(node: Any, units: UnitSystem) -> Any:
    """Return the tree with every quantity as ``{value, unit, text}`` and every text as one string.

    Raises
    ------
    ValueError
        A number is not finite.
    """
    handler = _HANDLERS.get(type(node))
    return node if handler is None else handler(node, units)


def presented_text(encoded: str, units: UnitSystem) -> str:
    """Return the JSON of ``present`` for a record that ``service.record.encoded`` wrote, without taking it apart.

    Quantities and texts are found by their marks: in JSON a quotation mark inside a string follows a backslash, so
    that ``{"quantity":`` and ``{"words":`` never stand inside one.
    """
    return _MARKED.sub(lambda found: _leaf(found.group(), units), encoded)


@lru_cache(maxsize=16_384)
def _leaf(encoded: str, units: UnitSystem) -> str:
    return orjson.dumps(present(decoded(encoded), units)).decode()


def _kept(node: Kept, units: UnitSystem) -> orjson.Fragment:
    """Return JSON for the writer to put where the record stands."""
    return orjson.Fragment(
        f"{orjson.dumps(present(node.members, units)).decode()[:-1]},{presented_text(node.text, units)[1:]}"
    )


def _members(node: dict[str, Any], units: UnitSystem) -> dict[str, Any]:
    presented = {}
    for name, value in node.items():
        kind = type(value)
        if kind in _AS_THEY_ARE:
            presented[name] = value
        elif kind is Quantity:
            presented[name] = _quantity(value.kind, value.value, units)
        else:
            presented[name] = present(value, units)
    return presented


def _items(node: list[Any], units: UnitSystem) -> list[Any]:
    return [value if type(value) in _AS_THEY_ARE else present(value, units) for value in node]


def _finite(node: float, units: UnitSystem) -> float:
    if not isfinite(node):
        raise ValueError("a number that is not finite cannot be answered")
    return node


def quantity(given: Quantity, units: UnitSystem) -> dict[str, Any]:
    """Return the wire form of one quantity, [-]; its value unrounded, in the unit of the system.

    What is returned is remembered, because table values come again and again: it must not be changed.
    """
    return _quantity(given.kind, given.value, units)


@lru_cache(maxsize=16_384)
def _quantity(kind: str, value: int | float, units: UnitSystem) -> dict[str, Any]:
    unit, converted, _ = _IN[units][kind]
    return {"value": _finite(float(converted(value)), units), "unit": unit, "text": _quantity_text(kind, value, units)}


def quantity_text(given: Quantity, units: UnitSystem) -> str:
    """Return what is printed for a quantity: both systems, the chosen first; a blade by its stamp alone."""
    return _quantity_text(given.kind, given.value, units)


@lru_cache(maxsize=16_384)
def _quantity_text(kind: str, value: int | float, units: UnitSystem) -> str:
    if kind in _STAMPS:
        return _STAMPS[kind](value)
    first = _IN[units][kind][2](value)
    second = _IN[_OTHER[units]][kind][2](value)
    return first if first == second else f"{first} ({second})"


def text(words: "str | tuple[str | Quantity, ...]", units: UnitSystem) -> str:
    """Return a sentence with its quantities written out."""
    if isinstance(words, str):
        return words
    return "".join(part if isinstance(part, str) else quantity_text(part, units) for part in words)


def site_text(words: "str | tuple[str | Quantity, ...]", units: UnitSystem) -> str:
    """Return a sentence with its quantities in one unit system alone: for the short line of a step."""
    if isinstance(words, str):
        return words
    return "".join(part if isinstance(part, str) else _one_system(part, units) for part in words)


def _one_system(given: Quantity, units: UnitSystem) -> str:
    if given.kind in _STAMPS:
        return _STAMPS[given.kind](given.value)
    return _IN[units][given.kind][2](given.value)


def _stepped(step: str, rounding: str, unit: str, scale: float = 1.0) -> Callable[[float], str]:
    """Return a printer for what a tool shows in steps: a gauge of 0.1 mm, 0.005 in."""
    size = Decimal(step)

    def printed(value: float) -> str:
        number = Decimal(repr(round(value / scale, 9)))
        return f"{((number / size).to_integral_value(rounding) * size).quantize(size):f} {unit}"

    return printed


def _set_on_a_wrench(unit: str, n_m_per_unit: float = 1.0) -> Callable[[float], str]:
    """Return a printer for the marks of a wrench: each unit under 100, each fifth under 500, each tenth above.

    Fifths from 50 on would print up to 5 % beside the torque, more than a reading may be off (rule B3).
    """

    def printed(value_n_m: float) -> str:
        size = value_n_m / n_m_per_unit
        step = "1" if size < 100 else "5" if size < 500 else "10"
        return _stepped(step, ROUND_HALF_UP, unit, n_m_per_unit)(value_n_m)

    return printed


def _torque(unit: str, n_m_per_unit: float = 1.0) -> Callable[[float], str]:
    """Return a printer for a torque: as its book prints it, in whole or half units; in the other unit as a wrench is
    set."""
    as_printed, as_set = _significant(4, unit, n_m_per_unit), _set_on_a_wrench(unit, n_m_per_unit)

    def printed(value_n_m: float) -> str:
        halves = 2 * value_n_m / n_m_per_unit
        return as_printed(value_n_m) if abs(halves - round(halves)) <= 1e-6 * halves else as_set(value_n_m)

    return printed


def _lifted(under_10_kg: str, above: str, unit: str, kg_per_unit: float = 1.0) -> Callable[[float], str]:
    """Return a printer for what is lifted, rounded up: finer steps under 10 kg."""

    def printed(value_kg: float) -> str:
        return _stepped(under_10_kg if value_kg < 10 else above, ROUND_CEILING, unit, kg_per_unit)(value_kg)

    return printed


def _weighed(steps: tuple[tuple[int | None, str], ...], unit: str, g_per_unit: float = 1.0) -> Callable[[float], str]:
    """Return a printer for what a scale shows: steps by the amount in grams, below which each of them holds."""

    def printed(value_kg: float) -> str:
        value_g = value_kg * 1000
        step = next(step for most_g, step in steps if most_g is None or value_g < most_g)
        return _stepped(step, ROUND_HALF_UP, unit, g_per_unit)(value_g)

    return printed


def _fahrenheit_in_fives(rounding: str) -> Callable[[float], str]:
    def printed(value_degc: float) -> str:
        return _stepped("5", rounding, "degF")(_fahrenheit(value_degc))

    return printed


def _thirty_seconds(rounding: str) -> Callable[[float], str]:
    """Return a printer for a tape in inches, in whole thirty-seconds: 117 13/32 in."""

    def printed(value_mm: float) -> str:
        count = int((Decimal(repr(round(value_mm / MM_PER_IN * 32, 6)))).to_integral_value(rounding))
        whole, rest = divmod(abs(count), 32)
        share = Fraction(rest, 32)
        said = [str(whole)] if whole or not rest else []
        said += [f"{share.numerator}/{share.denominator}"] if rest else []
        return f"{'-' if count < 0 else ''}{' '.join(said)} in"

    return printed


def _fixed(digits: int, unit: str, scale: float = 1.0) -> Callable[[float], str]:
    """Return a printer with a fixed number of decimals."""

    def printed(value: float) -> str:
        return f"{value / scale:.{digits}f} {unit}"

    return printed


def _nanometres(decimals: int, unit: str, nm_per_digit: int) -> Callable[[int | float], str]:
    """Return a printer for lengths in nanometres, exact for whole numbers; the last digit is worth ``nm_per_digit``."""
    shift = 10**decimals

    def printed(value_nm: int | float) -> str:
        if isinstance(value_nm, float):
            count = floor(value_nm / nm_per_digit + 0.5)
        else:
            count = (2 * abs(value_nm) + nm_per_digit) // (2 * nm_per_digit) * (1 if value_nm >= 0 else -1)
        whole, rest = divmod(abs(count), shift)
        return f"{'-' if count < 0 else ''}{whole}.{rest:0{decimals}d} {unit}"

    return printed


def _significant(digits: int, unit: str, scale: float = 1.0, offset: float = 0.0) -> Callable[[float], str]:
    """Return a printer with a number of significant digits, never in exponent form, trailing zeros dropped."""

    def printed(value: float) -> str:
        number = float(f"{(value - offset) / scale:.{digits}g}")
        return f"{number:.6f}".rstrip("0").rstrip(".") + f" {unit}"

    return printed


def _stamp(unit: str, nm_per_unit: int) -> Callable[[int | float], str]:
    """Return the text of a blade's stamp: no zeros that are not on the blade, two decimals at least in mm."""

    def printed(value_nm: int | float) -> str:
        number = (Decimal(value_nm) / nm_per_unit).normalize()
        shown = f"{number:f}"
        if unit == "mm" and len(shown.partition(".")[2]) < 2:
            shown = f"{number:.2f}"
        return f"{shown} {unit}"

    return printed


def _identity(value: float) -> float:
    return value


def _per(divisor: float) -> Callable[[float], float]:
    def converted(value: float) -> float:
        return value / divisor

    return converted


def _fahrenheit(value_degc: float) -> float:
    return value_degc * 9 / 5 + 32


def _fahrenheit_text(value_degc: float) -> str:
    return _significant(4, "degF")(_fahrenheit(value_degc))


Printer = tuple[str, Callable[[Any], float], Callable[[Any], str]]
_SAME: dict[str, Printer] = {
    "time": ("h", _identity, _significant(6, "h")),
    "speed": ("rpm", _identity, _significant(5, "rpm")),
    "angle": ("deg", _identity, _significant(3, "deg")),
    "nut_turn": ("deg", _identity, _stepped("5", ROUND_HALF_UP, "degrees")),
}
_STAMPS = {"blade_in": _stamp("in", NM_PER_IN), "blade_mm": _stamp("mm", NM_PER_MM)}
_MM_NM: tuple[str, Callable[[float], float]] = ("mm", _per(NM_PER_MM))
_IN_NM: tuple[str, Callable[[float], float]] = ("in", _per(NM_PER_IN))
_ROUNDED: dict[str, str] = {"": ROUND_HALF_UP, "_least": ROUND_CEILING, "_most": ROUND_FLOOR}
"""How a length on the shaft line is rounded: an aim to nearest, its limits inward."""
_SHAFT_LINE_MM: dict[str, Printer] = {
    **{f"gap{end}": ("mm", _identity, _stepped("0.1", way, "mm")) for end, way in _ROUNDED.items()},
    **{f"spacing{end}": ("mm", _identity, _stepped("1", way, "mm")) for end, way in _ROUNDED.items()},
    **{f"travel{end}": ("mm", _identity, _stepped("0.05", way, "mm")) for end, way in _ROUNDED.items()},
    "lift_least": ("mm", _identity, _stepped("1", ROUND_CEILING, "mm")),
    "lift_most": ("mm", _identity, _stepped("1", ROUND_FLOOR, "mm")),
}
_SHAFT_LINE_IN: dict[str, Printer] = {
    **{f"gap{end}": ("in", _per(MM_PER_IN), _stepped("0.005", way, "in", MM_PER_IN)) for end, way in _ROUNDED.items()},
    **{f"spacing{end}": ("in", _per(MM_PER_IN), _thirty_seconds(way)) for end, way in _ROUNDED.items()},
    **{
        f"travel{end}": ("in", _per(MM_PER_IN), _stepped("0.002", way, "in", MM_PER_IN))
        for end, way in _ROUNDED.items()
    },
    "lift_least": ("in", _per(MM_PER_IN), _stepped("0.1", ROUND_CEILING, "in", MM_PER_IN)),
    "lift_most": ("in", _per(MM_PER_IN), _stepped("0.1", ROUND_FLOOR, "in", MM_PER_IN)),
}
_IN: dict[str, dict[str, Printer]] = {
    "metric": {
        **_SHAFT_LINE_MM,
        "clearance": (*_MM_NM, _nanometres(3, "mm", 1_000)),
        "blade_in": (*_MM_NM, _STAMPS["blade_in"]),
        "blade_mm": (*_MM_NM, _STAMPS["blade_mm"]),
        "displacement": (*_MM_NM, _nanometres(2, "mm", 10_000)),
        "dimension": ("mm", _identity, _fixed(3, "mm")),
        "distance": ("mm", _identity, _significant(7, "mm")),
        "force": ("kN", _per(1000.0), _significant(4, "kN", 1000.0)),
        "torque": ("N.m", _identity, _torque("N.m")),
        "torque_computed": ("N.m", _identity, _set_on_a_wrench("N.m")),
        "pressure": ("MPa", _identity, _significant(4, "MPa")),
        "temperature": ("degC", _identity, _significant(4, "degC")),
        "temperature_difference": ("K", _identity, _stepped("1", ROUND_HALF_UP, "K")),
        "mass": ("kg", _identity, _lifted("0.1", "1", "kg")),
        "grease": ("g", _per(1 / 1000), _weighed(((100, "5"), (500, "10"), (None, "50")), "g")),
        "temperature_limit": ("degC", _identity, _stepped("1", ROUND_FLOOR, "degC")),
        "temperature_aim": ("degC", _identity, _stepped("1", ROUND_CEILING, "degC")),
        "velocity": ("mm/s", _identity, _significant(4, "mm/s")),
        **_SAME,
    },
    "inch": {
        **_SHAFT_LINE_IN,
        "clearance": (*_IN_NM, _nanometres(4, "in", 2_540)),
        "blade_in": (*_IN_NM, _STAMPS["blade_in"]),
        "blade_mm": (*_IN_NM, _STAMPS["blade_mm"]),
        "displacement": (*_IN_NM, _nanometres(4, "in", 2_540)),
        "dimension": ("in", _per(MM_PER_IN), _fixed(4, "in", MM_PER_IN)),
        "distance": ("in", _per(MM_PER_IN), _fixed(2, "in", MM_PER_IN)),
        "force": ("lbf", _per(N_PER_LBF), _significant(4, "lbf", N_PER_LBF)),
        "torque": ("lbf.ft", _per(N_M_PER_LBF_FT), _torque("lbf.ft", N_M_PER_LBF_FT)),
        "torque_computed": ("lbf.ft", _per(N_M_PER_LBF_FT), _set_on_a_wrench("lbf.ft", N_M_PER_LBF_FT)),
        "pressure": ("psi", _per(MPA_PER_PSI), _significant(4, "psi", MPA_PER_PSI)),
        "temperature": ("degF", _fahrenheit, _fahrenheit_text),
        "temperature_difference": ("degF_diff", _per(5 / 9), _stepped("2", ROUND_HALF_UP, "degF", 5 / 9)),
        "mass": ("lb", _per(KG_PER_LB), _lifted("0.5", "1", "lb", KG_PER_LB)),
        "grease": (
            "oz",
            _per(KG_PER_LB / 16),
            _weighed(((100, "0.2"), (500, "0.5"), (None, "2")), "oz", KG_PER_LB / 16 * 1000),
        ),
        "temperature_limit": ("degF", _fahrenheit, _fahrenheit_in_fives(ROUND_FLOOR)),
        "temperature_aim": ("degF", _fahrenheit, _fahrenheit_in_fives(ROUND_CEILING)),
        "velocity": ("in/s", _per(MM_PER_IN), _significant(4, "in/s", MM_PER_IN)),
        **_SAME,
    },
}
_OTHER: dict[str, UnitSystem] = {"metric": "inch", "inch": "metric"}
_AS_THEY_ARE = frozenset((str, type(None), bool, int))
_HANDLERS: dict[type, Callable[[Any, UnitSystem], Any]] = {
    Quantity: quantity,
    dict: _members,
    list: _items,
    tuple: text,
    float: _finite,
    Kept: _kept,
}
_NUMBER = r"-?[0-9.]+(?:[eE][-+]?[0-9]+)?"
_QUANTITIES = (sorted((f'"quantity":"{kind}"', f'"{re.escape(of.held_in)}":{_NUMBER}')) for kind, of in KINDS.items())
_QUANTITY = "|".join(rf"\{{{first},{second}\}}" for first, second in _QUANTITIES)
_STRING = r'"[^"\\]*+(?:\\.[^"\\]*+)*+"'
_MARKED = re.compile(rf'\{{"words":\[(?:{_STRING}|{_QUANTITY}|,)*+\]\}}|{_QUANTITY}')
