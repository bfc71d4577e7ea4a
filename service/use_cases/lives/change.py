"""Whether bearings of the same positions fail more, or less, after a date that is given."""

from collections.abc import Mapping
from typing import Any, Final

from service.errors import CannotEvaluate, Text
from service.moments import rfc3339
from service.reliability.change_at_date import (
    SOURCE,
    AgeingAfterDate,
    ChangeAtDate,
    ageing_after_date,
    change_at_date,
    not_hidden,
)
from service.reliability.policy import said_p, said_power
from service.store.transaction import Tx
from service.use_cases.lives.data import history_with_neighbours, hours_since_epoch, named_keys
from service.use_cases.lives.population import Population, population

MOST_AGED: Final = 20_000  # ten seconds
CHANGED: Final = "a doubled or halved failure rate"


def life_change_of(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return whether the rate of failure is another after a date."""
    data, passed = history_with_neighbours(tx, query, *named_keys(query["class_by"]))
    every = population(data, query, query["class_by"], share_out=False)
    people = every.chosen(passed)
    columns = _columns(people, hours_since_epoch(query["at"]))
    found = not_hidden(change_at_date(**columns), people.table, every.left_out_test())
    ageing = None
    if query["ageing"] == "true" and found.held is None:
        if people.table.rows > MOST_AGED:
            said = f"{people.table.rows} stays; how fast bearings age is told of {MOST_AGED} at most: choose fewer"
            raise CannotEvaluate(said, code="too_much_data", field="ageing")
        ageing = ageing_after_date(**columns, level=query["level"])
    verdict = found.verdict(found.p_value)
    silent = verdict in ("too_few", "no_evidence")
    return {
        "at": rfc3339(query["at"]),
        "verdict": verdict,
        "detail": _sentence(found, verdict, ageing, query),
        "test": found.test,
        "p_value": found.p_value,
        "adjusted_p": found.p_value,
        "needed_failures": found.needed_failures if silent else None,
        "power_for_doubling": found.power_for_doubling,
        "before": {"observed": found.observed_before, "expected": found.expected_before},
        "after": {"observed": found.observed_after, "expected": found.expected_after},
        "ageing_after": None if ageing is None else ageing.record(),
        "orders": found.orders,
        "lives": found.lives,
        "positions": found.positions,
        "counts": people.counts(),
        "assumptions": [
            *people.assumptions(query),
            "The date must be given, not searched for.",
            "Expected: the cumulative hazard of the class. Where positions differ, more fail after any date than are "
            "expected though nothing changes: the verdict allows for it, the numbers do not.",
        ],
        "sources": [SOURCE.record()],
    }


def _columns(people: Population, date_h: float) -> dict[str, Any]:
    table = people.table
    return {
        "date_h": date_h,
        "begin_h": table.begin_h,
        "end_h": table.end_h,
        "age_h": table.age_h,
        "entry_h": table.entry_h,
        "carried_h": people.carried_h,
        "failed": people.failed,
        "running": people.running,
        "position": table.position,
        "class_number": table.of_class,
        "followed": table.followed,
    }


def _sentence(found: ChangeAtDate, verdict: str, ageing: AgeingAfterDate | None, query: Mapping[str, Any]) -> Text:
    day, p = f"{query['at']:%Y-%m-%d}", found.p_value
    if found.held == "not_separable":
        return found.reason
    if found.held is not None or p is None:
        return f"No change at {day} can be told: {found.reason}."
    if verdict in ("worse", "better"):
        way = "higher" if verdict == "worse" else "lower"
        said = f"After {day} bearings of the same positions failed at a {way} rate than before ({said_p(p)})."
        return said if ageing is None else f"{said} {_ageing(ageing)}"
    seen = said_power(found.power_for_doubling or 0.0, found.needed_failures, verdict == "too_few", CHANGED)
    return f"No change at {day} is seen ({said_p(p)}; {found.lives} lives in {found.positions} positions). {seen}"


def _ageing(ageing: AgeingAfterDate) -> str:
    if ageing.estimate is None:
        return "How many times as fast they aged lies beyond what was tried."
    ends = ["open" if end is None else f"{end:.2g}" for end in (ageing.lower, ageing.upper)]
    return f"They aged {ageing.estimate:.2g} times as fast ({ends[0]} to {ends[1]} at {ageing.level:.0%})."
