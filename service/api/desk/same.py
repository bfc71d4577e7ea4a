"""What a page shows, as the API answers it: each page leads to the same as JSON, and as CSV where the API has it.

A page names its answers; with ``?as=json`` or ``?as=csv`` it gives one of them, byte for byte as the API does for
the same question, so that a person sees what a program would get.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

from flask import Response, current_app, request

from service.api.desk.door import Desk
from service.api.http import lists
from service.api.http.problems import ProblemRaised
from service.api.http.streams import values_answer
from service.exchange import strict_json
from service.exchange.media import CSV, JSON
from service.render.answer_rows import answer_rows
from service.render.present import present

AS: Final = "as"
OF: Final = "of"
OWN: Final = (AS, OF)
"""Parameters of the desk that the API does not know."""
FORMS: Final = ("json", "csv")
PAGE: Final = 50
"""Items on a page of the API where nothing else is asked for."""
Rows = tuple[Sequence[str], Iterator[Sequence[Sequence[Any]]]]


@dataclass(frozen=True, slots=True)
class Same:
    """One answer of the API that a page shows.

    ``address``: where the API answers it. ``record``: its unit-neutral record. ``rows``: its CSV, where it has one.
    """

    address: str
    record: Any
    rows: Callable[[], Rows] | None = None
    name: str = "answer"


def address(path: str, asked: Mapping[str, Any] | None = None) -> str:
    """Return the address of a question, parameters without a value left out."""
    given = {name: value for name, value in (asked or {}).items() if value not in (None, "")}
    return f"{path}?{urlencode(given)}" if given else path


def tabled(desk: Desk, record: Mapping[str, Any]) -> Callable[[], Rows]:
    """Return the CSV of an answer about lives, made when it is asked for."""

    def rows() -> Rows:
        columns, lines = answer_rows(present(record, desk.units))
        return columns, iter([lines])

    return rows


def links(answers: Sequence[Same]) -> list[dict[str, str | None]]:
    """Return where the answers of this page are found as JSON and as CSV."""
    kept = [(name, value) for name, value in request.args.items(multi=True) if name not in OWN]
    return [
        {
            "address": one.address,
            "json": f"{request.path}?{urlencode([*kept, (AS, 'json'), (OF, n)])}",
            "csv": None if one.rows is None else f"{request.path}?{urlencode([*kept, (AS, 'csv'), (OF, n)])}",
        }
        for n, one in enumerate(answers)
    ]


def asked_for(desk: Desk, answers: Sequence[Same]) -> Response | None:
    """Return one of the answers where it is asked for in place of the page.

    Raises
    ------
    ProblemRaised
        There is no such answer, or it has no such form.
    """
    form = request.args.get(AS)
    if form is None:
        return None
    number = request.args.get(OF, "0")
    if form not in FORMS or not (number.isascii() and number.isdigit()) or int(number) >= len(answers):
        raise ProblemRaised("bad_parameter", f"a page is given as {' or '.join(FORMS)}, of its first, second answer")
    one = answers[int(number)]
    if form == "json":
        return Response(strict_json.written(present(one.record, desk.units)), content_type=JSON)
    if one.rows is None:
        raise ProblemRaised("bad_parameter", "this answer is no table; ask for it as json")
    columns, batches = one.rows()
    return values_answer(CSV, columns, batches, name=one.name)


def first_page(desk: Desk, where: str, items: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the first page of a list as the API answers it: ``items`` has one more than a page where there is more."""
    with current_app.test_request_context(where):
        body, _ = lists.page(items, {**request.args.to_dict(), "limit": PAGE}, desk.site_id)
    return body
