"""What answers look like, for the OpenAPI document and for the tests that hold every answer against it.

Answers are plain dicts made from domain records; they are never dumped through these schemas. Clients must ignore
members they do not know, so the published schemas leave room for more; the tests do not.
"""

from typing import Any

from marshmallow import EXCLUDE, Schema
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.words import BEARING_TYPES, CLEARANCE_CLASSES, TAPERS, VERDICTS


class AnswerSchema(Schema):
    """Base of all answers: every member is always present unless it says otherwise."""

    class Meta:
        unknown = EXCLUDE


def quantity(*, null: bool = False, required: bool = True, **metadata: Any) -> fields.QuantityOut:
    """Return a quantity of an answer."""
    return fields.QuantityOut(required=required, allow_none=null, metadata=metadata)


def word(*, null: bool = False, required: bool = True, **metadata: Any) -> ma_fields.String:
    """Return a text of an answer."""
    return ma_fields.String(required=required, allow_none=null, metadata=metadata)


def nested(schema: type[Schema], *, null: bool = False, required: bool = True, many: bool = False) -> Any:
    """Return an object of an answer, or a list of them."""
    inner = ma_fields.Nested(schema)
    if many:
        return ma_fields.List(inner, required=required, allow_none=null)
    return ma_fields.Nested(schema, required=required, allow_none=null)


def words(*, required: bool = True) -> ma_fields.List:
    """Return a list of texts of an answer."""
    return ma_fields.List(ma_fields.String(), required=required)


class MissingFact(AnswerSchema):
    """A fact that a rule asks for and did not get."""

    field = word()
    position = word(required=False)
    why = word()
    how = word()


class BlockedFact(AnswerSchema):
    """Something that must not be done like this."""

    code = word()
    position = word(required=False)
    detail = word()
    facts = ma_fields.Dict(required=True)
    ways_out = words()


class WarnedFact(AnswerSchema):
    """Something that may be read later."""

    code = word()
    position = word(required=False)
    detail = word()


class SourceFact(AnswerSchema):
    """Where numbers come from."""

    id = word()
    title = word()
    kind = word()


class Findings(AnswerSchema):
    """What every calculation says besides its numbers."""

    missing = nested(MissingFact, many=True)
    blocked = nested(BlockedFact, many=True)
    warnings = nested(WarnedFact, many=True)
    sources = nested(SourceFact, many=True)


class BearingRead(AnswerSchema):
    """The bearing as it was understood."""

    designation = word(null=True)
    type = ma_fields.String(required=True, metadata={"enum": list(BEARING_TYPES)})
    series = word(null=True)
    bore = quantity()
    outside_diameter = quantity(null=True)
    width = quantity(null=True)
    taper = ma_fields.String(required=True, metadata={"enum": list(TAPERS)})
    clearance_class = ma_fields.String(required=True, metadata={"enum": list(CLEARANCE_CLASSES)})
    clearance_class_assumed = ma_fields.Boolean(required=True)
    unread_suffixes = words()


class Range(AnswerSchema):
    """A range with its source; limits are inclusive."""

    min = quantity()
    max = quantity()
    source = word()


class Bounds(AnswerSchema):
    """A range; limits are inclusive."""

    min = quantity()
    max = quantity()


class MeasuredRead(AnswerSchema):
    """The measured initial clearance and what it is worth: the mean of the rows, and each row."""

    value = quantity()
    rows = ma_fields.List(fields.QuantityOut(), required=True)
    verdict = ma_fields.String(required=True, metadata={"enum": list(VERDICTS)})
    position_in_range = ma_fields.Float(required=True, allow_none=True)
    fits_class = word(null=True, required=False)
    detail = word(required=False)
    next = word(required=False)


class Reduction(AnswerSchema):
    """How much of the clearance to take away."""

    min = quantity()
    max = quantity()
    aim = quantity(null=True)
    source = word()
    band_in_print = nested(Bounds, null=True)


class ResidualClearance(AnswerSchema):
    """The window for the clearance that is left."""

    min = quantity()
    max = quantity()
    aim = quantity(null=True)
    floor = quantity(null=True)
    source = word()
    floor_source = word(null=True)
    provisional = ma_fields.Boolean(required=True)


class Blades(AnswerSchema):
    """The blades to take: each list is one stack."""

    target = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    must_pass = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    must_not_pass = ma_fields.List(fields.QuantityOut(), required=True, allow_none=True)
    resolves = ma_fields.Boolean(required=True)


class AxialDisplacement(AnswerSchema):
    """How far the ring moves on the taper."""

    min = quantity()
    max = quantity()
    source = word()
    elastic = nested(Bounds, null=True)


class NutTurn(AnswerSchema):
    """How far the locknut turns from firm contact."""

    min = quantity()
    max = quantity()
    thread = word()


class Fit(AnswerSchema):
    """The fit that the reduction stands for: a check, never a target."""

    interference = nested(Bounds)
    contact_pressure = nested(Bounds, null=True)
    bore_hoop_stress = nested(Bounds, null=True)
    interference_needed = quantity(null=True)
    sufficient = ma_fields.Boolean(required=True, allow_none=True)
    source = word()


class OperatingClearance(AnswerSchema):
    """The clearance in service, and the smallest class that keeps it above zero."""

    min = quantity()
    max = quantity()
    loss = quantity()
    temperature_difference = quantity()
    smallest_class = word(null=True)
    source = word()


class WitnessEstimate(AnswerSchema):
    """What one witness says the reduction is."""

    method = word()
    reduction = quantity()
    standard_deviation = quantity()


class Witnesses(AnswerSchema):
    """What blades, axial displacement and nut turn say together."""

    estimates = nested(WitnessEstimate, many=True)
    reduction = quantity()
    reduction_standard_deviation = quantity()
    residual_clearance = quantity()
    residual_standard_deviation = quantity()
    chi_square = ma_fields.Float(required=True)
    degrees_of_freedom = ma_fields.Integer(required=True)
    probability_of_agreement = ma_fields.Float(required=True, allow_none=True)
    agree = ma_fields.Boolean(required=True, allow_none=True)
    contradicts = word(null=True)
    probability_inside = ma_fields.Float(required=True, allow_none=True)
    worth_measuring = word(null=True)
    source = word()


class ClearanceTargets(Findings):
    """Clearance targets for one bearing."""

    bearing = nested(BearingRead)
    initial_clearance = nested(Range, null=True)
    measured = nested(MeasuredRead, null=True)
    reduction = nested(Reduction, null=True)
    residual_clearance = nested(ResidualClearance, null=True)
    blades = nested(Blades, null=True)
    axial_displacement = nested(AxialDisplacement, null=True)
    nut_turn = nested(NutTurn, null=True)
    fit = nested(Fit, null=True)
    operating_clearance = nested(OperatingClearance, null=True)
    witnesses = nested(Witnesses, null=True, required=False)


class Travel(AnswerSchema):
    """How far a free bearing can move in its seat, and how far it must."""

    total = quantity()
    needed = quantity(null=True)
    available = quantity(null=True)
    limited_by = ma_fields.String(required=True, metadata={"enum": ["seat", "seals"]})


class Offset(AnswerSchema):
    """Where to set a free bearing off the centre of its seat."""

    min = quantity()
    max = quantity()
    aim = quantity()
    direction = word()


class RingSet(AnswerSchema):
    """Locating rings of one housing."""

    count = ma_fields.Integer(required=True)
    width = quantity(null=True)


class Decision(AnswerSchema):
    """What decided a role, what would change it, and the question when it is open."""

    facts = ma_fields.Dict(required=True)
    would_change = words()
    question = word(null=True)


class Gaps(AnswerSchema):
    """Room between the outer ring and the ends of its seat, on either side."""

    minus = quantity()
    plus = quantity()


class GapsByState(AnswerSchema):
    """The room in each state of the machine, as far as it is known."""

    cold = nested(Gaps, required=False)
    service = nested(Gaps, required=False)
    heat_up = nested(Gaps, required=False)
    cool_down = nested(Gaps, required=False)


class SettingGapRead(Bounds):
    """The gap between outer ring and shoulder to leave on one side when the bearing is set."""

    side = word()
    aim = quantity()


class SettingCorrection(AnswerSchema):
    """How the setting moves when the steel is warmer or colder than the assembly temperature."""

    per_10_k = quantity()
    direction = word()
    correction = quantity(null=True)


class ExpansionRead(AnswerSchema):
    """How a support moves, and where its bearing stands cold and hot."""

    heat_up = quantity(null=True)
    cool_down = quantity(null=True)
    governed_by = word(null=True)
    gaps = nested(GapsByState, null=True)
    setting_gap = nested(SettingGapRead, null=True)
    setting_correction = nested(SettingCorrection, null=True)


class SupportRead(AnswerSchema):
    """One support of the shaft: its role and how it is set."""

    name = word()
    role = ma_fields.String(required=True, allow_none=True)
    reason = word()
    rule = word()
    growth = quantity(null=True)
    direction = ma_fields.String(required=True, allow_none=True)
    travel = nested(Travel, null=True)
    setting = ma_fields.String(required=True, allow_none=True)
    offset = nested(Offset, null=True)
    locating_rings = nested(RingSet, null=True)
    ring_sides = words()
    decision = nested(Decision)
    expansion = nested(ExpansionRead, null=True)


class ArrangementRead(Findings):
    """Which support locates the shaft and which are free."""

    supports = nested(SupportRead, many=True)
    held_force = quantity(null=True, required=False)
    slip_force = quantity(null=True, required=False)


class Preload(AnswerSchema):
    """What a torque does to a bolt."""

    nominal = quantity()
    min = quantity()
    max = quantity()


class BoltRead(AnswerSchema):
    """The bolts of the cap, as far as they are known."""

    thread = word()
    grade = word(null=True)
    count = ma_fields.Integer(required=True, allow_none=True)


class Band(AnswerSchema):
    """A band of pure numbers."""

    min = ma_fields.Float(required=True)
    max = ma_fields.Float(required=True)


class NutFactorRead(Band):
    """The nut factor K that the check rests on."""

    nominal = ma_fields.Float(required=True)
    state = word(required=False)


class Stage(AnswerSchema):
    """One round of tightening."""

    percent = ma_fields.Float(required=True)
    torque = quantity()


class WrenchRead(AnswerSchema):
    """What to set the torque wrench to."""

    setting = quantity(null=True)
    first_setting = quantity(null=True)
    suitable = ma_fields.Boolean(required=True, allow_none=True)
    needed = nested(Bounds, null=True)


class CapBoltTorqueRead(Findings):
    """Cap bolt torque, its confidence, and what it does to the bolt."""

    torque = quantity(null=True)
    confidence = word()
    bolt = nested(BoltRead, null=True)
    preload = nested(Preload, null=True)
    nut_factor = nested(NutFactorRead, null=True)
    share_of_proof = ma_fields.Float(required=True, allow_none=True)
    share_of_proof_band = nested(Band, null=True)
    stages = nested(Stage, many=True)
    sequence = words()
    wrench = nested(WrenchRead, null=True)
