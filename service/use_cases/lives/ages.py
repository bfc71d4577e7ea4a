"""At what age to replace, by group, and whether it is worth it."""

from collections.abc import Mapping
from typing import Any

from service.reliability.group_life import GroupLife
from service.reliability.life_analysis import LifeAnalysis
from service.reliability.policy import joined, parts
from service.reliability.replacement_verdict import SOURCES, replacement_verdict
from service.store.transaction import Tx
from service.use_cases.lives.by_group import life_analysis_of

KEPT = ("group", "counts", "exposure", "goodness_of_fit", "weibull", "warnings")


def replacement_ages(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the age at which to replace, by group."""
    found = life_analysis_of(tx, query)
    items = []
    for analysis, item in found.items:
        record = item.record()
        answer = _age(analysis, item, query) if item.weibull is not None else None
        items.append({**{name: record[name] for name in KEPT}, "replacement_age": answer})
    said = "Limits are ranges over the region of shape and scale that the lives do not exclude."
    return {
        "items": items,
        "level": query["level"],
        "assumptions": [*found.assumptions, said],
        "sources": [one.record() for one in SOURCES],
    }


def _age(analysis: LifeAnalysis, item: GroupLife, query: Mapping[str, Any]) -> dict[str, Any]:
    costs = {name: query[name] for name in ("preventive_cost", "failure_cost")}
    at = analysis.fit_of(item)
    answer = replacement_verdict(analysis.fits, at, **costs, level=query["level"], misfit=item.misfit).record()
    if item.misfit:
        answer["detail"] = joined([*parts(item.detail), " No age is recommended."])
    nothing = dict.fromkeys(("p_value", "adjusted_p", "power_for_doubling"))
    return {**answer, **nothing, "not_supported": item.misfit}
