"""What instructions look like, for the OpenAPI document and the tests."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import UnitsQuery
from service.api.orders.planning.schemas import PlanningRead
from service.api.orders.readiness.schemas import Question
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
    form = quantity(required=False)


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


class LastBearing(AnswerSchema):
    """The last bearing in a position: how long it ran, and how it ended."""

    designation = word()
    manufacturer = word(null=True)
    serial = word(null=True)
    installed_at = ma_fields.DateTime(required=True)
    removed_at = ma_fields.DateTime(required=True, allow_none=True)
    end_type = word()
    damage = words()
    cause = word(null=True)
    operating_hours = ma_fields.Float(required=True, allow_none=True)
    calendar_hours = ma_fields.Float(required=True)


class LastOrder(AnswerSchema):
    """The order that fitted it, as far as it is on record here."""

    id = word(null=True)
    number = word(null=True)
    completed_by = word(null=True)


class LastReplaced(AnswerSchema):
    """How the bearing before it ended."""

    end_type = word()
    damage = words()
    cause = word(null=True)


class LastSet(AnswerSchema):
    """What the plan set then."""

    designation = word(null=True)
    clearance_class = word(null=True)
    residual_aim = quantity(null=True)
    role = word(null=True)
    rings = ma_fields.Integer(required=True, allow_none=True)
    ring_width = quantity(null=True)
    gap_aim = quantity(null=True)
    gap_side = word(null=True)
    cap_torque = quantity(null=True)


class Difference(AnswerSchema):
    """Where the new plan sets something otherwise than the last one."""

    what = word()
    before = ma_fields.Raw(required=True)
    now = ma_fields.Raw(required=True)


class LastTime(AnswerSchema):
    """What was read, found and set at a position before."""

    position = word()
    bearing = nested(LastBearing)
    order = nested(LastOrder)
    replaced = nested(LastReplaced, null=True)
    read = ma_fields.List(ma_fields.Dict(), required=True)
    found = ma_fields.Dict(required=True)
    set = nested(LastSet, null=True)
    differs = nested(Difference, many=True)


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


class RunIn(AnswerSchema):
    """At which temperature the machine is stopped while it runs in; `default`: the site names no limit of its own."""

    stop_limit = quantity()
    default = ma_fields.Boolean(required=True)
    room = quantity()


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
    run_in = nested(RunIn)
    planning = nested(PlanningRead)
    readiness = nested(Question, many=True)
    last_time = nested(LastTime, many=True)
    sha256 = word()


class CardQuery(UnitsQuery):
    """How the instructions are written."""

    width = fields.Whole(40, 132, in_query=True, load_default=72, metadata={"description": "Columns of the text card"})
    ascii = fields.Choice(
        ("true", "false"), load_default="true", metadata={"description": "true: the text card in 7-bit ASCII"}
    )
    paper = fields.Choice(
        PAPER_SIZES,
        metadata={
            "description": "Paper of the PDF; Letter for inch units, A4 for metric when left out. HTML becomes the "
            "print view of the same sheets when it is given"
        },
    )
    level = fields.Choice(
        LEVELS,
        metadata={
            "description": "How much is said. brief: the numbers and one line a step; standard: the text of each step "
            "too; full: reasons, sources and every figure too. Left out: standard; brief for a PDF and the print view"
        },
    )
