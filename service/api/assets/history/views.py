"""/v1/assets/{id}/history: the stays of a machine by position; as HTML a page with time line, lives and ranking.

The page is read by the engineer's own tools, which carry the API key: it answers the same address by Accept.
"""

from collections.abc import Iterator
from typing import Any, Final
from urllib.parse import urlencode

from flask import Response, current_app

from service.api.assets.history.schemas import MOST_STAYS, AssetHistory
from service.api.http.media import VARY, best_media
from service.api.http.operations import Answer, Blueprint, Call
from service.errors import CannotEvaluate
from service.exchange.media import JSON
from service.moments import rfc3339
from service.render.markup import content_policy
from service.render.present import text
from service.store.queries import assets
from service.store.queries.assets import AssetRow
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.transaction import Tx
from service.use_cases.found import found
from service.use_cases.stays.lines import LISTED_COLUMNS, flat_line

blueprint = Blueprint("asset history", __name__, url_prefix="/v1/assets", description="The history of a machine")

HTML: Final = "text/html"
MOST_LIVES: Final = 4


@blueprint.operation(
    "GET",
    "/<asset_id>/history",
    scope="read",
    answers={200: Answer(AssetHistory, "The stays, or by Accept a page about them", media=(HTML,))},
    refuses=("406",),
    headers=("Accept",),
)
def read_asset_history(call: Call, asset_id: str) -> Response:
    """Read the history of a machine"""
    media = best_media((JSON, HTML))
    with call.reading() as tx:
        asset = found(assets.asset_by_id(tx, asset_id), "machine", asset_id)
        rows = stay_rows(tx, Chosen(asset=asset.tag), after=None, limit=MOST_STAYS + 1)
        by_position = _by_position(asset, rows[:MOST_STAYS])
        more = f"{current_app.config['PUBLIC_URL']}/v1/stays?{urlencode({'asset': asset.tag})}"
        kept = more if len(rows) > MOST_STAYS else None
        if media == HTML:
            return _page(call, tx, asset, by_position, kept)
        as_of = rfc3339(tx.now)
    positions = [
        {"position": name, "stays": [flat_line(row, LISTED_COLUMNS) for row in of_one]} for name, of_one in by_position
    ]
    head = {"asset_id": asset.id, "asset": asset.tag, "name": asset.name, "as_of": as_of}
    return call.answer({**head, "positions": positions, "more": kept}, headers=VARY)


def _by_position(asset: AssetRow, rows: Any) -> list[tuple[str, list[Any]]]:
    """Return the stays of each position of the machine, by the day of fitting."""
    found: dict[str, list[Any]] = {each["name"]: [] for shaft in asset.shafts for each in shaft["positions"]}
    for row in sorted(rows, key=lambda each: each.installed_at):
        found.setdefault(row.position, []).append(row)
    return list(found.items())


def _page(call: Call, tx: Tx, asset: AssetRow, found: list[tuple[str, list[Any]]], more: str | None) -> Response:
    from service.render.pages.history import STYLE, history_page

    positions = [(name, [dict(row._mapping) for row in of_one]) for name, of_one in found]
    body = history_page(
        tag=asset.tag,
        name=asset.name,
        positions=positions,
        figures=list(_figures(call, tx, asset, positions)),
        as_of=tx.now,
        units=call.units,
        more=more,
    )
    policy = {"Content-Security-Policy": content_policy(STYLE), "Referrer-Policy": "no-referrer"}
    return Response(
        body, content_type=f"{HTML}; charset=utf-8", headers={**VARY, **policy, "Cache-Control": "no-store"}
    )


def _figures(call: Call, tx: Tx, asset: AssetRow, positions: list[tuple[str, Any]]) -> Iterator[Any]:
    """Yield the lives of each designation of this machine at this site, and the ranking of the site's positions."""
    from service.api.lives.query import LifePictureQuery
    from service.render.pages.history import Figure
    from service.render.pictures.lives import survival_picture
    from service.use_cases.lives.by_group import life_analysis_of

    fitted = dict.fromkeys(stay["designation"] for _, stays in positions for stay in stays)
    for number, designation in enumerate(list(fitted)[:MOST_LIVES]):
        title = f"Lives of {designation}, all machines of the site"
        try:
            found = life_analysis_of(tx, LifePictureQuery().load({"designation": designation})).item(None)
            yield Figure(title, survival_picture(*found, name=f"survival-{number}"), ())
        except CannotEvaluate as error:
            yield Figure(title, None, (text(error.detail, call.units),))
    if fitted:
        yield _ranking(call, tx, asset)


def _ranking(call: Call, tx: Tx, asset: AssetRow) -> Any:
    from service.api.lives.query import RankingQuery
    from service.render.pages.history import Figure
    from service.render.pictures.positions import ranking_picture
    from service.use_cases.lives.ranking import ranking_of

    title = "Positions of this machine, failures seen over expected"
    try:
        found = ranking_of(tx, RankingQuery().load({"asset": asset.tag}))
    except CannotEvaluate as error:
        return Figure(title, None, (text(error.detail, call.units),))
    picture = ranking_picture(found.found, labels=found.labels, rows=found.rows, what="position", level=found.level)
    own = tuple(text(item["detail"], call.units) for item in found.record()["items"])
    return Figure(title, picture, own)
