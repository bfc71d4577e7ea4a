"""Numbers as a sheet prints them: one unit system, rounded for the tool that reads them, and blanks to write in."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import cleaned
from service.render.present import site_text
from service.units import Quantity
from service.words import UnitSystem

CELL: Final = "_"
_UNITS: Final[Mapping[UnitSystem, Mapping[str, str]]] = {
    "inch": {"length": "in", "torque": "lbf.ft", "temperature": "degF"},
    "metric": {"length": "mm", "torque": "N.m", "temperature": "degC"},
}
_TWICE: Final = re.compile(r"(\d) (?:in|mm|degF|degC|lbf\.ft|N\.m) to (?=\d)")
_NUMBER: Final = re.compile(r"-?\d+(?:\.\d+)?")
STEPS: Final[Mapping[UnitSystem, Mapping[str, int]]] = {
    "inch": {"clearance": 4, "shaft": 4, "displacement": 3, "gap": 3},
    "metric": {"clearance": 2, "shaft": 2, "displacement": 2, "gap": 1},
}
"""Decimals that the tool of each reading shows: blade, micrometer, indicator, depth gauge."""


@dataclass(frozen=True, slots=True)
class Blank:
    """A place to write a number in: what is printed of it already, one ``_`` for each digit, its unit.

    ``small``: lower cells, where several answers must find room at the head of a sheet.
    """

    pattern: str
    label: str = ""
    unit: str = ""
    small: bool = False


@dataclass(frozen=True, slots=True)
class Figures:
    """Writes quantities and sentences of a record in one unit system."""

    units: UnitSystem

    def unit(self, dimension: str) -> str:
        """Return the unit of a length, torque or temperature."""
        return _UNITS[self.units][dimension]

    def text(self, quantity: Quantity) -> str:
        """Return number and unit."""
        return site_text((self._settable(quantity),), self.units)

    def number(self, quantity: Quantity) -> str:
        """Return the number alone; its unit is said once on the sheet."""
        return self.text(quantity).rsplit(" ", 1)[0]

    def _settable(self, quantity: Quantity) -> Quantity:
        """Return a torque that is no whole number here as a wrench can be set: its book has the other unit."""
        if quantity.kind != "torque":
            return quantity
        said = site_text((quantity,), self.units).rsplit(" ", 1)[0]
        return quantity if "." not in said else Quantity("torque_computed", quantity.value)

    def span(self, low: Quantity, high: Quantity) -> str:
        """Return ``low to high``; one number where they are the same."""
        first, last = self.number(low), self.number(high)
        return first if first == last else f"{first} to {last}"

    def ends(self, limits: Mapping[str, Any] | None) -> tuple[str | None, str | None]:
        """Return the limits {min, max} as printed; None twice where they are not known."""
        return (None, None) if limits is None else (self.number(limits["min"]), self.number(limits["max"]))

    def stack(self, blades: Sequence[Quantity] | None) -> str | None:
        """Return blades by their stamps, as they are put together."""
        return None if not blades else " + ".join(self.number(each) for each in blades)

    def line(self, text: Text) -> str:
        """Return a sentence in one unit system, the unit of a range written once, without its full stop."""
        parts = (text,) if isinstance(text, str) else text
        shown = tuple(each if isinstance(each, str) else self._settable(each) for each in parts)
        said = cleaned(site_text(shown, self.units), ascii_only=False)
        said = _TWICE.sub(r"\1 to ", said)
        return " ".join(said.split()).removesuffix(".")

    def blank(self, kind: str, low: str | None, high: str | None, label: str = "", unit: str = "") -> Blank:
        """Return the blank of a reading: the digits that limits and their neighbourhood share are printed.

        Parameters
        ----------
        kind : str
            One of STEPS; decides how many digits follow the point
        low, high : str or None
            The limits as printed; without them only ``0.`` is printed where it can be, else nothing
        """
        decimals = STEPS[self.units][kind]
        printed = pattern(low, high, decimals)
        if low is None and kind == "shaft":
            printed = f"{CELL}.{CELL * decimals}" if self.units == "inch" else f"{CELL * 3}.{CELL * decimals}"
        if low is None and kind == "clearance" and self.units == "inch":
            printed = "0.0" + CELL * (decimals - 1)
        return Blank(printed, label, unit or self.unit("length"))


def pattern(low: str | None, high: str | None, decimals: int) -> str:
    """Return the digits that the limits, and values as far outside as they lie apart, share, then cells.

    A reading outside the limits must find room as it is, so that the digits printed are those of the wider range.
    """
    if low is None or high is None or not _NUMBER.fullmatch(low) or not _NUMBER.fullmatch(high):
        return "0." + CELL * decimals if decimals > 1 else f"{CELL}{CELL}.{CELL}"
    least, most = Decimal(low), Decimal(high)
    apart = (most - least) * Decimal("1.5") or most / 10
    first, last = (f"{max(each, Decimal(0)):.{decimals}f}" for each in (least - apart, most + apart))
    whole = max(len(first), len(last)) - decimals - 1
    if first.partition(".")[0] != last.partition(".")[0]:
        return f"{CELL * whole}.{CELL * decimals}"
    most_shared = len(first) - min(2, decimals)
    shared = next((n for n, pair in enumerate(zip(first, last, strict=True)) if pair[0] != pair[1]), most_shared)
    kept = first[: min(shared, most_shared)]
    return kept + CELL * (len(first) - len(kept))


def digits(count: int, label: str = "", unit: str = "", *, small: bool = False) -> Blank:
    """Return a blank for a whole number."""
    return Blank(CELL * count, label, unit, small)
