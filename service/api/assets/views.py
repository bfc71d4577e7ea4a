"""/v1/assets: the machines of a site, their shafts and bearing positions."""

from typing import Any

from flask import Response, current_app

from service.api.assets.schemas import AssetPage, AssetQuery, AssetRead
from service.api.http import lists, versions
from service.api.http.operations import Answer, Blueprint, Call
from service.api.wire import objects
from service.moments import rfc3339
from service.store.queries import assets
from service.store.queries.assets import AssetRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.assets import register
from service.use_cases.assets.register import asset_of, checked_asset, register_new_asset

blueprint = Blueprint("assets", __name__, url_prefix="/v1/assets", description="Machines and their bearing positions")


def asset_record(row: AssetRow) -> dict[str, Any]:
    """Return the wire members of a machine."""
    return {
        "id": row.id,
        "tag": row.tag,
        "name": row.name,
        "version": row.version,
        "created_at": rfc3339(row.created_at),
        "updated_at": rfc3339(row.updated_at),
        "shafts": row.shafts,
    }


EXAMPLE: dict[str, Any] = {
    "tag": "DRY-2-FAN",
    "name": "Dryer 2 exhaust fan",
    "shafts": [{"name": "main", "positions": [{"name": "tail", "bearing": {"designation": "22216 K/C3"}}]}],
}
WHOLE_EXAMPLE: dict[str, Any] = {
    "tag": "DRY-2-FAN",
    "name": "Dryer 2 exhaust fan",
    "shafts": [
        {
            "name": "main",
            "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
            "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
            "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
            "positions": [
                {
                    "name": name,
                    "at": {"value": at_m, "unit": "m"},
                    "bearing": {"designation": "22216 K/C3"},
                    "housing": {"size": "516", "dimensions": "inch"},
                    "seat": "adapter_sleeve",
                    "sleeve_thread": "inch",
                    "locknut_side": "minus",
                    "shaft_diameter": {"value": 2.6875, "unit": "in"},
                    "lubrication": "grease",
                }
                for name, at_m in (("tail", 0), ("drive", 3.0))
            ],
        }
    ],
}


@blueprint.operation(
    "POST",
    "",
    scope="write",
    body=objects.Asset,
    answers={201: Answer(AssetRead, "The machine on record", headers=("ETag", "Location"))},
    refuses=("409",),
    example=EXAMPLE,
)
def create_asset(call: Call) -> Response:
    """Register a machine"""

    def work(tx: Tx) -> Written:
        row, event = register_new_asset(tx, checked_asset(tx, call.body), address=location)
        headers = {"Location": location(row.id), "ETag": versions.etag(row.version, call.units)}
        return Written(201, call.json(asset_record(row)), headers, (event,))

    return call.write(work)


def location(asset_id: str) -> str:
    """Return where a machine is."""
    return f"{current_app.config['PUBLIC_URL']}/v1/assets/{asset_id}"


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=AssetQuery,
    answers={200: Answer(AssetPage, "A page of machines, oldest first", headers=("Link",))},
)
def list_assets(call: Call) -> Response:
    """List machines"""
    start = lists.after(call.query, call.caller.site_id)
    with call.reading() as tx:
        which = {name: call.query.get(name) for name in ("tag", "named")}
        rows = assets.page_of_assets(tx, **which, after=start, limit=call.query["limit"] + 1)
    body, headers = lists.page([asset_record(row) for row in rows], call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<asset_id>",
    scope="read",
    answers={200: Answer(AssetRead, "The machine", headers=("ETag",)), 304: Answer(None, "The caller holds it")},
    headers=("If-None-Match",),
)
def read_asset(call: Call, asset_id: str) -> Response:
    """Read a machine"""
    with call.reading() as tx:
        row = asset_of(tx, asset_id)
    return call.versioned(asset_record(row), row.version)


@blueprint.operation(
    "PUT",
    "/<asset_id>",
    scope="write",
    body=objects.Asset,
    answers={200: Answer(AssetRead, "The machine as it is on record now", headers=("ETag",))},
    refuses=("409", "412", "428"),
    example=WHOLE_EXAMPLE,
    headers=("If-Match",),
)
def replace_asset(call: Call, asset_id: str) -> Response:
    """Replace a machine; a position is renamed by sending its id"""

    def work(tx: Tx) -> Written:
        document = checked_asset(tx, call.body)
        before = asset_of(tx, asset_id)
        version = versions.required_version(before.version, call.units)
        row, event = register.replace_asset(tx, before, document, version=version)
        return Written(200, call.json(asset_record(row)), {"ETag": versions.etag(row.version, call.units)}, (event,))

    return call.write(work)


@blueprint.operation(
    "DELETE",
    "/<asset_id>",
    scope="write",
    answers={204: Answer(None, "The machine is gone")},
    refuses=("409", "412", "428"),
    headers=("If-Match",),
)
def delete_asset(call: Call, asset_id: str) -> Response:
    """Delete a machine on which no work order and no stay hangs"""

    def work(tx: Tx) -> Written:
        before = asset_of(tx, asset_id)
        version = versions.required_version(before.version, call.units)
        event = register.delete_asset(tx, before, version=version)
        return Written(204, "", {}, (event,))

    return call.write(work)
