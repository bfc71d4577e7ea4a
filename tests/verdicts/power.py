"""How often the verdicts see what is there, beside the table they were promised with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from service.reliability.month_runs import month_numbers
from service.reliability.policy import LEVEL
from tests.verdicts.plants import BEGIN_H, MEAN_LIFE_H, Effect, Fitting, Plant, Setting, plant
from tests.verdicts.questions import batches, by_word, fit, places, trend


@dataclass(frozen=True, slots=True)
class Case:
    """One planted effect; ``promised`` is the power of the table, None where it names none."""

    table: str
    setting: Setting
    effect: Effect | None
    seen: Callable[[Plant], bool]
    promised: float | None


CASES: list[Case] = []


def _halving(fitting: Fitting, _: np.random.Generator) -> np.ndarray:
    return np.exp(-np.log(2) * fitting.at_share)


def _bad_position(factor: float) -> Effect:
    return lambda fitting, _: np.where(fitting.position == 0, factor, 1.0)


def _careless(fitting: Fitting, rng: np.random.Generator) -> np.ndarray:
    spoilt = (fitting.words["crew_mixed"] == 4) & (rng.random(len(fitting.position)) < 0.6)
    return np.where(spoilt, 0.35, 1.0)


def _bad_batch(months: int) -> Effect:
    """What maker B delivers in some whole months in the middle of the watch lasts 0.3 times as long."""
    first = int(month_numbers(np.array([BEGIN_H + 1.5 * MEAN_LIFE_H]))[0])

    def _factor(fitting: Fitting, _: np.random.Generator) -> np.ndarray:
        month = month_numbers(BEGIN_H + fitting.begin_h)
        return np.where((fitting.words["maker"] == 1) & (month >= first) & (month < first + months), 0.3, 1.0)

    return _factor


M1 = {1: (0.04, 0.15, 0.52, 0.19, 0.62, 1.0), 1.5: (0.02, 0.11, 0.43, 0.31, 0.86, 1.0),
      2: (0.0, 0.07, 0.28, 0.50, 0.98, 1.0), 3: (0.0, 0.0, 0.14, 0.85, 1.0, 1.0)}  # fmt: skip
for _shape, _row in M1.items():
    for _n, (_watch, _positions) in enumerate((w, p) for w in (1, 3) for p in (50, 200, 1000)):
        CASES.append(Case("trend, life halves", Setting(_shape, _positions, _watch, classes=1), _halving,
                          lambda p: trend(p).verdict == "worse", _row[_n]))  # fmt: skip


def _whole(shape: float, positions: int, watch: float, sigma: float = 0.0) -> Setting:
    """One class, every position watched for the whole time, as the promised figures were made."""
    return Setting(shape, positions, watch, sigma, classes=1, least_watch=1)


def _first_is_flagged(one: Plant) -> bool:
    return bool(places(one).excess.adjusted_p[0] <= 2 * LEVEL)  # promised at 0.05 a question, two questions an answer


def _spread_is_seen(one: Plant) -> bool:
    return places(one).spread.p_value <= LEVEL


def _crew_is_flagged(one: Plant) -> bool:
    return bool(by_word(one, "crew_mixed").excess.flagged[4])


def _batch_is_named(one: Plant) -> bool:
    return any(name.startswith("B /") for name in batches(one).named)


def _misfit_is_seen(one: Plant) -> bool:
    return any(verdict.verdict == "misfit" for verdict in fit(one))


for _shape, _small, _large in ((1.5, 0.69, 1.0), (2, 0.91, 1.0), (3, 1.0, 1.0)):
    for _watch, _promised in ((3, _small), (10, _large)):
        CASES.append(Case("one position of 400, life x0.3", _whole(_shape, 400, _watch), _bad_position(0.3),
                          _first_is_flagged, _promised))  # fmt: skip
for _shape, _small, _large in ((1.5, 0.09, 0.55), (2, 0.16, 0.87), (3, 0.43, 1.0)):
    for _watch, _promised in ((3, _small), (10, _large)):
        CASES.append(Case("one position of 400, life x0.5", _whole(_shape, 400, _watch), _bad_position(0.5),
                          _first_is_flagged, _promised))  # fmt: skip
for _sigma, _row in ((0.3, (0.09, 0.08, 0.03, 0.87, 0.98, 1.0)), (0.5, (0.76, 0.85, 0.92, 1.0, 1.0, 1.0))):
    for _n, (_watch, _shape) in enumerate((w, s) for w in (1, 3) for s in (1.5, 2, 3)):
        CASES.append(Case("spread", _whole(_shape, 200, _watch, _sigma), None, _spread_is_seen, _row[_n]))

CREW = {(60, 3, 0.0): (0.38, 0.53, 0.63), (200, 1, 0.0): (0.75, 0.83, 0.89), (200, 3, 0.0): (0.99, 0.99, 0.99),
        (200, 3, 0.5): (0.75, 0.83, 0.85), (1000, 3, 0.0): (1.0, 1.0, 1.0)}  # fmt: skip
for (_positions, _watch, _sigma), _row in CREW.items():
    for _n, _shape in enumerate((1.5, 2, 3)):
        CASES.append(Case("one crew of nine, x0.35 in 60 %", _whole(_shape, _positions, _watch, _sigma), _careless,
                          _crew_is_flagged, _row[_n]))  # fmt: skip
# a position gives maker B about one bearing in forty months then: 16 a month of 640, 12 a month of 480
for _fittings, _months, _positions, _row in ((32, 2, 640, (0.90, 0.97, 1.0)), (12, 1, 480, (0.23, 0.48, 0.77))):
    for _n, _shape in enumerate((1.5, 2, 3)):
        CASES.append(Case(f"batch of {_fittings} fittings, x0.3", _whole(_shape, _positions, 3), _bad_batch(_months),
                          _batch_is_named, _row[_n]))  # fmt: skip
for _shape in (1, 2, 3):
    CASES.append(Case("fit, a tenth dies young", Setting(_shape, 50, 3, scenario="infant"), None, _misfit_is_seen,
                      None))  # fmt: skip


def power_lines(plants: int, seed: int) -> Iterator[str]:
    """Yield the lines of the table."""
    yield f"{'seen':>6} {'promised':>9}  what"
    for case in CASES:
        seen = sum(case.seen(plant(case.setting, seed + n, case.effect)) for n in range(plants))
        promised = "" if case.promised is None else f"{case.promised:.2f}"
        yield f"{seen / plants:6.2f} {promised:>9}  {case.table}: {case.setting.name}"
