"""Readings as callers send them: each kind takes values of its own dimension; and how they are answered."""

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, validate
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word
from service.errors import shown
from service.store.models.records import READING_KINDS
from service.words import VERDICTS

METHODS = ("blades", "indicator", "axial_displacement", "nut_turn", "micrometer")
POINTS = ("top", "bottom", "left", "right")
MOST_READINGS = 200
MOST_VALUES = 60


class ReadingValue(StrictSchema):
    """Where a value was read: row of rollers, point, repeat."""

    row = fields.Whole(1, 2)
    point = fields.Choice(POINTS)
    repeat = fields.Whole(1, 50)


class ClearanceValue(ReadingValue):
    """The thickest blade or stack that passes with light drag; 0 when nothing passes."""

    value = fields.QuantityField("clearance", least=0, most=100_000, keep=True, required=True)


class DisplacementValue(ReadingValue):
    """An axial displacement of the ring on its taper."""

    value = fields.QuantityField("displacement", least=0, most=1000, keep=True, required=True)


class AngleValue(ReadingValue):
    """A turn of the locknut from firm contact."""

    value = fields.QuantityField("angle", least=0, most=100_000, keep=True, required=True)


class TorqueValue(ReadingValue):
    """A torque as the wrench showed it."""

    value = fields.QuantityField("torque", above=0, most=1e6, keep=True, required=True)


class DimensionValue(ReadingValue):
    """A size or a gap."""

    value = fields.QuantityField("dimension", least=0, most=10_000, keep=True, required=True)


class DistanceValue(ReadingValue):
    """A distance along the shaft."""

    value = fields.QuantityField("distance", above=0, most=1e6, keep=True, required=True)


class TemperatureValue(ReadingValue):
    """A temperature of a housing."""

    value = fields.QuantityField("temperature", least=-100, most=800, keep=True, required=True)


class Confirmed(StrictSchema):
    """Done and seen to be right."""

    value = fields.OneOf([(lambda value: value is True, fields.Flag())], expected="true", required=True)


class ReadingBase(StrictSchema):
    """Who read what, where, when, and by which revision of the instructions."""

    kind = fields.Choice(READING_KINDS, required=True)
    position = fields.Text(80)
    step = fields.Text(120, metadata={"description": "Id of the step that the reading answers"})
    method = fields.Choice(METHODS)
    taken_at = fields.PastTime(required=True)
    taken_by = fields.Text(80, required=True)
    instrument = fields.Text(120)
    revision = fields.Whole(
        1, 999_999_999, metadata={"description": "Revision of the card in hand; the latest when left out"}
    )


def _values(schema: type[StrictSchema]) -> Any:
    return fields.Array(ma_fields.Nested(schema), required=True, validate=validate.Length(1, MOST_VALUES))


class ClearanceReading(ReadingBase):
    """initial_clearance or residual_clearance."""

    values = _values(ClearanceValue)


class DisplacementReading(ReadingBase):
    """axial_displacement"""

    values = _values(DisplacementValue)


class AngleReading(ReadingBase):
    """nut_turn"""

    values = _values(AngleValue)


class TorqueReading(ReadingBase):
    """cap_bolt_torque"""

    values = _values(TorqueValue)


class DimensionReading(ReadingBase):
    """free_setting or shaft_diameter"""

    values = _values(DimensionValue)


class DistanceReading(ReadingBase):
    """bearing_spacing"""

    values = _values(DistanceValue)


class TemperatureReading(ReadingBase):
    """run_in_temperature, judged by the site's stop limit when it is sent along."""

    values = _values(TemperatureValue)
    stop_limit = fields.QuantityField("temperature", least=-100, most=800, keep=True)


class ConfirmationReading(ReadingBase):
    """confirmation: a step is done and seen to be right."""

    step = fields.Text(120, required=True, metadata={"description": "Id of the step that is confirmed"})
    values = fields.Array(ma_fields.Nested(Confirmed), required=True, validate=validate.Length(1, 1))


SHAPES: dict[str, type[ReadingBase]] = {
    "initial_clearance": ClearanceReading,
    "residual_clearance": ClearanceReading,
    "axial_displacement": DisplacementReading,
    "nut_turn": AngleReading,
    "cap_bolt_torque": TorqueReading,
    "free_setting": DimensionReading,
    "shaft_diameter": DimensionReading,
    "bearing_spacing": DistanceReading,
    "run_in_temperature": TemperatureReading,
    "confirmation": ConfirmationReading,
}


def _is(*kinds: str) -> Any:
    return lambda value: value.get("kind") in kinds


class ByKind(fields.OneOf):
    """A reading, read by the shape of its kind."""

    def __init__(self, **kwargs: Any) -> None:
        schemas = dict.fromkeys(SHAPES.values())
        shapes = [
            (_is(*(kind for kind, shape in SHAPES.items() if shape is schema)), ma_fields.Nested(schema))
            for schema in schemas
        ]
        super().__init__(shapes, expected="a reading {kind, position, values, taken_at, taken_by}", **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, Mapping):
            raise fields.Refused("wrong_shape", f"{shown(value)} is not {self.expected}")
        kind = value.get("kind")
        if not isinstance(kind, str) or kind not in SHAPES:
            code = "unknown_choice" if "kind" in value else "required"
            detail = f"{shown(kind)} is not one of {', '.join(SHAPES)}"
            raise ValidationError({"kind": [{"code": code, "detail": detail}]})
        return super()._deserialize(value, attr, data, **kwargs)


class Readings(StrictSchema):
    """Readings in the order in which they were taken; the last one of a kind counts."""

    readings = fields.Array(ByKind(), required=True, validate=validate.Length(1, MOST_READINGS))


class LastEntry(AnswerSchema):
    """The last entry of a hold point that is open all the same."""

    verdict = word()
    code = word(null=True)


class HoldPointRead(AnswerSchema):
    """A hold point that is open, and what clears it."""

    step = ma_fields.Integer(required=True)
    id = word()
    position = word(null=True)
    title = word()
    needs = word()
    last = nested(LastEntry, null=True)


class Judged(AnswerSchema):
    """A reading that was kept, and what it is worth."""

    id = word()
    kind = ma_fields.String(required=True, metadata={"enum": list(READING_KINDS)})
    position = word(null=True)
    step = word(null=True)
    revision = ma_fields.Integer(required=True, metadata={"description": "The revision that it was judged by"})
    verdict = ma_fields.String(required=True, metadata={"enum": list(VERDICTS)})
    code = word(null=True)
    fits = ma_fields.List(fields.QuantityOut(), required=False)
    fits_class = word(required=False)
    detail = word()
    next = word()


class JudgedReadings(AnswerSchema):
    """The readings as judged, the revision in force now, and the hold points that are open."""

    items = nested(Judged, many=True)
    revision = ma_fields.Integer(required=True)
    hold_points_open = nested(HoldPointRead, many=True)


class ValueRead(AnswerSchema):
    """One value of a reading."""

    value = ma_fields.Raw(required=True, metadata={"description": "A quantity, or true"})
    row = ma_fields.Integer(required=False)
    point = word(required=False)
    repeat = ma_fields.Integer(required=False)


class ReadingRead(Judged):
    """A reading as it was sent, with its verdict."""

    entry = ma_fields.Integer(required=True)
    made_revision = ma_fields.Integer(required=True, allow_none=True)
    method = word(required=False)
    instrument = word(required=False)
    stop_limit = fields.QuantityOut(required=False)
    values = nested(ValueRead, many=True)
    taken_at = ma_fields.DateTime(required=True)
    taken_by = word()
    created_at = ma_fields.DateTime(required=True)


class ReadingPage(AnswerSchema):
    """Readings as they were entered."""

    items = nested(ReadingRead, many=True)
    next = word(null=True)
