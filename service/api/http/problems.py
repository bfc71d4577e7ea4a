"""Errors on the wire, RFC 9457: the only module that knows which error is which status.

``CATALOGUE`` is the list of codes that the service answers; it is open-ended for callers, but a code never changes
its meaning. Members beyond the standard ones (``fits``, ``existing`` ...) carry the facts of the occurrence.
"""

import logging
from difflib import get_close_matches
from typing import Any, Final

from flask import Flask, Response, current_app, g, request
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException

from service import errors
from service.api.http.faults import faults_of
from service.exchange.strict_json import written
from service.render.present import present, text
from service.words import UnitSystem

MEDIA_TYPE: Final = "application/problem+json"
LONGEST_COMPARED: Final = 120
"""Characters of a path that is compared with those that are known"""
LOG = logging.getLogger(__name__)

CATALOGUE: Final[dict[str, tuple[int, str]]] = {
    # the request as such
    "bad_json": (400, "The body is not JSON as it is taken here"),
    "bad_request": (400, "The request cannot be read"),
    "unknown_parameter": (400, "A query parameter is not known"),
    "repeated_parameter": (400, "A query parameter stands twice"),
    "bad_parameter": (400, "A query parameter has a value that is not taken"),
    "bad_cursor": (400, "The cursor is not one of this list"),
    "bad_idempotency_key": (400, "The Idempotency-Key header cannot be read"),
    "no_key": (401, "An API key is needed"),
    "bad_key": (401, "The API key is not valid"),
    "bad_token": (401, "The token of the person does not hold"),
    "not_the_person": (403, "The token is another person's than the one who signs"),
    "key_needed": (403, "This is done with an API key, not with a person's token"),
    "scope_missing": (403, "The API key lacks the scope"),
    "not_found": (404, "There is nothing here"),
    "method_not_allowed": (405, "The method is not allowed here"),
    "not_acceptable": (406, "None of the media types asked for is offered"),
    "length_required": (411, "Content-Length is needed"),
    "stale_version": (412, "The record has changed since it was read"),
    "too_large": (413, "The body is too large"),
    "uri_too_long": (414, "The request line is too long"),
    "unsupported_media_type": (415, "The body has a media type that is not taken here"),
    "expectation_failed": (417, "What Expect asks for is not done here"),
    "precondition_required": (428, "If-Match is needed"),
    "rate_limited": (429, "The key has sent as many requests as it may in this minute"),
    "too_many_at_once": (429, "The key holds its share of the threads while others call"),
    "too_many_from_address": (429, "The address has sent as many requests as the proxy lets through"),
    "headers_too_large": (431, "The header fields are too large or too many"),
    # what was sent
    "invalid": (422, "The body does not have the shape that is asked for"),
    "cannot_evaluate": (422, "What was sent cannot be evaluated"),
    "idempotency_key_reused": (422, "The Idempotency-Key came before with another request"),
    "unknown_asset": (422, "No asset of this site has this tag"),
    "unknown_position": (422, "The asset has no position of this name"),
    "position_named_twice": (422, "A position is named twice"),
    "positions_on_two_shafts": (422, "One work order covers the positions of one shaft"),
    "name_not_unique": (422, "A name stands twice"),
    "unknown_designation": (422, "The designation cannot be read"),
    "bore_not_tapered": (422, "The bore is not tapered"),
    "out_of_table": (422, "No row of the table covers this"),
    "reading_scale_suspect": (422, "The reading looks like a slip of unit or decimal point"),
    "mixed_blade_units": (422, "The blade set mixes inches and millimetres"),
    "unknown_housing": (422, "The housing is neither in the tables nor on record"),
    "bad_csv": (422, "The CSV cannot be read"),
    "chart_refused": (422, "Rows of the chart may not stand"),
    "corrected_differs": (422, "The corrected rows are not for what the book is for"),
    "housing_refused": (422, "The housing may not stand like this"),
    "shaft_named_twice": (422, "A shaft is named twice"),
    "refit_or_bearing": (422, "A new bearing is fitted or the own one goes back in"),
    "no_positions": (422, "No position is named"),
    "invalid_text": (422, "A text cannot be stored"),
    "wrench_range": (422, "The range of the wrench makes no sense"),
    "adapter_impossible": (422, "The adapter makes no sense"),
    "bore_not_cylindrical": (422, "The bore is tapered, the seat is cylindrical"),
    "foot_rise_negative": (422, "A foot rises or not; it does not sink"),
    "grade_not_for_thread": (422, "The grade is not standardised for this thread"),
    "housing_dimensions": (422, "The dimensions of the housing make no sense"),
    "impossible_dimensions": (422, "The dimensions make no sense together"),
    "no_feet": (422, "No foot was measured"),
    "reading_kind_not_judged": (422, "Readings of this kind are not judged"),
    "support_named_twice": (422, "A support is named twice"),
    "too_few_supports": (422, "A shaft has two supports at least"),
    "too_many_supports": (422, "There are more supports than the rules decide"),
    "torque_not_positive": (422, "A torque is above zero"),
    "unknown_grade": (422, "The bolt grade is not in the tables"),
    "unknown_lubrication": (422, "The state of lubrication is not known"),
    "unknown_material": (422, "The material is not in the tables"),
    "unknown_seat": (422, "The seat is not known"),
    "unknown_thread": (422, "The thread is not in the tables"),
    "unusable_blade_set": (422, "The blade set cannot be used"),
    "witnesses_missing": (422, "Witnesses of a mounting are read against a measured clearance"),
    "unknown_type": (422, "The bearing type is not known"),
    "unknown_taper": (422, "The taper is not known"),
    "unknown_clearance_class": (422, "The clearance class is not known"),
    "too_many_lines": (413, "The batch has too many lines"),
    "unknown_step": (422, "The instructions have no such step"),
    "unknown_revision": (422, "The instructions have no such revision"),
    "position_required": (422, "The position must be named"),
    "row_missing": (422, "Some values name their row of rollers and others do not"),
    "points_not_combined": (422, "Values at these points do not make one reading"),
    "same_key": (422, "This comes with another key than the one that sent the readings"),
    "same_person": (422, "This is done by another person than the one who did the work"),
    "answer_missing": (422, "The step asks for an answer; a tick does not give it"),
    "series_not_in_order": (422, "A series is sent in the order of time"),
    "unknown_reading": (422, "What is taken back is not a reading of this order"),
    "other_reading": (422, "A reading is taken back by one of the same kind and position"),
    "not_its_reader": (422, "A reading is taken back by who took it, or with a key that may approve"),
    "looked_at_and_not": (422, "A line of the form says what was seen and that nobody looked"),
    "same_bearing": (422, "The serial of the new bearing is that of the one that came out"),
    "serial_differs": (422, "The bearing that goes back in has another serial than the one that ran"),
    "damage_not_excluded": (422, "A bearing goes back in only when it was looked at and has no damage"),
    "new_washer_needed": (422, "With a bearing that goes back in comes a new washer or clip"),
    "not_a_photo": (422, "The bytes are no photo that is taken here"),
    "unknown_flag": (422, "What is acknowledged is not flagged"),
    "position_left_out": (422, "A position of the order is left out"),
    "outcome_contradicts": (422, "What is said of a position contradicts its outcome"),
    "installed_required": (422, "The bearing that was installed must be named"),
    "unknown_damage": (422, "The mode of damage is not known"),
    "unknown_entry": (422, "What is corrected is not an entry of this order"),
    "import_refused": (422, "Rows of the import may not stand; nothing is stored"),
    "import_profile_refused": (422, "The import profile may not stand like this"),
    "unknown_import_profile": (422, "No import profile of this site has this name"),
    "profile_not_for_this": (422, "An import profile reads CSV and nothing else"),
    "bad_lines": (422, "The stays cannot be read as JSON or NDJSON"),
    "cut_short": (422, "Fewer or more rows came than their last line says"),
    "too_many_rows": (422, "More rows than one import takes"),
    "no_rows": (422, "There is no row"),
    "unknown_zone": (422, "The time zone is not known"),
    "meter_runs_back": (422, "A reading of the meter is lower than an earlier one"),
    "unknown_interval": (422, "There are no such limits of this estimate"),
    "too_many_groups": (422, "There are more groups than one answer takes; narrow the question"),
    "too_much_data": (422, "There is more than one answer takes; narrow the question"),
    "attribute_type_differs": (422, "An attribute has another type at this site"),
    "too_many_attributes": (422, "The stays of the site would have more names of attributes than are taken"),
    "one_mode_needed": (422, "What a stay counts as hangs on the mode of damage; name one"),
    "unknown_attribute": (422, "The stays of this site have no attribute of this name"),
    "no_lives": (422, "No stay is left to analyse"),
    "not_replaced": (422, "Nothing was replaced at this position"),
    "field_map_refused": (422, "The field map may not stand like this"),
    "mapping_failed": (422, "The field map makes no order of this message"),
    "reply_failed": (422, "The field map makes no reply of the order"),
    "target_not_allowed": (422, "Events may not be sent to this address"),
    "bad_range": (422, "The range makes no sense"),
    "position_not_asked": (422, "The question is asked once for the order, not of a position"),
    "unknown_chart": (422, "No chart of this site has this name"),
    "reason_required": (422, "A reason is required while a red question is open"),
    "unknown_work_order": (422, "No work order of this site has this id"),
    "order_named_twice": (422, "A work order is named twice"),
    "made_by_older_engine": (422, "The instructions were made by an engine that did not plan this"),
    "bad_planning_hours": (422, "The hours of a site make no sense"),
    # identity and lifecycle
    "position_has_open_order": (409, "Another work order is open on a position"),
    "not_released": (409, "The work order is not released"),
    "release_refused": (409, "Nobody may release the work order with these questions open"),
    "already_released": (409, "The work order was released before"),
    "hold_points_open": (409, "Hold points are open"),
    "outcome_not_planned": (409, "The instructions were not made for this outcome"),
    "not_measured_anew": (409, "The bearing that goes back in was not measured as such"),
    "measured_as_refitted": (409, "The clearance was judged as that of the old bearing"),
    "photos_off": (409, "Photos are switched off for this site or this service"),
    "already_replaced": (409, "The reading was taken back before"),
    "later_work": (409, "A later order or stay stands on what is corrected"),
    "installed_differs": (409, "Another bearing was installed than the instructions were made for"),
    "work_order_not_completed": (409, "The work order is not completed"),
    "already_corrected": (409, "The entry has been corrected already"),
    "too_many_entries": (409, "The work order takes no more entries of this kind"),
    "too_many_revisions": (409, "The work order takes no more revisions of its instructions"),
    "entered_at_once": (409, "Another entry was made in the same order at the same moment"),
    "attribute_in_use": (409, "Stays have an attribute of this name; it keeps its type"),
    "alarm_raised": (409, "Another process looks at the same site at this moment"),
    "attribute_exists": (409, "The attribute was named by somebody else at the same moment; send it again"),
    "conflict": (409, "The request contradicts what is on record"),
    "asset_tag_taken": (409, "Another asset of this site has this tag"),
    "asset_differs": (409, "The asset on record differs from the one sent"),
    "asset_in_use": (409, "Work orders or stays hang on this asset"),
    "position_has_history": (409, "A position with history cannot be dropped"),
    "work_order_differs": (409, "The work order on record differs from the one sent"),
    "work_order_not_open": (409, "The work order is not open"),
    "version_exists": (409, "The next version was stored by somebody else at the same moment; send it again"),
    "idempotency_in_progress": (409, "The first request with this Idempotency-Key is still running"),
    "shaft_name_taken": (409, "Two shafts of the asset would have the same name"),
    "position_name_taken": (409, "Two positions of the asset would have the same name"),
    "revision_exists": (409, "Another revision was made at the same time"),
    "work_order_exists": (409, "A work order of this number is on record already"),
    "position_has_open_stay": (409, "A bearing is running in this position already"),
    "stays_overlap": (409, "Two bearings would be in one position at the same time"),
    "meter_read_then": (409, "The meter of the asset has another reading of the same moment"),
    "stay_ended_meanwhile": (409, "Another request ended the stay at the same time"),
    "stay_exists": (409, "A stay with this external id is on record already"),
    "removed_before_installed": (409, "The removal must come after the installation"),
    "end_type_differs": (409, "A stay is running exactly as long as it has no removal"),
    # ourselves
    "internal": (500, "Something went wrong on our side"),
    "unknown_transfer_coding": (501, "The Transfer-Encoding is not taken here"),
    "service_away": (503, "The service does not answer the proxy"),
    "issuer_away": (503, "The keys of the issuer of tokens cannot be had now"),
    "busy": (503, "The database cannot take the request now"),
    "read_only": (503, "The database takes no changes now; questions are answered"),
    "disk_full": (503, "The disk of the database is full"),
    "storage_failed": (503, "The disk of the database cannot be read or written"),
    "database_missing": (503, "The database is not there"),
}

_STATUS_BY_ERROR: Final[tuple[tuple[type[errors.ServiceError], int], ...]] = (
    (errors.CannotEvaluate, 422),
    (errors.NotFound, 404),
    (errors.StaleVersion, 412),
    (errors.Conflict, 409),
    (errors.Busy, 503),
)
_CODE_BY_STATUS: Final = {
    400: "bad_request",
    404: "not_found",
    405: "method_not_allowed",
    406: "not_acceptable",
    411: "length_required",
    413: "too_large",
    415: "unsupported_media_type",
}


class ProblemRaised(Exception):
    """A fault of the request itself, answered as a problem."""

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        faults: list[dict[str, str]] | None = None,
        headers: dict[str, str] | None = None,
    ) -> None:
        self.code, self.detail, self.faults, self.headers = code, detail, faults or [], headers or {}
        super().__init__(detail)


def problem(
    code: str,
    detail: str,
    *,
    status: int | None = None,
    faults: list[dict[str, str]] | None = None,
    headers: dict[str, str] | None = None,
    facts: dict[str, Any] | None = None,
) -> Response:
    """Return the answer with the problem document for a code of the catalogue."""
    body = problem_document(code, detail, status=status, faults=faults, facts=facts)
    response = Response(written(body), status=body["status"], content_type=MEDIA_TYPE)
    response.headers.update(headers or {})
    response.headers["Cache-Control"] = "no-store"
    return response


def problem_document(
    code: str,
    detail: str,
    *,
    status: int | None = None,
    faults: list[dict[str, str]] | None = None,
    facts: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return the problem document for a code of the catalogue."""
    default_status, title = CATALOGUE.get(code, (status or 422, code.replace("_", " ").capitalize()))
    return (facts or {}) | {
        "type": f"{current_app.config['PUBLIC_URL']}/docs/problems#{code}",
        "title": title,
        "status": status or default_status,
        "code": code,
        "detail": detail,
        "request_id": g.get("request_id", ""),
        "errors": faults or [],
    }


def register(app: Flask) -> None:
    """Answer every error of the application as a problem document."""
    app.register_error_handler(ProblemRaised, _raised)
    app.register_error_handler(errors.ServiceError, _service_error)
    app.register_error_handler(ValidationError, _invalid)
    app.register_error_handler(HTTPException, _http_exception)
    app.register_error_handler(Exception, _unexpected)


def _raised(error: ProblemRaised) -> Response:
    return problem(error.code, error.detail, faults=error.faults, headers=error.headers)


def document_of(error: errors.ServiceError | ValidationError) -> dict[str, Any]:
    """Return the problem document of an error of the domain or of a schema."""
    return _invalid_document(error) if isinstance(error, ValidationError) else _service_document(error)


def _answered(document: dict[str, Any], retry_after_s: int | None = None) -> Response:
    headers = {} if retry_after_s is None else {"Retry-After": str(retry_after_s)}
    headers["Cache-Control"] = "no-store"
    return Response(written(document), status=document["status"], content_type=MEDIA_TYPE, headers=headers)


def _service_error(error: errors.ServiceError) -> Response:
    return _answered(_service_document(error), error.retry_after_s if isinstance(error, errors.Busy) else None)


def _invalid(error: ValidationError) -> Response:
    return _answered(_invalid_document(error))


def _service_document(error: errors.ServiceError) -> dict[str, Any]:
    units: UnitSystem = g.get("units", "metric")
    status = next(status for kind, status in _STATUS_BY_ERROR if isinstance(error, kind))
    detail = text(error.detail, units)
    facts = {name: value for name, value in error.facts.items() if name != "faults"}
    faults = [{"pointer": f"#/{error.field}", "code": error.code, "detail": detail}] if error.field else []
    faults += [dict(fault) for fault in error.facts.get("faults", [])]
    return problem_document(error.code, detail, status=status, faults=faults, facts=present(facts, units))


def _invalid_document(error: ValidationError) -> dict[str, Any]:
    faults = [
        {"pointer": pointer, "code": code, "detail": detail} for pointer, code, detail in faults_of(error.messages)
    ]
    first = faults[0]
    name = first["pointer"].removeprefix("#/") or "the body"
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    code = first["code"] if first["code"] in CATALOGUE and len(faults) == 1 else "invalid"
    return problem_document(code, f"{name}: {first['detail']}{more}", status=422, faults=faults[:100])


def _http_exception(error: HTTPException) -> Response:
    status = error.code or 500
    if status < 400:
        return Response(status=status)
    code = _CODE_BY_STATUS.get(status, "bad_request" if status < 500 else "internal")
    headers = {}
    detail = f"{request.method} {request.path[:200]}: {error.name}"
    if status == 404 and request.url_rule is None:
        detail = f"{request.method} {request.path[:200]}: there is nothing here{_nearest_path(request.path)}"
    if status == 405 and (allowed := getattr(error, "valid_methods", None)):
        headers["Allow"] = ", ".join(sorted(allowed))
        detail = f"{request.method} is not done at {request.path[:200]}; {headers['Allow']} is"
    if status == 413:
        headers["Connection"] = "close"
        detail = f"the body has {request.content_length} bytes; at most {request.max_content_length} are taken here"
    return problem(code, detail, status=status, headers=headers)


def _nearest_path(path: str) -> str:
    """Return the address that a path may mean: without a slash at its end, or the nearest one there is."""
    bare = path.rstrip("/")
    if bare != path and _matches(bare):
        return f"; leave the slash at the end out: {bare[:200]}"
    rules = [rule.rule for rule in current_app.url_map.iter_rules() if not rule.rule.startswith("/card")]
    filled = {_filled(rule, bare): rule for rule in rules} if len(path) <= LONGEST_COMPARED else {}
    near = [filled[each].replace("<", "{").replace(">", "}") for each in get_close_matches(bare, filled, n=1)]
    named = f"; the nearest that is known is {near[0]}" if near else ""
    return f"{named}; GET /openapi.json lists all addresses"


def _filled(rule: str, path: str) -> str:
    """Return a rule with the parts of the path in place of what may stand there."""
    given = path.split("/")
    parts = enumerate(rule.split("/"))
    return "/".join(given[at] if part.startswith("<") and at < len(given) else part for at, part in parts)


def _matches(path: str) -> bool:
    adapter = current_app.url_map.bind("")
    return any(adapter.test(path, method) for method in ("GET", "POST", "PUT"))


def _unexpected(error: Exception) -> Response:
    LOG.exception("unexpected error", extra={"request_id": g.get("request_id", "")})
    return problem("internal", "the fault is on our side; quote the request id when you report it")
