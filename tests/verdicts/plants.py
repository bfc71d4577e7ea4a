"""Plants with a known truth: positions whose bearings are renewed, with crews, makers, plans and records as in life.

Times are hours. A plant of one setting and one seed is always the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import gamma
from typing import Any

import numpy as np

from service.reliability.stay_table import StayTable, stay_table

MEAN_LIFE_H = 26_298.0  # three years, so that three mean lives are nine years of months
BEGIN_H = 350_640.0  # 2010-01-01, hours since 1970
TWO_CLASSES_FROM = 60  # positions; the second class lasts half as long again
SCENARIOS = ("plain", "plan_halfway", "plan_throughout", "late_entry", "infant", "superseded")


@dataclass(frozen=True, slots=True)
class Setting:
    """What is varied.

    ``watch``: longest watch in mean lives; ``least_watch``: shortest, as a share of it; ``sigma``: of the lasting
    log-normal factor of life; ``classes``: 1, or 2 where there are many positions.
    """

    shape: float
    positions: int
    watch: float
    sigma: float = 0.0
    scenario: str = "plain"
    classes: int = 2
    least_watch: float = 0.5

    @property
    def name(self) -> str:
        alike = "alike" if self.sigma == 0 else f"sigma {self.sigma:g}"
        return f"shape {self.shape:g}, {self.positions} positions, {self.watch:g} lives, {alike}, {self.scenario}"


@dataclass(frozen=True, slots=True)
class Fitting:
    """Who and what a bearing was fitted with, one row a position: given to an effect, which returns factors of life."""

    at_share: np.ndarray  # of the position's own watch that has passed
    begin_h: np.ndarray
    position: np.ndarray
    words: Mapping[str, np.ndarray]


Effect = Callable[[Fitting, np.random.Generator], np.ndarray]


@dataclass(frozen=True, slots=True)
class Plant:
    """Stays of a plant; ``words`` has a number of each stay by name, ``sizes`` how many different ones there are."""

    table: StayTable
    planned: np.ndarray
    words: dict[str, np.ndarray]
    sizes: dict[str, int]
    answers: dict[str, Any] = field(default_factory=dict)


SIZES = {
    "crew_mixed": 9,
    "crew_tied": 9,
    "maker": 3,
    "bin_of_stay": 4,
    "bin_of_position": 4,
    "role": 2,
    "designation": 3,
}


def plant(setting: Setting, seed: int, effect: Effect | None = None, *, phased: bool = True) -> Plant:
    """Return the plant of a setting and a seed.

    Positions are watched for a part or the whole of the longest watch and the bearing that runs at the end is censored.
    Two positions are a machine. Crews are mixed within three areas, or tied to machines; makers are phased in.
    """
    rng = np.random.default_rng([seed, *setting.name.encode()])
    n, span = setting.positions, setting.watch * MEAN_LIFE_H
    position = np.arange(n)
    asset = position // 2
    of_class = (asset % 2) * int(n >= TWO_CLASSES_FROM and setting.classes == 2)
    scale = MEAN_LIFE_H / gamma(1 + 1 / setting.shape) * np.where(of_class == 1, 1.5, 1.0)
    lasting = np.exp(setting.sigma * rng.standard_normal(n))
    start = rng.uniform(0, (1 - setting.least_watch) * span, n)
    bin_of_position = rng.choice(4, n, p=(0.1, 0.4, 0.4, 0.1))
    at, active, number, rows = start.copy(), np.ones(n, dtype=bool), np.zeros(n, dtype=int), []
    limit_h, limit_from = _policy(setting, span, scale)
    while active.any():
        who = np.flatnonzero(active)
        words = _words(rng, at[who] / span, who, asset[who], bin_of_position[who], number[who], phased)
        life = scale[who] * lasting[who] * _lives(rng, setting, len(who))
        if effect is not None:
            passed = (at[who] - start[who]) / (span - start[who])
            life = life * effect(Fitting(passed, at[who], who, words), rng)
        planned_at = np.maximum(at[who] + limit_h[who], limit_from)
        fails_at, end = at[who] + life, np.full(len(who), span)
        ends = np.minimum(np.minimum(fails_at, planned_at), end)
        failed, planned = ends == fails_at, (ends == planned_at) & (planned_at < fails_at) & (planned_at < end)
        rows.append((who, at[who], ends, failed, planned, words))
        at[who] = ends
        number[who] += 1
        active[who] = failed | planned
    return _joined(rows, setting, span, asset, of_class)


def _lives(rng: np.random.Generator, setting: Setting, n: int) -> np.ndarray:
    life = rng.weibull(setting.shape, n)
    if setting.scenario == "infant":  # a tenth die young: the law is no Weibull, but the same for all
        young = rng.random(n) < 0.1
        life = np.where(young, 0.1 * rng.weibull(0.8, n), life)
    return life


def _policy(setting: Setting, span: float, scale: np.ndarray) -> tuple[np.ndarray, float]:
    """Return the age at which bearings are removed by plan, and from when on."""
    if setting.scenario == "plan_halfway":
        return 0.7 * scale, span / 2
    if setting.scenario == "plan_throughout":
        return 0.8 * scale, 0.0
    return np.full(len(scale), np.inf), 0.0


def _words(
    rng: np.random.Generator,
    at_share: np.ndarray,
    position: np.ndarray,
    asset: np.ndarray,
    bin_of_position: np.ndarray,
    number: np.ndarray,
    phased: bool,
) -> dict[str, np.ndarray]:
    n = len(position)
    newest = np.minimum((3 * at_share).astype(int), 2) if phased else np.full(n, 2)
    maker = np.where(rng.random(n) < 0.6, newest, rng.integers(0, newest + 1))
    return {
        "crew_mixed": 3 * (asset % 3) + rng.integers(0, 3, n),
        "crew_tied": asset % 9,
        "maker": maker if phased else rng.integers(0, 3, n),
        "bin_of_stay": rng.choice(4, n, p=(0.1, 0.4, 0.4, 0.1)),
        "bin_of_position": bin_of_position,
        "role": position % 2,
        "designation": (position // 2) % 3,
        "work_order": asset * 1000 + number,
    }


def _joined(rows: list[Any], setting: Setting, span: float, asset: np.ndarray, of_class: np.ndarray) -> Plant:
    who, begin, end, failed, planned = (np.concatenate([row[n] for row in rows]) for n in range(5))
    words = {name: np.concatenate([row[5][name] for row in rows]) for name in rows[0][5]}
    seen_from = np.full(len(who), -np.inf)
    if setting.scenario == "late_entry":
        seen_from[:] = 0.3 * span
    entry = np.maximum(seen_from - begin, 0.0)
    # another designation is fitted from half-way on, as good as the one before
    newer = (begin >= span / 2) & (setting.scenario == "superseded")
    of_class = of_class[who] + 2 * newer
    kept = (end - begin > entry) & (end > begin)
    who, begin, end, failed, planned, entry = (one[kept] for one in (who, begin, end, failed, planned, entry))
    table = stay_table(
        end - begin,
        failed,
        position=who,
        begin_h=BEGIN_H + begin,
        end_h=BEGIN_H + end,
        ended=failed | planned,
        entry_h=entry,
        of_class=np.unique(of_class[kept], return_inverse=True)[1],
        asset=asset[who],
    )
    words = {name: column[kept] for name, column in words.items()}
    _, words["work_order"] = np.unique(words["work_order"], return_inverse=True)
    sizes = {**SIZES, "work_order": int(words["work_order"].max()) + 1}
    return Plant(table, planned, words, sizes)
