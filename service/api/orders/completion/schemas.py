"""What is sent to /v1/work-orders/{id}/completion and its corrections. and what is answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, WarnedFact, nested, quantity, word, words
from service.api.wire.damage import DamageField
from service.store.models.stays import SET_ASIDE
from service.use_cases.orders.outcomes import OUTCOMES
from service.words import END_TYPES

ENDED = tuple(each for each in END_TYPES if each != "running")


COMPONENTS = ("inner_ring", "outer_ring", "rolling_element", "cage", "seal")


class DamageSeen(StrictSchema):
    """A mode of damage seen on the bearing, by ISO 15243."""

    code = DamageField(required=True)
    component = fields.Choice(COMPONENTS)
    primary = fields.Flag()


class Removed(StrictSchema):
    """The bearing that came out; an empty list of damage says that it was looked at and nothing was seen."""

    serial = fields.Text(80)
    end_type = fields.Choice(ENDED)
    inspected = fields.Flag()
    damage = fields.Array(ma_fields.Nested(DamageSeen), validate=validate.Length(max=20))
    cause = fields.Text(500)


class Installed(StrictSchema):
    """The bearing that went in; the one of the instructions when the designation is left out."""

    serial = fields.Text(80)
    designation = fields.Text(60)
    manufacturer = fields.Text(80)


class PositionDone(StrictSchema):
    """What was done at one position; `refitted`: the bearing that ran here went back in, undamaged."""

    position = fields.Text(80, required=True)
    outcome = fields.Choice(OUTCOMES, required=True)
    removed = ma_fields.Nested(Removed)
    installed = ma_fields.Nested(Installed)
    new_washer = fields.Flag(
        metadata={"description": "With a bearing that goes back in: a new lock washer or clip came with it"}
    )


class FlagsAcknowledged(StrictSchema):
    """The lead looked at what is flagged."""

    by = fields.Text(80, required=True)
    flags = fields.Array(fields.Text(80), required=True, validate=validate.Length(1, 20))


class CompletionRequest(StrictSchema):
    """What was done at each position of the order."""

    completed_at = fields.PastTime(required=True)
    completed_by = fields.Text(80, required=True)
    meter_reading = fields.QuantityField("time", least=0, most=1e8, keep=True)
    positions = fields.Array(ma_fields.Nested(PositionDone), required=True, validate=validate.Length(1, 12))
    flags_acknowledged = ma_fields.Nested(FlagsAcknowledged)


class PositionCorrected(StrictSchema):
    """What is put right at one position; members that are left out stay as they are.

    Another `outcome` strikes out the stay that the wrong one made; it is said in full, as at completion.
    """

    position = fields.Text(80, required=True)
    outcome = fields.Choice(OUTCOMES)
    new_washer = fields.Flag()
    removed = ma_fields.Nested(Removed)
    installed = ma_fields.Nested(Installed)


class CorrectionRequest(StrictSchema):
    """What is put right, and why."""

    corrects = fields.Identifier(required=True, metadata={"description": "The completion, or its last correction"})
    reason = fields.Text(2000, required=True)
    corrected_by = fields.Text(80, required=True)
    completed_at = fields.PastTime()
    positions = fields.Array(ma_fields.Nested(PositionCorrected), validate=validate.Length(1, 12))


class DamageRead(AnswerSchema):
    """A mode of damage seen on the bearing, by ISO 15243."""

    code = word()
    component = word(required=False)
    primary = ma_fields.Boolean(required=False)


class RemovedRead(AnswerSchema):
    """The bearing that came out."""

    serial = word(required=False)
    end_type = word(required=False)
    inspected = ma_fields.Boolean(required=False)
    damage = nested(DamageRead, many=True, required=False)
    cause = word(required=False)


class InstalledRead(AnswerSchema):
    """The bearing that went in."""

    serial = word(required=False)
    designation = word(required=False)
    manufacturer = word(required=False)


class PositionDoneRead(AnswerSchema):
    """What was done at one position, with the stays it ended and began."""

    position = word()
    outcome = word()
    removed = nested(RemovedRead, required=False)
    installed = nested(InstalledRead, required=False)
    new_washer = ma_fields.Boolean(required=False)
    ended_stay = word(null=True)
    begun_stay = word(null=True)
    unrecorded_stay = word(null=True)


class OutcomeRead(PositionDoneRead):
    """An outcome that was put right: what stood before, and the stay that was struck out."""

    before = word()
    struck_out = word(null=True)
    warnings = nested(WarnedFact, many=True)


class FlagRead(AnswerSchema):
    """Something that the lead looks at: times out of order, holds signed in one go; it forbids nothing."""

    code = word()
    step = word(null=True)
    position = word(null=True)
    persons = words()


class AcknowledgedFlag(FlagRead):
    """A flag of a completed order, and who acknowledged it."""

    acknowledged_by = word(null=True)


class SetAsideStay(AnswerSchema):
    """A stay that is kept and shown, and counted by nothing."""

    id = word()
    reason = ma_fields.String(required=True, metadata={"enum": list(SET_ASIDE)})
    stay = ma_fields.Dict(required=True)


class ChangeRead(AnswerSchema):
    """One member of a stay, before and after."""

    stay = word()
    position = word()
    member = word()
    before = ma_fields.Raw(required=True, allow_none=True)
    after = ma_fields.Raw(required=True, allow_none=True)


class CorrectionRead(AnswerSchema):
    """A correction on record."""

    id = word()
    corrects = word()
    reason = word()
    corrected_by = word()
    created_at = ma_fields.DateTime(required=True)
    changes = nested(ChangeRead, many=True)
    outcomes = nested(OutcomeRead, many=True)


class CompletionRead(AnswerSchema):
    """The completion as it was sent, and its corrections."""

    id = word()
    work_order = word()
    status = word()
    revision = ma_fields.Integer(required=True, metadata={"description": "The revision that it was held against"})
    completed_at = ma_fields.DateTime(required=True)
    completed_by = word()
    meter_reading = quantity(required=False)
    positions = nested(PositionDoneRead, many=True)
    flags = nested(AcknowledgedFlag, many=True)
    warnings = nested(WarnedFact, many=True)
    created_at = ma_fields.DateTime(required=True)
    corrections = nested(CorrectionRead, many=True)
    set_aside_stays = nested(SetAsideStay, many=True)
