"""What the lead's sheet answers."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import UnitsQuery
from service.api.wire.answers import AnswerSchema, nested, word
from service.words import PAPER_SIZES


class ReviewQuery(UnitsQuery):
    """How the lead's sheet is printed."""

    paper = fields.Choice(
        PAPER_SIZES, metadata={"description": "Paper of the PDF; Letter for inch units, A4 for metric when left out"}
    )


class ReviewExternal(AnswerSchema):
    """The order's number in the system that opened it."""

    system = word()
    number = word()


class PlaceRead(AnswerSchema):
    """A step, and the bearing at which it was done; none where it is done once."""

    step = word()
    position = word(null=True)


class HoldRead(PlaceRead):
    """A hold at one of its bearings: who signed it and when, by the last reading that closes it."""

    hold = ma_fields.Integer(required=True)
    title = word()
    state = ma_fields.String(required=True, metadata={"enum": ["signed", "open", "deviation"]})
    person = word(null=True)
    taken_at = ma_fields.DateTime(required=True, allow_none=True)


class LateRead(AnswerSchema):
    """Something that came on record more than an hour after it was read."""

    kind = word()
    step = word(null=True)
    position = word(null=True)
    person = word()
    taken_at = ma_fields.DateTime(required=True)
    received_at = ma_fields.DateTime(required=True)
    hours = ma_fields.Float(required=True)


class BulkRead(AnswerSchema):
    """Three or more holds that one person signed within a minute."""

    person = word()
    from_ = ma_fields.DateTime(required=True, data_key="from")
    holds = nested(PlaceRead, many=True)


class TakenRead(PlaceRead):
    """A hold with who signed it and when."""

    person = word()
    taken_at = ma_fields.DateTime(required=True)


class OutOfOrderRead(TakenRead):
    """A hold that was taken before one that stands before it in the order of work."""

    after = nested(TakenRead)


class LetPass(PlaceRead):
    """A deviation."""

    reason = word()
    approved_by = word()
    taken_by = word(null=True)


class TakenBack(AnswerSchema):
    """A reading that was taken back, and by whom it was replaced."""

    kind = word()
    position = word(null=True)
    person = word()
    replaced_by = word()
    reason = word(null=True)


class OpenHold(PlaceRead):
    """A hold or a STOP that is open."""

    hold = ma_fields.Integer(required=True, allow_none=True)
    stop = word(null=True)
    title = word()


class OpenRead(AnswerSchema):
    """A question of readiness that is open."""

    id = word()
    position = word(null=True)
    question = word()
    colour = ma_fields.String(required=True, metadata={"enum": ["red", "amber"]})


class ReviewRead(AnswerSchema):
    """What the lead looks over before the order is closed."""

    id = word()
    external = nested(ReviewExternal)
    asset = word()
    status = word()
    revision = ma_fields.Integer(required=True)
    begun_unreleased = ma_fields.Boolean(required=True)
    in_bulk = nested(BulkRead, many=True)
    out_of_order = nested(OutOfOrderRead, many=True)
    late = nested(LateRead, many=True)
    deviations = nested(LetPass, many=True)
    taken_back = nested(TakenBack, many=True)
    open_holds = nested(OpenHold, many=True)
    open_questions = nested(OpenRead, many=True)
    holds = nested(HoldRead, many=True)
