"""The history of a site as the reliability questions need it. Loaded at the first such question, numpy with it.

Memory: about 350 bytes a stay at the peak of a life analysis, the rows read 20,000 at a time. At 1,000,000 stays the
process grew by 332 MB on PostgreSQL and 321 MB on SQLite (of 1,048,576 bytes; ``python -m tests.benchmarks.history``).
"""

import operator
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import numpy as np

from service.errors import CannotEvaluate, Text
from service.history.attributes import PREFIX, as_shown
from service.history.observations import assumptions, status
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.month_runs import Unit, date_word, month_numbers
from service.reliability.observed import Counted, Observed, counted, kinds, observed
from service.reliability.stay_ages import Ages, MeterColumns, meter_columns, stay_ages
from service.reliability.stay_columns import ID, Groups, StayColumns, groups, stay_columns
from service.reliability.unrecorded_damage import DOUBT
from service.reliability.window_bins import WINDOW_BINS, WINDOW_GROUPS, window_numbers
from service.store.queries import histories
from service.store.queries.attributes import attribute_in_words, attribute_types
from service.store.queries.histories import Place
from service.store.queries.meters import MeterReadingRow, all_meter_readings
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.assets.meters import meter_of
from service.use_cases.lives.keys import Fact, Key, columns_of, filters_of, key_of
from service.use_cases.stays.lists import chosen_stays
from service.words import AttributeType, Count

MOST_GROUPS: Final = 10_000
NOT_STATED: Final = "not stated"
UNKNOWN: Final = (NOT_STATED, *WINDOW_GROUPS[len(WINDOW_BINS) :])
NUMBERS: Final = ("begin_h", "end_h", "observed_h", "operating_h", "carried_h")
WORDS: Final = ("position", "designation", "end_type", "inspected", "damage")
ORDER: Final = ("position", "begin_h")
PLACE_FILTERS: Final = ("asset", "position", "housing")
"""Filters that choose positions with all of their stays; the others choose stays."""


@dataclass(frozen=True, slots=True)
class History:
    """Stays in columns, their positions in the order of the vocabulary, their ages, and when they were looked at."""

    columns: StayColumns
    places: list[Place]
    ages: Ages
    kind: Any
    kinds: list[tuple[str, bool | None, str | None]]
    meters: dict[str, MeterColumns]
    now: datetime
    attribute_types: Mapping[str, AttributeType]

    @property
    def now_h(self) -> float:
        """Return when running stays are looked at, hours since 1970, [h]."""
        return hours_since_epoch(self.now)

    @property
    def position(self) -> Ints:
        """Return the number of the position of each stay, in the order of ``places``."""
        return self.columns.words["position"].astype("int64")

    @property
    def end_h(self) -> Floats:
        """Return when each stay was seen last: its removal, or when it was looked at, hours since 1970, [h]."""
        end = self.columns.numbers["end_h"].copy()
        end[end != end] = self.now_h
        begin = self.columns.numbers["begin_h"]
        return end.clip(min=begin)

    def status_of_kind(self, count: Count, damage: str | None) -> list[str]:
        """Return what each kind of stay counts as."""
        return [status(*one, count, damage) for one in self.kinds]

    def counted(self, count: Count, damage: str | None, of_class: Ints | None = None) -> Counted:
        """Return what each stay counts as; ``of_class``: failures without recorded damage are shared out within it."""
        shared = of_class if damage is not None else None
        return counted(self.columns, self.status_of_kind(count, damage), self.kind, self.ages, shared)

    def observed(self, found: Counted, by: Groups) -> Observed:
        """Return the lives by group."""
        return observed(self.columns, found, self.ages, by)

    def assumptions(
        self, bases: Mapping[str, int], late: int, unrecorded: int, *, count: Count, damage: str | None
    ) -> list[Text]:
        """Return the sentences that say how stays were read."""
        duties = {duty_of(place) for place in self.places} or {1.0}
        said = assumptions(bases, late, count=count, damage_filter=damage, duties=duties)
        if unrecorded:
            said += [
                f"{unrecorded} failures of which nobody recorded the damage are shared out: by what was recorded of "
                "the same designation in the same fifth of ages.",
                DOUBT,
            ]
        return said

    def of_rows(self, rows: Any) -> "History":
        """Return the history of some of the stays."""
        columns = self.columns.of_rows(rows)
        ages = Ages(self.ages.age_h[rows], self.ages.entry_h[rows], self.ages.basis[rows])
        kind = self.kind[rows]
        return History(columns, self.places, ages, kind, self.kinds, self.meters, self.now, self.attribute_types)


def history(tx: Tx, chosen: Chosen, *keys: Key | Fact, numbers: Sequence[str] = (), ids: bool = False) -> History:
    """Return the stays that are chosen, with the columns that keys and facts of the question are read from."""
    asked = columns_of(keys)
    asked_numbers = tuple(dict.fromkeys((*NUMBERS, *numbers, *asked["numbers"])))
    asked_words = tuple(dict.fromkeys((*WORDS, *asked["words"])))
    read = (*asked_numbers, *asked_words, *([ID] if ids else []))
    batches = histories.stay_batches(tx, chosen, read)
    columns = stay_columns(batches, numbers=asked_numbers, words=asked_words, ids=ids, order_by=ORDER)
    known = histories.places(tx)
    places = [known[key] for key in columns.vocabularies["position"]]
    meters = {asset_id: _meter(rows) for asset_id, rows in all_meter_readings(tx).items()}
    kind, found = kinds(columns)
    types = attribute_types(tx) if any(name.startswith(PREFIX) for name in asked_words) else {}
    return History(columns, places, _ages(columns, places, meters, tx.now), kind, found, meters, tx.now, types)


def asked_about(query: Mapping[str, Any]) -> Chosen:
    """Return which stays a question is about. Those with other damage belong to it: they censor."""
    return replace(chosen_stays(query), damage=None)


def history_with_neighbours(tx: Tx, query: Mapping[str, Any], *keys: Key | Fact) -> tuple[History, Bools | None]:
    """Return all stays of the places that are asked about, and which of them are chosen; None: all.

    For questions about the order of lives: whether one may change places hangs on what followed it, chosen or not.
    """
    of_place = {name: query[name] for name in PLACE_FILTERS if query.get(name) is not None}
    if asked_about(query) == asked_about(of_place):
        return history(tx, asked_about(query), *keys), None
    data = history(tx, asked_about(of_place), *keys, *filtering(query))
    return data, shown(data, query)


def named_keys(names: Iterable[str]) -> list[Key]:
    """Return the keys of some names."""
    return [key_of(name) for name in names]


def filtering(query: Mapping[str, Any]) -> list[Key]:
    """Return the keys that the filters of a question are read from."""
    named = [key for key, _ in filters_of(query)]
    return [*named, *(key_of(f"{PREFIX}{name}") for name, _ in query.get("attributes", ()))]


def shown(data: History, query: Mapping[str, Any]) -> Bools | None:
    """Return which stays pass the filters of a question whose numbers are of the whole site; None: all do."""
    begin_h, found = data.columns.numbers["begin_h"], list[Bools]()
    if query.get("from_") is not None:
        found.append(np.asarray(begin_h >= hours_since_epoch(query["from_"])))
    if query.get("to") is not None:
        found.append(np.asarray(begin_h < hours_since_epoch(query["to"])))
    tests = [(*key_codes(data, key), key.fits, wanted) for key, wanted in filters_of(query)]
    for name, text in query.get("attributes", ()):
        column = f"{PREFIX}{name}"
        wanted = attribute_in_words(text, name, data.attribute_types).stored
        tests.append((data.columns.words[column], data.columns.vocabularies[column], operator.eq, wanted))
    for codes, names, fits, wanted in tests:
        found.append(np.isin(codes, [n for n, one in enumerate(names) if fits(one, wanted)]))
    return np.logical_and.reduce(found) if found else None


def grouped(data: History, keys: Sequence[str], most: int = MOST_GROUPS) -> Groups:
    """Return the group of each stay.

    Raises
    ------
    CannotEvaluate
        ``too_many_groups``
    """
    found = groups(data.columns.rows, [key_codes(data, key_of(key)) for key in keys])
    if len(found.labels) > most:
        said = f"{len(found.labels)} groups; one answer takes {most}: choose fewer stays, or group by less"
        raise CannotEvaluate(said, code="too_many_groups", field="group_by")
    return found


def key_codes(data: History, key: Key) -> tuple[Ints, list[str]]:
    """Return the code of each stay by a key, and what each code is called."""
    if key.made == "window":
        return window_numbers(data.columns), list(WINDOW_GROUPS)
    if key.made != "words":
        return _fitted(data, key.made)
    codes = data.columns.words[key.column].astype("int64")
    if key.of_place is not None:
        return codes, [key.of_place(place) for place in data.places]
    words = data.columns.vocabularies[key.column]
    if data.attribute_types.get(key.column.removeprefix(PREFIX)) == "flag" and key.column.startswith(PREFIX):
        words = [None if word is None else bool(word) for word in words]
    return codes, [NOT_STATED if word is None else as_shown(word) for word in words]


def on_record(data: History, keys: Sequence[str]) -> Bools:
    """Return of which stays all of some keys are on record, shape (n,)."""
    known = np.ones(data.columns.rows, dtype=np.bool_)
    for key in keys:
        codes, names = key_codes(data, key_of(key))
        known &= np.array([name not in UNKNOWN for name in names], dtype=np.bool_)[codes]
    return known


def duty_of(place: Place) -> float:
    """Return the share of calendar time that a position runs, 1 where none is on record, [-]."""
    return 1.0 if place.duty is None else place.duty


def hours_since_epoch(moment: datetime) -> float:
    """Return a moment as hours since 1970, [h]."""
    return moment.timestamp() / 3600


def _fitted(data: History, unit: Unit) -> tuple[Ints, list[str]]:
    if not data.columns.rows:
        return data.position, []
    number = month_numbers(data.columns.numbers["begin_h"], unit)
    first, last = int(number.min()), int(number.max())
    return number - first, [date_word(one, unit) for one in range(first, last + 1)]


def _ages(columns: StayColumns, places: list[Place], meters: dict[str, MeterColumns], now: datetime) -> Ages:
    number = {asset_id: n for n, asset_id in enumerate(meters)}
    return stay_ages(
        columns,
        now_h=hours_since_epoch(now),
        duty=[duty_of(place) for place in places],
        meter=[number.get(place.asset_id, -1) for place in places],
        meters=list(meters.values()),
    )


def _meter(rows: list[MeterReadingRow]) -> MeterColumns:
    of_asset = meter_of(rows)
    return meter_columns([hours_since_epoch(at) for at in of_asset.times], of_asset.total_h)
