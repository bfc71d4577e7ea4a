"""The questions that are asked of a plant, by name; further modules register theirs with ``register``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from service.reliability.change_at_date import change_at_date
from service.reliability.covariates import kind, number
from service.reliability.date_runs import date_runs
from service.reliability.factor_verdicts import factor_test, factor_verdicts
from service.reliability.group_excess import group_excess, strata_of
from service.reliability.life_regression import life_regression
from service.reliability.lives import lives
from service.reliability.month_runs import month_numbers, month_runs
from service.reliability.place_excess import PlaceExcess, place_excess
from service.reliability.policy import LEVEL, Verdict, holm
from service.reliability.trend_verdict import trend_verdict
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_misfit import weibull_misfits
from tests.verdicts.plants import MEAN_LIFE_H, TWO_CLASSES_FROM, Plant, Setting


@dataclass(frozen=True, slots=True)
class Question:
    """One question; ``claim`` returns whether anything is claimed, ``holds_in`` where that would be false."""

    name: str
    claim: Callable[[Plant], bool]
    holds_in: Callable[[Setting], bool]


QUESTIONS: dict[str, Question] = {}


def register(name: str, claim: Callable[[Plant], bool], holds_in: Callable[[Setting], bool] = lambda _: True) -> None:
    """Add a question. A claim on a plant of a setting it holds in is a false one."""
    QUESTIONS[name] = Question(name, claim, holds_in)


def alike(setting: Setting) -> bool:
    return setting.sigma == 0


def trend(plant: Plant) -> Verdict:
    def _answer() -> Verdict:
        return trend_verdict(plant.table, planned=plant.planned, with_change=False).verdict

    return _once(plant, "trend", _answer)


def places(plant: Plant, column: str = "position") -> PlaceExcess:
    return _once(plant, column, lambda: place_excess(plant.table, getattr(plant.table, column)))


def _once(plant: Plant, name: str, answer: Callable[[], Any]) -> Any:
    """Return an answer that several questions share, made once a plant."""
    if name not in plant.answers:
        plant.answers[name] = answer()
    return plant.answers[name]


def by_word(plant: Plant, word: str, within_h: float | None = None):
    labels = [f"{word} {n}" for n in range(plant.sizes[word])]
    key = {"crew_mixed": "installer", "crew_tied": "installer", "maker": "manufacturer"}.get(word, word)
    return group_excess(plant.table, plant.words[word], labels, keys=(key,), within_h=within_h)


def batches(plant: Plant, within_h: float | None = None):
    return month_runs(plant.table, plant.words["maker"], ["A", "B", "C"], within_h=within_h)


def mounting(plant: Plant) -> list[Verdict]:
    names = ("one", "two", "three", "four")
    tests = [factor_test(word, plant.table, plant.words[word], names) for word in ("bin_of_stay", "bin_of_position")]
    return [one.verdict for one in factor_verdicts(tests)]


def fit(plant: Plant) -> list[Verdict]:
    table = plant.table
    data = lives(table.age_h, table.failed > 0, entry_h=table.entry_h, group=table.of_class)
    return [one.verdict() for one in weibull_misfits(data, weibull_fits(data))]


def _any(verdicts: list[Verdict]) -> bool:
    return any(one.claims for one in verdicts)


WINDOWS = {"10 %": 0.1 * MEAN_LIFE_H, "30 %": 0.3 * MEAN_LIFE_H, "whole": None}

register("trend worse", lambda p: trend(p).verdict == "worse")
register("trend better", lambda p: trend(p).verdict == "better")
register("trend", lambda p: trend(p).claims)
register("ranking of positions", lambda p: bool(places(p).excess.flagged.any()), alike)
register("ranking of machines", lambda p: bool(places(p, "asset").excess.flagged.any()), alike)
register("spread", lambda p: places(p).spread_verdict.claims, alike)
register(
    "ranking, whole answer", lambda p: bool(places(p).excess.flagged.any()) or places(p).spread_verdict.claims, alike
)
for _window, _within in WINDOWS.items():
    for _word in ("crew_mixed", "crew_tied", "maker"):
        register(f"{_word}, {_window}", lambda p, w=_word, h=_within: bool(by_word(p, w, h).named))  # type: ignore[misc]
    register(f"batches, {_window}", lambda p, h=_within: bool(batches(p, h).named))  # type: ignore[misc]


def designations(plant: Plant) -> bool:
    """Return whether three designations are told apart that live equally long."""
    table = replace(plant.table, of_class=plant.words["designation"])
    found = group_excess(table, table.of_class, ["A", "B", "C"], keys=("designation",), role=plant.words["role"])
    return bool(found.named)


register("designations, whole", designations, lambda s: s.positions < TWO_CLASSES_FROM)
register("work order, 10 %", lambda p: bool(by_word(p, "work_order", WINDOWS["10 %"]).named))
register("positions, 30 %", lambda p: bool(
    group_excess(p.table, p.table.position, [""] * 10_000, keys=("position",), within_h=WINDOWS["30 %"])
    .excess.flagged.any()), alike)  # fmt: skip


def maker_years(plant: Plant) -> bool:
    """Return whether a year of fitting of a maker is named."""
    year = month_numbers(plant.table.begin_h, "year")
    year = year - year.min()
    years = int(year.max()) + 1
    labels = [str(n) for n in range(3 * years)]
    keys = ("manufacturer", "fitted_year")
    return bool(group_excess(plant.table, plant.words["maker"] * years + year, labels, keys=keys).named)


register("maker and fitted_year, whole", maker_years)


def dates(plant: Plant, unit: Literal["month", "year"], within_h: float | None = None) -> bool:
    """Return whether a date of fitting is named, whoever and whatever was fitted."""
    found = date_runs(plant.table, unit=unit, within_h=within_h, planned=plant.planned, orders=199)
    return bool(found.named)


register("fitted_month alone, whole", lambda p: dates(p, "month"))
register("fitted_month alone, 30 %", lambda p: dates(p, "month", WINDOWS["30 %"]))
register("fitted_year alone, whole", lambda p: dates(p, "year"))
register("mounting", lambda p: _any(mounting(p)))
register("fit", lambda p: _any(fit(p)), lambda s: s.sigma == 0 and s.scenario != "infant")


def half_h(plant: Plant) -> float:
    """Return the middle of the watch, [h]."""
    return float(plant.table.begin_h.min() + plant.table.end_h.max()) / 2


def chosen_trend(plant: Plant, keep: np.ndarray) -> bool:
    """Return whether a trend is said of the stays that a filter chooses."""
    found = trend_verdict(plant.table.chosen(keep), planned=plant.planned[keep], with_change=False)
    return found.verdict.claims


def first_part(plant: Plant) -> np.ndarray:
    """Return who was fitted in the first 45 % of the time watched: before a limit of age is begun."""
    first, last = float(plant.table.begin_h.min()), float(plant.table.end_h.max())
    return np.asarray(plant.table.begin_h < first + 0.45 * (last - first))


register("trend of those fitted before a date", lambda p: chosen_trend(p, first_part(p)))
register("trend of the first maker", lambda p: chosen_trend(p, p.words["maker"] == 0))


def change_at_half(plant: Plant, orders: int = 199) -> bool:
    """Return whether a change is said in the middle of the watch."""
    table = plant.table
    found = change_at_date(
        date_h=half_h(plant), begin_h=table.begin_h, end_h=table.end_h, age_h=table.age_h, entry_h=table.entry_h,
        carried_h=np.zeros(table.rows), failed=table.failed > 0, running=~table.ended, position=table.position,
        class_number=table.of_class, orders=orders,
    )  # fmt: skip
    return found.verdict(found.p_value) in ("worse", "better")


register("change at a date", change_at_half)


def regression(plant: Plant) -> bool:
    """Return whether any of four covariates is claimed: crew, maker, one of the stay, one of the position."""
    table, failed = plant.table, plant.table.failed > 0
    asked = [
        kind("installer", plant.words["crew_mixed"], [f"crew {n}" for n in range(9)], failed),
        kind("manufacturer", plant.words["maker"], ["A", "B", "C"], failed),
        number("temperature", plant.words["bin_of_stay"].astype(float)),
        number("radial_load", plant.words["bin_of_position"].astype(float)),
    ]
    found = life_regression(
        time_h=table.age_h, failed=failed, entry_h=table.entry_h, stratum=strata_of(table, ("covariates",)),
        asset=table.asset, position=table.position, covariates=asked,
    )  # fmt: skip
    p = [one.p_value for one in found.items if one.p_value is not None]
    return bool(len(p) and (holm(p) <= LEVEL).any())


register("regression", regression)
register("batches of crews tied", lambda p: bool(
    month_runs(p.table, p.words["crew_tied"], [f"crew {n}" for n in range(9)]).named))  # fmt: skip


def lots(plant: Plant) -> bool:
    """Return whether a lot is named that is the half-year of fitting under another name."""
    lot = ((plant.table.begin_h - plant.table.begin_h.min()) // 4383).astype(np.int64)
    labels = [f"lot {n}" for n in range(int(lot.max()) + 1)]
    return bool(group_excess(plant.table, lot, labels, keys=("attributes.lot",)).named)


register("lots that follow one another", lots)
