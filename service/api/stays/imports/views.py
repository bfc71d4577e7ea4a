"""/v1/stays/import: stays from elsewhere, all or nothing; and the template to fill in."""

from typing import Final

from flask import Response, request

from service.api.http.operations import Answer, Call
from service.api.stays.imports.schemas import ImportAnswer, ImportQuery, StaysToImport, TemplateQuery
from service.api.stays.views import blueprint
from service.exchange import strict_json
from service.exchange.media import CSV, JSON, NDJSON
from service.history.attributes import PREFIX
from service.store.queries.attributes import attribute_types
from service.store.unit_of_work import Tx, Written
from service.use_cases.stays import import_stays as use_case
from service.use_cases.stays.import_read import read_import
from service.use_cases.stays.lines import STAY_COLUMNS, cells_of
from service.use_cases.stays.profile import NONE
from service.use_cases.stays.profiles import profile_named
from service.use_cases.stays.sources import template

__all__ = ["blueprint"]
MOST_BYTES: Final = 8 * 1024 * 1024
EXAMPLE: Final = {
    "external_id": "S-1001",
    "asset": "DRY-2-FAN",
    "position": "tail",
    "designation": "22216 K/C3",
    "installed_at": "2024-03-04T10:00:00Z",
    "removed_at": "2025-09-12T06:30:00Z",
    "operating_hours": 11800,
    "end_type": "failed",
    "damage": "wear.abrasive",
    "residual_clearance_mm": 0.0635,
    "window_min_mm": 0.056,
    "window_max_mm": 0.08,
    "lubricant": "Grease 2",
    "batch": "B-77",
    "speed_rpm": 1480,
}
ATTRIBUTES: Final = {"crew_size": 3}
WITH_ATTRIBUTES: Final = {**EXAMPLE, "attributes": ATTRIBUTES}
CELLS: Final = EXAMPLE | {f"{PREFIX}{name}": value for name, value in ATTRIBUTES.items()}
_EXAMPLES: Final = {
    CSV: ",".join(CELLS) + "\r\n" + ",".join(map(str, CELLS.values())) + "\r\n",
    JSON: strict_json.written({"items": [WITH_ATTRIBUTES]}),
    NDJSON: strict_json.written(WITH_ATTRIBUTES) + "\n",
}


@blueprint.operation(
    "POST",
    "/stays/import",
    scope="write",
    query=ImportQuery,
    raw=_EXAMPLES,
    raw_schema=StaysToImport,
    most_bytes=MOST_BYTES,
    answers={
        200: Answer(
            ImportAnswer,
            "All rows stand: so many are new, so many ended that ran on record, so many were on record as they are. "
            "CSV may have a byte order mark and "
            "semicolons (then a decimal comma too)",
        )
    },
    refuses=("409",),
)
def import_stays(call: Call) -> Response:
    """Import stays; faults are reported row by row (import_refused) and nothing is stored"""
    profile = NONE
    if "profile" in call.query:
        with call.reading() as tx:
            profile = profile_named(tx, call.query["profile"])
    read = read_import(call.body, request.mimetype, call.query.get("zone"), profile)
    allowed = {name: call.query.get(name) == "true" for name in ("create_assets", "accept_unknown")}

    def work(tx: Tx) -> Written:
        done = use_case.import_stays(tx, read, **allowed)
        return Written(200, call.json(done.record()), events=done.events)

    return call.write(work)


@blueprint.operation(
    "GET",
    "/stays/template.csv",
    scope="read",
    query=TemplateQuery,
    answers={
        200: Answer(
            None,
            f"The columns: {', '.join(cells_of(STAY_COLUMNS, ('NAME',)))}, with a NAME for each attribute of the site",
            media=(CSV,),
        )
    },
)
def stay_template(call: Call) -> Response:
    """Download the header of the CSV for an import"""
    with call.reading() as tx:
        names = sorted(attribute_types(tx))
    text = template(names).replace(",", call.query.get("separator", ","))
    headers = {"Content-Disposition": 'attachment; filename="stays.csv"'}
    return Response(text, content_type=f"{CSV}; charset=utf-8; header=present", headers=headers)
