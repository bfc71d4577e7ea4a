"""From a unit-neutral record to what a reader sees: ``{value, unit, text}`` in the chosen unit system.

The only place where numbers are rounded. ``value`` stays unrounded; ``text`` is rounded to nearest and prints both
unit systems, the chosen one first. A feeler blade is always written by its stamp.
"""

import re
from collections.abc import Callable
from decimal import Decimal
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
}
_STAMPS = {"blade_in": _stamp("in", NM_PER_IN), "blade_mm": _stamp("mm", NM_PER_MM)}
_MM_NM: tuple[str, Callable[[float], float]] = ("mm", _per(NM_PER_MM))
_IN_NM: tuple[str, Callable[[float], float]] = ("in", _per(NM_PER_IN))
_IN: dict[str, dict[str, Printer]] = {
    "metric": {
        "clearance": (*_MM_NM, _nanometres(3, "mm", 1_000)),
        "blade_in": (*_MM_NM, _STAMPS["blade_in"]),
        "blade_mm": (*_MM_NM, _STAMPS["blade_mm"]),
        "displacement": (*_MM_NM, _nanometres(2, "mm", 10_000)),
        "dimension": ("mm", _identity, _fixed(3, "mm")),
        "distance": ("mm", _identity, _significant(7, "mm")),
        "force": ("kN", _per(1000.0), _significant(4, "kN", 1000.0)),
        "torque": ("N.m", _identity, _significant(4, "N.m")),
        "pressure": ("MPa", _identity, _significant(4, "MPa")),
        "temperature": ("degC", _identity, _significant(4, "degC")),
        "temperature_difference": ("K", _identity, _significant(4, "K")),
        "mass": ("kg", _identity, _significant(4, "kg")),
        "velocity": ("mm/s", _identity, _significant(4, "mm/s")),
        **_SAME,
    },
    "inch": {
        "clearance": (*_IN_NM, _nanometres(4, "in", 2_540)),
        "blade_in": (*_IN_NM, _STAMPS["blade_in"]),
        "blade_mm": (*_IN_NM, _STAMPS["blade_mm"]),
        "displacement": (*_IN_NM, _nanometres(4, "in", 2_540)),
        "dimension": ("in", _per(MM_PER_IN), _fixed(4, "in", MM_PER_IN)),
        "distance": ("in", _per(MM_PER_IN), _fixed(2, "in", MM_PER_IN)),
        "force": ("lbf", _per(N_PER_LBF), _significant(4, "lbf", N_PER_LBF)),
        "torque": ("lbf.ft", _per(N_M_PER_LBF_FT), _significant(4, "lbf.ft", N_M_PER_LBF_FT)),
        "pressure": ("psi", _per(MPA_PER_PSI), _significant(4, "psi", MPA_PER_PSI)),
        "temperature": ("degF", _fahrenheit, _fahrenheit_text),
        "temperature_difference": ("degF_diff", _per(5 / 9), _significant(4, "degF", 5 / 9)),
        "mass": ("lb", _per(KG_PER_LB), _significant(4, "lb", KG_PER_LB)),
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
