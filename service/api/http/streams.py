"""Lists without pages: CSV and NDJSON of any length, read batch by batch, with a mark at their end.

Each batch is a short transaction of its own, over before its lines go out: a caller who stops reading holds nothing.
A cut answer lacks its end: ``{"end": true, "count": n}`` in NDJSON, a last row ``#end,n`` in CSV.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from flask import Response, current_app, request

from service.api.http.media import JSON, VARY, best_media
from service.api.http.operations import NDJSON, Call
from service.api.http.problems import ProblemRaised
from service.exchange import strict_json
from service.store.database import Database
from service.store.transaction import Tx
from service.use_cases.stays.lines import csv_lines, flat_line, flat_values

CSV: Final = "text/csv"
END_MARK: Final = "#end"
BATCH: Final = 2_000
STREAMED: Final = (CSV, NDJSON)
Rows = Callable[[Tx, str | None, int], Sequence[Any]]
"""From the id after which to go on, and how many, to rows."""


def stream_asked_for() -> str | None:
    """Return the media type of the stream that is asked for, None for a page of JSON.

    Raises
    ------
    ProblemRaised
        406: none of them; ``bad_parameter``: a stream has no pages.
    """
    media = best_media((JSON, *STREAMED))
    if media == JSON:
        return None
    for name in ("cursor", "limit"):
        if name in request.args:
            detail = f"goes with pages of {JSON}; {media} is the whole list"
            fault = {"parameter": name, "code": "bad_parameter", "detail": detail}
            raise ProblemRaised("bad_parameter", f"{name}: {detail}", faults=[fault])
    return media


def streamed(call: Call, media: str, rows: Rows, *, columns: Sequence[str], key: str, name: str) -> Response:
    """Return the whole list as a stream.

    Parameters
    ----------
    rows : callable
        Reads a batch.
    columns : sequence of str
        Columns of a line.
    key : str
        The column whose id the next batch goes on after.
    name : str
        Name of the file, without its ending.
    """
    database = current_app.extensions["capsaddle"].database
    batches = row_batches(database, call.caller.site_id, rows, key)
    text = csv_text(batches, columns) if media == CSV else ndjson_text(batches, columns)
    ending = "csv" if media == CSV else "ndjson"
    headers = {**VARY, "Content-Disposition": f'attachment; filename="{name}.{ending}"'}
    content_type = f"{CSV}; charset=utf-8; header=present" if media == CSV else media
    return Response(text, content_type=content_type, headers=headers)


def row_batches(database: Database, site_id: str, rows: Rows, key: str) -> Iterator[Sequence[Any]]:
    """Yield the rows batch by batch, each read in a transaction of its own."""
    after: str | None = None
    while True:
        with database.read(site_id, past=True) as tx:
            batch = rows(tx, after, BATCH)
        if batch:
            yield batch
            after = getattr(batch[-1], key)
        if len(batch) < BATCH:
            return


def csv_text(batches: Iterator[Sequence[Any]], columns: Sequence[str]) -> Iterator[str]:
    """Yield CSV with its header and its end mark."""
    count = 0
    yield csv_lines([columns])
    for batch in batches:
        yield csv_lines(flat_values(row, columns) for row in batch)
        count += len(batch)
    yield f"{END_MARK},{count}\r\n"


def ndjson_text(batches: Iterator[Sequence[Any]], columns: Sequence[str]) -> Iterator[str]:
    """Yield NDJSON with its end mark."""
    count = 0
    for batch in batches:
        yield "".join(strict_json.written(flat_line(row, columns)) + "\n" for row in batch)
        count += len(batch)
    yield strict_json.written({"end": True, "count": count}) + "\n"
