"""At what age to replace, by group, and whether it is worth it."""

from collections.abc import Mapping
from typing import Any

from service.reliability.group_life import GroupLife
from service.reliability.life_analysis import LifeAnalysis
from service.reliability.policy import joined, parts
from service.reliability.replacement_verdict import SOURCES, claim_level, replacement_verdict
from service.reliability.weibull_limits import Limits, likelihood_ratio_shape
from service.store.transaction import Tx
from service.use_cases.lives.by_group import life_analysis_of

KEPT = ("group", "counts", "exposure", "goodness_of_fit", "weibull", "warnings")


def replacement_ages(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the age at which to replace, by group."""
    found = life_analysis_of(tx, query)
    family = sum(item.weibull is not None for _, item in found.items)
    items = []
    for analysis in found.analyses:
        shapes = {
            level: likelihood_ratio_shape(analysis.fits, level) for level in (query["level"], claim_level(family))
        }
        for item in analysis.items:
            record = item.record()
            answer = None if item.weibull is None else _age(analysis, item, query, family, shapes)
            items.append({**{name: record[name] for name in KEPT}, "replacement_age": answer})
    said = "Limits are ranges over the region of shape and scale that the lives do not exclude."
    return {
        "items": items,
        "level": query["level"],
        "assumptions": [*found.assumptions, said],
        "sources": [one.record() for one in SOURCES],
    }


def _age(
    analysis: LifeAnalysis, item: GroupLife, query: Mapping[str, Any], family: int, shapes: Mapping[float, Limits]
) -> dict[str, Any]:
    costs = {name: query[name] for name in ("preventive_cost", "failure_cost")}
    level, at = query["level"], analysis.fit_of(item)
    answer = replacement_verdict(
        analysis.fits, at, **costs, level=level, misfit=item.misfit, of_shape=shapes[level], family=family,
        of_shape_claimed=shapes[claim_level(family)],
    ).record()  # fmt: skip
    if item.misfit:
        answer["detail"] = joined([*parts(item.detail), " No age is recommended."])
    elif item.mode is not None:
        answer["detail"] = joined([*parts(answer["detail"]), f" Only failures by {item.mode} are counted."])
    nothing = dict.fromkeys(("p_value", "adjusted_p", "power_for_doubling"))
    return {**answer, **nothing, "not_supported": item.misfit}
