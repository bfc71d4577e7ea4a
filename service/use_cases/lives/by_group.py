"""Answers about lives: how long bearings last, by group."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from service import units
from service.errors import CannotEvaluate, Text
from service.history.damage import FATIGUE, falls_under
from service.moments import rfc3339
from service.reliability.cumulative_incidence import IncidenceSteps, cumulative_incidence
from service.reliability.group_life import GroupFacts, GroupLife
from service.reliability.life_analysis import LifeAnalysis, LifePart, Options, life_analyses
from service.reliability.lives import Bools, Ints, lives
from service.reliability.observed import (
    FAILED,
    IN_DOUBT,
    NOT_RECORDED,
    Counted,
    Observed,
    common_numbers,
    split_lives,
)
from service.reliability.stay_columns import Groups
from service.reliability.uninspected import UninspectedBounds, uninspected_bounds
from service.store.queries.stays import removed_unrecorded
from service.store.transaction import Tx
from service.use_cases.lives.data import History, asked_about, grouped, history, named_keys
from service.use_cases.lives.keys import DAMAGE, KNOWN_AT_REMOVAL
from service.use_cases.lives.population import excluded_records, of_ended, told_at_removal
from service.words import Count

NOTHING = (
    *("weibull", "b10", "median", "mean", "kaplan_meier", "bound", "bounds", "unrecorded_damage", "shape_common"),
    *("cumulative_incidence", "rated_life"),
)


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

    def by_mode(self) -> list[tuple[LifeAnalysis, GroupLife]]:
        """Return the groups of one picture of cumulative incidence: one for each mode of damage, of the same stays.

        Raises
        ------
        CannotEvaluate
            ``no_lives``: no mode was asked about; ``too_many_groups``: the modes are those of several groups.
        """
        found = [(analysis, item) for analysis, item in self.items if item.incidence is not None]
        modes = [item.mode for _, item in found]
        if not found:
            said = "ask for damage, or group by damage: a share fails by a mode"
            raise CannotEvaluate(said, code="no_lives", field="group_by")
        if len(set(modes)) < len(modes):
            raise CannotEvaluate("a picture shows the modes of one group; choose it", code="too_many_groups")
        return found


def life_analysis_of(tx: Tx, query: Mapping[str, Any]) -> Analysed:
    """Return the life analysis that a query asks for."""
    keys = query["group_by"]
    rest = tuple(key for key in keys if key != DAMAGE)
    data = history(tx, asked_about(query), *named_keys(rest))
    by = grouped(data, rest)
    if DAMAGE not in keys:
        found = _together([_part(data, query, by, damage=query.get(DAMAGE))])
    else:
        found = _together([_of_mode(data, query, by, mode) for mode in modes(data, query)])
    told = told_at_removal(data, [key for key in rest if key not in KNOWN_AT_REMOVAL])
    return replace(found, assumptions=(*found.assumptions, *told, *_never_on_record(tx)))


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


@dataclass(frozen=True, slots=True)
class _Part:
    """What is analysed, None where no stay is left; the groups without a life; and how stays were read."""

    lives: LifePart | None
    empty: tuple[dict[str, Any], ...]
    assumptions: tuple[Text, ...]


def _together(parts: Sequence[_Part]) -> Analysed:
    """Return the answer of several modes of damage, or of all failures: their fits are judged together."""
    said = tuple(dict.fromkeys(text for one in parts for text in one.assumptions))
    analyses = life_analyses([one.lives for one in parts if one.lives is not None])
    return Analysed(tuple(analyses), tuple(item for one in parts for item in one.empty), said)


def _of_mode(data: History, query: Mapping[str, Any], by: Groups, mode: str) -> _Part:
    labels = [" / ".join(filter(None, (label, mode))) for label in by.labels]
    return _part(data, query, Groups(by.number, labels, by.words), damage=mode)


def _part(data: History, query: Mapping[str, Any], by: Groups, *, damage: str | None) -> _Part:
    count: Count = query["count"]
    counted = data.counted(count, damage, grouped(data, ("designation",)).number)
    found = data.observed(counted, by)
    facts = _facts(data, by, found, counted, count, damage)
    with_lives = [facts[int(number)] for number in found.group]
    lifeless = [fact for number, fact in enumerate(facts) if number not in set(found.group.tolist())]
    empty = tuple(empty_item(fact, data) for fact in lifeless)
    of_stays = data.assumptions(found.bases, found.late, found.unrecorded, count=count, damage=damage)
    said = (*of_stays, *of_ended(query))
    if found.data is None:
        return _Part(None, empty, said)
    shape = query.get("assumed_shape")
    given = {} if shape is None else {"assumed_shape": shape, "shape_origin": "given in the query"}
    options = Options(
        level=query["level"],
        interval=query["interval"],
        modified=query["method"] == "modified",
        all_causes=damage is None or not falls_under(damage, FATIGUE),
        as_of=data.now,
        steps=query.get("steps") == "true",
        mode=damage,
        **given,
    )
    shares = None if damage is None else _incidence(data, counted, by, found, count, query["level"])
    return _Part(LifePart(found.data, with_lives, options, shares, said), empty, said)


def _facts(
    data: History, by: Groups, found: Observed, counted: Counted, count: Count, damage: str | None
) -> list[GroupFacts]:
    rated = common_numbers(found, data.columns, by, [place.rated_life_h for place in data.places])
    in_doubt = _bounds(data, counted, by, _uninspected(data, counted, damage))
    unrecorded = counted.unrecorded | counted.left_out(NOT_RECORDED)
    of_damage = _bounds(data, counted, by, unrecorded) if damage is not None else {}
    return [
        GroupFacts(
            label or "all",
            int(found.stays[n]),
            excluded_records({name: int(of_reason[n]) for name, of_reason in found.excluded.items()}),
            float(found.condition_share[n]),
            int(found.designations[n]),
            float(rated[n]) if rated[n] == rated[n] else None,
            in_doubt.get(n),
            of_damage.get(n),
        )
        for n, label in enumerate(by.labels)
    ]


def _uninspected(data: History, counted: Counted, damage: str | None) -> Bools:
    """Return the removals that nobody looked at, whatever they are counted as."""
    if not data.columns.rows:
        return np.zeros(0, dtype=np.bool_)
    ways = [data.status_of_kind(count, damage) for count in ("failed", "censored")]
    hangs = [
        as_failed != as_sound or (as_failed in IN_DOUBT and not inspected)
        for as_failed, as_sound, (_, inspected, _) in zip(*ways, data.kinds, strict=True)
    ]
    aged = (data.ages.age_h > 0) & (data.ages.entry_h < data.ages.age_h)
    return np.asarray(np.array(hangs, dtype=np.bool_)[data.kind] & aged)


def _bounds(data: History, counted: Counted, by: Groups, doubtful: Bools) -> dict[int, UninspectedBounds]:
    """Return how much hangs on what is in doubt, for the groups in which anything is."""
    taken = counted.status < 2
    touched = np.bincount(by.number[doubtful], minlength=len(by.labels)) > 0
    rows = np.flatnonzero((taken | doubtful) & touched[by.number]) if len(by.labels) else np.zeros(0, dtype=np.int64)
    number = np.unique(by.number[rows])
    shares, row = split_lives(counted.share, rows, data.ages, np.searchsorted(number, by.number))
    if shares is None:
        return {}
    found = uninspected_bounds(shares, doubtful[row], taken[row])
    return dict(zip(number.tolist(), found, strict=True))


def _incidence(
    data: History, counted: Counted, by: Groups, found: Observed, count: Count, level: float
) -> IncidenceSteps:
    """Return the share that fails by the mode, failures by any mode being counted."""
    rows: Ints = counted.row
    weight, any_mode = counted.share[rows], data.counted(count, None).share[rows] > 0
    row = np.concatenate((np.flatnonzero(weight > 0), np.flatnonzero(weight < 1)))
    of_mode = np.arange(len(row)) < np.count_nonzero(weight > 0)
    group = np.searchsorted(found.group, by.number[rows])[row]
    order = np.argsort(group, kind="stable")
    row, of_mode, group = row[order], of_mode[order], group[order]
    part = np.where(of_mode, weight[row], 1 - weight[row])
    ages = data.ages.age_h[rows][row], data.ages.entry_h[rows][row]
    whole = lives(ages[0], any_mode[row], count=part, entry_h=ages[1], group=group)
    return cumulative_incidence(whole, of_mode, level=level)


def empty_item(facts: GroupFacts, data: History) -> dict[str, Any]:
    """Return the item of a group of which no stay is left."""
    counts = {"stays": facts.stays, FAILED: 0, "censored": 0, "excluded": list(facts.excluded)}
    exposure = {"total": units.Quantity("time", 0.0), "as_of": rfc3339(data.now)}
    detail = "No stay of this group is left: all are excluded, for the reasons counted."
    nothing = dict.fromkeys(("p_value", "adjusted_p", "needed_failures", "power_for_doubling"))
    fit: dict[str, Any] = {"verdict": "too_few", "detail": detail, "test": "hazard_bins", **nothing, "bins": []}
    warned = [{"code": "no_lives", "detail": detail}]
    return {"group": facts.label, "detail": detail, "counts": counts, "exposure": exposure, **dict.fromkeys(NOTHING),
            "goodness_of_fit": fit, "assumptions": [], "warnings": warned}  # fmt: skip
