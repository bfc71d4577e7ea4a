"""The hour meter of an asset: readings entered and struck out; each series is checked as a whole."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.errors import CannotEvaluate, NotFound
from service.history.ages import Meter, MeterReading, meter
from service.moments import rfc3339
from service.store.queries import meters
from service.store.queries.meters import MeterReadingRow
from service.store.unit_of_work import Event, Tx
from service.units import Quantity
from service.use_cases.assets.register import asset_of


@dataclass(frozen=True, slots=True)
class MeterEntry:
    """What came of readings that were sent: those that are new, the whole series, how many were on record."""

    rows: list[MeterReadingRow]
    series: list[MeterReadingRow]
    unchanged: int
    events: tuple[Event, ...]


def enter_meter_readings(tx: Tx, asset_id: str, given: Sequence[Mapping[str, Any]]) -> MeterEntry:
    """Store the readings that are not on record as they were sent.

    Raises
    ------
    NotFound
        The site has no such asset.
    CannotEvaluate
        ``meter_runs_back``
    Conflict
        ``meter_read_then``
    """
    asset = asset_of(tx, asset_id).id
    meters.hold_asset(tx, asset)
    known = {row.read_at: row for row in meters.meter_readings(tx, asset)}
    new = [one for one in given if not _same(known.get(one["read_at"]), one)]
    rows = [
        meters.insert_meter_reading(
            tx, asset_id=asset, read_at=one["read_at"], value_h=one["value"], restarts_at_h=one.get("restarts_at")
        )
        for one in new
    ]
    series = meters.meter_readings(tx, asset)
    meter_of(series)
    events = (Event("meter.read", "asset", asset, None, None, {"readings": len(rows)}),) if rows else ()
    return MeterEntry(rows, series, len(given) - len(new), events)


def enter_reading_that_fits(tx: Tx, *, asset_id: str, read_at: datetime, value_h: float) -> bool:
    """Enter a reading that came with something else, where the series of the asset allows it; return whether it did.

    A mechanic who closes an order is not stopped by a meter that somebody exchanged and forgot to enter: the completion
    keeps the reading, the series does not.
    """
    meters.hold_asset(tx, asset_id)
    series = [_reading(row) for row in meters.meter_readings(tx, asset_id)]
    if any(one.read_at == read_at for one in series):
        return False
    try:
        meter([*series, MeterReading(read_at, value_h)])
    except CannotEvaluate:
        return False
    meters.insert_meter_reading(tx, asset_id=asset_id, read_at=read_at, value_h=value_h, restarts_at_h=None)
    return True


def strike_out_meter_reading(tx: Tx, asset_id: str, reading_id: str) -> Event:
    """Strike out a wrong reading and return the event, which keeps it.

    Raises
    ------
    NotFound
        The site has no such asset, or the asset no such reading.
    CannotEvaluate
        ``meter_runs_back``: what is left runs back.
    """
    asset = asset_of(tx, asset_id).id
    meters.hold_asset(tx, asset)
    row = meters.delete_meter_reading(tx, asset, reading_id)
    if row is None:
        raise NotFound("the asset has no reading of this id")
    meter_of(meters.meter_readings(tx, asset))
    kept = {"read_at": rfc3339(row.read_at), "value": Quantity("time", row.value_h)}
    return Event("meter_reading.struck_out", "asset", asset, None, None, kept)


def meter_of(rows: Sequence[MeterReadingRow]) -> Meter:
    """Return the meter of an asset from its readings on record; refuses a series that runs back."""
    return meter([_reading(row) for row in rows])


def _reading(row: MeterReadingRow) -> MeterReading:
    return MeterReading(row.read_at, row.value_h, row.restarts_at_h)


def _same(known: MeterReadingRow | None, given: Mapping[str, Any]) -> bool:
    """Return whether a reading is on record as it was sent."""
    return known is not None and (known.value_h, known.restarts_at_h) == (given["value"], given.get("restarts_at"))
