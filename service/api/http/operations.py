"""How an operation is declared: one decorator that documents, authorises, reads and answers.

flask-smorest writes the OpenAPI document from what is declared here; it does not handle requests (its decorators
cost two thirds of the throughput of a small calculation, measured). A view takes a ``Call`` and returns a response.
"""

import json
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from http import HTTPStatus
from typing import Any, Final

import flask_smorest
from flask import Response, current_app, g, request
from marshmallow import Schema, ValidationError

from service.api.http import auth, versions
from service.api.http.faults import faults_of
from service.api.http.problems import ProblemRaised
from service.api.http.schema import UnitsQuery, WriteQuery
from service.api.http.signing import sign
from service.errors import NotFound, nearest
from service.exchange import strict_json
from service.exchange.media import JSON, NDJSON
from service.render.present import present
from service.store.database import Database
from service.store.queries.keys import Caller
from service.store.unit_of_work import Idempotency, Tx, Written
from service.words import UnitSystem

ALWAYS: Final = ("400", "401", "403", "404", "405", "414", "429", "431", "500", "503")
WITH_BODY: Final = ("411", "413", "415", "417", "422", "501")


@dataclass(frozen=True, slots=True)
class Call:
    """One request, authorised and read."""

    caller: Caller
    units: UnitSystem
    query: Mapping[str, Any]
    body: Any = None
    fingerprint: str = ""
    route: str = ""
    data: bytes = b""

    def answer(self, record: Any, *, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
        """Return the record as JSON in the caller's units."""
        response = Response(strict_json.written(present(record, self.units)), status=status, content_type=JSON)
        if headers:
            response.headers.update(headers)
        return response

    def versioned(self, record: Any, version: int) -> Response:
        """Return the record with its ETag, or 304 when the caller holds this representation."""
        tag = versions.etag(version, self.units)
        headers = {"ETag": tag, "Cache-Control": "no-cache", "Vary": "Accept, Authorization"}
        if versions.not_modified(tag):
            return Response(status=304, headers=headers)
        return self.answer(record, headers=headers)

    def reading(self, *, past: bool = False) -> AbstractContextManager[Tx]:
        """Return a read-only transaction of the caller's site; what asks about the past may go to the replica."""
        database: Database = current_app.extensions["capsaddle"].database
        return database.read(self.caller.site_id, past=past)

    @property
    def dry_run(self) -> bool:
        """Return whether everything is checked and answered as usual, and nothing is stored."""
        return bool(self.query.get("dry_run") == "true")

    def unit(self, work: Callable[[Tx], Written], *, dry_run: bool, idempotency: Idempotency | None = None) -> Written:
        """Run ``work`` in the one unit of work, in the name of the caller, and return what it wrote."""
        database: Database = current_app.extensions["capsaddle"].database
        return database.write(
            site_id=self.caller.site_id,
            actor=self.caller.key_id,
            request_id=g.request_id,
            work=work,
            idempotency=idempotency,
            dry_run=dry_run,
        )

    def write(self, work: Callable[[Tx], Written], *, dry_run: bool = False) -> Response:
        """Run ``work`` in the one unit of work and return what it wrote, or what it had written before."""
        dry_run = dry_run or self.dry_run
        outcome = self.unit(work, dry_run=dry_run, idempotency=None if dry_run else self._idempotency())
        response = Response(outcome.text, status=outcome.status, headers=outcome.headers, content_type=JSON)
        if outcome.status == 204:
            response = Response(status=204, headers=outcome.headers)
        if outcome.replayed:
            response.headers["Idempotency-Replayed"] = "true"
        if dry_run:
            response.headers["Dry-Run"] = "true"
        return response

    def json(self, record: Any) -> str:
        """Return the record as JSON text in the caller's units, for ``Written.body``."""
        return strict_json.written(present(record, self.units))

    def _idempotency(self) -> Idempotency | None:
        key = idempotency_key()
        if key is None:
            return None
        return Idempotency(key=key, method=request.method, route=self.route, fingerprint=self.fingerprint)


def idempotency_key() -> str | None:
    """Return the Idempotency-Key of the request, None without one.

    Raises
    ------
    ProblemRaised
        ``bad_idempotency_key``
    """
    given = request.headers.get("Idempotency-Key")
    if given is None:
        return None
    key = given[1:-1] if len(given) > 1 and given[0] == given[-1] == '"' else given
    if not 1 <= len(key) <= 255 or not all(" " < character <= "~" and character not in '"\\' for character in key):
        raise ProblemRaised(
            "bad_idempotency_key",
            "Idempotency-Key takes 1 to 255 printable ASCII characters without blanks, quoted or bare",
            faults=[{"header": "Idempotency-Key", "code": "bad_idempotency_key", "detail": "not readable"}],
        )
    return key


View = Callable[..., Response]
Reader = Callable[[bytes, Mapping[str, Any]], Any]
"""From the bytes of a body and the loaded query to the document that JSON would be."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What an operation answers, for the OpenAPI document."""

    schema: type[Schema] | None
    description: str
    headers: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    example: Any = None


@dataclass(frozen=True, slots=True)
class Operation:
    """What was declared for one operation; the route tables of the tests are made from these."""

    method: str
    rule: str
    scope: str
    body: Schema | None
    query: Schema
    writes: bool
    ndjson: bool = False
    raw: Mapping[str, str] = field(default_factory=dict)
    raw_schema: type[Schema] | None = None
    signs: tuple[str, ...] = ()


@dataclass
class Declared:
    """All operations of the application, by endpoint; whatever is not here is denied."""

    operations: dict[str, Operation] = field(default_factory=dict)
    open_endpoints: set[str] = field(default_factory=set)


DECLARED = Declared()


class Blueprint(flask_smorest.Blueprint):
    """A blueprint whose operations are declared with ``operation``."""

    def operation(
        self,
        method: str,
        rule: str,
        *,
        scope: str,
        answers: Mapping[int, Answer],
        body: type[Schema] | None = None,
        query: type[Schema] | None = None,
        refuses: tuple[str, ...] = (),
        example: Any = None,
        headers: tuple[str, ...] = (),
        readers: Mapping[str, tuple[Reader, str]] | None = None,
        ndjson_bytes: int | None = None,
        most_bytes: int | None = None,
        raw: Mapping[str, str] | None = None,
        raw_schema: type[Schema] | None = None,
        signs: tuple[str, ...] = (),
    ) -> Callable[[View], View]:
        """Declare one operation.

        Parameters
        ----------
        scope : str
            The one scope of ``auth.SCOPES`` that the key must carry.
        answers : mapping of int to Answer
            Successful answers by status.
        body, query : schema
            What is read; members and parameters beyond them are refused.
        refuses : tuple of str
            Further statuses of problems, beyond those that every operation may answer.
        headers : tuple of str
            Names of request headers (of ``openapi.HEADERS``) that the operation reads.
        readers : mapping of str to (Reader, str)
            Media types of the body beside JSON, each with what makes of it the document that JSON would be, and an
            example.
        ndjson_bytes : int
            The body is NDJSON of at most so many bytes, handed to the view as it is; in place of ``body``.
        most_bytes : int
            Largest body, where it is not the one of the settings.
        raw : mapping of str to str
            Media types of a body that is handed to the view as it is, each with an example; in place of ``body``.
        raw_schema : type of Schema
            What such a body looks like as JSON, for the document alone: the view reads it.
        signs : tuple of str
            Members of the body that name who signs, such as ``readings/*/taken_by``: the person, where one calls.
        """
        writes = method != "GET" and scope != "read"
        body_schema = body() if body else None
        query_schema = (query or (WriteQuery if writes else UnitsQuery))()
        others = readers or {}

        def decorated(view: View) -> View:
            endpoint = view.__name__
            full_rule = f"{self.url_prefix or ''}{rule}"

            def handled(**path: str) -> Response:
                caller = auth.caller_with(scope)
                if any("\0" in part for part in path.values()):
                    raise NotFound("no name or id holds the character NUL")
                loaded = _query(query_schema)
                if loaded.get("dry_run") == "true" and "read" not in caller.scopes:
                    said = "a dry run shows what is on record and leaves no trace: it needs the scope read too"
                    raise ProblemRaised("scope_missing", said)
                units: UnitSystem = loaded.get("units") or ("inch" if caller.units == "inch" else "metric")
                g.units = units
                if ndjson_bytes is not None or raw:
                    request.max_content_length = ndjson_bytes or most_bytes
                    data = _body(tuple(raw) if raw else (NDJSON,))
                    call = Call(caller, units, loaded, data, _fingerprint(data) if writes else "", full_rule)
                elif body_schema is None:
                    call = Call(caller, units, loaded, None, _fingerprint(b"") if writes else "", full_rule)
                else:
                    if most_bytes is not None:
                        request.max_content_length = most_bytes
                    data = _body((JSON, *others))
                    reader, _ = others.get(request.mimetype, (None, ""))
                    document = _parsed(data) if reader is None else reader(data, loaded)
                    if caller.person is not None:
                        sign(document, signs, caller.person)
                    given = body_schema.load(document)
                    call = Call(caller, units, loaded, given, _fingerprint(data) if writes else "", full_rule, data)
                return view(call, **path)

            handled.__name__ = endpoint
            handled.provide_automatic_options = False  # type: ignore[attr-defined]
            handled.__doc__ = view.__doc__
            declared = Operation(
                method,
                full_rule,
                scope,
                body_schema,
                query_schema,
                writes,
                ndjson_bytes is not None,
                raw or {},
                raw_schema,
                signs,
            )
            DECLARED.operations[f"{self.name}.{endpoint}"] = declared
            handled._apidoc = _documented(declared, endpoint, answers, refuses, example, headers, others)  # type: ignore[attr-defined]
            self.add_url_rule(rule, endpoint, handled, methods=[method])
            return view

        return decorated


@cache
def _empty_query(schema: Schema) -> Mapping[str, Any]:
    """Return what a schema makes of no parameters at all: the same each time, and most requests have none."""
    loaded: Mapping[str, Any] = schema.load({})
    return loaded


def _query(schema: Schema) -> Mapping[str, Any]:
    """Return the loaded query; unknown and repeated parameters are 400."""
    given: dict[str, str] = {}
    for name, values in request.args.lists() if request.query_string else ():
        if len(values) > 1:
            raise _bad_parameter("repeated_parameter", name, "stands more than once")
        given[name] = values[0]
    try:
        return schema.load(given) if given else dict(_empty_query(schema))
    except ValidationError as error:
        pointer, code, detail = next(faults_of(error.messages))
        name = pointer.removeprefix("#/").split("/")[0].replace("~1", "/").replace("~0", "~")
        known = ", ".join(sorted(schema.fields))
        if code == "unknown_member":
            said = f"is not known here{nearest([name], schema.fields)}; known are {known}"
            raise _bad_parameter("unknown_parameter", name, said) from None
        raise _bad_parameter("bad_parameter", name, detail) from None


def _bad_parameter(code: str, name: str, detail: str) -> ProblemRaised:
    name = name[:80]
    return ProblemRaised(code, f"{name}: {detail}", faults=[{"parameter": name, "code": code, "detail": detail}])


def _body(taken: tuple[str, ...]) -> bytes:
    """Return the bytes of a body: complete, its length declared, not coded, its media type one of those taken."""
    if request.mimetype not in taken:
        sent = request.mimetype[:80] or "nothing"
        raise ProblemRaised(
            "unsupported_media_type",
            f"send Content-Type: {' or '.join(taken)}, not {sent}",
            headers={"Accept-Post": ", ".join(taken)},
        )
    _check_coding()
    if request.content_length is None:
        raise ProblemRaised("length_required", "send the body with its Content-Length", headers={"Connection": "close"})
    data = request.get_data(cache=False)
    if len(data) != request.content_length:  # the sender left; what came so far may well be readable
        raise ProblemRaised("bad_request", f"{len(data)} bytes came, Content-Length says {request.content_length}")
    return data


def _check_coding() -> None:
    """Refuse a body that says it is compressed, or in another charset than UTF-8: we would read something else."""
    coding = request.headers.get("Content-Encoding", "identity").strip().lower()
    if coding not in ("identity", ""):
        said = f"send the body as it is, not with Content-Encoding: {coding[:40]}"
        raise ProblemRaised("unsupported_media_type", said, headers={"Accept-Encoding": "identity"})
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if charset not in ("utf-8", "utf8", "us-ascii"):
        raise ProblemRaised("unsupported_media_type", f"send the body in UTF-8, not in {charset[:40]}")


def _parsed(data: bytes) -> Any:
    if not data.strip():
        raise ProblemRaised("bad_json", "the body is empty; send a JSON object, {} where nothing is to be said")
    try:
        return strict_json.parsed(data)
    except strict_json.NotStrictJSON as error:
        raise ProblemRaised("bad_json", str(error)) from None


def _fingerprint(data: bytes) -> str:
    """Return what identifies a request for its Idempotency-Key: path, query, media type and exact bytes."""
    head = f"{request.path}\n{request.query_string.decode('latin-1')}\n{request.mimetype}\n"
    return sha256(head.encode() + data).hexdigest()


def _documented(
    operation: Operation,
    endpoint: str,
    answers: Mapping[int, Answer],
    refuses: tuple[str, ...],
    example: Any,
    headers: tuple[str, ...],
    others: Mapping[str, tuple[Reader, str]],
) -> dict[str, Any]:
    """Return what flask-smorest's document writer reads from a view."""
    parameters: list[Any] = [{"in": "query", "required": False, "schema": operation.query}]
    if operation.body is not None:
        given = {"in": "json", "required": True, "schema": operation.body}
        parameters.append(given | ({"example": example} if example is not None else {}))
    if operation.ndjson:
        lines = {"in": "json", "required": True, "content_type": NDJSON, "schema": {"type": "string"}}
        parameters.append(lines | {"example": example})
    keyed = operation.writes and operation.method == "POST" and not operation.ndjson
    names = headers + (("Idempotency-Key",) if keyed else ())
    responses = {status: _media_documented(answer) for status, answer in answers.items()}
    takes_body = operation.body is not None or operation.ndjson or operation.raw
    statuses = (*ALWAYS, *(WITH_BODY if takes_body else ()), *refuses)
    manual: dict[str, Any] = {
        "operationId": endpoint,
        "responses": {status: f"Problem{status}" for status in statuses},
        "security": [{"ApiKey": [operation.scope]}],
    }
    if others:
        texts = {media: {"schema": {"type": "string"}, "example": text} for media, (_, text) in others.items()}
        manual["requestBody"] = {"content": texts}
    if operation.raw:
        content = {media: _raw_documented(operation, media, text) for media, text in operation.raw.items()}
        manual["requestBody"] = {"required": True, "content": content}
    return {
        "arguments": {"parameters": [*parameters, *names], "responses": {}},
        "response": {"responses": responses},
        "success_status_codes": [HTTPStatus(status) for status in answers],
        "manual_doc": manual,
    }


def _raw_documented(operation: Operation, media: str, example: str) -> dict[str, Any]:
    if media == JSON and operation.raw_schema is not None:
        return {"schema": operation.raw_schema(), "example": json.loads(example)}
    return {"schema": {"type": "string"}, "example": example}


def _media_documented(answer: Answer) -> list[dict[str, Any]]:
    """Return what documents one successful answer: an entry for JSON and one for each other media type."""
    common = {"description": answer.description, "headers": {name: name for name in answer.headers}}
    documented: list[dict[str, Any]] = []
    if answer.schema is not None:
        example = {} if answer.example is None else {"example": answer.example}
        documented.append({**common, **example, "schema": answer.schema(), "content_type": JSON})
    for media in answer.media:
        documented.append({**common, "schema": {"type": "string"}, "content_type": media})
    return documented or [{**common, "content_type": None}]
