"""How many bearings will be wanted in the next months, by designation, position or what else is asked for."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.moments import rfc3339
from service.reliability.lives import Ints, lives
from service.reliability.observed import STILL_THERE, is_any
from service.reliability.policy import Verdict
from service.reliability.replacement_forecast import SOURCES, GroupForecast, ReplacementForecast, replacement_forecast
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_misfit import weibull_misfits
from service.store.transaction import Tx
from service.units import Quantity
from service.use_cases.lives.data import History, asked_about, grouped, history, named_keys
from service.use_cases.lives.population import Population, population

HOURS_A_MONTH: Final = 8766 / 12
FAN: Final = 6  # horizons that a picture shows


@dataclass(frozen=True, slots=True)
class Forecast:
    """A forecast of one horizon, and what a group is called.

    ``data``: all stays that are chosen, ``of_group`` the group of each; ``people`` are those that lives are made of.
    """

    data: History
    of_group: Ints
    people: Population
    labels: list[str]
    months: int
    as_of_h: float
    found: ReplacementForecast
    level: float
    query: Mapping[str, Any]

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        seen, fits = self._seen(), self._fits()
        every = [fit for of_group in fits.values() for fit in of_group]
        items = [
            self._item(one, self.labels[one.group], seen[one.group], fits.get(one.group, []))
            for one in self.found.items
        ]
        total = {**self._item(self.found.total, "all", seen.sum(axis=0), every), "goodness_of_fit": None}
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

    def _item(self, one: GroupForecast, label: str, seen: Ints, fits: list[Verdict]) -> dict[str, Any]:
        misfit = any(fit.verdict == "misfit" for fit in fits)
        return {
            "group": label,
            "held": one.held,
            "detail": self._sentence(one, seen, misfit),
            "running": one.running,
            "left_out": one.left_out,
            "failures": None if one.failures is None else one.failures.record(),
            "replacements": None if one.replacements is None else one.replacements.record(),
            "seen_before": {"failures": int(seen[0]), "replacements": int(seen[1])},
            "goodness_of_fit": fits[0].record() if len(fits) == 1 else None,
            "not_supported": misfit,
        }

    def _fits(self) -> dict[int, list[Verdict]]:
        """Return, by group, the verdicts on the fits of the classes that its forecast stands on."""
        table, part = self.people.table, self.people.data.columns
        _, number = np.unique(table.of_class, return_inverse=True)
        data = lives(table.age_h, self.people.failed, entry_h=table.entry_h, group=number)
        verdicts = [one.verdict() for one in weibull_misfits(data, weibull_fits(data))]
        runs = is_any(part, "end_type", ("running",))
        pairs = np.unique(np.column_stack((self.of_group[self.people.row], number))[runs], axis=0)
        found: dict[int, list[Verdict]] = {}
        for group, of_class in pairs.tolist():
            found.setdefault(group, []).append(verdicts[of_class])
        return found

    def _seen(self) -> Ints:
        """Return what was seen in as many months before, by group: failures, replacements, those not in the forecast.

        Every bearing that was taken out counts among the replacements, whatever is known of its end: no model.
        """
        since_h, end_h = self.as_of_h - self.found.horizon_h, self.data.end_h
        ended = ~is_any(self.data.columns, "end_type", STILL_THERE)
        late = ended & (end_h > since_h) & (end_h <= self.as_of_h)
        row, failed = self.people.row, np.zeros(len(late), dtype=np.bool_)
        failed[row] = self.people.failed
        taken = np.zeros_like(failed)
        taken[row] = self.people.failed | self.people.by_plan
        columns = late & failed, late, late & ~taken
        q = len(self.labels)
        return np.column_stack([np.bincount(self.of_group[one], minlength=q) for one in columns]).astype(np.int64)

    def _sentence(self, one: GroupForecast, seen: Ints, misfit: bool) -> Text:
        _, replaced, apart = seen.tolist()
        before = f"{replaced} were replaced in the {self.months} months before."
        if apart:
            before += f" {apart} of these ended in a way that the forecast leaves out."
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
    """Return the forecast of the next months, by group."""
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
    data = history(tx, asked_about(query), *named_keys((*query["group_by"], *query["class_by"])))
    people = population(data, query, query["class_by"], share_out=False)
    table = people.table
    running = np.array([word == "running" for word in data.columns.vocabularies["end_type"]])
    still = running[people.data.columns.words["end_type"]]
    if not still.any():
        raise CannotEvaluate("no bearing runs, so none will be replaced", code="no_lives")
    groups = grouped(data, query["group_by"])
    as_of_h = min(data.now_h, float(table.end_h.max()))
    return [
        Forecast(
            data, groups.number, people, groups.labels, months, as_of_h,
            replacement_forecast(
                now_h=as_of_h, horizon_h=months * HOURS_A_MONTH, begin_h=table.begin_h, end_h=table.end_h,
                age_h=table.age_h, entry_h=table.entry_h, carried_h=people.carried_h, failed=people.failed,
                running=still, by_plan=people.by_plan, class_number=table.of_class, group=groups.number[people.row],
                duty=people.duty, level=query["level"],
            ),
            query["level"],
            query,
        )
        for months in horizons
    ]  # fmt: skip
