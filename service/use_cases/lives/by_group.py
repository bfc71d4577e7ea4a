"""Answers about lives: how long bearings last by group, and at what age to replace them."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate, Text
from service.history.damage import FATIGUE, falls_under
from service.history.observations import REASONS
from service.moments import rfc3339
from service.reliability.life_analysis import GroupFacts, GroupLife, LifeAnalysis, Options, life_analysis
from service.reliability.observed import FAILED, Observed, common_numbers
from service.reliability.replacement_age import BARLOW_PROSCHAN, replacement_age
from service.reliability.stay_columns import Groups
from service.store.queries.stays import removed_unrecorded
from service.store.transaction import Tx
from service.use_cases.lives.data import NOT_STATED, History, asked_about, grouped, history

DAMAGE: Final = "damage"


@dataclass(frozen=True, slots=True)
class Analysed:
    """A life analysis with the groups that have no life to analyse; ``analyses`` are several when by damage."""

    analyses: tuple[LifeAnalysis, ...]
    empty: tuple[dict[str, Any], ...]
    assumptions: tuple[Text, ...]

    @property
    def items(self) -> list[tuple[LifeAnalysis, GroupLife]]:
        """Return the groups with lives, each with the analysis it belongs to."""
        return [(analysis, item) for analysis in self.analyses for item in analysis.items]

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        found = [item.record() for _, item in self.items]
        sources = self.analyses[0].record()["sources"] if self.analyses else []
        return {"items": [*found, *self.empty], "assumptions": list(self.assumptions), "sources": sources}

    def item(self, group: str | None) -> tuple[LifeAnalysis, GroupLife]:
        """Return the group that is asked for, the only one when none is named.

        Raises
        ------
        CannotEvaluate
            ``no_lives``: there is no such group with lives; ``too_many_groups``: several, and none is named.
        """
        named = [(analysis, item) for analysis, item in self.items if group is None or item.facts.label == group]
        if not named:
            raise CannotEvaluate("no stay of such a group is left to analyse", code="no_lives", field="group")
        if len(named) > 1:
            listed = ", ".join(item.facts.label for _, item in named[:10])
            raise CannotEvaluate(f"a picture shows one group; say which: {listed}", code="too_many_groups")
        return named[0]


def life_analysis_of(tx: Tx, query: Mapping[str, Any]) -> Analysed:
    """Return the life analysis that a query asks for."""
    keys = query["group_by"]
    data, told = history(tx, asked_about(query), words=_words(keys)), _never_on_record(tx)
    if DAMAGE not in keys:
        found_all = _analysed(data, query, grouped(data, keys), damage=query.get(DAMAGE))
        return replace(found_all, assumptions=(*found_all.assumptions, *told))
    rest = tuple(key for key in keys if key != DAMAGE)
    found = [_of_mode(data, query, rest, mode) for mode in modes(data, query)]
    said = tuple(dict.fromkeys(text for one in found for text in one.assumptions))
    analyses = tuple(analysis for one in found for analysis in one.analyses)
    return Analysed(analyses, tuple(item for one in found for item in one.empty), (*said, *told))


def _never_on_record(tx: Tx) -> tuple[Text, ...]:
    """Return how many bearings came out whose beginning nobody knows: they are counted here, and no life is made."""
    count = removed_unrecorded(tx)
    if not count:
        return ()
    came = (
        "1 bearing of this site came out that was"
        if count == 1
        else f"{count} bearings of this site came out that were"
    )
    return (f"{came} never on record: when they began to run is not known, so no life is made of them.",)


def modes(data: History, query: Mapping[str, Any]) -> list[str]:
    """Return the modes of damage that were seen: the main ones, or those under the one that is asked for."""
    wanted = query.get(DAMAGE)
    seen = {code for _, _, damage in data.kinds for code in (damage or "").split("|") if code}
    if wanted is None:
        return sorted({code.split(".")[0] for code in seen})
    return sorted(code for code in seen if falls_under(code, wanted))


def replacement_ages(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the age at which to replace, by group."""
    found = life_analysis_of(tx, query)
    costs = {name: query[name] for name in ("preventive_cost", "failure_cost")}
    items = []
    for _, item in found.items:
        fit, answer = item.weibull, None
        if fit is not None:
            upper = fit.shape.upper
            answer = replacement_age(
                shape=fit.shape.estimate,
                scale_h=fit.scale_h.estimate,
                shape_lower=fit.shape.lower or 0.0,
                shape_upper=float("inf") if upper is None else upper,
                **costs,
            ).record()
            answer.pop("source")
        record = item.record()
        kept = {name: record[name] for name in ("group", "counts", "exposure", "weibull", "warnings")}
        items.append({**kept, "replacement_age": answer})
    return {
        "items": items,
        "assumptions": [*found.assumptions, "The shape interval decides: the scale is held at its estimate."],
        "sources": [BARLOW_PROSCHAN.record()],
    }


def _words(keys: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(key for key in keys if key in ("manufacturer", "role", "housing"))


def _of_mode(data: History, query: Mapping[str, Any], keys: tuple[str, ...], mode: str) -> Analysed:
    by = grouped(data, keys) if keys else grouped(data, ())
    named = Groups(by.number, [" / ".join(filter(None, (label, mode))) for label in by.labels])
    return _analysed(data, query, named, damage=mode)


def _analysed(data: History, query: Mapping[str, Any], by: Groups, *, damage: str | None) -> Analysed:
    found = data.observed(by, count=query["count"], damage=damage)
    facts = _facts(data, by, found)
    with_lives = [facts[int(number)] for number in found.group]
    lifeless = [fact for number, fact in enumerate(facts) if number not in set(found.group.tolist())]
    empty = tuple(empty_item(fact, data) for fact in lifeless)
    said = tuple(data.assumptions(found, count=query["count"], damage=damage))
    if found.data is None:
        return Analysed((), empty, said)
    shape = query.get("assumed_shape")
    given = {} if shape is None else {"assumed_shape": shape, "shape_origin": "given in the query"}
    options = Options(
        level=query["level"],
        interval=query["interval"],
        modified=query["method"] == "modified",
        all_causes=damage is None or not falls_under(damage, FATIGUE),
        as_of=data.now,
        steps=query.get("steps") == "true",
        **given,
    )
    return Analysed((life_analysis(found.data, with_lives, options, assumptions=said),), empty, said)


def _facts(data: History, by: Groups, found: Observed) -> list[GroupFacts]:
    rated = common_numbers(found, data.columns, by, [place.rated_life_h for place in data.places])
    return [
        GroupFacts(
            label or "all",
            int(found.stays[n]),
            excluded_records({name: int(of_reason[n]) for name, of_reason in found.excluded.items()}),
            float(found.condition_share[n]),
            int(found.designations[n]),
            float(rated[n]) if rated[n] == rated[n] else None,
        )
        for n, label in enumerate(by.labels)
    ]


def excluded_records(numbers: Mapping[str, int]) -> list[dict[str, Any]]:
    """Return the wire members of what was left out."""
    return [{"reason": one, "detail": REASONS[one], "count": numbers[one]} for one in REASONS if numbers.get(one)]


def empty_item(facts: GroupFacts, data: History) -> dict[str, Any]:
    """Return the item of a group of which no stay is left."""
    counts = {"stays": facts.stays, FAILED: 0, "censored": 0, "excluded": list(facts.excluded)}
    exposure = {"total": units.Quantity("time", 0.0), "as_of": rfc3339(data.now)}
    said = {"code": "no_lives", "detail": "No stay of this group is left: all are excluded, for the reasons counted."}
    nothing = ("weibull", "b10", "median", "mean", "kaplan_meier", "bound", "rated_life")
    return {"group": facts.label, "counts": counts, "exposure": exposure, **dict.fromkeys(nothing), "assumptions": [],
            "warnings": [said]}  # fmt: skip


__all__ = ["NOT_STATED", "Analysed", "empty_item", "excluded_records", "life_analysis_of", "modes", "replacement_ages"]
