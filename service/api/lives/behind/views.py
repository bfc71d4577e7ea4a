"""{question}/lives: the lives behind each answer about lives, as pages, CSV or NDJSON."""

from typing import Any, Final

from flask import Response

from service.api.http import lists
from service.api.http.operations import Answer, Call
from service.api.http.schema import PageQuery
from service.api.http.streams import STREAMED, stream_asked_for, values_answer
from service.api.lives.behind.schemas import LivesBehindPage
from service.api.lives.query import (
    AgeQuery,
    ChangeQuery,
    ComparisonQuery,
    EarlyQuery,
    ForecastQuery,
    LifeQuery,
    MountingQuery,
    PositionRecurrenceQuery,
    RankingQuery,
    RecurrenceQuery,
    RegressionQuery,
)
from service.api.lives.views import blueprint

__all__ = ["blueprint"]
QUESTIONS: Final[dict[str, Any]] = {
    "life-analysis": LifeQuery,
    "replacement-age": AgeQuery,
    "recurrence": RecurrenceQuery,
    "replacement-ranking": RankingQuery,
    "early-failures": EarlyQuery,
    "life-comparison": ComparisonQuery,
    "mounting-quality": MountingQuery,
    "life-regression": RegressionQuery,
    "life-change": ChangeQuery,
    "replacement-forecast": ForecastQuery,
}


def _listed(call: Call, question: str, position_id: str | None) -> Response:
    from service.use_cases.lives.behind import lives_behind
    from service.use_cases.lives.by_place import place_of

    media = stream_asked_for()
    with call.reading(past=True) as tx:
        place = None if position_id is None else place_of(tx, position_id)
        found = lives_behind(tx, call.query, question, place)
    if media is not None:
        return values_answer(media, found.columns, found.batches(), name=f"{question}-lives")
    after = lists.after(call.query, call.caller.site_id)
    items = found.page(after, call.query["limit"] + 1)
    body, headers = lists.page(items, call.query, call.caller.site_id, key="stay")
    return call.answer(body, headers=headers)


def _declare(question: str, query: Any, rule: str, name: str) -> None:
    """Declare the operation that lists the lives behind the answer to a question."""

    def view(call: Call, position_id: str | None = None) -> Response:
        return _listed(call, question, position_id)

    view.__name__ = name
    view.__doc__ = f"List the lives behind {question.replace('-', ' ')}" + (" of a position" if "<" in rule else "")
    paged: Any = type(f"{name.title().replace('_', '')}Query", (query, PageQuery), {"__doc__": query.__doc__})
    blueprint.operation(
        "GET",
        f"{rule}/lives",
        scope="read",
        query=paged,
        answers={
            200: Answer(
                LivesBehindPage,
                "The stays that the answer with the same parameters counts, in the order of their ids, each with its "
                "age, what it counts as, and within what it is compared; as CSV or NDJSON all of them, streamed",
                headers=("Link",),
                media=STREAMED,
            )
        },
        refuses=("406", "422"),
        headers=("Accept",),
    )(view)


for _question, _query in QUESTIONS.items():
    _declare(_question, _query, f"/{_question}", f"list_{_question.replace('-', '_')}_lives")
_declare("recurrence", PositionRecurrenceQuery, "/positions/<position_id>/recurrence", "list_position_recurrence_lives")
