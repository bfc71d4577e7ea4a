"""/v1/import-profiles: how the sheets of a site name their columns and write their numbers; never edited in place."""

from typing import Any

from flask import Response, current_app

from service.api.http import lists
from service.api.http.operations import Answer, Call
from service.api.http.schema import WriteQuery
from service.api.stays.attributes.views import blueprint
from service.api.stays.profiles.schemas import (
    ImportProfilePage,
    ImportProfileQuery,
    ImportProfileRead,
    ImportProfileRequest,
)
from service.moments import rfc3339
from service.store.queries.import_profiles import ImportProfileRow, page_of_import_profiles
from service.store.unit_of_work import Tx, Written
from service.use_cases.stays.profiles import check_profile, enter_profile, profile_row

__all__ = ["blueprint"]
EXAMPLE: dict[str, Any] = {
    "name": "workshop-sheet",
    "note": "The workshop's own list, as it saves it",
    "columns": {
        "Machine": "asset",
        "Side": "position",
        "Bearing": "designation",
        "Fitted": "installed_at",
        "Out": "removed_at",
        "Why out": "end_type",
        "Hours run": "operating_hours",
        "Clearance left [thou]": "residual_clearance_thou",
    },
    "separator": ";",
    "decimal_mark": ",",
    "thousands_mark": ".",
    "dates": {"patterns": ["%d.%m.%Y %H:%M", "%d.%m.%Y"], "zone": "Europe/Stockholm"},
    "values": {"end_type": {"broken": "failed", "planned": "removed_preventive", "still in": "running"}},
    "fixed": {"manufacturer": "Maker A"},
    "identity": ["Machine", "Side", "Fitted"],
    "ignore": ["Remark"],
}


def _line(row: ImportProfileRow) -> dict[str, Any]:
    members = {name: getattr(row, name) for name in ("id", "name", "version", "in_force")}
    return {**members, "created_at": rfc3339(row.created_at)}


@blueprint.operation(
    "POST",
    "/import-profiles",
    scope="admin",
    body=ImportProfileRequest,
    query=WriteQuery,
    answers={201: Answer(ImportProfileRead, "The profile, in force from now on", headers=("Location",))},
    refuses=("409",),
    example=EXAMPLE,
)
def create_import_profile(call: Call) -> Response:
    """Enter an import profile; the same name again makes its next version"""
    check_profile(call.body)

    def work(tx: Tx) -> Written:
        row, event = enter_profile(tx, call.body)
        location = f"{current_app.config['PUBLIC_URL']}/v1/import-profiles/{row.id}"
        return Written(201, call.json({**_line(row), **row.document}), {"Location": location}, (event,))

    return call.write(work)


@blueprint.operation(
    "GET",
    "/import-profiles",
    scope="read",
    query=ImportProfileQuery,
    answers={200: Answer(ImportProfilePage, "A page of profiles, every version, oldest first", headers=("Link",))},
)
def list_import_profiles(call: Call) -> Response:
    """List import profiles"""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        rows = page_of_import_profiles(tx, name=call.query.get("name"), after=start, limit=limit)
    body, headers = lists.page([_line(row) for row in rows], call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/import-profiles/<profile_id>",
    scope="read",
    answers={200: Answer(ImportProfileRead, "One version of an import profile")},
)
def read_import_profile(call: Call, profile_id: str) -> Response:
    """Read one version of an import profile"""
    with call.reading() as tx:
        row = profile_row(tx, profile_id)
    return call.answer({**_line(row), **row.document})
