"""Tables of stays for the tests of verdicts: published ones, and small random ones with every difficulty in them."""

import csv

import numpy as np

from service.reliability.stay_table import StayTable, stay_table
from tests.unit.reliability.published import LIVES

SMALLEST_AGE_H = 1e-9


def valve_seats(*, zero_gaps: bool) -> StayTable:
    """The valve seats of 41 engines (Nelson & Doganaksoy 1989) as lives between replacements; days as hours times 24.

    Two engines had two replacements at the same date; such a life is dropped, or kept as the shortest there is.
    """
    events: dict[str, list[float]] = {}
    ends: dict[str, float] = {}
    with (LIVES / "valve_seat_recurrence.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            events.setdefault(row["system"], [])
            if row["event"] == "end":
                ends[row["system"]] = float(row["time"])
            else:
                events[row["system"]].append(float(row["time"]))
    rows = []
    for position, (system, end) in enumerate(ends.items()):
        at = 0.0
        for event in sorted(events[system]):
            if event > at or zero_gaps:
                rows.append((max(24 * (event - at), SMALLEST_AGE_H), 1, position, 24 * at, 24 * event))
            at = event
        if end > at:
            rows.append((24 * (end - at), 0, position, 24 * at, 24 * end))
    age, failed, position_of, begin, end_of = (np.array(column) for column in zip(*rows, strict=True))
    return stay_table(age, failed, position=position_of, begin_h=begin, end_h=end_of)


def random_table(seed: int, *, stays: int = 120, positions: int = 12, classes: int = 2) -> StayTable:
    """Renewals of positions with ties, late entry, removals by plan and running stays."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(stays):
        position = int(rng.integers(positions))
        rows.append((position, float(rng.integers(1, 30)), int(rng.random() < 0.6)))
    at = np.zeros(positions)
    columns: dict[str, list[float]] = {name: [] for name in ("age", "entry", "failed", "position", "begin", "end")}
    for position, age, failed in rows:
        columns["entry"].append(float(rng.integers(0, age)) if at[position] == 0 and rng.random() < 0.3 else 0.0)
        for name, value in (("age", age), ("failed", failed), ("position", position), ("begin", at[position])):
            columns[name].append(value)
        at[position] += age
        columns["end"].append(at[position])
    position_of = np.array(columns["position"], dtype=np.int64)
    last = np.zeros(stays, dtype=bool)
    last[[int(np.flatnonzero(position_of == one)[-1]) for one in np.unique(position_of)]] = True
    failed_of = np.where(last, 0, np.array(columns["failed"]))
    return stay_table(
        columns["age"],
        failed_of,
        position=position_of,
        begin_h=columns["begin"],
        end_h=columns["end"],
        ended=~last,
        entry_h=columns["entry"],
        of_class=position_of % classes,
        asset=position_of // 2,
    )


def slow_expected(table: StayTable, stratum: np.ndarray, within_h: float = np.inf) -> list[float]:
    """The expected failures of each stay by its stratum, from the definition, age by age."""
    found = []
    for one in range(table.rows):
        total = 0.0
        until = min(table.age_h[one], within_h)
        for age in sorted(set(table.age_h[table.failed > 0])):
            if not table.entry_h[one] < age <= until:
                continue
            same = stratum == stratum[one]
            at_risk = same & (table.entry_h < age) & (table.age_h >= age)
            total += float(table.failed[same & (table.age_h == age)].sum()) / int(at_risk.sum())
        found.append(total)
    return found
