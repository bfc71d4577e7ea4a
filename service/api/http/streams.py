"""Lists without pages over HTTP: CSV or NDJSON by Accept, streamed."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

from flask import Response, current_app, request

from service.api.http.media import VARY, best_media
from service.api.http.operations import Call
from service.api.http.problems import ProblemRaised
from service.exchange.media import CSV, JSON, NDJSON
from service.use_cases.stays.lists import Rows, list_text, row_batches, values_text

STREAMED: Final = (CSV, NDJSON)


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


def stream_answer(call: Call, media: str, rows: Rows, *, columns: Sequence[str], key: str, name: str) -> Response:
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
    return _streamed(media, list_text(media, batches, columns), name)


def values_answer(
    media: str, columns: Sequence[str], batches: Iterator[Sequence[Sequence[Any]]], *, name: str
) -> Response:
    """Return values that are read already as a stream; ``columns`` name them."""
    return _streamed(media, values_text(media, columns, batches), name)


def _streamed(media: str, text: Iterator[str], name: str) -> Response:
    ending = "csv" if media == CSV else "ndjson"
    headers = {**VARY, "Content-Disposition": f'attachment; filename="{name}.{ending}"'}
    content_type = f"{CSV}; charset=utf-8; header=present" if media == CSV else media
    return Response(text, content_type=content_type, headers=headers)
