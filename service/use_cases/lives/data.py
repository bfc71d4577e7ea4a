"""The history of a site as the reliability questions need it. Loaded at the first such question, numpy with it.

Memory: about 350 bytes a stay at the peak of a life analysis, the rows read 20,000 at a time. At 1,000,000 stays the
process grew by 332 MB on PostgreSQL and 321 MB on SQLite (of 1,048,576 bytes; ``python -m tests.benchmarks.history``).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from service.errors import CannotEvaluate, Text
from service.history.observations import assumptions, status
from service.reliability.observed import Observed, kinds, observed
from service.reliability.stay_ages import Ages, MeterColumns, meter_columns, stay_ages
from service.reliability.stay_columns import Groups, StayColumns, groups, stay_columns
from service.store.queries import histories
from service.store.queries.histories import Place
from service.store.queries.meters import MeterReadingRow, all_meter_readings
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.assets.meters import meter_of
from service.use_cases.stays.lists import chosen_stays
from service.words import Count

MOST_GROUPS: Final = 10_000
NOT_STATED: Final = "not stated"
NUMBERS: Final = ("begin_h", "end_h", "observed_h", "operating_h", "carried_h")
WORDS: Final = ("position", "designation", "end_type", "inspected", "damage")
OF_PLACE: Final = {"position": "label", "asset": "asset"}
COLUMN_OF: Final = {"installer": "installed_by"}
"""By what to group, and the column of words it is read from where that has another name."""


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

    def status_of_kind(self, count: Count, damage: str | None) -> list[str]:
        """Return what each kind of stay counts as."""
        return [status(*one, count, damage) for one in self.kinds]

    def observed(self, by: Groups, *, count: Count, damage: str | None) -> Observed:
        """Return the lives by group."""
        return observed(self.columns, self.status_of_kind(count, damage), self.kind, self.ages, by)

    def assumptions(self, found: Observed, *, count: Count, damage: str | None) -> list[Text]:
        """Return the sentences that say how stays were read."""
        duties = {duty_of(place) for place in self.places} or {1.0}
        return assumptions(found.bases, found.late, count=count, damage_filter=damage, duties=duties)

    def of_rows(self, rows: Any) -> "History":
        """Return the history of some of the stays."""
        columns = self.columns.of_rows(rows)
        ages = Ages(self.ages.age_h[rows], self.ages.entry_h[rows], self.ages.basis[rows])
        return History(columns, self.places, ages, self.kind[rows], self.kinds, self.meters, self.now)


def history(tx: Tx, chosen: Chosen, *, numbers: Sequence[str] = (), words: Sequence[str] = ()) -> History:
    """Return the stays that are chosen, with further columns where a question asks for them."""
    asked_numbers, asked_words = (*NUMBERS, *numbers), tuple(dict.fromkeys((*WORDS, *words)))
    batches = histories.stay_batches(tx, chosen, (*asked_numbers, *asked_words))
    columns = stay_columns(batches, numbers=asked_numbers, words=asked_words)
    known = histories.places(tx)
    places = [known[key] for key in columns.vocabularies["position"]]
    meters = {asset_id: _meter(rows) for asset_id, rows in all_meter_readings(tx).items()}
    kind, found = kinds(columns)
    return History(columns, places, _ages(columns, places, meters, tx.now), kind, found, meters, tx.now)


def asked_about(query: Mapping[str, Any]) -> Chosen:
    """Return which stays a question is about. Those with other damage belong to it: they censor."""
    return replace(chosen_stays(query), damage=None)


def grouped(data: History, keys: Sequence[str]) -> Groups:
    """Return the group of each stay.

    Raises
    ------
    CannotEvaluate
        ``too_many_groups``
    """
    found = groups(data.columns, [(column_of(key), _labels(data, key)) for key in keys])
    if len(found.labels) > MOST_GROUPS:
        said = f"{len(found.labels)} groups; one answer takes {MOST_GROUPS}: choose fewer stays, or group by less"
        raise CannotEvaluate(said, code="too_many_groups")
    return found


def column_of(key: str) -> str:
    """Return the column of words that a key is read from."""
    return "position" if key in ("position", "asset", "shaft") else COLUMN_OF.get(key, key)


def duty_of(place: Place) -> float:
    """Return the share of calendar time that a position runs, 1 where none is on record, [-]."""
    return 1.0 if place.duty is None else place.duty


def hours_since_epoch(moment: datetime) -> float:
    """Return a moment as hours since 1970, [h]."""
    return moment.timestamp() / 3600


def _labels(data: History, key: str) -> list[str]:
    """Return what the words of a key's column are called."""
    if key == "shaft":
        return [f"{place.asset} / {place.shaft}" for place in data.places]
    if key in OF_PLACE:
        return [str(getattr(place, OF_PLACE[key])) for place in data.places]
    return [NOT_STATED if word is None else str(word) for word in data.columns.vocabularies[column_of(key)]]


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
