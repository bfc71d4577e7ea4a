"""Answers about positions: do failures recur, which positions are worse than their class, what fails early."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.class_expectation import class_expected, sums_by
from service.reliability.early_failures import early_failures
from service.reliability.observed import Observed
from service.reliability.ranking import Ranking, ranking
from service.reliability.recurrence import MeanCumulativeNumber, Watched, mean_cumulative_number
from service.reliability.stay_ages import MeterColumns, hours_at
from service.reliability.trend import trend
from service.reliability.window_bins import WINDOW_GROUPS, window_bins
from service.store.identity import canonical_id
from service.store.queries import histories
from service.store.queries.histories import Place
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.found import found
from service.use_cases.lives.data import History, asked_about, duty_of, grouped, history, hours_since_epoch

MOST_STEPS: Final = 200_000_000  # positions times event ages
NELSON: Final = Source("nelson_1995", "Nelson 1995, Technometrics 37; Lawless & Nadeau 1995, Technometrics 37: mean "
                       "cumulative number of events with robust limits", "handbook")  # fmt: skip
LEWIS_ROBINSON: Final = Source("lewis_robinson_1974", "Lewis & Robinson 1974; Ascher & Feingold 1984: test of trend "
                               "that holds for renewals", "handbook")  # fmt: skip
GAVER: Final = Source("gaver_1987", "Gaver & O'Muircheartaigh 1987, Technometrics 29; George, Makov & Smith 1993: "
                      "gamma-Poisson shrinkage", "handbook")  # fmt: skip
GARWOOD: Final = Source("garwood_1936", "Garwood 1936, Biometrika 28: exact limits of a Poisson mean", "handbook")
BY_WORD: Final = ("manufacturer", "installer", "work_order")


@dataclass(frozen=True, slots=True)
class Recurrence:
    """Events of one or several positions, over hours since the first fitting on record."""

    label: str
    event: str
    systems: list[Watched]
    bases: dict[str, int]
    left_out: int
    level: float

    @property
    def steps(self) -> MeanCumulativeNumber | None:
        """Return the mean cumulative number, None without an event."""
        if not any(one.events_h for one in self.systems):
            return None
        ages = len({age for one in self.systems for age in one.events_h})
        if ages * len(self.systems) > MOST_STEPS:
            said = f"{len(self.systems)} positions with events at {ages} ages are too many for one answer"
            raise CannotEvaluate(said, code="too_much_data")
        return mean_cumulative_number(self.systems, level=self.level)

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        steps = self.steps
        words = {"meter": "the hour meter of the asset", "calendar": "calendar time times duty"}
        said: list[Text] = [f"Hours of {n} positions from {words[basis]}." for basis, n in self.bases.items() if n]
        said.append("Hours count from the first fitting on record; what came before is not known.")
        if len(self.systems) == 1:
            said.append("One position alone: its limits show no spread between positions, and stand on the number.")
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
            "trend": trend(self.systems, level=self.level).record(),
            "assumptions": said,
            "sources": [NELSON.record(), LEWIS_ROBINSON.record()],
        }


def recurrence_of(tx: Tx, query: Mapping[str, Any], place: Place | None) -> Recurrence:
    """Return the events of a position, or of all positions that are chosen."""
    which = asked_about(query) if place is None else Chosen(asset=place.asset, position=place.name)
    data = history(tx, which)
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
    return Recurrence(label, query["event"], systems, bases, left_out, query["level"])


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
        until = now_h if end_h != end_h or not has_ended else end_h
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


def ranking_of(tx: Tx, query: Mapping[str, Any]) -> tuple[Ranking, dict[str, Any]]:
    """Return the ranking of positions, and the wire members of the answer."""
    data = history(
        tx, asked_about(query), words=tuple(k for k in query["class_by"] if k in ("role", "housing", *BY_WORD))
    )
    found = data.observed(grouped(data, query["class_by"]), count=query["count"], damage=query.get("damage"))
    if found.data is None:
        raise CannotEvaluate("no stay is left to rank positions by", code="no_lives")
    expected, fitted = class_expected(found.data)
    position = data.columns.words["position"][found.row]
    places, sums = sums_by(position, found.data.failed, expected)
    kept = [(data.places[at], seen, due) for at, seen, due in zip(places, *sums, strict=True) if due > 0]
    if not kept:
        raise CannotEvaluate("nothing has failed, so no position can be told from another", code="no_lives")
    ranks = ranking(
        [place.label for place, _, _ in kept],
        [seen for _, seen, _ in kept],  # type: ignore[arg-type]
        [due for _, _, due in kept],  # type: ignore[arg-type]
        level=query["level"],
        times_class=query["times_class"],
    )
    return ranks, _ranking_record(ranks, data, query, found, [place for place, _, _ in kept], fitted)


def _ranking_record(
    ranks: Ranking, data: History, query: Mapping[str, Any], found: Observed, places: list[Place], fitted: int
) -> dict[str, Any]:
    record = ranks.record()
    by_label = {place.label: place for place in places}
    for item in record["items"]:
        place = by_label[item["group"]]
        item |= {"position_id": place.id, "asset": place.asset, "position": place.name}
    said = data.assumptions(found, count=query["count"], damage=query.get("damage"))
    said.append(
        f"Expected: the cumulative hazard of the lives of the class ({', '.join(query['class_by'])}); a Weibull fit "
        f"of {fitted} of {len(found.group)} classes, the empirical hazard of the others."
    )
    return {
        **record,
        "items": record["items"][: query["top"]],
        "positions": len(places),
        "assumptions": said,
        "sources": [GAVER.record(), GARWOOD.record()],
    }


def early_failures_of(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return the failures soon after fitting, by group."""
    numbers = ("residual_nm", "window_min_nm", "window_max_nm")
    by = query["by"]
    words = ("installed_by",) if by == "installer" else (by,) if by in ("manufacturer", "work_order") else ()
    data = history(tx, asked_about(query), numbers=numbers if by == "window" else (), words=words)
    groups = window_bins(data.columns) if by == "window" else grouped(data, (by,))
    found = data.observed(groups, count=query["count"], damage=query.get("damage"))
    if found.data is None:
        raise CannotEvaluate("no stay is left to look for early failures", code="no_lives")
    labels = [groups.labels[int(number)] for number in found.group]
    answer = early_failures(found.data, labels, within_h=query["within_h"])
    record = answer.record()
    said = data.assumptions(found, count=query["count"], damage=query.get("damage"))
    said.append("Expected: the cumulative hazard of all chosen stays up to the end of the window or of the stay.")
    return {
        "by": by,
        **record,
        "items": record["items"][: query["top"]],
        "groups": len(labels),
        "exceeding": [one.label for one in answer.exceeding],
        "assumptions": said,
        "sources": [GARWOOD.record()],
    }


def place_of(tx: Tx, position_id: str) -> Place:
    """Return the position that a path names, or raise NotFound."""
    known = canonical_id(position_id)
    places = {} if known is None else histories.places(tx, position_id=known)
    return found(next(iter(places.values()), None), "position")


__all__ = ["WINDOW_GROUPS", "Recurrence", "early_failures_of", "place_of", "ranking_of", "recurrence_of"]
