"""What is sent to /v1/charts and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import PageQuery, WriteQuery
from service.api.wire.answers import AnswerSchema, nested, quantity, word
from service.words import CHART_KINDS


class ProvenanceRead(AnswerSchema):
    """Where the numbers of a book come from."""

    title = word()
    edition = word()
    page = word()
    entered_by = word()
    checked_by = word()


class ChartLine(AnswerSchema):
    """One version of a chart, without its rows."""

    id = word()
    kind = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    bearing_type = word(null=True)
    bore_form = word(null=True)
    row_count = ma_fields.Integer(required=True)
    accepted_rows = ma_fields.List(ma_fields.Integer(), required=True)
    provenance = nested(ProvenanceRead)
    created_at = ma_fields.DateTime(required=True)
    sha256 = word()


class ChartRowRead(AnswerSchema):
    """A row of a chart; the kind of the chart says which members it has."""

    bore_over = quantity(required=False)
    bore_incl = quantity(required=False)
    min = quantity(required=False)
    max = quantity(required=False)
    clearance_class = word(required=False)
    taper = word(required=False)
    on_sleeve = ma_fields.Boolean(required=False)
    smallest_residual = ma_fields.Dict(required=False)
    housing = ma_fields.Dict(required=False)
    torque = quantity(required=False)
    bolt = ma_fields.Dict(required=False)
    name = word(required=False)
    seat_width = quantity(required=False)
    seat_bore = quantity(required=False)
    locating_rings = ma_fields.Dict(required=False)
    cap_bolts = ma_fields.Dict(required=False)
    accept_unusual = ma_fields.Boolean(required=False)
    reason = word(required=False)


class ChartRead(ChartLine):
    """One version of a chart."""

    rows = nested(ChartRowRead, many=True)


class ChartPage(AnswerSchema):
    """A page of charts."""

    items = nested(ChartLine, many=True)
    next = word(null=True)


class ChartWriteQuery(WriteQuery):
    """What is said about a chart that comes as CSV; JSON has it in its body."""

    kind = fields.Choice(CHART_KINDS, metadata={"description": "With CSV: kind of the chart"})
    name = fields.Text(80, metadata={"description": "With CSV: name of the chart"})
    title = fields.Text(200, metadata={"description": "With CSV: title of the book"})
    edition = fields.Text(80, metadata={"description": "With CSV: edition of the book"})
    page = fields.Text(40, metadata={"description": "With CSV: page of the book"})
    entered_by = fields.Text(80, metadata={"description": "With CSV: who entered the rows"})
    checked_by = fields.Text(80, metadata={"description": "With CSV: who checked them"})


class ChartQuery(PageQuery):
    """Filters of the list of charts."""

    kind = fields.Choice(CHART_KINDS)
    name = fields.Text(80)
    in_force = fields.Choice(
        ("true", "false"), metadata={"description": "true: the latest version of each chart; false: the earlier ones"}
    )
