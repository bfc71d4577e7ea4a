"""What is sent to /v1/inbound/{map} and what is answered."""

from marshmallow import INCLUDE

from service.api.wire.answers import AnswerSchema


class MappedAnswer(AnswerSchema):
    """What the map makes of the order; the order itself when the map makes no reply."""

    class Meta:
        unknown = INCLUDE
