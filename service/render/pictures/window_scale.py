"""The scale of the clearance window: from zero up, in the reader's units, every height in proportion."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from service.units import NM_PER_IN, NM_PER_MM
from service.words import UnitSystem

MOST_TICKS: Final = 9
_UNIT: Final = {"metric": ("mm", NM_PER_MM, 1_000), "inch": ("in", NM_PER_IN, 2_540)}


@dataclass(frozen=True, slots=True)
class Scale:
    """A vertical scale between two heights of the picture; ``step_nm`` between its ticks, [nm]."""

    low_nm: float
    high_nm: float
    step_nm: int
    top: float
    bottom: float
    units: UnitSystem

    @property
    def unit(self) -> str:
        """Return the unit of the ticks."""
        return _UNIT[self.units][0]

    def y(self, value_nm: float) -> float:
        """Return the height of a value in the picture, [-]."""
        share = (value_nm - self.low_nm) / (self.high_nm - self.low_nm)
        return self.bottom - share * (self.bottom - self.top)

    def ticks(self) -> Iterator[tuple[int, str]]:
        """Yield each tick, [nm], with its number in the unit of the scale."""
        _, per_unit, _ = _UNIT[self.units]
        decimals = max(0, -_exponent(Decimal(self.step_nm) / per_unit))
        first = round(self.low_nm / self.step_nm)
        for count in range(first, round(self.high_nm / self.step_nm) + 1):
            tick_nm = count * self.step_nm
            yield tick_nm, f"{Decimal(tick_nm) / per_unit:.{decimals}f}"


def scale_of(values_nm: Sequence[float], *, top: float, bottom: float, units: UnitSystem) -> Scale:
    """Return the scale that holds zero and all values, its ends on whole ticks.

    Parameters
    ----------
    values_nm : sequence of float, shape (n,)
        What will be drawn, one value at least above or below zero, [nm]
    top, bottom : float
        Heights in the picture, [-]
    """
    least_nm, most_nm = min(0.0, *values_nm), max(0.0, *values_nm)
    if most_nm == least_nm:
        most_nm = float(_UNIT[units][2])
    step_nm = _step(most_nm - least_nm, _UNIT[units][2])
    low_nm, high_nm = least_nm // step_nm * step_nm, -(-most_nm // step_nm) * step_nm
    return Scale(low_nm, high_nm, step_nm, top, bottom, units)


def _step(span_nm: float, smallest_nm: int) -> int:
    """Return 1, 2 or 5 times a power of ten of the smallest step, so that there are few ticks, [nm]."""
    power = 1
    while True:
        for digit in (1, 2, 5):
            step_nm = smallest_nm * power * digit
            if span_nm / step_nm <= MOST_TICKS:
                return step_nm
        power *= 10


def _exponent(number: Decimal) -> int:
    exponent = number.normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0
