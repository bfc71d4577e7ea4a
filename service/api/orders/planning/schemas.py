"""What planning looks like in a plan, and job packs."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import StrictSchema, UnitsQuery
from service.api.wire.answers import AnswerSchema, nested, quantity, word, words
from service.words import LEVELS, PAPER_SIZES

MOST_ORDERS = 50


class PartRead(AnswerSchema):
    """A part to have at hand; those that are alike stand once."""

    kind = word()
    positions = words()
    said = word()
    size = ma_fields.Dict(required=True, metadata={"description": "Its dimensions by name, each a quantity"})
    count = ma_fields.Integer(required=True, allow_none=True)
    amount = quantity(null=True)
    mass = quantity(null=True, description="Of one, as printed: ten per cent over the estimate")
    note = word(null=True)


class ToolRead(AnswerSchema):
    """A tool that the steps of this job ask for, and the size it must reach."""

    said = word()
    reach = word(null=True)
    steps = words()


class MassRead(AnswerSchema):
    """What is lifted, how heavy it is as printed, and by whom or what."""

    what = ma_fields.String(required=True, metadata={"enum": ["bearing", "rotor"]})
    position = word(null=True)
    mass = quantity(null=True)
    handling = ma_fields.String(
        required=True, allow_none=True, metadata={"enum": ["by_hand", "two_people", "hoist", None]}
    )


class LiftingRead(AnswerSchema):
    """How high the shaft is lifted, and how far one end of it alone at most."""

    rotor_mass = quantity(null=True)
    lift_height = quantity(null=True)
    lift_limit = quantity(null=True)


class GreaseRead(AnswerSchema):
    """What one block takes: by the grams of its book, else estimated."""

    position = word()
    name = word(null=True)
    lubrication = word()
    bearing = quantity(null=True)
    housing = quantity(null=True)
    drawn = quantity(null=True)
    by_book = ma_fields.Boolean(required=True)


class TighteningRead(AnswerSchema):
    """How a nut is turned, and the force and torque that it takes at the largest reduction."""

    position = word()
    way = word()
    force = quantity(null=True)
    torque = quantity(null=True)
    oil = ma_fields.String(required=True, allow_none=True, metadata={"enum": ["helps", "asked", None]})


class FreeingRead(AnswerSchema):
    """How a sleeve is freed."""

    position = word()
    way = word()


class PhaseHours(AnswerSchema):
    """Clock hours of one phase; ``own`` where the site set them."""

    phase = word()
    hours = quantity()
    own = ma_fields.Boolean(required=True)


class HoursRead(AnswerSchema):
    """Clock hours: assumptions that a site replaces by its own."""

    size = word(null=True)
    phases = nested(PhaseHours, many=True)
    total = quantity(null=True)
    said = word()


class CrewRead(AnswerSchema):
    """Who is needed."""

    fitters = ma_fields.Integer(required=True)
    crane_driver = ma_fields.Boolean(required=True)


class PlanningRead(AnswerSchema):
    """What whoever plans the job needs: parts, tools, masses, grease, ways, hours and crew."""

    parts = nested(PartRead, many=True)
    tools = nested(ToolRead, many=True)
    masses = nested(MassRead, many=True)
    lifting = nested(LiftingRead)
    grease = nested(GreaseRead, many=True)
    tightening = nested(TighteningRead, many=True)
    freeing = nested(FreeingRead, many=True)
    hours = nested(HoursRead)
    crew = nested(CrewRead, null=True)


class PackRequest(StrictSchema):
    """The open orders of one machine or one shutdown."""

    orders = fields.Array(fields.Identifier(), required=True, validate=validate.Length(1, MOST_ORDERS))


class PackQuery(UnitsQuery):
    """How a pack is printed."""

    paper = fields.Choice(
        PAPER_SIZES, metadata={"description": "Paper of the PDF; Letter for inch units, A4 for metric when left out"}
    )
    level = fields.Choice(
        LEVELS, metadata={"description": "How much the sheets of each order in the PDF say; brief when left out"}
    )


class PackedExternal(AnswerSchema):
    """The order's number in the system that opened it."""

    system = word()
    number = word()


class OpenQuestion(AnswerSchema):
    """A red question that is open."""

    id = word()
    position = word(null=True)


class PackedOrder(AnswerSchema):
    """One order of a pack."""

    id = word()
    external = nested(PackedExternal)
    asset = word()
    shaft = word()
    positions = words()
    kind = word()
    released = ma_fields.Boolean(required=True)
    red_open = nested(OpenQuestion, many=True)
    blocked = words()
    hours = quantity(null=True)


class PackedPart(PartRead):
    """A part of a pack, and the orders it is for."""

    orders = words()


class PackedTool(AnswerSchema):
    """A tool of a pack, and everything it must reach."""

    said = word()
    reaches = words()
    orders = words()


class PackLine(AnswerSchema):
    """One shaft in the order of work: its orders, held end first."""

    place = ma_fields.Integer(required=True)
    asset = word()
    shaft = word()
    orders = words()
    held = word(null=True)
    free = words()
    positions = words()
    shared_lift = ma_fields.Boolean(required=True)
    hoist = ma_fields.Boolean(required=True)
    hours = quantity(null=True)
    said = word()


class PackHours(AnswerSchema):
    """Clock hours of the whole pack."""

    total = quantity(null=True)
    said = word()


class PackRead(AnswerSchema):
    """Several orders planned together."""

    orders = nested(PackedOrder, many=True)
    parts = nested(PackedPart, many=True)
    tools = nested(PackedTool, many=True)
    sequence = nested(PackLine, many=True)
    hours = nested(PackHours)
    crew = nested(CrewRead, null=True)
