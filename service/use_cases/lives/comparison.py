"""Answers about groups of stays: which fail more, soon after fitting or over whole lives, than others like them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.date_runs import date_runs
from service.reliability.group_excess import PLACES, GroupExcess, group_excess
from service.reliability.lives import Bools, Ints
from service.reliability.month_runs import LONGEST, Run, Unit, month_numbers, month_runs
from service.reliability.stay_columns import Groups
from service.reliability.strata import number_of_periods
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.units import Quantity
from service.use_cases.lives.data import filtering, grouped, history, named_keys, on_record, shown
from service.use_cases.lives.keys import DATES, KEYS
from service.use_cases.lives.population import Population, population

MOST_COMPARED: Final = 100_000
MOST_RUNS: Final = 4_000_000
UNITS: Final[dict[str, Unit]] = {"fitted_month": "month", "fitted_quarter": "quarter", "fitted_year": "year"}
GARWOOD: Final = Source("garwood_1936", "Garwood 1936, Biometrika 28: exact limits of a Poisson mean", "handbook")
HOLM: Final = Source("holm_1979", "Holm 1979, Scand. J. Stat. 6: many tests in one answer", "handbook")
MANTEL: Final = Source("mantel_1966", "Mantel 1966; Kalbfleisch & Prentice: stratified log-rank test", "handbook")
WESTFALL: Final = Source("westfall_young_1993", "Westfall & Young 1993, Resampling-Based Multiple Testing", "handbook")


@dataclass(frozen=True, slots=True)
class _Asked:
    """A question with its stays: which groups, of which some are shown."""

    people: Population
    groups: Groups
    keys: tuple[str, ...]
    within_h: float | None
    level: float
    top: int
    shown: Bools | None
    not_stated: int

    def rows_shown(self, group: Ints, order: Ints) -> Ints:
        """Return the groups to be shown, in their order: those of which a stay passes the filters."""
        if self.shown is not None:
            seen = np.bincount(group, self.shown, int(group.max()) + 1) > 0
            order = order[seen[order]]
        return order[: self.top]


def early_failures_of(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the failures soon after fitting, by group."""
    return {"within": Quantity("time", query["within_h"]), **_compared(tx, query, query["within_h"])}


def life_comparison_of(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the failures over whole lives, by group."""
    return _compared(tx, query, None)


def _compared(tx: Tx, query: Mapping[str, Any], within_h: float | None) -> dict[str, Any]:
    keys = tuple(query["group_by"])
    asked = [*named_keys((*keys, *query["class_by"])), *filtering(query), KEYS["role"]]
    data = history(tx, Chosen(), *asked)
    people = population(data, query, query["class_by"])
    others = tuple(key for key in keys if key not in DATES)
    dated = next((UNITS[key] for key in keys if key in DATES), None)
    runs = dated is not None and (not others or dated != "year")
    known = stated(people, others if runs else keys)
    groups = grouped(known.data, others if runs else keys, MOST_COMPARED)
    left_out = people.table.rows - known.table.rows
    one = _Asked(known, groups, keys, within_h, query["level"], query["top"], shown(known.data, query), left_out)
    found = _runs(one, dated) if runs and dated is not None else _excess(one)
    return {
        "group_by": list(keys),
        **found,
        "counts": people.counts(),
        "level": query["level"],
        "assumptions": [*people.assumptions(query), *_said(one)],
    }


def stated(people: Population, keys: Sequence[str]) -> Population:
    """Return the stays of which every key is on record; all of them where it is of none.

    The others are compared with none: what is written down when a bearing fails, and never of one that runs, such as a
    batch that somebody reads off the broken ring, would make short lives of every batch.
    """
    known = on_record(people.data, keys)
    return people if known.all() or not known.any() else people.of_rows(known)


def _excess(one: _Asked) -> dict[str, Any]:
    """Return the groups against others of their class and period."""
    people, groups = one.people, one.groups
    role = grouped(people.data, ("role",)).number
    found: GroupExcess = group_excess(
        people.table, groups.number, groups.labels, keys=one.keys, within_h=one.within_h, role=role
    )
    rows = one.rows_shown(groups.number, found.excess.order())
    items = found.items(rows, people.assets, one.level)
    for row, item in zip(rows.tolist(), items, strict=True):
        item["keys"] = dict(zip(one.keys, groups.words[row], strict=True))
    sources = [GARWOOD, HOLM] if set(one.keys) <= PLACES else [MANTEL, GARWOOD, HOLM]
    return {
        **found.verdict().record(),
        "family": found.excess.family,
        "groups": len(groups.labels),
        "named": found.named,
        "items": items,
        "sources": [source.record() for source in sources],
    }


def _runs(one: _Asked, unit: Unit) -> dict[str, Any]:
    """Return the runs of months of fitting that stand out."""
    people, groups = one.people, one.groups
    number = month_numbers(people.table.begin_h, unit)
    alone = not [key for key in one.keys if key not in DATES]
    if alone:
        found = date_runs(people.table, unit=unit, within_h=one.within_h, planned=people.by_plan)
    else:
        spans = int(number.max() - number.min()) + 1
        if spans * len(groups.labels) * LONGEST[unit] > MOST_RUNS:
            said = f"{len(groups.labels)} groups over {spans} {unit}s are too many runs; group by less, or by {unit}s "
            raise CannotEvaluate(f"{said}of larger groups", code="too_many_groups", field="group_by")
        found = month_runs(people.table, groups.number, groups.labels, unit=unit, within_h=one.within_h)
    items = found.items(people.assets, one.level)
    for run, item in zip(found.runs, items, strict=True):
        words = () if alone else groups.words[run.value]
        rest = [key for key in one.keys if key not in DATES]
        item["keys"] |= dict(zip(rest, words, strict=True))
    kept = [
        item
        for run, item in zip(found.runs, items, strict=True)
        if one.shown is None or bool((_inside(run, groups.number, number, alone) & one.shown).any())
    ]
    return {
        **found.verdict().record(),
        "family": found.family,
        "groups": found.family,
        "named": found.named,
        "items": kept[: one.top],
        "sources": [source.record() for source in ([WESTFALL, GARWOOD] if alone else [GARWOOD])],
    }


def _inside(run: Run, value: Ints, number: Ints, alone: bool) -> Bools:
    inside = (number >= run.first) & (number <= run.last)
    return np.asarray(inside if alone else inside & (value == run.value))


def _said(one: _Asked) -> list[Text]:
    """Return the sentences that say what was compared with what."""
    classes = ", ".join(one.people.class_by)
    said: list[Text] = [f"A class is what has the same {classes}."]
    if set(one.keys) <= PLACES:
        said.append("Expected: the cumulative hazard of the class.")
    elif set(one.keys) <= set(DATES):
        said.append("Expected: what the lives of the same positions give in random orders.")
    else:
        alike = "role" if one.keys == ("designation",) else "class"
        number = number_of_periods(one.keys, one.people.table.rows)
        said.append(
            f"Expected: what the lives of the same {alike}, fitted in the same period, give; a period is one of "
            f"{number} equal parts of the fittings of the site."
        )
    if one.not_stated:
        said.append(f"{one.not_stated} stays of which {', '.join(one.keys)} is not on record are compared with none.")
    if one.shown is not None:
        said.append("Filters choose what is shown; numbers, verdicts and family are those of the whole site.")
    return said
