"""What instructions look like, for the OpenAPI document and the tests."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import UnitsQuery
from service.api.wire.answers import (
    AnswerSchema,
    ArrangementRead,
    Band,
    BearingRead,
    CapBoltTorqueRead,
    ClearanceTargets,
    Findings,
    nested,
    quantity,
    word,
    words,
)
from service.words import LEVELS, PAPER_SIZES


class Limits(AnswerSchema):
    """Limits of a reading at one position, or at every one; null where there is none on that side."""

    position = word(null=True)
    min = quantity(null=True)
    max = quantity(null=True)
    aim = quantity(null=True)


class RecordAsked(AnswerSchema):
    """What the mechanic writes down at a step; no limits where none are known."""

    kind = word()
    unit = word(null=True)
    limits = nested(Limits, many=True)


class StepText(AnswerSchema):
    """What a step says: in short, as a rule, and what a new hand reads besides."""

    brief = word()
    standard = word()
    full = word()


class StepTextAt(AnswerSchema):
    """What a step says differently at one position."""

    position = word()
    text = word()


class Step(AnswerSchema):
    """One numbered step, in the one walking order; a hold is signed, a STOP must not be passed."""

    number = ma_fields.Integer(required=True)
    id = word()
    per = ma_fields.String(required=True, metadata={"enum": ["once", "each", "held", "free"]})
    positions = words()
    phase = word()
    title = ma_fields.String(required=True, metadata={"maxLength": 40})
    text = nested(StepText)
    by_position = nested(StepTextAt, many=True)
    hold = ma_fields.Integer(required=True, allow_none=True, metadata={"minimum": 1, "maximum": 9})
    stop = word(null=True)
    record = nested(RecordAsked, null=True)
    cautions = words()
    tools = words()
    parts = words()
    rule = word()
    sources = words()


class Phase(AnswerSchema):
    """A part of the work, with the title under which its steps stand."""

    id = word()
    title = word()


class HeldPlace(AnswerSchema):
    """Where the held bearing stands."""

    position = word()
    nut_side = word(null=True)
    off_centre = quantity(null=True)
    setting = word(null=True)
    displacement = quantity(null=True)


class Spacing(AnswerSchema):
    """How far apart seats and bearings stand, and what a tape may err."""

    seats = quantity(null=True)
    seats_read = ma_fields.Boolean(required=True)
    bearings = quantity(null=True)
    edges = quantity(null=True)
    change = quantity(null=True)
    held_off_centre = quantity(null=True)
    free_off_centre = quantity(null=True)
    allowed_error = quantity(null=True)
    tape_uncertainty = quantity(null=True)
    tape_can_decide = ma_fields.Boolean(required=True, allow_none=True)
    min = quantity(null=True)
    max = quantity(null=True)


class GapLimits(AnswerSchema):
    """Limits of a gap."""

    min = quantity()
    max = quantity()


class FreePlace(AnswerSchema):
    """Where a free bearing stands: its gap before and after the nut is turned, and who moves what."""

    position = word()
    gap_side = word(null=True)
    nut_side = word(null=True)
    out = word(null=True)
    gap_before = quantity(null=True)
    gap_before_limits = nested(GapLimits, null=True)
    gap_aim = quantity(null=True)
    gap_limits = nested(GapLimits, null=True)
    growth_known = ma_fields.Boolean(required=True)
    displacement = quantity(null=True)
    way = word(null=True)
    spacing = nested(Spacing, null=True)


class Lift(AnswerSchema):
    """How high the shaft is lifted level, and one end alone."""

    lift_height = quantity(null=True)
    lift_limit = quantity(null=True)


class PlacementRead(AnswerSchema):
    """Where held and free bearings are placed, and how far the shaft may be lifted."""

    held = nested(HeldPlace)
    spacing = nested(Spacing, null=True)
    free = nested(FreePlace, many=True)
    lift = nested(Lift, null=True)


class BladeRow(AnswerSchema):
    """What two readings of the initial clearance leave: the window, and one stack for each list of blades."""

    rows = ma_fields.List(fields.QuantityOut(), required=True)
    min = quantity(null=True)
    max = quantity(null=True)
    target = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    must_pass = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    must_not_pass = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    blocked = word(null=True)


class SizeOutside(AnswerSchema):
    """The nearest size of the blade set outside the class, and what is said of it."""

    size = quantity()
    verdict = word()


class BladeTable(AnswerSchema):
    """Every reading that the blade set can give inside the class, judged before; no rows where they are too many."""

    rows = nested(BladeRow, many=True)
    every_pair = ma_fields.Boolean(required=True, metadata={"description": "false: only rows that read alike"})
    below = nested(SizeOutside, null=True)
    above = nested(SizeOutside, null=True)


class PositionTargets(ClearanceTargets):
    """Clearance targets of one position; all null while its bearing is not known."""

    position = word()
    bearing = nested(BearingRead, null=True)
    blade_table = nested(BladeTable, null=True)


class PositionBolting(CapBoltTorqueRead):
    """Cap bolt torque of one position."""

    position = word()


class BaseBoltsRead(AnswerSchema):
    """Torque of the base bolts of one position, computed as of an ordinary joint; the housing maker's book is first."""

    position = word()
    thread = word()
    grade = word(null=True)
    count = ma_fields.Integer(required=True, allow_none=True)
    torque = quantity(null=True)
    computed = ma_fields.Boolean(required=True)
    preload = quantity(null=True)
    share_of_proof_band = nested(Band, null=True)


class Part(AnswerSchema):
    """A part to have at hand."""

    position = word(null=True)
    name = word()
    count = ma_fields.Integer(required=True, allow_none=True)


class Instructions(Findings):
    """The complete job instructions; immutable, a change makes a new revision."""

    id = word()
    revision = ma_fields.Integer(required=True)
    supersedes = ma_fields.Integer(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)
    data_version = word()
    engine_version = word()
    units = word()
    asset = word()
    asset_name = word()
    shaft = word()
    positions = words()
    kind = word()
    phases = nested(Phase, many=True)
    steps = nested(Step, many=True)
    targets = nested(PositionTargets, many=True)
    arrangement = nested(ArrangementRead, null=True)
    placement = nested(PlacementRead, null=True)
    bolting = nested(PositionBolting, many=True)
    base_bolts = nested(BaseBoltsRead, many=True)
    parts = nested(Part, many=True)
    tools = words()
    sha256 = word()


class CardQuery(UnitsQuery):
    """How the instructions are written."""

    width = fields.Whole(40, 132, in_query=True, load_default=72, metadata={"description": "Columns of the text card"})
    ascii = fields.Choice(
        ("true", "false"), load_default="true", metadata={"description": "true: the text card in 7-bit ASCII"}
    )
    paper = fields.Choice(
        PAPER_SIZES,
        metadata={"description": "Paper of the PDF; Letter for inch units, A4 for metric when left out"},
    )
    level = fields.Choice(
        LEVELS,
        metadata={
            "description": "How much is printed. brief: the sheets; standard: the standard texts too; full: reasons, "
            "sources and every figure too. A PDF is brief when left out; HTML becomes its print view when given"
        },
    )
