"""/v1/assets: the machines of a site, their shafts and bearing positions."""

from collections.abc import Mapping
from typing import Any

from flask import Response, current_app

from service.api.assets.schemas import AssetPage, AssetQuery, AssetRead
from service.api.http import fields, lists, versions
from service.api.http.operations import Answer, Blueprint, Call
from service.api.wire import objects
from service.errors import Conflict, NotFound
from service.instructions.books.books import HOUSING
from service.instructions.plan.machine import names_housings, normalised_machine
from service.record import sha256
from service.reference.housings import Housing
from service.store.queries import assets
from service.store.queries.assets import AssetRow
from service.store.queries.books import books_in_force
from service.store.unit_of_work import Event, Tx, Written

blueprint = Blueprint("assets", __name__, url_prefix="/v1/assets", description="Machines and their bearing positions")


def asset_record(row: AssetRow) -> dict[str, Any]:
    """Return the wire members of a machine."""
    return {
        "id": row.id,
        "tag": row.tag,
        "name": row.name,
        "version": row.version,
        "created_at": fields.rfc3339(row.created_at),
        "updated_at": fields.rfc3339(row.updated_at),
        "shafts": row.shafts,
    }


def asset_document(row: AssetRow) -> dict[str, Any]:
    """Return the machine as documents and plans hold it."""
    return {"tag": row.tag, "name": row.name, "shafts": row.shafts}


def named_housings(tx: Tx, document: dict[str, Any]) -> Mapping[str, Housing]:
    """Return the site's own housings by name when the machine names one."""
    return books_in_force(tx, (HOUSING,)).housings if names_housings(document) else {}


def registered(tx: Tx, document: dict[str, Any]) -> tuple[AssetRow, Event]:
    """Store a machine that is not on record yet, and return it with its event."""
    row = assets.insert_asset(tx, document)
    return row, Event("asset.registered", "asset", row.id, None, sha256(asset_document(row)), {"tag": row.tag})


def _found(tx: Tx, asset_id: str) -> AssetRow:
    row = assets.asset_by_id(tx, asset_id) if fields.is_identifier(asset_id) else None
    if row is None:
        raise NotFound("no asset of this site has this id")
    return row


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
        document = normalised_machine(call.body, housings=named_housings(tx, call.body))
        taken = assets.asset_by_tag(tx, document["tag"])
        if taken is not None:
            detail = f"the tag {taken.tag} is on record for {taken.name}; change it with PUT {location(taken.id)}"
            raise Conflict(detail, code="asset_tag_taken", field="tag", existing=taken.id)
        row, event = registered(tx, document)
        headers = {"Location": location(row.id), "ETag": versions.etag(row.version, call.units)}
        return Written(201, call.json(asset_record(row)), headers, (event,))

    return call.written(work)


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
        rows = assets.page_of_assets(tx, tag=call.query.get("tag"), after=start, limit=call.query["limit"] + 1)
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
        row = _found(tx, asset_id)
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
        document = normalised_machine(call.body, housings=named_housings(tx, call.body))
        before = _found(tx, asset_id)
        version = versions.required_version(before.version, call.units)
        row = assets.replace_asset(tx, asset_id, version, document)
        hashes = sha256(asset_document(before)), sha256(asset_document(row))
        event = Event("asset.replaced", "asset", row.id, *hashes, {"tag": row.tag, "version": row.version})
        return Written(200, call.json(asset_record(row)), {"ETag": versions.etag(row.version, call.units)}, (event,))

    return call.written(work)


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
        before = _found(tx, asset_id)
        version = versions.required_version(before.version, call.units)
        assets.delete_asset(tx, asset_id, version)
        event = Event("asset.deleted", "asset", before.id, sha256(asset_document(before)), None, {"tag": before.tag})
        return Written(204, "", {}, (event,))

    return call.written(work)
