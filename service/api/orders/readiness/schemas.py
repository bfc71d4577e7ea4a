"""The questions of an order, its answers and its release: what is sent, and what is answered."""

from typing import Any, Final

from marshmallow import ValidationError, validate, validates_schema
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire import objects
from service.api.wire.answers import AnswerSchema, nested, word
from service.api.wire.bolts import FittedBolts
from service.words import LOAD_DIRECTIONS, LUBRICATIONS, SEATS, SIDES, UNIT_SYSTEMS

MOST_ANSWERS: Final = 200
MOST_WORDS: Final = 20


def _texts(longest: int = 200, **kwargs: Any) -> ma_fields.List:
    return fields.Array(fields.Text(longest), validate=validate.Length(1, MOST_WORDS), **kwargs)


class ValueSchema(StrictSchema):
    """A value of which at least one member is given."""

    @validates_schema
    def not_empty(self, data: dict[str, Any], **_: Any) -> None:
        """Refuse an object that answers nothing."""
        if not data:
            known = ", ".join(self.fields)
            raise ValidationError({"_schema": [{"code": "required", "detail": f"give at least one of {known}"}]})


class BearingAnswered(ValueSchema):
    """R1: the bearing to be fitted; or that the own bearing goes back in."""

    bearing = objects.bearing_field()
    refit = fields.OneOf([(lambda value: value is True, fields.Flag())], expected="true")

    @validates_schema
    def one_of_both(self, data: dict[str, Any], **_: Any) -> None:
        """Refuse a new bearing and the old one at once."""
        if "bearing" in data and "refit" in data:
            said = "a new bearing is fitted or the own one goes back in, not both"
            raise ValidationError({"refit": [{"code": "refit_or_bearing", "detail": said}]})


class SeatAnswered(StrictSchema):
    """R2: how the bearing sits."""

    seat = fields.Choice(SEATS, required=True)
    sleeve_thread = fields.Choice(UNIT_SYSTEMS)
    sleeve = fields.Text(80)


class ShaftAnswered(StrictSchema):
    """R3: the shaft under the bearing."""

    shaft_diameter = fields.QuantityField("dimension", above=0, most=3000, keep=True, required=True)
    interference = ma_fields.Nested(objects.Interference)


class HousingAnswered(StrictSchema):
    """R4: the block."""

    housing = objects.housing_field(required=True)


class NutSide(StrictSchema):
    """On which side of a bearing its nut is."""

    position = fields.Text(80, required=True)
    side = fields.Choice(SIDES, required=True)


class HeldAnswered(ValueSchema):
    """R5: which bearing is held, on which sides the nuts are, where the drives are, which gap must be kept."""

    locating = fields.Text(80, metadata={"description": "Name of the position that is held; all others are free"})
    locknut_sides = fields.Array(ma_fields.Nested(NutSide), validate=validate.Length(1, 12))
    drives = fields.Array(ma_fields.Nested(objects.Drive), validate=validate.Length(max=12))
    process_gap = ma_fields.Nested(objects.ProcessGap)


class TemperatureAnswered(ValueSchema):
    """R6: how warm shaft and base get, how much warmer the inner ring is, whether the shaft is hollow."""

    shaft = ma_fields.Nested(objects.ShaftBody)
    base = ma_fields.Nested(objects.Body)
    temperature_difference = fields.QuantityField("temperature_difference", least=-200, most=300, keep=True)
    hollow = fields.Flag()
    shaft_bore = fields.QuantityField("dimension", above=0, most=3000, keep=True)


class LoadAnswered(ValueSchema):
    """R7: speed, load and its direction."""

    speed = fields.QuantityField("speed", least=0, most=100_000, keep=True)
    radial_load = fields.QuantityField("force", least=0, most=1e9, keep=True)
    load_direction = fields.Choice(LOAD_DIRECTIONS)


class LubricationAnswered(StrictSchema):
    """R8: grease or oil, which, and the grams of the block's book."""

    lubrication = fields.Choice(LUBRICATIONS, required=True)
    grease = fields.Text(80, required=True, metadata={"description": "Its name on the lubrication plan"})
    grease_fill = objects.grease_fill_field()


class CapTorqueAnswered(StrictSchema):
    """R9: cap torque and bolts out of the housing maker's book; who looked it up is who answers."""

    torque = objects.base_torque_field(required=True)
    bolts = ma_fields.Nested(FittedBolts, required=True)


class BaseAnswered(ValueSchema):
    """R10: the base of the block."""

    base_movement = objects.base_movement_field()
    base_torque = objects.base_torque_field()
    base_bolts = ma_fields.Nested(FittedBolts)


class BookAnswered(StrictSchema):
    """R11: the chart in which the maker's numbers were entered, with page and who checked them."""

    chart = fields.Text(80, required=True)


class StopLimitAnswered(StrictSchema):
    """R12: the run-in stop limit of the site for this machine."""

    stop_limit = objects.stop_limit_field(required=True)


class AtHandAnswered(StrictSchema):
    """R13: whether the tools are at hand, and which are lacking."""

    at_hand = fields.Flag(required=True)
    lacking = _texts()


class LiftingAnswered(StrictSchema):
    """R14: what is lifted and how, where energy is isolated, which permits are needed."""

    rotor_mass = objects.rotor_mass_field(required=True)
    lifting_plan = fields.Text(200, required=True, metadata={"description": "Its number, or where it hangs"})
    isolation_points = _texts(required=True)
    permits = _texts()


class InTheWayAnswered(StrictSchema):
    """R15: what is between the bearing and the shaft end; an empty list where nothing is."""

    in_the_way = objects.in_the_way_field(required=True)


class InclinationAnswered(StrictSchema):
    """R16: how the shaft lies."""

    inclination = objects.inclination_field(required=True)
    maker = fields.Text(500, metadata={"description": "Beyond 15 degrees: what the bearing maker said"})


class InStoreAnswered(StrictSchema):
    """R17: whether all parts are in the store, and which are lacking."""

    in_store = fields.Flag(required=True)
    lacking = _texts()


VALUES: Final[dict[str, type[StrictSchema]]] = {
    "R1": BearingAnswered,
    "R2": SeatAnswered,
    "R3": ShaftAnswered,
    "R4": HousingAnswered,
    "R5": HeldAnswered,
    "R6": TemperatureAnswered,
    "R7": LoadAnswered,
    "R8": LubricationAnswered,
    "R9": CapTorqueAnswered,
    "R10": BaseAnswered,
    "R11": BookAnswered,
    "R12": StopLimitAnswered,
    "R13": AtHandAnswered,
    "R14": LiftingAnswered,
    "R15": InTheWayAnswered,
    "R16": InclinationAnswered,
    "R17": InStoreAnswered,
}


class GivenBase(StrictSchema):
    """Who answered, out of what."""

    position = fields.Text(80, metadata={"description": "Left out: the answer is for all positions it may be about"})
    answered_by = fields.Text(80, required=True)
    source = fields.Text(200, metadata={"description": "Drawing, book and page, person"})


def _given(question: str) -> type[StrictSchema]:
    """Return what is sent to answer one question."""
    members = {
        "question": fields.Choice((question,), required=True),
        "value": ma_fields.Nested(VALUES[question], required=True),
        "__doc__": f"An answer to {question}.",
    }
    return type(f"Answer{question}", (GivenBase,), members)


GIVEN: Final = tuple(_given(question) for question in VALUES)


class AnswersRequest(StrictSchema):
    """Answers of the office, kept together or not at all."""

    answers = fields.Array(fields.ByMember("question", GIVEN), required=True, validate=validate.Length(1, MOST_ANSWERS))


class ReleaseRequest(StrictSchema):
    """Who releases the order; why, where a red question is open."""

    released_by = fields.Text(80, required=True)
    reason = fields.Text(500)


class QuestionName(AnswerSchema):
    """A question by its id, and the position it is about."""

    id = word()
    position = word(null=True)


class Question(QuestionName):
    """One question to the office."""

    question = word()
    who = word()
    why = word()
    colour = ma_fields.String(required=True, metadata={"enum": ["red", "amber"]})
    override = ma_fields.Boolean(
        required=True, metadata={"description": "A named person may release the order while it is open"}
    )
    step = word(null=True, description="Id of the step in which it stands as a line to answer, released open")
    status = ma_fields.String(required=True, metadata={"enum": ["open", "answered", "not_needed"]})


class AnswerRead(AnswerSchema):
    """An answer as it was given."""

    id = word()
    question = word()
    position = word(null=True)
    value = ma_fields.Dict(required=True)
    answered_by = word()
    source = word(null=True)
    made_revision = ma_fields.Integer(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)


class QuestionRead(Question):
    """A question, and who answered it last."""

    answer = nested(AnswerRead, null=True)


class ReadinessSummary(AnswerSchema):
    """Whether an order is released, and which questions are open."""

    released = ma_fields.Boolean(
        required=True, metadata={"description": "A named person released it, or no red question is open"}
    )
    required = ma_fields.Boolean(required=True, metadata={"description": "The site wants its orders released"})
    released_by = word(null=True)
    released_at = ma_fields.DateTime(required=True, allow_none=True)
    reason = word(null=True)
    begun_unreleased = ma_fields.Boolean(required=True)
    red_open = nested(QuestionName, many=True)
    amber_open = nested(QuestionName, many=True)


class ReadinessRead(ReadinessSummary):
    """The readiness of an order with every question."""

    revision = ma_fields.Integer(required=True)
    questions = nested(QuestionRead, many=True)


class AnswersKept(AnswerSchema):
    """The answers as they were kept, the revision in force now, and the readiness."""

    items = nested(AnswerRead, many=True)
    revision = ma_fields.Integer(required=True)
    readiness = nested(ReadinessSummary)
