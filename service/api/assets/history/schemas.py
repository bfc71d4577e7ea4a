"""What is sent to /v1/assets/{id}/history and what is answered."""

from typing import Final

from marshmallow import fields as ma_fields

from service.api.stays.schemas import StayRead
from service.api.wire.answers import AnswerSchema, nested, word

MOST_STAYS: Final = 1000


class PositionHistory(AnswerSchema):
    """The stays of one position, the first fitted first."""

    position = word()
    stays = nested(StayRead, many=True)


class AssetHistory(AnswerSchema):
    """The stays of a machine by position."""

    asset_id = word()
    asset = word()
    name = word()
    as_of = ma_fields.DateTime(required=True)
    positions = nested(PositionHistory, many=True)
    more = word(null=True, description=f"Where all stays are listed when there are more than {MOST_STAYS}")
