"""What is sent to /v1/stays and /v1/replacements and what is answered."""

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word
from service.api.wire.damage import DamageField
from service.history.stays import END_TYPES
from service.use_cases.stays.lines import ReplacementRead, StayRead

ROLES = ("locating", "free")


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
