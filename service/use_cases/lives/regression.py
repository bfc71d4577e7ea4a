"""Which facts go with a higher failure rate, each with the others held."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from service.errors import Text
from service.history.attributes import PREFIX
from service.reliability.covariates import (
    Covariate,
    kind,
    month_of_year,
    number,
    place_in_window,
    refuse_dates,
)
from service.reliability.group_excess import strata_of
from service.reliability.life_regression import SOURCES, Ratio, RegressionItem, life_regression
from service.reliability.lives import Floats
from service.reliability.month_runs import month_numbers
from service.reliability.mounting_bins import DEVIATION_BINS, FIT_BINS, deviation_numbers, fit_numbers
from service.reliability.policy import flagged, holm, said_p, said_power
from service.store.queries.attributes import attribute_types
from service.store.transaction import Tx
from service.use_cases.lives.comparison import HOLM
from service.use_cases.lives.data import NOT_STATED, History, asked_about, history, key_codes, named_keys
from service.use_cases.lives.keys import Fact, Key, fact_of
from service.use_cases.lives.population import Population, population

BINS: Final = {"fit": (fit_numbers, FIT_BINS), "deviations": (deviation_numbers, DEVIATION_BINS)}
DOUBLED: Final = "a doubled failure rate"


def life_regression_of(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return what goes with a higher failure rate."""
    names = query["covariates"]
    for name in names:
        refuse_dates(name.removeprefix(PREFIX))
    types = attribute_types(tx) if any(name.startswith(PREFIX) for name in names) else {}
    facts = [fact_of(name, types) for name in names]
    data = history(tx, asked_about(query), *named_keys(query["class_by"]), *facts)
    people = population(data, query, query["class_by"], share_out=False)
    asked = [one for name, fact in zip(names, facts, strict=True) for one in _covariates(people, name, fact)]
    table = people.table
    found = life_regression(
        time_h=table.age_h,
        failed=people.failed,
        entry_h=table.entry_h,
        stratum=strata_of(table, ("covariates",)),
        asset=table.asset,
        position=table.position,
        covariates=asked,
        level=query["level"],
    )
    tested = [one.p_value for one in found.items if one.p_value is not None]
    adjusted = iter(holm(tested).tolist())
    of_item = [None if one.p_value is None else next(adjusted) for one in found.items]
    return {
        "items": [_item(one, p, query["level"]) for one, p in zip(found.items, of_item, strict=True)],
        "family": len(tested),
        "lives": found.lives,
        "failures": found.failures,
        "machines": found.clusters,
        "left_out": found.left_out,
        "level": query["level"],
        "counts": people.counts(),
        "assumptions": _said(people, query, found.left_out),
        "sources": [source.record() for source in (*SOURCES, HOLM)],
    }


def _covariates(people: Population, name: str, fact: Fact) -> list[Covariate]:
    """Return the covariates that a name stands for: two for a place in a window, else one."""
    data, failed = people.data, people.failed
    if fact.how == "window":
        return list(place_in_window(name, _place(data, fact)))
    if fact.how == "season":
        return [month_of_year(month_numbers(people.table.begin_h) % 12 + 1)]
    if fact.how == "number":
        (column,) = fact.numbers
        return [number(name, data.columns.numbers[column], step=fact.step)]
    if fact.how in BINS:
        numbers_of, names = BINS[fact.how]
        return [kind(name, numbers_of(data.columns), [*names, None], failed)]
    codes, words = key_codes(data, Key(fact.column))
    return [kind(name, codes, [None if word == NOT_STATED else word for word in words], failed)]


def _place(data: History, fact: Fact) -> Floats:
    """Return the place of a reading in its window, 0 at the lower and 1 at the upper end, NaN where not on record."""
    value, low, high = (data.columns.numbers[name] for name in fact.numbers)
    width = np.where(high > low, high - low, np.nan)
    return np.asarray((value - low) / width)


def _item(one: RegressionItem, adjusted: float | None, level: float) -> dict[str, Any]:
    verdict = one.verdict(adjusted)
    silent = verdict in ("too_few", "no_evidence")
    same = one.proportional
    return {
        "name": one.name,
        "verdict": verdict,
        "detail": _sentence(one, verdict, adjusted, level),
        "test": one.test,
        "p_value": one.p_value,
        "adjusted_p": adjusted,
        "needed_failures": one.needed_failures if silent else None,
        "power_for_doubling": one.power_for_doubling,
        "flagged": adjusted is not None and bool(flagged(adjusted)),
        "ratios": [ratio.record() for ratio in one.ratios],
        "step": one.step,
        "reference": one.reference,
        "belongs_to_position": one.of_position,
        "known": one.known,
        "same_at_all_ages": None
        if same is None
        else {
            "verdict": "misfit" if same.misfit else "no_evidence",
            "p_value": same.p_value,
            "adjusted_p": same.adjusted_p,
            "test": same.test,
            "below_median_failure_age": [ratio.record() for ratio in same.below],
            "above_median_failure_age": [ratio.record() for ratio in same.above],
        },
    }


def _sentence(one: RegressionItem, verdict: str, adjusted: float | None, level: float) -> Text:
    if one.held is not None or adjusted is None:
        return f"{one.reason[0].upper()}{one.reason[1:]}." if one.reason else "Not judged."
    p = said_p(adjusted, "adjusted p")
    if verdict == "differ":
        ratios = "; ".join(_ratio(one, ratio) for ratio in one.ratios)
        changes = ""
        if one.proportional is not None and one.proportional.misfit:
            changes = " The ratio is not the same at all ages: see it below and above the median failure age."
        return f"Failure rates differ by {one.name} ({p}): {ratios}; {level:.0%} limits.{changes}"
    seen = said_power(one.power_for_doubling or 0.0, one.needed_failures, verdict == "too_few", DOUBLED)
    return f"No evidence that failure rates differ by {one.name} ({p}). {seen}"


def _ratio(one: RegressionItem, ratio: Ratio) -> str:
    numbers = f"ratio of failure rates {ratio.estimate:.2g} ({ratio.lower:.2g} to {ratio.upper:.2g})"
    if one.reference is not None:
        return f"{ratio.label} to {one.reference}: {numbers}"
    if one.name == "month_of_year":
        return f"{ratio.label}: {numbers}"
    return f"{numbers} for {one.step:g} more"


def _said(people: Population, query: Mapping[str, Any], left_out: int) -> list[Text]:
    said = people.assumptions(query)
    said.append(
        f"Lives of the same {', '.join(people.class_by)}, fitted in the same period, are compared; periods are eighths "
        "of the fittings. All covariates are held at once; errors are by machine."
    )
    said.append("The ratio of residual_clearance is for a tenth of its window.")
    if left_out:
        said.append(f"{left_out} lives of which a covariate is not on record are left out.")
    return said
