"""Lists of stays without pages: CSV and NDJSON of any length, read batch by batch, with a mark at their end.

Each batch is a short transaction of its own, over before its lines go out: a caller who stops reading holds nothing.
A cut answer lacks its end: ``{"end": true, "count": n}`` in NDJSON, a last row ``#end,n`` in CSV.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final

from service.exchange import strict_json
from service.exchange.media import CSV
from service.store.database import Database
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.stays.lines import csv_lines, flat_line, flat_values

END_MARK: Final = "#end"
BATCH: Final = 2_000
FILTERS: Final = (
    "asset", "position", "designation", "manufacturer", "housing", "damage", "end_type", "role", "installer", "batch",
    "lubricant", "cause", "work_order", "serial_prefix",
)  # fmt: skip
Rows = Callable[[Tx, str | None, int], Sequence[Any]]
"""From the id after which to go on, and how many, to rows."""


def chosen_stays(query: Mapping[str, Any]) -> Chosen:
    """Return which stays a query means."""
    named = {name: query.get(name) for name in FILTERS}
    period = {"begin": query.get("from_"), "end": query.get("to")}
    return Chosen(**named, **period, attributes=query.get("attributes", ()))


def row_batches(database: Database, site_id: str, rows: Rows, key: str) -> Iterator[Sequence[Any]]:
    """Yield the rows batch by batch, each read in a transaction of its own; ``key`` is the column to go on after."""
    after: str | None = None
    while True:
        with database.read(site_id, past=True) as tx:
            batch = rows(tx, after, BATCH)
        if batch:
            yield batch
            after = getattr(batch[-1], key)
        if len(batch) < BATCH:
            return


def list_text(media: str, batches: Iterator[Sequence[Any]], columns: Sequence[str]) -> Iterator[str]:
    """Yield the list in a media type, CSV or NDJSON, with its end mark."""
    return _csv_text(batches, columns) if media == CSV else _ndjson_text(batches, columns)


def values_text(media: str, columns: Sequence[str], batches: Iterator[Sequence[Sequence[Any]]]) -> Iterator[str]:
    """Yield lines of values that are read already in a media type, CSV or NDJSON, with the end mark of a list."""
    count = 0
    if media == CSV:
        yield csv_lines([columns])
    for batch in batches:
        count += len(batch)
        if media == CSV:
            yield csv_lines(batch)
        else:
            lines = (dict(zip(columns, values, strict=True)) for values in batch)
            yield "".join(strict_json.written(line) + "\n" for line in lines)
    yield f"{END_MARK},{count}\r\n" if media == CSV else strict_json.written({"end": True, "count": count}) + "\n"


def _csv_text(batches: Iterator[Sequence[Any]], columns: Sequence[str]) -> Iterator[str]:
    """Yield CSV with its header and its end mark."""
    count = 0
    yield csv_lines([columns])
    for batch in batches:
        yield csv_lines(flat_values(row, columns) for row in batch)
        count += len(batch)
    yield f"{END_MARK},{count}\r\n"


def _ndjson_text(batches: Iterator[Sequence[Any]], columns: Sequence[str]) -> Iterator[str]:
    """Yield NDJSON with its end mark."""
    count = 0
    for batch in batches:
        yield "".join(strict_json.written(flat_line(row, columns)) + "\n" for row in batch)
        count += len(batch)
    yield strict_json.written({"end": True, "count": count}) + "\n"
