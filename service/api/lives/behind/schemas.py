"""What is answered by /lives under a question."""

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, nested, word
from service.words import BASES, END_TYPES


class LifeBehind(AnswerSchema):
    """A stay as a question counts it; flat, units in the names."""

    stay = word(description="Id of the stay")
    position_id = word()
    asset_id = word()
    asset = word()
    position = word()
    designation = word()
    fitted_at = ma_fields.DateTime(required=True, metadata={"description": "To the second"})
    ended_at = ma_fields.DateTime(required=True, allow_none=True)
    end_type = ma_fields.String(required=True, metadata={"enum": list(END_TYPES)})
    damage = word(null=True)
    age_h = ma_fields.Float(required=True, metadata={"description": "Age at the end of observation"})
    entry_age_h = ma_fields.Float(
        required=True, metadata={"description": "Age at which observation began; above zero: late entry"}
    )
    age_basis = ma_fields.String(required=True, metadata={"enum": list(BASES)})
    status = word(description="failed, censored, or left_out")
    weight = ma_fields.Float(
        required=True,
        metadata={"description": "1 failed, 0 not; between them where a failure without recorded damage is shared out: "
                  "the rest of it is censored at the same age"},
    )  # fmt: skip
    left_out = word(null=True, description="Why it is left out")
    group = word(null=True, description="What the question groups it into")
    class_ = ma_fields.String(
        required=True, data_key="class", metadata={"description": "Within which lives are compared"}
    )
    period = ma_fields.Integer(
        required=True,
        allow_none=True,
        metadata={"description": "Eighth of the fittings (or finer part), 1 to 8 or more, where it matters"},
    )
    shown = ma_fields.Boolean(
        required=True, metadata={"description": "false: a filter hides it, and the numbers of the answer hold it"}
    )
    facts = ma_fields.Dict(
        required=True, metadata={"description": "What else the question uses: covariates, or bins of the mounting"}
    )


class LivesBehindPage(AnswerSchema):
    """A page of the lives behind an answer."""

    items = nested(LifeBehind, many=True)
    next = word(null=True)
