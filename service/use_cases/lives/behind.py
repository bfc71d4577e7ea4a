"""The lives behind an answer, stay by stay, so that an engineer can compute it again in any tool.

Read in one transaction as columns; lines are made of them a batch at a time, with no database held.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate
from service.moments import rfc3339
from service.reliability.group_excess import PLACES
from service.reliability.lives import Bools, Ints
from service.reliability.mounting_bins import DEVIATION_BINS, FIT_BINS, deviation_numbers, fit_numbers
from service.reliability.observed import Counted
from service.reliability.strata import number_of_periods, periods
from service.reliability.window_bins import WINDOW_BINS, window_numbers
from service.store.queries.attributes import attribute_types
from service.store.queries.histories import Place
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.lives.data import (
    History,
    asked_about,
    filtering,
    grouped,
    history,
    key_codes,
    named_keys,
    on_record,
    shown,
)
from service.use_cases.lives.keys import COVARIATES, DAMAGE, SHAFT, WINDOW, Fact, Key, classes_of, fact_of
from service.words import BASES

BATCH: Final = 2_000
COLUMNS: Final = (
    "stay", "position_id", "asset_id", "asset", "position", "designation", "fitted_at", "ended_at", "end_type",
    "damage", "age_h", "entry_age_h", "age_basis", "status", "weight", "left_out", "group", "class", "period", "shown",
)  # fmt: skip
FACTS: Final = "facts."
LEFT_OUT: Final = "left_out"
NOT_ON_RECORD: Final = "group_not_on_record"
RUNNING: Final = "running"
WHOLE_SITE: Final = ("replacement-ranking", "early-failures", "life-comparison", "mounting-quality")
"""Questions whose filters only show; of the others they choose the stays."""
COMPARING: Final = ("early-failures", "life-comparison")
WITH_PERIODS: Final = ("early-failures", "life-comparison", "mounting-quality", "life-regression")
NOT_SHARED_OUT: Final = ("recurrence", "life-regression", "life-change", "replacement-forecast")
"""Questions that leave out failures without recorded damage when one mode is asked about."""
BINS: Final[Mapping[str, tuple[Callable[[Any], Ints], tuple[str, ...]]]] = {
    "residual_clearance": (window_numbers, WINDOW_BINS),
    "deviations": (deviation_numbers, DEVIATION_BINS),
    "fit": (fit_numbers, FIT_BINS),
}


@dataclass(frozen=True, slots=True)
class LivesBehind:
    """The stays of a question, n of them, in the order of their ids.

    ``order``: their places in ``data``. ``columns``: names of the members of a line. ``facts``: further members.
    ``known``: what groups are made by is on record, where those of which it is not are compared with none.
    """

    data: History
    order: Ints
    counted: Counted
    group: tuple[Ints, list[str]] | None
    of_class: tuple[Ints, list[str]]
    period: Ints
    passed: Any
    facts: dict[str, list[Any]]
    known: Bools

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the names of the members of a line."""
        return (*COLUMNS, *(f"{FACTS}{name}" for name in self.facts))

    def batches(self) -> Iterator[list[list[Any]]]:
        """Yield the values of all lines, a batch at a time."""
        for start in range(0, len(self.order), BATCH):
            yield self._values(self.order[start : start + BATCH])

    def page(self, after: str | None, limit: int) -> list[dict[str, Any]]:
        """Return the lines of up to ``limit`` stays, those after the id ``after``; the facts in one member."""
        ids = self.data.columns.ids[self.order]
        start = 0 if after is None else int(np.searchsorted(ids, _as_read(after, ids), side="right"))
        lines = []
        for values in self._values(self.order[start : start + limit]):
            line = dict(zip(COLUMNS, values, strict=False))
            line["facts"] = dict(zip(self.facts, values[len(COLUMNS) :], strict=True))
            lines.append(line)
        return lines

    def _values(self, rows: Ints) -> list[list[Any]]:
        data, ages = self.data, self.data.ages
        counts = self.counted.status[rows] < 2
        taken = counts & self.known[rows]
        names = self.counted.names
        status = [names[n] for n in self.counted.status[rows].tolist()]
        places = [data.places[n] for n in data.position[rows].tolist()]
        seen_last = zip(data.columns.numbers["end_h"][rows].tolist(), self._words("end_type", rows), strict=True)
        ended = [None if end_type == RUNNING else hour for hour, end_type in seen_last]
        columns: list[Sequence[Any]] = [
            [_canonical(one) for one in data.columns.ids[rows].tolist()],
            [place.id for place in places],
            [place.asset_id for place in places],
            [place.asset for place in places],
            [place.name for place in places],
            self._words("designation", rows),
            [_moment(hour) for hour in data.columns.numbers["begin_h"][rows].tolist()],
            [_moment(hour) for hour in ended],
            self._words("end_type", rows),
            self._words("damage", rows),
            ages.age_h[rows].tolist(),
            ages.entry_h[rows].tolist(),
            [BASES[n] for n in ages.basis[rows].tolist()],
            [one if does else LEFT_OUT for one, does in zip(status, taken.tolist(), strict=True)],
            np.where(taken, self.counted.share[rows], 0.0).tolist(),
            [
                None if does else NOT_ON_RECORD if would else one
                for one, does, would in zip(status, taken.tolist(), counts.tolist(), strict=True)
            ],
            _labels(self.group, rows),
            _labels(self.of_class, rows),
            [None if n < 0 else n + 1 for n in self.period[rows].tolist()],
            [True] * len(rows) if self.passed is None else self.passed[rows].tolist(),
            *([values[n] for n in rows.tolist()] for values in self.facts.values()),
        ]
        return [list(line) for line in zip(*columns, strict=True)]

    def _words(self, name: str, rows: Ints) -> list[Any]:
        vocabulary = self.data.columns.vocabularies[name]
        return [vocabulary[n] for n in self.data.columns.words[name][rows].tolist()]


def lives_behind(tx: Tx, query: Mapping[str, Any], question: str, place: Place | None = None) -> LivesBehind:
    """Return the lives behind the answer to a question.

    Parameters
    ----------
    question : str
        Its name in the address, such as life-analysis.
    place : Place, optional
        The one position that is asked about.

    Raises
    ------
    CannotEvaluate
        ``one_mode_needed``: what a stay counts as hangs on the mode of damage, and several are asked about.
    """
    by = _group_keys(query, question)
    classes = classes_of(query.get("class_by", ()))
    names = query.get("covariates", ())
    types = attribute_types(tx) if names else {}
    facts = {name: fact_of(name, types) for name in names}
    numbers = (*WINDOW, *SHAFT, "deviations") if question == "mounting-quality" else ()
    whole = question in WHOLE_SITE
    which = Chosen() if whole else asked_about(query)
    if place is not None:
        which = Chosen(asset=place.asset, position=place.name)
    asked: list[Key | Fact] = [*named_keys((*by, *classes)), *(filtering(query) if whole else ()), *facts.values()]
    data = history(tx, which, *asked, numbers=numbers, ids=True)
    of_class = grouped(data, classes)
    shared = of_class.number if question not in NOT_SHARED_OUT else None
    counted = data.counted(query["count"], query.get(DAMAGE), shared)
    groups = grouped(data, by) if by else None
    known = on_record(data, by if question in COMPARING else ())
    if not known[counted.row].any():
        known[:] = True
    told = {name: _told(data, fact) for name, fact in facts.items()}
    if question == "mounting-quality":
        told = {name: _bins(data, *made) for name, made in BINS.items()}
    return LivesBehind(
        data,
        np.argsort(data.columns.ids, kind="stable"),
        counted,
        None if groups is None else (groups.number, groups.labels),
        (of_class.number, of_class.labels),
        _periods(data, counted.row[known[counted.row]], question, by),
        shown(data, query) if whole else None,
        told,
        known,
    )


def _group_keys(query: Mapping[str, Any], question: str) -> tuple[str, ...]:
    if question == "replacement-ranking":
        return (query["by"],)
    if question == "recurrence":
        return ("position",)
    by = tuple(query.get("group_by", ()))
    if DAMAGE in by:
        said = "ask for one mode with damage=, without grouping by damage: what a stay counts as hangs on the mode"
        raise CannotEvaluate(said, code="one_mode_needed", field="group_by")
    return by


def _periods(data: History, rows: Ints, question: str, by: tuple[str, ...]) -> Ints:
    """Return the period of fitting of each stay that takes part, -1 elsewhere and where periods are not compared."""
    found = np.full(data.columns.rows, -1, dtype=np.int64)
    if question in WITH_PERIODS and not (by and set(by) <= PLACES):
        found[rows] = periods(data.columns.numbers["begin_h"][rows], number=number_of_periods(by, len(rows)))
    return found


def _told(data: History, fact: Fact) -> list[Any]:
    """Return what a regression knows of each stay: a number, a word, a bin, or the place in the window (0 to 1)."""
    if fact.how == "number":
        return _known(data.columns.numbers[fact.numbers[0]])
    if fact.how == "window":
        value, low, high = (data.columns.numbers[name] for name in fact.numbers)
        return _known((value - low) / np.where(high > low, high - low, np.nan))
    if fact.how == "season":
        return [int(moment[5:7]) for moment in map(_moment, data.columns.numbers["begin_h"].tolist()) if moment]
    for name, made in BINS.items():
        if fact == COVARIATES[name]:
            return _bins(data, *made)
    codes, names = key_codes(data, Key(fact.column))
    unknown = data.columns.vocabularies[fact.column]
    return [None if unknown[n] is None else names[n] for n in codes.tolist()]


def _bins(data: History, numbers_of: Callable[[Any], Ints], names: Sequence[str]) -> list[Any]:
    return [names[n] if n < len(names) else None for n in numbers_of(data.columns).tolist()]


def _known(values: Any) -> list[float | None]:
    return [None if value != value else value for value in values.tolist()]


def _labels(named: tuple[Ints, list[str]] | None, rows: Ints) -> list[str | None]:
    if named is None:
        return [None] * len(rows)
    numbers, labels = named
    return [labels[n] or "all" for n in numbers[rows].tolist()]


def _moment(hours: float | None) -> str | None:
    """Return hours since 1970 as a moment, to the second: the database counts days in a binary fraction."""
    if hours is None or hours != hours:
        return None
    return rfc3339(datetime.fromtimestamp(round(hours * 3600), UTC))


def _canonical(given: bytes) -> str:
    text = given.decode()
    if len(text) == 36:
        return text
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def _as_read(stay_id: str, ids: Any) -> bytes:
    """Return an id as the database of this service writes it."""
    plain = len(ids) > 0 and len(ids[0]) == 32
    return (stay_id.replace("-", "") if plain else stay_id).encode()
