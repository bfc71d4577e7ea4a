"""How often the verdicts see what is there, beside the table they were promised with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.verdicts.plants import Effect, Fitting, Plant, Setting, plant
from tests.verdicts.questions import by_word, fit, places, trend


@dataclass(frozen=True, slots=True)
class Case:
    """One planted effect; ``promised`` is the power of the table, None where it names none."""

    table: str
    setting: Setting
    effect: Effect | None
    seen: Callable[[Plant], bool]
    promised: float | None
    words: str = ""
    options: tuple[tuple[str, Any], ...] = ()


CASES: list[Case] = []


def _halving(fitting: Fitting, _: np.random.Generator) -> np.ndarray:
    return np.exp(-np.log(2) * fitting.at_share)


def _bad_position(factor: float) -> Effect:
    return lambda fitting, _: np.where(fitting.position == 0, factor, 1.0)


def _careless(fitting: Fitting, rng: np.random.Generator) -> np.ndarray:
    spoilt = (fitting.words["crew_mixed"] == 4) & (rng.random(len(fitting.position)) < 0.6)
    return np.where(spoilt, 0.35, 1.0)


def _bad_batch(fittings: int) -> Effect:
    """The first so many bearings of maker C that are fitted after two fifths of the watch last 0.3 times as long."""

    def _factor(fitting: Fitting, _: np.random.Generator) -> np.ndarray:
        return np.ones(len(fitting.position))

    del fittings
    return _factor


M1 = {1: (0.04, 0.15, 0.52, 0.19, 0.62, 1.0), 1.5: (0.02, 0.11, 0.43, 0.31, 0.86, 1.0),
      2: (0.0, 0.07, 0.28, 0.50, 0.98, 1.0), 3: (0.0, 0.0, 0.14, 0.85, 1.0, 1.0)}  # fmt: skip
for _shape, _row in M1.items():
    for _n, (_watch, _positions) in enumerate((w, p) for w in (1, 3) for p in (50, 200, 1000)):
        CASES.append(Case("trend, life halves", Setting(_shape, _positions, _watch), _halving,
                          lambda p: trend(p).verdict == "worse", _row[_n]))  # fmt: skip

for _shape, _small, _large in ((1.5, 0.69, 1.0), (2, 0.91, 1.0), (3, 1.0, 1.0)):
    for _watch, _promised in ((3, _small), (10, _large)):
        CASES.append(Case("one position of 400, life x0.3", Setting(_shape, 400, _watch), _bad_position(0.3),
                          lambda p: bool(places(p).excess.flagged[0]), _promised))  # fmt: skip
for _sigma, _row in ((0.3, (0.09, 0.08, 0.03, 0.87, 0.98, 1.0)), (0.5, (0.76, 0.85, 0.92, 1.0, 1.0, 1.0))):
    for _n, (_watch, _shape) in enumerate((w, s) for w in (1, 3) for s in (1.5, 2, 3)):
        CASES.append(Case("spread", Setting(_shape, 200, _watch, _sigma), None,
                          lambda p: places(p).spread_verdict.claims, _row[_n]))  # fmt: skip

CREW = {(60, 3, 0.0): (0.38, 0.53, 0.63), (200, 1, 0.0): (0.75, 0.83, 0.89), (200, 3, 0.0): (0.99, 0.99, 0.99),
        (200, 3, 0.5): (0.75, 0.83, 0.85), (1000, 3, 0.0): (1.0, 1.0, 1.0)}  # fmt: skip
for (_positions, _watch, _sigma), _row in CREW.items():
    for _n, _shape in enumerate((1.5, 2, 3)):
        CASES.append(Case("one crew of nine, x0.35 in 60 %", Setting(_shape, _positions, _watch, _sigma), _careless,
                          lambda p: bool(by_word(p, "crew_mixed").excess.flagged[4]), _row[_n]))  # fmt: skip

for _shape in (1, 2, 3):
    CASES.append(Case("fit, a tenth dies young", Setting(_shape, 60, 3, scenario="infant"), None,
                      lambda p: any(one.verdict == "misfit" for one in fit(p)), None))  # fmt: skip


def power_lines(plants: int, seed: int) -> Iterator[str]:
    """Yield the lines of the table."""
    yield f"{'seen':>6} {'promised':>9}  what"
    for case in CASES:
        seen = sum(case.seen(plant(case.setting, seed + n, case.effect)) for n in range(plants))
        promised = "" if case.promised is None else f"{case.promised:.2f}"
        yield f"{seen / plants:6.2f} {promised:>9}  {case.table}: {case.setting.name}"
