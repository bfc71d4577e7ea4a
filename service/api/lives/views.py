"""What the reliability engineer asks. The modules that answer load numpy: at the first question, not at the start."""

from typing import Any

from flask import Response

from service.api.http.media import SVG, picture_answer, picture_asked_for
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.lives.query import (
    AgeQuery,
    EarlyQuery,
    LifePictureQuery,
    MountingQuery,
    PositionRecurrenceQuery,
    RankingQuery,
    ReadingQualityQuery,
    RecurrenceQuery,
)
from service.api.lives.schemas import (
    AgeAnswer,
    EarlyAnswer,
    LifeAnswer,
    MountingAnswer,
    RankingAnswer,
    ReadingQualityAnswer,
    RecurrenceAnswer,
)

blueprint = Blueprint("reliability", __name__, url_prefix="/v1", description="Questions about the history")


def _pictured(schema: Any, said: str) -> dict[int, Answer]:
    return {200: Answer(schema, said, media=(SVG,))}


@blueprint.operation(
    "GET",
    "/life-analysis",
    scope="read",
    query=LifePictureQuery,
    answers=_pictured(
        LifeAnswer,
        "How long bearings last, by group: counts, survival, Weibull fit or bound, and what to read with it; as a "
        "picture of one group: probability plot with limits, or survival steps",
    ),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_life_analysis(call: Call) -> Response:
    """Analyse lives"""
    from service.use_cases.lives.by_group import life_analysis_of

    as_picture = picture_asked_for()
    with call.reading(past=True) as tx:
        found = life_analysis_of(tx, call.query)
    if not as_picture:
        return call.answer(found.record())
    from service.render.pictures.lives import probability_picture, survival_picture

    analysis, item = found.item(call.query.get("group"))
    picture = {"probability": probability_picture, "survival": survival_picture}[call.query["picture"]]
    return picture_answer(picture(analysis, item))


@blueprint.operation(
    "GET",
    "/recurrence",
    scope="read",
    query=RecurrenceQuery,
    answers=_pictured(RecurrenceAnswer, "Mean cumulative number of events of the chosen positions, and its trend"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_recurrence(call: Call) -> Response:
    """See how events of many positions recur"""
    return _recurrence(call, None)


@blueprint.operation(
    "GET",
    "/positions/<position_id>/recurrence",
    scope="read",
    query=PositionRecurrenceQuery,
    answers=_pictured(RecurrenceAnswer, "Cumulative number of events of the position, and its trend"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_position_recurrence(call: Call, position_id: str) -> Response:
    """See how events of a position recur"""
    return _recurrence(call, position_id)


def _recurrence(call: Call, position_id: str | None) -> Response:
    from service.use_cases.lives.by_place import place_of, recurrence_of

    as_picture = picture_asked_for()
    with call.reading(past=True) as tx:
        place = None if position_id is None else place_of(tx, position_id)
        found = recurrence_of(tx, call.query, place)
    if not as_picture:
        return call.answer(found.record())
    from service.render.pictures.positions import recurrence_picture

    return picture_answer(recurrence_picture(found.steps, group=found.label, event=found.event, level=found.level))


@blueprint.operation(
    "GET",
    "/replacement-ranking",
    scope="read",
    query=RankingQuery,
    answers=_pictured(
        RankingAnswer, "Which positions fail more often than their class explains; says so when there is no evidence"
    ),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_replacement_ranking(call: Call) -> Response:
    """Rank positions against their class"""
    from service.use_cases.lives.by_place import ranking_of

    as_picture = picture_asked_for()
    with call.reading(past=True) as tx:
        ranks, record = ranking_of(tx, call.query)
    if not as_picture:
        return call.answer(record)
    from service.render.pictures.positions import ranking_picture

    return picture_answer(ranking_picture(ranks, top=call.query["top"]))


@blueprint.operation(
    "GET",
    "/early-failures",
    scope="read",
    query=EarlyQuery,
    answers={200: Answer(EarlyAnswer, "Failures soon after fitting, against what the class leads to expect")},
    refuses=("422",),
)
def read_early_failures(call: Call) -> Response:
    """Look for early failures"""
    from service.use_cases.lives.by_place import early_failures_of

    with call.reading(past=True) as tx:
        return call.answer(early_failures_of(tx, call.query))


@blueprint.operation(
    "GET",
    "/mounting-quality",
    scope="read",
    query=MountingQuery,
    answers={
        200: Answer(MountingAnswer, "Does life depend on the residual clearance left, on deviations, on the fit?")
    },
    refuses=("422",),
)
def read_mounting_quality(call: Call) -> Response:
    """Ask whether life depends on the mounting"""
    from service.use_cases.lives.by_mounting import mounting_qualities

    with call.reading(past=True) as tx:
        return call.answer(mounting_qualities(tx, call.query))


@blueprint.operation(
    "GET",
    "/reading-quality",
    scope="read",
    query=ReadingQualityQuery,
    answers={200: Answer(ReadingQualityAnswer, "Do people prefer some last digits, and do repeats agree?")},
    refuses=("422",),
)
def read_reading_quality(call: Call) -> Response:
    """Ask how good the readings are"""
    from service.use_cases.lives.by_mounting import reading_quality

    with call.reading(past=True) as tx:
        return call.answer(reading_quality(tx, call.query, call.units))


@blueprint.operation(
    "GET",
    "/replacement-age",
    scope="read",
    query=AgeQuery,
    answers={200: Answer(AgeAnswer, "The age with the least cost per hour, or that no age limit is supported")},
    refuses=("422",),
)
def read_replacement_age(call: Call) -> Response:
    """Ask at what age to replace"""
    from service.use_cases.lives.by_group import replacement_ages

    for name in ("preventive_cost", "failure_cost"):
        if name not in call.query:
            fault = {"parameter": name, "code": "bad_parameter", "detail": "is needed"}
            raise ProblemRaised("bad_parameter", f"{name}: is needed, in the same money as the other", faults=[fault])
    with call.reading(past=True) as tx:
        return call.answer(replacement_ages(tx, call.query))
