"""Numbers as a phone shows them: one unit system, a range with its unit once, and blanks with a fixed point."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Any, Final

from service.errors import Text
from service.render.card.plain_text import cleaned
from service.render.present import site_text
from service.units import KINDS, MM_PER_IN, NM_PER_IN, NM_PER_MM, Quantity
from service.words import UnitSystem

_TWICE: Final = re.compile(r"(\d) (?:in|mm|degF|degC|lbf\.ft|N\.m|degrees|deg) to (?=\d)")
_DECIMALS: Final[Mapping[UnitSystem, Mapping[str, int]]] = {
    "inch": {
        "initial_clearance": 4, "residual_clearance": 4, "shaft_diameter": 4, "axial_displacement": 3,
        "free_gap": 3, "free_gap_before": 3,
    },
    "metric": {
        "initial_clearance": 3, "residual_clearance": 3, "shaft_diameter": 3, "axial_displacement": 2,
        "free_gap": 1, "free_gap_before": 1,
    },
}  # fmt: skip
"""Decimals that the tool of each reading shows: blade, micrometer, indicator, depth gauge."""
_AROUND: Final[Mapping[str, tuple[float, float]]] = {"shaft_diameter": (0.995, 1.005)}
_USUAL_AROUND: Final = (0.5, 1.6)
"""How far outside its limits a reading can still be typed at the fixed point, as shares of them: own convention."""


@dataclass(frozen=True, slots=True)
class Blank:
    """A place to type a number in: the digits that all readings near its limits share, and how many are left open."""

    prefix: str = ""
    cells: int = 0

    @property
    def shown(self) -> str:
        """Return what stands in the empty place."""
        return self.prefix + "_" * self.cells


@dataclass(frozen=True, slots=True)
class Figures:
    """Writes quantities and sentences of a record in one unit system."""

    units: UnitSystem

    def text(self, given: Quantity) -> str:
        """Return number and unit."""
        return site_text((given,), self.units)

    def number(self, given: Quantity) -> str:
        """Return the number alone."""
        return self.text(given).rsplit(" ", 1)[0]

    def span(self, low: Quantity, high: Quantity) -> str:
        """Return ``low to high`` with the unit once; one number where they are the same."""
        first, last = self.number(low), self.text(high)
        return last if last.rsplit(" ", 1)[0] == first else f"{first} to {last}"

    def stack(self, blades: Sequence[Quantity] | None) -> str | None:
        """Return blades by their stamps, as they are put together; None where there are none."""
        return None if not blades else " + ".join(self.number(each) for each in blades)

    def line(self, text: Text) -> str:
        """Return a sentence in one unit system, the unit of a range written once."""
        said = cleaned(site_text(text, self.units), ascii_only=False)
        return " ".join(_TWICE.sub(r"\1 to ", said).split())

    def blank(self, kind: str, low: Quantity | None, high: Quantity | None) -> Blank:
        """Return the blank of a reading; without a fixed point where its limits are not known or share no digit.

        Parameters
        ----------
        kind : str
            Of the reading
        low, high : Quantity or None
            Its limits
        """
        decimals = _DECIMALS[self.units].get(kind)
        if decimals is None or high is None:
            return Blank()
        least, most = _AROUND.get(kind, _USUAL_AROUND)
        first = 0.0 if low is None else self._length(low) * least
        texts = [f"{first:.{decimals}f}", f"{self._length(high) * most:.{decimals}f}"]
        shared = takewhile(lambda pair: pair[0] == pair[1], zip(*texts, strict=False))
        prefix = "".join(each for each, _ in shared) if len(texts[0]) == len(texts[1]) else ""
        return Blank(prefix, len(texts[0]) - len(prefix)) if "." in prefix else Blank()

    def _length(self, given: Quantity) -> float:
        """Return a length in the unit of the system."""
        held_in_nm = KINDS[given.kind].held_in == "nm"
        per = {"inch": (NM_PER_IN, MM_PER_IN), "metric": (NM_PER_MM, 1.0)}[self.units]
        return float(given.value) / (per[0] if held_in_nm else per[1])


def limits_at(step: Mapping[str, Any], position: str | None) -> Mapping[str, Any] | None:
    """Return the limits of the reading that a step asks for at a position; None where they are not known."""
    limits = (step["record"] or {}).get("limits", ())
    return next((each for each in limits if each["position"] in (None, position)), None)
