"""What was found, and deviations, as callers send them and as they are answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import PageQuery, StrictSchema, UnitsQuery
from service.api.orders.entries.reading_schemas import HoldPointRead
from service.api.wire.answers import AnswerSchema, WarnedFact, nested, quantity, word, words
from service.use_cases.orders.found import CREEP, FORM_LINES, RING_MOVES
from service.words import LUBRICATIONS, SIDES


class RingFound(StrictSchema):
    """A locating ring that lies in this block."""

    side = fields.Choice(SIDES, required=True)
    width = fields.QuantityField("dimension", above=0, most=500, keep=True)


class RowFound(StrictSchema):
    """The clearance of the old bearing in one row of rollers, as it sat: the thickest blade that passes."""

    value = fields.QuantityField("clearance", least=0, most=100, keep=True, required=True)
    row = fields.Whole(1, 2)


class LoadMark(StrictSchema):
    """The mark that the load left on a ring, by the clock as one looks along the shaft from the held bearing."""

    ring = fields.Choice(("outer", "inner"), required=True)
    row = fields.Whole(1, 2)
    from_ = fields.Whole(1, 12, data_key="from", attribute="from")
    to = fields.Whole(1, 12)
    pattern = fields.Choice(("band", "all_round", "two_opposite", "slanting", "one_place", "none"), required=True)


class GreaseFound(StrictSchema):
    """The grease in the block."""

    amount = fields.Choice(("none", "some", "full"))
    state = fields.Choice(("soft", "dark", "hard"))
    water = fields.Flag()
    metal = fields.Flag()


class AsFoundRequest(StrictSchema):
    """What was found at a position before anything was touched; rings, nut side and lubrication override the record.

    Nothing is mandatory; what was not looked at is named in `not_looked_at`.
    """

    position = fields.Text(80, required=True)
    rings = fields.Array(
        ma_fields.Nested(RingFound),
        validate=validate.Length(max=4),
        metadata={"description": "Locating rings in this block; empty: none"},
    )
    gap_in = fields.QuantityField("dimension", least=0, most=1000, keep=True)
    gap_out = fields.QuantityField("dimension", least=0, most=1000, keep=True)
    ring_moves = fields.Choice(RING_MOVES, metadata={"description": "How the outer ring slides in its seat by hand"})
    seat_tight = fields.Flag(
        metadata={"description": "true: it still does not slide by hand after the seat was stoned"}
    )
    clearance = fields.Array(ma_fields.Nested(RowFound), validate=validate.Length(1, 12))
    load_mark = fields.Array(ma_fields.Nested(LoadMark), validate=validate.Length(max=8))
    creep = fields.Array(fields.Choice(CREEP), validate=validate.Length(max=3))
    grease = ma_fields.Nested(GreaseFound)
    lubrication = fields.Choice(LUBRICATIONS)
    break_away = fields.Array(
        fields.QuantityField("torque", least=0, most=1e6, keep=True),
        validate=validate.Length(1, 12),
        metadata={"description": "Torque at which each cap bolt broke loose"},
    )
    locknut_side = fields.Choice(SIDES)
    nut = fields.Choice(("tight", "loose"))
    tab = fields.Choice(("whole", "broken"))
    seals = fields.Choice(("whole", "worn", "torn", "missing"))
    seat_spacing = fields.QuantityField("distance", above=0, most=1e6, keep=True)
    sleeve_to_shoulder = fields.QuantityField("dimension", least=0, most=10_000, keep=True)
    marks = fields.Text(200, metadata={"description": "Marks on the rings of the old bearing"})
    photos = fields.Array(fields.Text(200), validate=validate.Length(max=50))
    notes = fields.Text(2000, lines=True)
    not_looked_at = fields.Array(fields.Choice(FORM_LINES), validate=validate.Length(max=len(FORM_LINES)))
    taken_at = fields.PastTime()
    taken_by = fields.Text(80)


class RingFoundRead(AnswerSchema):
    """A locating ring that lay in this block."""

    side = word()
    width = quantity(required=False)


class RowFoundRead(AnswerSchema):
    """The clearance of the old bearing in one row of rollers."""

    value = quantity()
    row = ma_fields.Integer(required=False)


class LoadMarkRead(AnswerSchema):
    """The mark that the load left on a ring."""

    ring = word()
    row = ma_fields.Integer(required=False)
    from_ = ma_fields.Integer(required=False, data_key="from")
    to = ma_fields.Integer(required=False)
    pattern = word()


class GreaseFoundRead(AnswerSchema):
    """The grease in the block."""

    amount = word(required=False)
    state = word(required=False)
    water = ma_fields.Boolean(required=False)
    metal = ma_fields.Boolean(required=False)


class AsFoundRead(AnswerSchema):
    """What was found at a position; members that were not sent are left out."""

    id = word()
    position = word()
    made_revision = ma_fields.Integer(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)
    rings = nested(RingFoundRead, many=True, required=False)
    gap_in = quantity(required=False)
    gap_out = quantity(required=False)
    ring_moves = word(required=False)
    seat_tight = ma_fields.Boolean(required=False)
    clearance = nested(RowFoundRead, many=True, required=False)
    load_mark = nested(LoadMarkRead, many=True, required=False)
    creep = words(required=False)
    grease = nested(GreaseFoundRead, required=False)
    lubrication = word(required=False)
    break_away = ma_fields.List(fields.QuantityOut(), required=False)
    locknut_side = word(required=False)
    nut = word(required=False)
    tab = word(required=False)
    seals = word(required=False)
    seat_spacing = quantity(required=False)
    sleeve_to_shoulder = quantity(required=False)
    marks = word(required=False)
    photos = words(required=False)
    notes = word(required=False)
    not_looked_at = words(required=False)
    sent_as = word(required=False)
    taken_at = ma_fields.DateTime(required=False)
    taken_by = word(required=False)


class AsFoundAnswer(AsFoundRead):
    """What was found, the revision in force now, and the hold points that are open."""

    warnings = nested(WarnedFact, many=True)
    revision = ma_fields.Integer(required=True)
    hold_points_open = nested(HoldPointRead, many=True)


class AsFoundPage(AnswerSchema):
    """What was found, as it was entered."""

    items = nested(AsFoundRead, many=True)
    next = word(null=True)


class DeviationRequest(StrictSchema):
    """Another person lets a step pass that was not done as the instructions ask."""

    step = fields.OneOf(
        [
            (fields.is_text, fields.Text(120)),
            (lambda value: isinstance(value, int), fields.Whole(1, 999_999)),
        ],
        expected="the number of a step of the latest revision, or its id",
        required=True,
    )
    position = fields.Text(80)
    reason = fields.Text(2000, required=True)
    approved_by = fields.Text(80, required=True)
    taken_by = fields.Text(80, metadata={"description": "Who did the work of this step"})


class DeviationRead(AnswerSchema):
    """A deviation on record."""

    id = word()
    entry = ma_fields.Integer(required=True)
    step = word()
    position = word(null=True)
    revision = ma_fields.Integer(required=True)
    reason = word()
    approved_by = word()
    taken_by = word(null=True)
    created_at = ma_fields.DateTime(required=True)


class DeviationAnswer(DeviationRead):
    """A deviation, and the hold points that are still open."""

    hold_points_open = nested(HoldPointRead, many=True)


class DeviationPage(AnswerSchema):
    """Deviations as they were approved."""

    items = nested(DeviationRead, many=True)
    next = word(null=True)


class EntryQuery(PageQuery, UnitsQuery):
    """Query of the lists of an order's entries."""
