"""Verdicts on a single size, gap, torque or answer before it is taken: what a phone without a signal looks up.

Each is the verdict of the service itself, for every number that the instrument can show around the limits of the step.
Where two numbers are judged together (a shaft at its smallest and largest) there is no scale: it is judged when sent.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor
from typing import Any, Final

from service.instructions.readings.foreseen import Situation
from service.instructions.readings.readings import Reading, Value, verdict_of
from service.mounting.readings import ACCEPT, Verdict
from service.units import KINDS, UNITS, Quantity, to_base

Grid = tuple[str, int, float, float]
"""Unit, decimals that the instrument shows, and how far around the limits is foreseen, as shares of them."""
_WRENCH: Final = (0.5, 1.5)
_GAUGE: Final = (0.5, 1.6)
GRIDS: Final[Mapping[str, Mapping[str, Grid]]] = {
    "inch": {
        "free_gap_before": ("in", 3, *_GAUGE),
        "free_gap": ("in", 3, *_GAUGE),
        "cap_bolt_torque": ("lbf.ft", 0, *_WRENCH),
        "base_bolt_torque": ("lbf.ft", 0, *_WRENCH),
    },
    "metric": {
        "free_gap_before": ("mm", 1, *_GAUGE),
        "free_gap": ("mm", 1, *_GAUGE),
        "cap_bolt_torque": ("N.m", 0, *_WRENCH),
        "base_bolt_torque": ("N.m", 0, *_WRENCH),
    },
}
"""By unit system and kind: own convention."""
_KIND_OF: Final = {"cap_bolt_torque": "torque", "base_bolt_torque": "torque"}
WORDS: Final = ("class_read", "try_start", "swivel", "confirmation")
"""Kinds that are answered with a word, and judged without regard to who answers."""
MOST_CELLS: Final = 1200


@dataclass(frozen=True, slots=True)
class Line:
    """Verdicts along a scale.

    Parameters
    ----------
    places : int
        Decimals of the unit that the instrument shows, [-]
    first : int
        The first number, in its last decimal, [-]
    """

    kind: str
    unit: str
    places: int
    first: int
    verdicts: tuple[Verdict, ...]

    def number(self, index: int) -> float:
        """Return a number of the scale, in its unit."""
        return round((self.first + index) / 10.0**self.places, self.places)


def foreseen_line(kind: str, step: Mapping[str, Any], position: str | None, now: Situation) -> Line | None:
    """Return the verdicts on a reading of a step; None where its limits are not known, or nothing is accepted."""
    grid = GRIDS[now.plan["units"]].get(kind)
    record = step["record"] or {}
    limits = next((each for each in record.get("limits", ()) if each["position"] in (None, position)), None)
    if grid is None or record.get("kind") != kind or limits is None or None in (limits["min"], limits["max"]):
        return None
    unit, places, below, above = grid
    per = UNITS[KINDS[_kind(kind)].dimension][unit]
    low, high = (_shown(limits[name], float(per.factor), places) for name in ("min", "max"))
    first, last = floor(low * below), ceil(high * above)
    if last - first > MOST_CELLS:
        return None
    line = Line(kind, unit, places, first, ())
    verdicts = tuple(verdict_at(line.number(n), line, step, position, now) for n in range(last - first + 1))
    if not any(each.verdict == ACCEPT for each in verdicts):
        return None
    return Line(kind, unit, places, first, verdicts)


def verdict_at(number: float, line: Line, step: Mapping[str, Any], position: str | None, now: Situation) -> Verdict:
    """Return the verdict of the service on a number as the instrument shows it, in the unit of the line."""
    kind = _kind(line.kind)
    unit = UNITS[KINDS[kind].dimension][line.unit]
    values = (Value(quantity=Quantity(kind, to_base(number, unit))),)
    reading = Reading(kind=line.kind, position=position, step=step["id"], values=values)
    return verdict_of(reading, now.plan, blade_set=now.blade_set, charts=now.job.charts, earlier=now.entries)


def foreseen_words(
    kind: str, words: tuple[str, ...], step: Mapping[str, Any], position: str | None, now: Situation
) -> dict[str, Verdict]:
    """Return the verdict on each answer of a step; {} for a kind that is judged by who answers, too."""
    if kind not in WORDS:
        return {}
    found = {}
    for word in words:
        value = word == "yes" if kind in ("try_start", "confirmation") else word
        reading = Reading(kind=kind, position=position, step=step["id"], values=(Value(word=value),))
        found[word] = verdict_of(reading, now.plan, blade_set=now.blade_set, charts=now.job.charts, earlier=now.entries)
    return found


def _kind(kind: str) -> str:
    return _KIND_OF.get(kind, "dimension")


def _shown(limit: Quantity, factor: float, places: int) -> float:
    """Return a limit in the last decimal of what the instrument shows."""
    return round(float(limit.value) / factor * 10.0**places, 6)
