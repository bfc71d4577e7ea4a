"""How many bearings will be wanted in the next months, by designation."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.moments import rfc3339
from service.reliability.lives import lives
from service.reliability.replacement_forecast import SOURCES, GroupForecast, ReplacementForecast, replacement_forecast
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_misfit import weibull_misfits
from service.store.transaction import Tx
from service.units import Quantity
from service.use_cases.lives.data import asked_about, grouped, history, named_keys
from service.use_cases.lives.population import Population, population

HOURS_A_MONTH: Final = 8766 / 12
FAN: Final = 6  # horizons that a picture shows


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast of one horizon, and what a group is called."""

    people: Population
    labels: list[str]
    months: int
    as_of_h: float
    found: ReplacementForecast
    level: float
    query: Mapping[str, Any]

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        fits = self._fits()
        items = [self._item(one, self.labels[one.group], fits.get(one.group)) for one in self.found.items]
        misfit = any(item["not_supported"] for item in items)
        total = self._item(self.found.total, "all", None, misfit=misfit)
        left_out = sum(self.people.counted.excluded().values())
        said: list[Text] = [
            *self.people.assumptions(self.query),
            self.found.said,
            "Each bearing that runs goes on from the age at which it was last seen, its successors from new; levels go "
            "by what was seen lately.",
        ]
        if left_out:
            said.append(f"{left_out} stays are left out; what they stand for is not forecast.")
        return {
            "months": self.months,
            "horizon": Quantity("time", self.found.horizon_h),
            "as_of": rfc3339(datetime.fromtimestamp(self.as_of_h * 3600, UTC)),
            "covers": self.found.covers,
            "level": self.level,
            "draws": self.found.draws,
            "items": items,
            "total": total,
            "counts": self.people.counts(),
            "assumptions": said,
            "sources": [source.record() for source in SOURCES],
        }

    def _fits(self) -> dict[int, Any]:
        """Return the verdict on the fit of each class that is a group of its own."""
        table = self.people.table
        if self.people.class_by != ("designation",):
            return {}
        present, number = np.unique(table.of_class, return_inverse=True)
        data = lives(table.age_h, self.people.failed, entry_h=table.entry_h, group=number)
        verdicts = [one.verdict() for one in weibull_misfits(data, weibull_fits(data))]
        return dict(zip(present.tolist(), verdicts, strict=True))

    def _item(self, one: GroupForecast, label: str, fit: Any, *, misfit: bool = False) -> dict[str, Any]:
        misfit = misfit or (fit is not None and fit.verdict == "misfit")
        seen = self._seen(None if one.group < 0 else one.group)
        return {
            "group": label,
            "held": one.held,
            "detail": self._sentence(one, seen, misfit),
            "running": one.running,
            "left_out": one.left_out,
            "failures": None if one.failures is None else one.failures.record(),
            "replacements": None if one.replacements is None else one.replacements.record(),
            "seen_before": seen,
            "goodness_of_fit": None if fit is None else fit.record(),
            "not_supported": misfit,
        }

    def _seen(self, group: int | None) -> dict[str, int]:
        """Return what was replaced in as many months before: no model."""
        table, people = self.people.table, self.people
        mine = np.ones(table.rows, dtype=np.bool_) if group is None else self._group() == group
        late = mine & table.ended & (table.end_h > self.as_of_h - self.found.horizon_h)
        failed = int(np.count_nonzero(late & people.failed))
        return {"failures": failed, "replacements": failed + int(np.count_nonzero(late & people.by_plan))}

    def _group(self) -> Any:
        return grouped(self.people.data, ("designation",)).number

    def _sentence(self, one: GroupForecast, seen: Mapping[str, int], misfit: bool) -> Text:
        before = f"{seen['replacements']} were replaced in the {self.months} months before."
        if one.replacements is None:
            return f"Too few failures to forecast from. {before}"
        short = "" if not one.left_out else f" {one.left_out} running bearings are left out: too few failures."
        numbers = one.replacements
        said = (
            f"{numbers.median} ({numbers.lower} to {numbers.upper} at {self.level:.0%}) are expected to be replaced in "
            f"the next {self.months} months."
        )
        if misfit:
            return f"{before} By a Weibull, which does not describe these lives, {said}{short}"
        return f"{said} {before}{short}"


def replacement_forecast_of(tx: Tx, query: Mapping[str, Any], months: int) -> Forecast:
    """Return the forecast of the next months, by designation."""
    (found,) = forecasts(tx, query, [months])
    return found


def forecast_fan(tx: Tx, query: Mapping[str, Any], months: int) -> list[Forecast]:
    """Return the forecasts of several horizons up to one, for a picture."""
    return forecasts(tx, query, sorted({max(1, round(months * n / FAN)) for n in range(1, FAN + 1)}))


def forecasts(tx: Tx, query: Mapping[str, Any], horizons: list[int]) -> list[Forecast]:
    """Return the forecasts of some horizons, in months, of the same stays.

    Raises
    ------
    CannotEvaluate
        ``no_lives``: no bearing runs.
    """
    data = history(tx, asked_about(query), *named_keys(query["class_by"]))
    people = population(data, query, query["class_by"], share_out=False)
    table = people.table
    running = np.array([word == "running" for word in data.columns.vocabularies["end_type"]])
    still = running[people.data.columns.words["end_type"]]
    if not still.any():
        raise CannotEvaluate("no bearing runs, so none will be replaced", code="no_lives")
    groups = grouped(people.data, ("designation",))
    as_of_h = min(data.now_h, float(table.end_h.max()))
    return [
        Forecast(
            people, groups.labels, months, as_of_h,
            replacement_forecast(
                now_h=as_of_h, horizon_h=months * HOURS_A_MONTH, begin_h=table.begin_h, end_h=table.end_h,
                age_h=table.age_h, entry_h=table.entry_h, carried_h=people.carried_h, failed=people.failed,
                running=still, by_plan=people.by_plan, class_number=table.of_class, group=groups.number,
                duty=people.duty, level=query["level"],
            ),
            query["level"],
            query,
        )
        for months in horizons
    ]  # fmt: skip
