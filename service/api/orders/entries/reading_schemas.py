"""Readings as callers send them: each kind takes values of its own dimension; and how they are answered."""

from typing import Any

from marshmallow import ValidationError, validate, validates_schema
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, quantity, word
from service.instructions.readings.corrections import REASONS
from service.instructions.readings.readings import SWIVELS
from service.store.models.records import READING_KINDS
from service.words import CLEARANCE_CLASSES, VERDICTS

METHODS = ("blades", "indicator", "axial_displacement", "nut_turn", "micrometer")
POINTS = ("top", "bottom", "left", "right")
MOST_READINGS = 200
MOST_VALUES = 60
MOST_PAIRS = 200


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


class TemperatureValue(StrictSchema):
    """A temperature."""

    value = fields.QuantityField("temperature", least=-100, most=800, keep=True, required=True)


class ClassValue(StrictSchema):
    """A clearance class as the ring is marked; no mark is CN."""

    value = fields.Choice(CLEARANCE_CLASSES, required=True)


class TriedValue(StrictSchema):
    """Whether the try-start proved the isolation: true where nothing turned."""

    value = fields.Flag(required=True)


class SwivelValue(StrictSchema):
    """How the outer ring turns and swivels."""

    value = fields.Choice(SWIVELS, required=True)


class BlockValue(StrictSchema):
    """A position in whose block a locating ring lies."""

    value = fields.Text(80, required=True)


class Confirmed(StrictSchema):
    """Done and seen to be right."""

    value = fields.OneOf([(lambda value: value is True, fields.Flag())], expected="true", required=True)


class SeriesPair(StrictSchema):
    """A temperature of a housing, minutes after the start."""

    minute = fields.Number(least=0, most=10_000, required=True)
    temperature = fields.QuantityField("temperature", least=-100, most=800, keep=True, required=True)


class Watcher(StrictSchema):
    """Who reads the temperature of which housing."""

    position = fields.Text(80, required=True)
    person = fields.Text(80, required=True)


class ReadingBase(StrictSchema):
    """Who read what, where, when, and by which revision of the instructions; which reading it takes back, and why."""

    position = fields.Text(80)
    step = fields.Text(120, metadata={"description": "Id of the step that the reading answers"})
    method = fields.Choice(METHODS)
    taken_at = fields.PastTime(required=True)
    taken_by = fields.Text(80, required=True)
    instrument = fields.Text(120)
    revision = fields.Whole(
        1, 999_999_999, metadata={"description": "Revision of the card in hand; the latest when left out"}
    )
    replaces = fields.Identifier(
        metadata={
            "description": "Id of the reading that this one takes back; both are kept, the old one counts no more"
        }
    )
    reason = fields.Choice(REASONS, metadata={"description": "Why it is taken back; goes with `replaces`"})
    note = fields.Text(500)

    @validates_schema
    def _reason_with_replaces(self, data: dict[str, Any], **_: Any) -> None:
        if "replaces" in data and "reason" not in data:
            said = f"a reading that takes one back says why: {', '.join(REASONS)}"
            raise ValidationError({"reason": [{"code": "required", "detail": said}]})
        if "reason" in data and "replaces" not in data:
            said = "a reason is given for taking a reading back; name it in replaces"
            raise ValidationError({"replaces": [{"code": "required", "detail": said}]})


def _kind(*kinds: str) -> fields.Choice:
    return fields.Choice(kinds, required=True)


def _values(schema: type[StrictSchema], least: int = 1, most: int = MOST_VALUES) -> Any:
    return fields.Array(ma_fields.Nested(schema), required=True, validate=validate.Length(least, most))


class InitialReading(ReadingBase):
    """The clearance of a bearing before it is mounted; both rows of rollers, each by its row."""

    kind = _kind("initial_clearance")
    values = _values(ClearanceValue)
    refitted = fields.Flag(
        metadata={
            "description": "true: the bearing that ran here goes back in; one blade step above its row is worn in"
        }
    )


class ResidualReading(ReadingBase):
    """The clearance that is left when the bearing is locked; both rows of rollers, each by its row."""

    kind = _kind("residual_clearance")
    values = _values(ClearanceValue)


class DisplacementReading(ReadingBase):
    """How far the ring went on its taper."""

    kind = _kind("axial_displacement")
    values = _values(DisplacementValue)


class AngleReading(ReadingBase):
    """How far the nut was turned from firm contact."""

    kind = _kind("nut_turn")
    values = _values(AngleValue)


class TorqueReading(ReadingBase):
    """The torque of cap bolts or base bolts."""

    kind = _kind("cap_bolt_torque", "base_bolt_torque")
    values = _values(TorqueValue)


class DiameterReading(ReadingBase):
    """Diameters of the shaft under a bearing."""

    kind = _kind("shaft_diameter")
    values = _values(DimensionValue)


class GapReading(ReadingBase):
    """The gap on the out side of a free bearing, before its nut is turned or after it is locked."""

    kind = _kind("free_gap_before", "free_gap")
    values = _values(DimensionValue)


class DistanceReading(ReadingBase):
    """The distance of the seats of a free and the held bearing, which makes a revision; or of the bearings."""

    kind = _kind("seat_spacing", "bearing_spacing")
    values = _values(DistanceValue)


class ClassReading(ReadingBase):
    """The clearance class that the ring of the bearing in hand is marked with."""

    kind = _kind("class_read")
    values = _values(ClassValue, most=1)


class TryStartReading(ReadingBase):
    """Isolated, and tried to start; `step` says which of the two isolations, the first when left out."""

    kind = _kind("try_start")
    values = _values(TriedValue, most=1)


class SwivelReading(ReadingBase):
    """How the outer ring of a ball bearing or a sealed one turns and swivels."""

    kind = _kind("swivel")
    values = _values(SwivelValue, most=1)


class RingsReading(ReadingBase):
    """In which blocks rings lie, seen by another person than the one who read the gap; empty: in none."""

    kind = _kind("rings_in")
    values = _values(BlockValue, least=0, most=12)


class StopLimitReading(ReadingBase):
    """The temperature at which the machine is stopped, written before the start, and who reads which housing."""

    kind = _kind("stop_limit")
    values = _values(TemperatureValue, most=1)
    watchers = fields.Array(ma_fields.Nested(Watcher), validate=validate.Length(1, 12))


class RunInReading(ReadingBase):
    """The temperatures of one housing from the start; `explanation`: why it may run so, by a second person."""

    kind = _kind("run_in_temperature")
    series = fields.Array(ma_fields.Nested(SeriesPair), required=True, validate=validate.Length(1, MOST_PAIRS))
    explanation = fields.Text(500)


class ConfirmationReading(ReadingBase):
    """A tick: a step is done and seen to be right. It closes no hold and answers no question."""

    kind = _kind("confirmation")
    step = fields.Text(120, required=True, metadata={"description": "Id of the step that is confirmed"})
    values = _values(Confirmed, most=1)


SCHEMAS: tuple[type[ReadingBase], ...] = (
    InitialReading,
    ResidualReading,
    DisplacementReading,
    AngleReading,
    TorqueReading,
    DiameterReading,
    GapReading,
    DistanceReading,
    ClassReading,
    TryStartReading,
    SwivelReading,
    RingsReading,
    StopLimitReading,
    RunInReading,
    ConfirmationReading,
)
"""The shapes of readings; each kind stands in exactly one of them."""


class Readings(StrictSchema):
    """Readings in the order in which they were taken; the last one of a kind counts."""

    readings = fields.Array(fields.ByMember("kind", SCHEMAS), required=True, validate=validate.Length(1, MOST_READINGS))


class LastEntry(AnswerSchema):
    """The last entry of a hold point that is open all the same."""

    verdict = word()
    code = word(null=True)


class NeededLimits(AnswerSchema):
    """Limits of a reading; null where there is none on that side."""

    min = quantity(null=True)
    max = quantity(null=True)


class NeedsRead(AnswerSchema):
    """What closes a hold: of each group of kinds one accepted reading, or for a STOP another person's deviation."""

    kinds = ma_fields.List(ma_fields.List(ma_fields.String()), required=True)
    limits = nested(NeededLimits, null=True)
    who = word(null=True, description="another_person, or null")
    said = word()


class HoldPointRead(AnswerSchema):
    """A hold that is open: one of the nine, or a STOP; and what closes it."""

    step = ma_fields.Integer(required=True)
    id = word()
    hold = ma_fields.Integer(required=True, allow_none=True, metadata={"minimum": 1, "maximum": 9})
    stop = word(null=True)
    position = word(null=True)
    title = word()
    needs = nested(NeedsRead)
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
    replaces = word(null=True)
    detail = word()
    next = word()


class JudgedReadings(AnswerSchema):
    """The readings as judged, the revision in force now, and the hold points that are open."""

    items = nested(Judged, many=True)
    revision = ma_fields.Integer(required=True)
    hold_points_open = nested(HoldPointRead, many=True)


class ValueRead(AnswerSchema):
    """One value of a reading."""

    value = ma_fields.Raw(required=True, metadata={"description": "A quantity, a word, or true"})
    row = ma_fields.Integer(required=False)
    point = word(required=False)
    repeat = ma_fields.Integer(required=False)


class PairRead(AnswerSchema):
    """One pair of a series."""

    minute = ma_fields.Float(required=True)
    temperature = quantity()


class WatcherRead(AnswerSchema):
    """Who reads the temperature of which housing."""

    position = word()
    person = word()


class ReadingRead(Judged):
    """A reading as it was sent, with its verdict; `counts` is false once another one took it back."""

    entry = ma_fields.Integer(required=True)
    made_revision = ma_fields.Integer(required=True, allow_none=True)
    counts = ma_fields.Boolean(required=True)
    method = word(required=False)
    instrument = word(required=False)
    refitted = ma_fields.Boolean(required=False)
    explanation = word(required=False)
    reason = word(required=False)
    note = word(required=False)
    sent_as = word(required=False)
    watchers = nested(WatcherRead, many=True, required=False)
    values = nested(ValueRead, many=True, required=False)
    series = nested(PairRead, many=True, required=False)
    taken_at = ma_fields.DateTime(required=True)
    taken_by = word()
    created_at = ma_fields.DateTime(required=True)


class ReadingPage(AnswerSchema):
    """Readings as they were entered."""

    items = nested(ReadingRead, many=True)
    next = word(null=True)
