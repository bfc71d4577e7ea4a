"""What the reliability engineer asks. The modules that answer load numpy: at the first question, not at the start."""

from typing import Any

from flask import Response

from service.api.http.media import SVG, picture_answer
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.lives.answering import MEDIA, PICTURED, answered, media_asked_for, of_mode
from service.api.lives.query import (
    AgeQuery,
    ChangeQuery,
    ComparisonQuery,
    EarlyQuery,
    ForecastQuery,
    LifePictureQuery,
    MountingQuery,
    PositionRecurrenceQuery,
    RankingQuery,
    ReadingQualityQuery,
    RecurrenceQuery,
    RegressionQuery,
)
from service.api.lives.schemas import AgeAnswer, LifeAnswer, ReadingQualityAnswer
from service.api.lives.verdict_schemas import (
    ChangeAnswer,
    ComparisonAnswer,
    EarlyAnswer,
    ForecastAnswer,
    MountingAnswer,
    RankingAnswer,
    RecurrenceAnswer,
    RegressionAnswer,
)

blueprint = Blueprint("reliability", __name__, url_prefix="/v1", description="Questions about the history")


def _tabled(schema: Any, said: str) -> dict[int, Answer]:
    return {200: Answer(schema, said, media=MEDIA)}


def _pictured(schema: Any, said: str) -> dict[int, Answer]:
    return {200: Answer(schema, said, media=PICTURED)}


@blueprint.operation(
    "GET",
    "/life-analysis",
    scope="read",
    query=LifePictureQuery,
    answers=_pictured(
        LifeAnswer,
        "How long bearings last, by group: counts, survival, Weibull fit with its test, or bound, and what to read "
        "with it; as a picture of one group: probability plot with limits, survival steps, or shares by mode of damage",
    ),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_life_analysis(call: Call) -> Response:
    """Analyse lives"""
    from service.use_cases.lives.by_group import life_analysis_of

    media = media_asked_for(picture=True)
    with call.reading(past=True) as tx:
        found = life_analysis_of(tx, call.query)
    if media != SVG:
        return answered(call, media, found.record(), "life-analysis")
    from service.render.pictures.incidence import incidence_picture
    from service.render.pictures.lives import probability_picture, survival_picture

    if call.query["picture"] == "incidence":
        return picture_answer(incidence_picture([item for _, item in found.by_mode()]))
    analysis, item = found.item(call.query.get("group"))
    picture = {"probability": probability_picture, "survival": survival_picture}[call.query["picture"]]
    return picture_answer(picture(analysis, item))


@blueprint.operation(
    "GET",
    "/recurrence",
    scope="read",
    query=RecurrenceQuery,
    answers=_pictured(
        RecurrenceAnswer, "Mean cumulative number of events of the chosen positions; do later bearings last less long?"
    ),
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
    answers=_pictured(
        RecurrenceAnswer, "Cumulative number of events of the position; do later bearings last less long?"
    ),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_position_recurrence(call: Call, position_id: str) -> Response:
    """See how events of a position recur"""
    return _recurrence(call, position_id)


def _recurrence(call: Call, position_id: str | None) -> Response:
    from service.use_cases.lives.by_place import place_of, recurrence_of

    media = media_asked_for(picture=True)
    with call.reading(past=True) as tx:
        place = None if position_id is None else place_of(tx, position_id)
        found = recurrence_of(tx, call.query, place)
    if media != SVG:
        return answered(call, media, found.record(), "recurrence")
    from service.render.pictures.positions import recurrence_picture

    trend = str(of_mode(call, found.trend_record)["detail"])
    events = sum(len(one.events_h) for one in found.systems)
    return picture_answer(
        recurrence_picture(
            found.steps, group=found.label, event=found.event, events=events, level=found.level, trend=trend
        )
    )


@blueprint.operation(
    "GET",
    "/replacement-ranking",
    scope="read",
    query=RankingQuery,
    answers=_pictured(
        RankingAnswer,
        "Which positions, or machines, fail more often than their class explains; or what would have shown",
    ),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_replacement_ranking(call: Call) -> Response:
    """Rank positions against their class"""
    from service.use_cases.lives.ranking import ranking_of

    media = media_asked_for(picture=True)
    with call.reading(past=True) as tx:
        found = ranking_of(tx, call.query)
    if media != SVG:
        return answered(call, media, found.record(), "replacement-ranking")
    from service.render.pictures.positions import ranking_picture

    return picture_answer(
        ranking_picture(found.found, labels=found.labels, rows=found.rows, what=found.by, level=found.level)
    )


@blueprint.operation(
    "GET",
    "/early-failures",
    scope="read",
    query=EarlyQuery,
    answers=_tabled(EarlyAnswer, "Which groups fail more within some hours of fitting than others like them"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_early_failures(call: Call) -> Response:
    """Look for early failures"""
    from service.use_cases.lives.comparison import early_failures_of

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, early_failures_of(tx, call.query), "early-failures")


@blueprint.operation(
    "GET",
    "/life-comparison",
    scope="read",
    query=ComparisonQuery,
    answers=_tabled(ComparisonAnswer, "Which groups fail more, over whole lives, than others like them"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_life_comparison(call: Call) -> Response:
    """Compare the lives of groups"""
    from service.use_cases.lives.comparison import life_comparison_of

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, life_comparison_of(tx, call.query), "life-comparison")


@blueprint.operation(
    "GET",
    "/mounting-quality",
    scope="read",
    query=MountingQuery,
    answers=_tabled(MountingAnswer, "Do lives differ by the residual clearance left, by deviations, by the fit?"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_mounting_quality(call: Call) -> Response:
    """Ask whether lives differ by the mounting"""
    from service.use_cases.lives.by_mounting import mounting_qualities

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, mounting_qualities(tx, call.query), "mounting-quality")


@blueprint.operation(
    "GET",
    "/reading-quality",
    scope="read",
    query=ReadingQualityQuery,
    answers=_tabled(ReadingQualityAnswer, "Do people prefer some last digits, and do repeats agree?"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_reading_quality(call: Call) -> Response:
    """Ask how good the readings are"""
    from service.use_cases.lives.by_mounting import reading_quality

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, reading_quality(tx, call.query, call.units), "reading-quality")


@blueprint.operation(
    "GET",
    "/replacement-age",
    scope="read",
    query=AgeQuery,
    answers=_tabled(AgeAnswer, "The age with the least cost per hour, and whether replacing at it is worth it"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_replacement_age(call: Call) -> Response:
    """Ask at what age to replace"""
    from service.use_cases.lives.ages import replacement_ages

    for name in ("preventive_cost", "failure_cost"):
        if name not in call.query:
            fault = {"parameter": name, "code": "bad_parameter", "detail": "is needed"}
            raise ProblemRaised("bad_parameter", f"{name}: is needed, in the same money as the other", faults=[fault])
    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, replacement_ages(tx, call.query), "replacement-age")


@blueprint.operation(
    "GET",
    "/life-regression",
    scope="read",
    query=RegressionQuery,
    answers=_tabled(RegressionAnswer, "What goes with a higher failure rate, each with the others held"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_life_regression(call: Call) -> Response:
    """Ask what goes with a higher failure rate"""
    from service.use_cases.lives.regression import life_regression_of

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, life_regression_of(tx, call.query), "life-regression")


@blueprint.operation(
    "GET",
    "/life-change",
    scope="read",
    query=ChangeQuery,
    answers=_tabled(ChangeAnswer, "Do bearings of the same positions fail more, or less, after a date?"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_life_change(call: Call) -> Response:
    """Ask whether lives changed at a date"""
    from service.use_cases.lives.change import life_change_of

    media = media_asked_for()
    with call.reading(past=True) as tx:
        return answered(call, media, life_change_of(tx, call.query), "life-change")


@blueprint.operation(
    "GET",
    "/replacement-forecast",
    scope="read",
    query=ForecastQuery,
    answers=_pictured(ForecastAnswer, "How many bearings will be wanted in the next months, by designation"),
    refuses=("406", "422"),
    headers=("Accept",),
)
def read_replacement_forecast(call: Call) -> Response:
    """Ask how many bearings will be wanted"""
    from service.use_cases.lives.forecast import forecast_fan, replacement_forecast_of

    months = call.query["months"]
    media = media_asked_for(picture=True)
    if media != SVG:
        with call.reading(past=True) as tx:
            return answered(
                call, media, replacement_forecast_of(tx, call.query, months).record(), "replacement-forecast"
            )
    from service.render.pictures.forecast import forecast_picture

    with call.reading(past=True) as tx:
        fan = forecast_fan(tx, call.query, months)
    whole = fan[-1].record()
    points = [(one.months, one.found) for one in fan]
    said = str(whole["total"]["detail"])
    return picture_answer(forecast_picture(points, said=said, covers=whole["covers"], level=call.query["level"]))
