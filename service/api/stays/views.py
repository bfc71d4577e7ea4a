"""/v1/stays and /v1/replacements: which bearing ran where, from when to when, how it was mounted, what followed it."""

from collections.abc import Sequence
from typing import Any

from flask import Response

from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.streams import STREAMED, stream_answer, stream_asked_for
from service.api.stays.schemas import ReplacementPage, StayPage, StayQuery, StayRead
from service.exchange.media import CSV
from service.store.queries.attributes import attribute_types
from service.store.queries.stay_lists import replacement_rows, stay_row, stay_rows
from service.store.transaction import Tx
from service.use_cases.found import found
from service.use_cases.stays.lines import LISTED_COLUMNS, REPLACEMENT_COLUMNS, cells_of, flat_line
from service.use_cases.stays.lists import Rows, chosen_stays

blueprint = Blueprint("history", __name__, url_prefix="/v1", description="Stays of bearings, and their replacements")


@blueprint.operation(
    "GET",
    "/stays",
    scope="read",
    query=StayQuery,
    answers={
        200: Answer(
            StayPage,
            "A page of stays, in the order in which they were entered; as CSV or NDJSON all of them, streamed, "
            "the last line saying how many",
            headers=("Link",),
            media=STREAMED,
        )
    },
    refuses=("406", "422"),
    headers=("Accept",),
)
def list_stays(call: Call) -> Response:
    """List stays"""
    which = chosen_stays(call.query)

    def rows(tx: Tx, after: str | None, limit: int) -> Sequence[Any]:
        return stay_rows(tx, which, after=after, limit=limit)

    return _listed(call, rows, columns=LISTED_COLUMNS, key="id", name="stays")


@blueprint.operation(
    "GET",
    "/stays/<stay_id>",
    scope="read",
    answers={200: Answer(StayRead, "The stay, as the list has it")},
)
def read_stay(call: Call, stay_id: str) -> Response:
    """Read one stay"""
    with call.reading() as tx:
        row = found(stay_row(tx, stay_id), "stay", stay_id)
    return call.answer(flat_line(row, LISTED_COLUMNS))


@blueprint.operation(
    "GET",
    "/replacements",
    scope="read",
    query=StayQuery,
    answers={
        200: Answer(
            ReplacementPage,
            "A page of replacements: the stay that ended, and what was fitted after it. Filters are about the bearing "
            "that was removed, the period about when the next one was fitted. As CSV or NDJSON all of them, streamed",
            headers=("Link",),
            media=STREAMED,
        )
    },
    refuses=("406", "422"),
    headers=("Accept",),
)
def list_replacements(call: Call) -> Response:
    """List replacements"""
    which = chosen_stays(call.query)

    def rows(tx: Tx, after: str | None, limit: int) -> Sequence[Any]:
        return replacement_rows(tx, which, after=after, limit=limit)

    return _listed(call, rows, columns=REPLACEMENT_COLUMNS, key="fitted_id", name="replacements")


def _listed(call: Call, rows: Rows, *, columns: Sequence[str], key: str, name: str) -> Response:
    media = stream_asked_for()
    if media is not None:
        with call.reading() as tx:
            rows(tx, None, 1)  # what is wrong in the filters is said before the stream begins
            columns = cells_of(columns, sorted(attribute_types(tx))) if media == CSV else columns
    if media is not None:
        return stream_answer(call, media, rows, columns=columns, key=key, name=name)
    query = call.query
    with call.reading(past=True) as tx:
        page = rows(tx, lists.after(query, call.caller.site_id), query["limit"] + 1)
    items = [flat_line(row, columns) for row in page]
    body, headers = lists.page(items, query, call.caller.site_id, key=key)
    return call.answer(body, headers=headers)
