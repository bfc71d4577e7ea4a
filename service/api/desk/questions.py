"""/desk/failing, lives, replacements, mounting: what the reliability engineer asks, through forms with GET.

The parameters are those of the API, read by its schemas; what a page says are the sentences of its answers.
"""

from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

from flask import Response, request
from marshmallow import Schema, ValidationError

from service.api.desk.door import Desk, page, shown
from service.api.desk.same import AS, OWN, Same, address, asked_for, links, tabled
from service.api.http.faults import faults_of
from service.api.http.problems import ProblemRaised
from service.api.lives.query import (
    ComparisonQuery,
    ForecastQuery,
    LifePictureQuery,
    LifeQuery,
    MountingQuery,
    RankingQuery,
    RegressionQuery,
)
from service.errors import CannotEvaluate
from service.render.present import present, text
from service.store.queries.desk import asset_ids
from service.use_cases.lives.keys import COVARIATES, KEYS

RANKED_BY: Final = ("position", "asset")
COMPARED_BY: Final = ("manufacturer", "installer", "lubricant", "batch", "designation", "window")
GROUPED_BY: Final = tuple(KEYS)
MONTHS: Final = (3, 6, 12, 24, 36)
PICTURES: Final = ("survival", "probability")
TOP: Final = 25
TYPED: Final = ("designation", "asset", "damage", "from", "to")
MOST_IN_A_FAN: Final = 400
"""Running bearings up to which several horizons are drawn for the picture; each costs as much as the answer."""
MOST_GROUPS: Final = 12
"""Groups whose pictures are drawn; more are in the table."""
DEFAULT_COVARIATES: Final = "residual_clearance,manufacturer,month_of_year"


@page("/failing")
def failing(desk: Desk) -> Response:
    """Show which positions, machines, makers or crews fail more than others like them."""
    by = _own("by") or RANKED_BY[0]
    ranked = by in RANKED_BY
    if not ranked and by not in COMPARED_BY:
        raise ProblemRaised("bad_parameter", f"by: one of {', '.join((*RANKED_BY, *COMPARED_BY))}")
    asked = _asked("designation", "asset", "from", "to")
    given = {**asked, **({"by": by} if ranked else {"group_by": by}), "top": str(TOP)}
    where = address("/v1/replacement-ranking" if ranked else "/v1/life-comparison", given)
    query = _loaded(RankingQuery if ranked else ComparisonQuery, given)
    said, record, ids = None, None, {}
    with desk.reading(past=True) as tx:
        try:
            record = _ranking(tx, query) if ranked else _comparison(tx, query)
            ids = asset_ids(tx, [one["asset"] for one in record["items"] if one.get("asset")])
        except CannotEvaluate as error:
            said = text(error.detail, desk.units)
    answers = [] if record is None else [Same(where, record, tabled(desk, record), "fails-more")]
    given_as = asked_for(desk, answers)
    if given_as is not None:
        return given_as
    from service.render.desk.lives import ranking_plot

    answer = None if record is None else present(record, desk.units)
    return shown(
        desk,
        "failing",
        here="failing",
        title="Bearings that fail more",
        said=said,
        answer=answer,
        ids=ids,
        by=by,
        choices=[*RANKED_BY, *COMPARED_BY],
        asked=dict.fromkeys(TYPED, "") | asked,
        picture=None if answer is None else ranking_plot(answer["items"]),
        links=links(answers),
    )


@page("/lives")
def lives(desk: Desk) -> Response:
    """Show how long bearings last, by group."""
    picture = _own("picture") or PICTURES[0]
    asked = _asked("designation", "asset", "damage", "from", "to", "group_by", "level")
    where = address("/v1/life-analysis", asked)
    query = _loaded(LifeQuery, asked)
    _loaded(LifePictureQuery, {**asked, "picture": picture})
    with desk.reading(past=True) as tx:
        found, said = _answered(desk, lambda: _life_analysis(tx, query))
    record = None if found is None else found.record()
    answers = [] if record is None else [Same(where, record, tabled(desk, record), "lives")]
    given = asked_for(desk, answers)
    if given is not None:
        return given
    from service.render.desk.lives import probability_plot, survival_plot

    drawn: list[tuple[str, Any]] = []
    for analysis, item in [] if found is None else found.items[:MOST_GROUPS]:
        made = probability_plot(analysis, item) if picture == "probability" else survival_plot(item)
        drawn.append((item.facts.label, made))
    return shown(
        desk,
        "lives",
        here="lives",
        title="Lives",
        answer=None if record is None else present(record, desk.units),
        said=said,
        drawn=drawn,
        picture=picture,
        pictures=PICTURES,
        asked=dict.fromkeys(TYPED, "") | asked,
        group_by=asked.get("group_by") or "designation",
        groups=GROUPED_BY,
        here_again=address(request.path, _asked("designation", "asset", "damage", "from", "to", "group_by", "picture")),
        links=links(answers),
    )


@page("/replacements")
def replacements(desk: Desk) -> Response:
    """Show how many bearings will be replaced, by designation."""
    asked = {**_asked("designation", "asset"), "months": _own("months") or "12"}
    where = address("/v1/replacement-forecast", asked)
    query = _loaded(ForecastQuery, asked)
    with desk.reading(past=True) as tx:
        found, said = _answered(desk, lambda: _forecast(tx, query))
        record = None if found is None else found.record()
        few = record is not None and record["total"]["running"] <= MOST_IN_A_FAN
        fan = _fan(tx, query) if few and request.args.get(AS) is None else []
    answers = [] if record is None else [Same(where, record, tabled(desk, record), "replacements-to-come")]
    given = asked_for(desk, answers)
    if given is not None:
        return given
    from service.render.desk.lives import forecast_plot

    return shown(
        desk,
        "replacements",
        here="replacements",
        title="Replacements to come",
        forecast=None if record is None else present(record, desk.units),
        said=said,
        fan=forecast_plot([(one.months, one.found) for one in fan]) if fan else None,
        months=query["months"],
        horizons=MONTHS,
        asked=dict.fromkeys(TYPED, "") | asked,
        links=links(answers),
    )


@page("/mounting")
def mounting(desk: Desk) -> Response:
    """Show whether lives depend on how bearings were mounted, and which were left outside of their window."""
    from service.use_cases.desk.outside import left_outside

    asked = _asked("designation", "asset", "from", "to")
    covariates = _own("covariates") or DEFAULT_COVARIATES
    chosen = request.args.getlist("with")
    if chosen:
        covariates = ",".join(chosen)
    with_covariates = {**asked, "covariates": covariates}
    wheres = address("/v1/mounting-quality", asked), address("/v1/life-regression", with_covariates)
    query, regressed = _loaded(MountingQuery, asked), _loaded(RegressionQuery, with_covariates)
    with desk.reading(past=True) as tx:
        quality, said = _answered(desk, lambda: _qualities(tx, query))
        regression, regression_said = _answered(desk, lambda: _regression(tx, regressed))
        outside = left_outside(tx)
    answers = [
        Same(where, record, tabled(desk, record), name)
        for where, record, name in zip(
            wheres, (quality, regression), ("mounting-and-life", "what-goes-with"), strict=True
        )
        if record is not None
    ]
    given = asked_for(desk, answers)
    if given is not None:
        return given
    from service.render.desk.lives import bins_plot, ratios_plot

    shown_quality = None if quality is None else present(quality, desk.units)
    shown_regression = None if regression is None else present(regression, desk.units)
    return shown(
        desk,
        "mounting",
        here="mounting",
        title="Mounting and life",
        quality=shown_quality,
        said=said,
        regression=shown_regression,
        regression_said=regression_said,
        plots=[] if shown_quality is None else [bins_plot(one) for one in shown_quality["items"]],
        ratios=None if shown_regression is None else ratios_plot(shown_regression["items"]),
        outside=outside,
        by_whom=Counter(one["installed_by"] or "not on record" for one in outside).most_common(),
        asked=dict.fromkeys(TYPED, "") | asked,
        covariates=covariates.split(","),
        choices=list(COVARIATES),
        links=links(answers),
    )


def _ranking(tx: Any, query: Mapping[str, Any]) -> dict[str, Any]:
    from service.use_cases.lives.ranking import ranking_of

    return ranking_of(tx, query).record()


def _comparison(tx: Any, query: Mapping[str, Any]) -> dict[str, Any]:
    from service.use_cases.lives.comparison import life_comparison_of

    return dict(life_comparison_of(tx, query))


def _life_analysis(tx: Any, query: Mapping[str, Any]) -> Any:
    from service.use_cases.lives.by_group import life_analysis_of

    return life_analysis_of(tx, query)


def _forecast(tx: Any, query: Mapping[str, Any]) -> Any:
    from service.use_cases.lives.forecast import replacement_forecast_of

    return replacement_forecast_of(tx, query, query["months"])


def _fan(tx: Any, query: Mapping[str, Any]) -> Any:
    from service.use_cases.lives.forecast import forecast_fan

    return forecast_fan(tx, query, query["months"])


def _qualities(tx: Any, query: Mapping[str, Any]) -> dict[str, Any]:
    from service.use_cases.lives.by_mounting import mounting_qualities

    return mounting_qualities(tx, query)


def _regression(tx: Any, query: Mapping[str, Any]) -> dict[str, Any]:
    from service.use_cases.lives.regression import life_regression_of

    return life_regression_of(tx, query)


def _answered(desk: Desk, question: Any) -> tuple[Any, str | None]:
    """Return the answer to a question, or the sentence that says why there is none."""
    try:
        return question(), None
    except CannotEvaluate as error:
        return None, text(error.detail, desk.units)


def _loaded(schema: type[Schema], given: Mapping[str, str]) -> Mapping[str, Any]:
    """Return the query as the API reads it.

    Raises
    ------
    ProblemRaised
        A parameter that the API would refuse.
    """
    try:
        loaded: Mapping[str, Any] = schema().load(given)
    except ValidationError as error:
        pointer, _, detail = next(faults_of(error.messages))
        raise ProblemRaised("bad_parameter", f"{pointer.removeprefix('#/')}: {detail}") from None
    return loaded


def _own(name: str) -> str | None:
    return request.args.get(name, "").strip()[:300] or None


def _asked(*names: str) -> dict[str, str]:
    """Return the parameters of these names that were filled in; a day is its first moment."""
    given = {name: _own(name) for name in names if name not in OWN}
    found = {name: value for name, value in given.items() if value}
    return {
        name: f"{value}T00:00:00Z" if name in ("from", "to") and len(value) == 10 else value
        for name, value in found.items()
    }
