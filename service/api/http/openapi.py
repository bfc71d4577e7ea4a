"""The OpenAPI 3.1 document, made from the declared operations."""

import json
from pathlib import Path
from typing import Any, Final

import flask_smorest
from apispec.ext.marshmallow.field_converter import FieldConverterMixin
from flask import Flask
from marshmallow import fields as ma_fields

import service
from service import __version__
from service.api.http import fields, problems
from service.api.http.described import describe
from service.api.http.operations import Blueprint
from service.units import UNITS

PROBLEM_STATUSES: Final = {
    400: "The request cannot be read",
    401: "No valid API key, or token that holds",
    403: "The API key lacks the scope",
    404: "Nothing here, or nothing that this site may see",
    405: "The method is not allowed here",
    406: "None of the media types asked for is offered",
    409: "The request contradicts what is on record",
    411: "Content-Length is needed",
    412: "The record has changed since it was read",
    413: "The body is too large",
    414: "The request line is too long",
    415: "The body has a media type that is not taken here",
    417: "What Expect asks for is not done here",
    422: "What was sent cannot be evaluated; nothing is stored",
    428: "If-Match is needed",
    429: "The key has sent as many requests as it may in this minute",
    431: "The header fields are too large or too many",
    500: "A fault on our side",
    501: "The Transfer-Encoding is not taken here",
    503: "The request cannot be taken now; send it again after Retry-After",
}
RESPONSE_HEADERS: Final = {
    "ETag": ("Version of what is answered, for If-Match and If-None-Match", {"type": "string"}),
    "Location": ("Where the record is", {"type": "string"}),
    "Link": ("The next page, rel=next (RFC 8288)", {"type": "string"}),
}
REQUEST_HEADERS: Final = {
    "Idempotency-Key": (
        "Makes a retry safe: the first 2xx answer is kept for 7 days and replayed (at most 255 characters)",
        False,
    ),
    "If-Match": ("The ETag that the change is based on, or *", False),
    "If-None-Match": ("The ETag that the caller holds: 304 when it is still current", False),
    "Accept": ("Media type of the answer", False),
}
BEARER: Final = (
    "An API key of one site with scopes: read, write, approve, admin. Where the operator names an issuer, a JSON Web "
    "Token of a person too; then the member that names who signs (taken_by, approved_by ...) is the person's name and "
    "may be left out"
)
LICENSE: Final = {"name": "MIT", "identifier": "MIT"}
DESCRIPTION: Final = """\
Mounting instructions for bearings in split plummer blocks, and the record of what was done.

A maintenance system opens a work order and gets the complete, numbered instructions for that position on that
machine: clearance targets, locating/free assignment, cap bolt torque. Quantities are written
`{"value": 0.1016, "unit": "mm"}`; bare numbers are refused. Errors are RFC 9457 problem documents with a stable `code`.
Clients must ignore members they do not know: members are added, never removed or renamed.
Examples of answers were given by the service on an invented plant. What is long is cut in them: arrays after some
elements, texts after some lines; ids, times, secrets and hashes are not real ones.
The instructions do not replace the makers' instructions, local codes or qualified people.
"""


def document(app: Flask, blueprints: tuple[Blueprint, ...]) -> str:
    """Return the OpenAPI document of the registered blueprints as JSON text; it takes a while, so ask once."""
    app.config["API_TITLE"] = "Cap and Saddle"
    app.config["API_VERSION"] = f"v1 ({__version__})"
    app.config["OPENAPI_VERSION"] = "3.1.0"
    api = _Api(
        app,
        spec_kwargs={
            "info": {
                "description": DESCRIPTION,
                "license": LICENSE,
                "contact": {"name": "Who operates this installation"},
            },
            "servers": [{"url": app.config["PUBLIC_URL"] or "/"}],
        },
    )
    api.ma_plugin.converter.add_attribute_function(_field_attributes)
    _components(api.spec.components)
    for blueprint in blueprints:
        blueprint.register_views_in_doc(api, app, api.spec, name=blueprint.name, parameters=None)
        api.spec.tag({"name": blueprint.name, "description": blueprint.description})
    made = api.spec.to_dict()
    _show_answers(made)
    describe(made)
    return json.dumps(made, indent=1, ensure_ascii=False, sort_keys=True)


TEXT: Final = r"^[^\x00-\x1f\x7f-\x9f]*[^\s\x00-\x1f\x7f-\x9f][^\x00-\x1f\x7f-\x9f]*$"
TEXT_OF_LINES: Final = TEXT.replace(r"\x00-\x1f", r"\x00-\x09\x0b-\x1f")
"""Texts that fields.Text takes: no control characters, not only blanks."""


def _answers_file() -> Path:
    """Return the file of examples: inside the installed package, else beside the document in the repository."""
    package = Path(service.__file__).parent
    packed = package / "_openapi" / "answers.json"
    return packed if packed.is_file() else package.parent / "openapi" / "answers.json"


def _show_answers(made: dict[str, Any]) -> None:
    """Add the answers that the service gave to the requests of the document (tests/contract/answers.py)."""
    kept = json.loads(_answers_file().read_text(encoding="utf-8"))
    for item in made["paths"].values():
        for operation in item.values():
            shown = kept.get(operation["operationId"], {}) if isinstance(operation, dict) else {}
            for status, by_media in shown.items():
                content = operation["responses"].get(status, {}).get("content", {})
                for media, answer in by_media.items():
                    if media in content:
                        content[media].setdefault("example", answer)


class _Api(flask_smorest.Api):
    """flask-smorest's document writer without its own error answers and default responses."""

    DEFAULT_ERROR_RESPONSE_NAME = None

    def _register_error_handlers(self) -> None:
        """Errors are answered by ``service.api.http.problems``."""

    def _register_responses(self) -> None:
        """Problems are documented by ``_components``."""


def _components(components: Any) -> None:
    components.security_scheme(
        "ApiKey",
        {"type": "http", "scheme": "bearer", "description": BEARER},
    )
    for dimension, units in UNITS.items():
        components.schema(
            f"Quantity_{dimension}",
            {
                "type": "object",
                "description": f"A {dimension.replace('_', ' ')} with its unit; `text` is ignored on input",
                "required": ["value", "unit"],
                "properties": {
                    "value": {"type": "number"},
                    "unit": {"type": "string", "enum": list(units)},
                    "text": {"type": "string"},
                },
                "additionalProperties": False,
            },
        )
    components.schema(
        "Quantity",
        {
            "type": "object",
            "description": "A quantity of an answer: the value unrounded, the text rounded and in both unit systems",
            "required": ["value", "unit", "text"],
            "properties": {"value": {"type": "number"}, "unit": {"type": "string"}, "text": {"type": "string"}},
        },
    )
    components.schema("Problem", _problem_schema())
    for status, description in PROBLEM_STATUSES.items():
        codes = sorted(code for code, (known, _) in problems.CATALOGUE.items() if known == status)
        response: dict[str, Any] = {
            "description": f"{description}. Codes: {', '.join(codes)}" if codes else description,
            "content": {problems.MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        components.response(f"Problem{status}", response)
    for name, (description, schema) in RESPONSE_HEADERS.items():
        components.header(name, {"description": description, "schema": schema})
    for name, (description, required) in REQUEST_HEADERS.items():
        parameter = {"name": name, "description": description, "required": required, "schema": {"type": "string"}}
        components.parameter(name, "header", parameter)


def _problem_schema() -> dict[str, Any]:
    fault = {
        "type": "object",
        "required": ["code", "detail"],
        "properties": {
            "pointer": {"type": "string", "description": "JSON Pointer into the body"},
            "parameter": {"type": "string"},
            "header": {"type": "string"},
            "code": {"type": "string"},
            "detail": {"type": "string"},
        },
    }
    return {
        "type": "object",
        "description": "RFC 9457 problem document; further members carry the facts of the occurrence",
        "required": ["type", "title", "status", "code", "detail", "request_id", "errors"],
        "properties": {
            "type": {"type": "string"},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "code": {"type": "string", "description": "Stable word; the list of codes grows"},
            "detail": {"type": "string"},
            "request_id": {"type": "string"},
            "errors": {"type": "array", "items": fault},
        },
    }


def _field_attributes(self: FieldConverterMixin, field: ma_fields.Field[Any], **kwargs: Any) -> dict[str, Any]:
    """Return the JSON Schema of our own fields."""
    schema = _schema_of(self, field)
    if schema is None:
        return {}
    if isinstance(field.load_default, tuple):  # a list in a query, as it is written there
        schema["default"] = ",".join(field.load_default)
    if field.allow_none and field.dump_only is False:
        return {"anyOf": [schema, {"type": "null"}]} if "$ref" in schema or "oneOf" in schema else schema
    return schema


def _schema_of(converter: FieldConverterMixin, field: ma_fields.Field[Any]) -> dict[str, Any] | None:
    match field:
        case fields.QuantityField():
            return _quantity_schema(field)
        case fields.QuantityOut():
            return {"$ref": "#/components/schemas/Quantity"}
        case fields.Text():
            pattern = TEXT_OF_LINES if field.lines else TEXT
            return {"type": "string", "minLength": 1, "maxLength": field.longest, "pattern": pattern}
        case fields.Choice(choices=("true", "false")):
            return {"type": "boolean"}  # of a query, where true is written as text
        case fields.Choice():
            return {"type": "string", "enum": list(field.choices)}
        case fields.Flag():
            return {"type": "boolean"}
        case fields.Whole():
            return {"type": "integer", "minimum": field.least, "maximum": field.most}
        case fields.Number():
            low = {"minimum": field.least} if field.least is not None else {"exclusiveMinimum": field.above}
            return {"type": "number", **low, "maximum": field.most}
        case fields.Timestamp():
            return {"type": "string", "format": "date-time"}
        case fields.Identifier():
            return {"type": "string", "format": "uuid"}
        case fields.ByMember():
            return _union(converter, field)
        case fields.OneOf():
            shapes = [converter.field2property(inner) for _, inner in field.shapes]
            return shapes[0] if len(shapes) == 1 else {"oneOf": shapes}
        case _:
            described: dict[str, Any] | None = getattr(
                field, "json_schema", None
            )  # fields of one folder say it themselves
            return described


def _union(converter: FieldConverterMixin, field: fields.ByMember) -> dict[str, Any]:
    """Return an exclusive union, told apart by a member; its words lead to the shapes."""
    shapes = {id(inner): converter.field2property(inner) for inner in field.nested}
    mapping = {word: shapes[id(inner)]["$ref"] for word, inner in field.by_word.items()}
    return {"oneOf": list(shapes.values()), "discriminator": {"propertyName": field.member, "mapping": mapping}}


def _quantity_schema(field: fields.QuantityField) -> dict[str, Any]:
    """Return the schema of a quantity with its limits in words, and its sign, the same in every unit of a ratio."""
    schema: dict[str, Any] = {"$ref": f"#/components/schemas/Quantity_{field.dimension}"}
    said = [field.metadata.get("description", ""), field.limits and f"Taken: {field.limits}"]
    if any(said):
        schema["description"] = ". ".join(part for part in said if part)
    if field.dimension != "temperature" and (0 in (field.least, field.above)):
        schema["properties"] = {"value": {"minimum": 0} if field.least == 0 else {"exclusiveMinimum": 0}}
    return schema
