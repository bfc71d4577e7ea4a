"""What a field map looks like when it is sent."""

import re
from collections.abc import Iterator
from typing import Any, Final

from marshmallow import INCLUDE, Schema, ValidationError, validate
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.faults import loader
from service.api.http.fields import Refused
from service.api.http.schema import PageQuery, StrictSchema
from service.api.orders.schemas import WorkOrderRequest
from service.api.wire.answers import AnswerSchema, nested, word, words
from service.errors import nearest, shown
from service.exchange.field_map import slashed
from service.render.reply import SHORT_WIDTH, SHORT_WIDTHS, WIDTH, WIDTHS

MOST_BYTES: Final = 262_144
"""Largest field map, message and result, [byte]"""
MOST_TARGETS: Final = 60
MOST_ENTRIES: Final = 2000
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,59}").fullmatch
_SEGMENT: Final = re.compile(r"[A-Za-z0-9_:@$-]{1,60}").fullmatch
_MOST_SEGMENTS: Final = 8
LOAD_ORDER: Final = loader(WorkOrderRequest(), "the request")
"""The request that a map makes, read as POST /v1/work-orders reads it."""


class Message(Schema):
    """A message of another system: any JSON object."""

    class Meta:
        unknown = INCLUDE

    def load(self, data: Any, **kwargs: Any) -> Any:
        """Return the message as it is.

        Raises
        ------
        ValidationError
            It is not an object.
        """
        if not isinstance(data, dict):
            raise ValidationError({"_schema": [{"code": "wrong_type", "detail": "a message is a JSON object"}]})
        return data


class MapName(fields.Text):
    """The name of a map, as it stands in an address."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        name = super()._deserialize(value, attr, data, **kwargs)
        if not _NAME(name):
            raise Refused("bad_name", f"{shown(name)}: a name has small letters, digits and hyphens, at most 60")
        return name


class JsonObject(ma_fields.Field[Any]):
    """Any JSON object."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise Refused("wrong_type", f"{shown(value)} is not an object")
        return value


class Target(fields.Text):
    """Where a value goes: names of members joined by slashes or dots.

    Parameters
    ----------
    roots : tuple of str
        The first names that are known; empty when any name will do.
    elements : bool
        Whether ``*`` may stand for the elements of an array.
    """

    def __init__(self, roots: tuple[str, ...] = (), *, elements: bool = False, **kwargs: Any) -> None:
        super().__init__(300, **kwargs)
        self.roots, self.elements = roots, elements

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        target = super()._deserialize(value, attr, data, **kwargs)
        segments = slashed(target).split("/")
        if len(segments) > _MOST_SEGMENTS or not all(
            _SEGMENT(each) or (self.elements and each == "*") for each in segments
        ):
            raise Refused(
                "bad_target", f"{shown(target)}: a target is names joined by slashes or dots, such as external/number"
            )
        if self.roots and segments[0] not in self.roots:
            near = nearest(segments[:1], self.roots)
            raise Refused("unknown_target", f"{shown(target)} begins with none of {', '.join(self.roots)}{near}")
        return target


class Targets(ma_fields.Field[Any]):
    """Expressions by target."""

    def __init__(self, roots: tuple[str, ...] = (), **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._target = Target(roots)
        self._expression = fields.Text(4096, lines=True)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, str]:
        if not isinstance(value, dict) or not 1 <= len(value) <= MOST_TARGETS:
            raise Refused("wrong_type", f"expressions by target, 1 to {MOST_TARGETS} of them")
        loaded: dict[str, str] = {}
        wrong: dict[str, Any] = {}
        for target, expression in value.items():
            try:
                loaded[str(self._target.deserialize(target))] = str(self._expression.deserialize(expression))
            except ValidationError as error:
                wrong[target[:80]] = error.messages
        if wrong:
            raise ValidationError(wrong)
        return loaded


class Tables(ma_fields.Field[Any]):
    """Tables for ``lookup``: by name, each from texts to values."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, dict[str, Any]]:
        whole = isinstance(value, dict) and all(isinstance(table, dict) for table in value.values())
        if not whole or sum(len(table) for table in value.values()) > MOST_ENTRIES:
            raise Refused("wrong_type", f"tables by name, each from texts to values, {MOST_ENTRIES} entries at most")
        for held in _leaves(value):
            if isinstance(held, int | float):
                fields.finite(held)
        return value


def _leaves(value: Any) -> Iterator[Any]:
    for below in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from _leaves(below)
    if not isinstance(value, dict | list | bool):
        yield value


REQUEST_MEMBERS: Final = tuple(WorkOrderRequest().fields)


class Inbound(StrictSchema):
    """Their work order to our request."""

    targets = Targets(REQUEST_MEMBERS, required=True, metadata={"type": "object"})
    required = fields.Array(Target(REQUEST_MEMBERS, elements=True), validate=validate.Length(max=MOST_TARGETS))


class Outbound(StrictSchema):
    """Our answer to their shape."""

    targets = Targets(required=True, metadata={"type": "object"})
    required = fields.Array(Target(elements=True), validate=validate.Length(max=MOST_TARGETS))
    text_width = fields.Whole(*WIDTHS, metadata={"description": f"Columns of the lines of long texts; {WIDTH} else"})
    short_width = fields.Whole(
        *SHORT_WIDTHS,
        metadata={"description": f"Characters of short texts; {SHORT_WIDTH} else, as the titles of steps"},
    )


class Sample(StrictSchema):
    """A message of that system, and the request that it must become."""

    name = fields.Text(80, required=True)
    message = JsonObject(required=True, metadata={"type": "object"})
    request = JsonObject(required=True, metadata={"type": "object"})


class FieldMapDraft(StrictSchema):
    """A field map that is not kept yet."""

    name = MapName(60)
    note = fields.Text(2000, lines=True)
    inbound = ma_fields.Nested(Inbound, required=True)
    outbound = ma_fields.Nested(Outbound)
    tables = Tables(metadata={"type": "object"})
    samples = fields.Array(ma_fields.Nested(Sample), validate=validate.Length(max=20))


class PreviewRequest(StrictSchema):
    """A field map and a message to try it on."""

    map = ma_fields.Nested(FieldMapDraft, required=True)
    message = JsonObject(required=True, metadata={"type": "object"})


class FieldMapRequest(FieldMapDraft):
    """A field map with its samples."""

    name = MapName(60, required=True)
    samples = fields.Array(ma_fields.Nested(Sample), required=True, validate=validate.Length(1, 20))


class DirectionRead(AnswerSchema):
    """Expressions by target, and the targets that may not come out as null."""

    targets = ma_fields.Dict(required=True)
    required = words(required=False)
    text_width = ma_fields.Integer(required=False)
    short_width = ma_fields.Integer(required=False)


class SampleRead(AnswerSchema):
    """A message, and the request that it becomes."""

    name = word()
    message = ma_fields.Dict(required=True)
    request = ma_fields.Dict(required=True)


class FieldMapLine(AnswerSchema):
    """One version of a field map, without its contents."""

    id = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class FieldMapRead(FieldMapLine):
    """One version of a field map."""

    note = word(required=False)
    inbound = nested(DirectionRead)
    outbound = nested(DirectionRead, required=False)
    tables = ma_fields.Dict(required=False)
    samples = nested(SampleRead, many=True)


class FieldMapPage(AnswerSchema):
    """A page of field maps."""

    items = nested(FieldMapLine, many=True)
    next = word(null=True)


class FaultRead(AnswerSchema):
    """A fault, by its place in the mapped request."""

    pointer = word(required=False)
    code = word()
    detail = word()


class TrialRead(AnswerSchema):
    """What a map would do with a message."""

    mapped_request = ma_fields.Dict(required=True)
    unmapped = words()
    problems = nested(FaultRead, many=True)
    status = ma_fields.Integer(
        required=True, allow_none=True, metadata={"description": "What POST /v1/inbound would answer"}
    )
    reply = ma_fields.Dict(required=True, allow_none=True)


class FieldMapQuery(PageQuery):
    """Filters of the list of field maps."""

    name = MapName(60)


class TrialRequest(StrictSchema):
    """A message to try."""

    message = JsonObject(required=True, metadata={"type": "object"})
