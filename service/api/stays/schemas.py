"""What is sent to /v1/stays and /v1/replacements and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word
from service.api.wire.damage import DamageField
from service.words import END_TYPES, ROLES


class StayRead(AnswerSchema):
    """One bearing in one position, from fitting to removal; flat, units in the names."""

    id = word()
    external_id = word(null=True)
    asset = word()
    position = word()
    designation = word()
    manufacturer = word(null=True)
    serial = word(null=True)
    installed_at = ma_fields.DateTime(required=True)
    removed_at = ma_fields.DateTime(required=True, allow_none=True)
    operating_hours = ma_fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "Age of the bearing at removal, or at as_of while it runs; overrides meters"},
    )
    as_of = ma_fields.DateTime(required=True, allow_none=True)
    age_at_install_h = ma_fields.Float(required=True, allow_none=True)
    observed_from = ma_fields.DateTime(required=True, allow_none=True)
    end_type = ma_fields.String(required=True, metadata={"enum": list(END_TYPES)})
    inspected = ma_fields.Boolean(required=True, allow_none=True)
    damage = word(null=True, description="Codes of ISO 15243, | between them")
    cause = word(null=True)
    initial_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    residual_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    window_min_mm = ma_fields.Float(required=True, allow_none=True)
    window_max_mm = ma_fields.Float(required=True, allow_none=True)
    downtime_h = ma_fields.Float(required=True, allow_none=True)
    work_order = word(null=True)
    installed_by = word(null=True, description="Who mounted it")
    shaft_diameter_mm = ma_fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "Of the shaft under the bearing, as measured; farthest outside its limits, else mean"},
    )
    shaft_min_mm = ma_fields.Float(required=True, allow_none=True)
    shaft_max_mm = ma_fields.Float(required=True, allow_none=True)


class ReplacementRead(StayRead):
    """A bearing removed (its stay) and the next one fitted in the same position."""

    fitted_id = word(description="Id of the stay that followed")
    fitted_external_id = word(null=True)
    replaced_at = ma_fields.DateTime(required=True, metadata={"description": "When the next bearing was fitted"})
    fitted_designation = word()
    fitted_manufacturer = word(null=True)
    fitted_serial = word(null=True)
    fitted_work_order = word(null=True)


class StayPage(AnswerSchema):
    """A page of stays."""

    items = nested(StayRead, many=True)
    next = word(null=True)


class ReplacementPage(AnswerSchema):
    """A page of replacements."""

    items = nested(ReplacementRead, many=True)
    next = word(null=True)


class ChosenQuery(StrictSchema):
    """Which stays are meant; everything that is given must hold."""

    asset = fields.Text(80, metadata={"description": "Tag of the asset"})
    position = fields.Text(80, metadata={"description": "Name of the position"})
    designation = fields.Text(80, metadata={"description": "Designation of the bearing, as stored"})
    manufacturer = fields.Text(120)
    housing = fields.Text(80, metadata={"description": "Housing of the position: its name, or such as 516 inch"})
    damage = DamageField()
    role = fields.Choice(ROLES, metadata={"description": "Role at mounting, else the one on record of the position"})
    from_ = fields.Timestamp(data_key="from", metadata={"description": "Fitted at this time or later"})
    to = fields.Timestamp(metadata={"description": "Fitted before this time"})


class StayQuery(PageQuery, ChosenQuery):
    """Filters of the list of stays."""

    end_type = fields.Choice(END_TYPES)
