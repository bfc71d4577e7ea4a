"""Answers about positions: do failures recur, and do later bearings of the same positions last less long."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.lives import Bools
from service.reliability.policy import Verdict
from service.reliability.recurrence import MeanCumulativeNumber, Watched, mean_cumulative_number
from service.reliability.stay_ages import MeterColumns, hours_at
from service.reliability.trend import event_trend
from service.reliability.trend_verdict import TEST, TrendVerdict, trend_verdict
from service.store.identity import canonical_id
from service.store.queries import histories
from service.store.queries.histories import Place
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.found import found
from service.use_cases.lives.data import History, duty_of, history, history_with_neighbours, hours_since_epoch
from service.use_cases.lives.population import population

NELSON: Final = Source("nelson_1995", "Nelson 1995, Technometrics 37; Lawless & Nadeau 1995, Technometrics 37: mean "
                       "cumulative number of events with robust limits", "handbook")  # fmt: skip
ASCHER: Final = Source("ascher_feingold_1984", "Ascher & Feingold 1984; Lewis & Robinson 1974; MIL-HDBK-189: "
                       "statistics of trend", "handbook")  # fmt: skip
PITMAN: Final = Source("pitman_1937", "Pitman 1937, Suppl. J. R. Stat. Soc. 4: permutation tests, here of the order of "
                       "lives within positions", "handbook")  # fmt: skip
DESCRIBED: Final = ("laplace, lewis_robinson, mil_hdbk_189 and power_law describe the events and carry no verdict: "
                    "pooled, they take positions that differ for a trend.")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Recurrence:
    """Events of one or several positions, over hours since the first fitting on record."""

    label: str
    event: str
    systems: list[Watched]
    bases: dict[str, int]
    left_out: int
    level: float
    trend: TrendVerdict | None
    whole: bool
    counted: tuple[Text, ...]

    @property
    def steps(self) -> MeanCumulativeNumber | None:
        """Return the mean cumulative number, as much of it as is asked for; None without an event."""
        if not any(one.events_h for one in self.systems):
            return None
        found = mean_cumulative_number(self.systems, level=self.level)
        return found if self.whole else found.thinned()

    @property
    def trend_record(self) -> dict[str, Any]:
        """Return the verdict on the order of lives as wire members."""
        if self.trend is not None:
            return self.trend.record()
        nothing = Verdict("too_few", "No bearing has a life on record.", TEST)
        return TrendVerdict(nothing, None, 0, 0, (None, None, None)).record()

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        steps = self.steps
        words = {"meter": "the hour meter of the asset", "calendar": "calendar time times duty"}
        said: list[Text] = [f"Hours of {n} positions from {words[basis]}." for basis, n in self.bases.items() if n]
        said.append("Hours count from the first fitting on record; what came before is not known.")
        if len(self.systems) == 1:
            said.append("One position alone: its limits show no spread between positions, and stand on the number.")
        said += [*self.counted, DESCRIBED]
        if self.left_out:
            said.append(f"{self.left_out} positions were watched for no time at all and are left out.")
        return {
            "group": self.label,
            "event": self.event,
            "positions": len(self.systems),
            "events": sum(len(one.events_h) for one in self.systems),
            "watched": units.Quantity("time", sum(one.until_h - one.from_h for one in self.systems)),
            "mean_cumulative_number": [] if steps is None else steps.records(),
            "level": self.level,
            "points": "all" if self.whole else "thinned",
            "trend": {**self.trend_record, **event_trend(self.systems, level=self.level).record()},
            "assumptions": said,
            "sources": [NELSON.record(), PITMAN.record(), ASCHER.record()],
        }


def recurrence_of(tx: Tx, query: Mapping[str, Any], place: Place | None) -> Recurrence:
    """Return the events of a position, or of all positions that are chosen."""
    if place is None:
        whole, passed = history_with_neighbours(tx, query)
    else:
        whole, passed = history(tx, Chosen(asset=place.asset, position=place.name)), None
    data = whole if passed is None else whole.of_rows(np.flatnonzero(passed))
    wanted = data.status_of_kind(query["count"], query.get("damage"))
    bases = {"meter": 0, "calendar": 0}
    systems, left_out = [], 0
    for at, rows in _by_position(data):
        clock, basis = _clock(data, data.places[at], rows)
        system = _watched(rows, clock, wanted, query["event"])
        if system is None:
            left_out += 1
            continue
        bases[basis] += 1
        systems.append(system)
    label = "the positions that are chosen" if place is None else place.label
    trend, said = _trend(whole, passed, query)
    whole = query["points"] == "all"
    return Recurrence(label, query["event"], systems, bases, left_out, query["level"], trend, whole, said)


def _trend(
    whole: History, passed: Bools | None, query: Mapping[str, Any]
) -> tuple[TrendVerdict | None, tuple[Text, ...]]:
    """Return the verdict on the order of lives, None without a life, and how stays were read."""
    try:
        every = population(whole, query)
        left_out, people = every.left_out_test(), every.chosen(passed)
    except CannotEvaluate:
        return None, ()
    said = people.assumptions(query)
    if query["event"] == "failure" and people.counted.unrecorded.any():
        said.append("Failures of which nobody recorded the damage are not among the events of the curve.")
    trend = trend_verdict(people.table, planned=people.by_plan, left_out=left_out, level=query["level"])
    return trend, tuple(said)


@dataclass(frozen=True, slots=True)
class _Row:
    begin_h: float
    end_h: float
    ended: bool
    kind: int


def _by_position(data: History) -> Iterator[tuple[int, list[_Row]]]:
    """Yield each position with its stays in the order of their fitting."""
    now_h = hours_since_epoch(data.now)
    begin, end = data.columns.numbers["begin_h"].tolist(), data.columns.numbers["end_h"].tolist()
    running = [word == "running" for word in data.columns.vocabularies["end_type"]]
    ended = [not running[code] for code in data.columns.words["end_type"].tolist()]
    found: dict[int, list[_Row]] = {}
    rows = zip(data.columns.words["position"].tolist(), begin, end, ended, data.kind.tolist(), strict=True)
    for position, begin_h, end_h, has_ended, kind in rows:
        until = now_h if end_h != end_h else end_h  # of a running one: as of when it was looked at
        found.setdefault(position, []).append(_Row(begin_h, until, has_ended, kind))
    for position, of_one in found.items():
        yield position, sorted(of_one, key=lambda row: row.begin_h)


def _clock(data: History, place: Place, rows: Sequence[_Row]) -> tuple[Any, str]:
    """Return what turns a moment into hours of the position since its first fitting, and what it goes by."""
    first, read = rows[0].begin_h, data.meters.get(place.asset_id)
    if read is not None and _reaches(read, rows):
        last, start = float(read.times_h[-1]), hours_at(read, first)
        return lambda at_h: hours_at(read, min(at_h, last)) - start, "meter"
    duty = duty_of(place)
    return lambda at_h: (at_h - first) * duty, "calendar"


def _reaches(read: MeterColumns, rows: Sequence[_Row]) -> bool:
    """Return whether the meter was read before the first fitting and after the last removal."""
    last = max((row.end_h if row.ended else row.begin_h) for row in rows)
    return bool(read.times_h[0] <= rows[0].begin_h and last <= read.times_h[-1])


def _watched(rows: Sequence[_Row], clock: Any, status_of_kind: Sequence[str], event: str) -> Watched | None:
    """Return the events of a position; None when it was watched for no time."""
    until = clock(rows[-1].end_h)
    if not until > 0:
        return None
    if event == "replacement":
        moments = [row.begin_h for row in rows[1:]]
    else:
        moments = [row.end_h for row in rows if row.ended and status_of_kind[row.kind] == "failed"]
    ages = (clock(moment) for moment in moments)
    return Watched(tuple(min(age, until) for age in ages if age > 0), until)


def place_of(tx: Tx, position_id: str) -> Place:
    """Return the position that a path names, or raise NotFound."""
    known = canonical_id(position_id)
    places = {} if known is None else histories.places(tx, position_id=known)
    return found(next(iter(places.values()), None), "position")
