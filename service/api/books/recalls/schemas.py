"""What is said in a recall, and what is answered."""

from marshmallow import fields as ma_fields

from service.api.books.schemas import ChartRows
from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, quantity, word, words
from service.instructions.books.recall import VERDICTS


class Bores(StrictSchema):
    """Bores over < d <= incl."""

    over = fields.QuantityField("dimension", least=0, most=5000, required=True)
    incl = fields.QuantityField("dimension", above=0, most=5000, required=True)


class RecallRequest(StrictSchema):
    """What is wrong with a book: the bores it concerns, and the rows as they should have been."""

    reason = fields.Text(500, required=True)
    bores = ma_fields.Nested(Bores, metadata={"description": "Only bearings of these bores"})
    corrected = ma_fields.Nested(
        ChartRows,
        metadata={"description": "The rows as they should be, each in full; only bearings that they cover are named"},
    )


class TableRecallRequest(RecallRequest):
    """What is wrong with a built-in table."""

    data_version = fields.Text(40, metadata={"description": "Only instructions made with this version of the tables"})


class BookRecalled(AnswerSchema):
    """What was recalled."""

    table = ma_fields.String(required=True, metadata={"enum": ["chart", "housing", "table"]})
    id = word()
    title = word()
    kind = word(null=True)
    version = word(null=True, description="Of a book its version, of a built-in table the data version that was named")


class RecallCounts(AnswerSchema):
    """How many bearings."""

    running = ma_fields.Integer(required=True, metadata={"description": "Bearings that run now at this site"})
    with_instructions = ma_fields.Integer(
        required=True,
        metadata={"description": "of these, mounted by instructions on record; of the others we know nothing"},
    )
    mounted_by_it = ma_fields.Integer(required=True, metadata={"description": "of these, by the rows in question"})
    outside = ma_fields.Integer(required=True)
    inside = ma_fields.Integer(required=True)
    not_known = ma_fields.Integer(required=True)
    not_compared = ma_fields.Integer(required=True, metadata={"description": "no corrected rows were sent"})
    not_listed = ma_fields.Integer(required=True, metadata={"description": "counted, but beyond the list"})


class LimitsRead(AnswerSchema):
    """Two limits, both inside."""

    min = quantity()
    max = quantity()


class ExternalNumber(AnswerSchema):
    """The order as the maintenance system knows it."""

    system = word()
    number = word()


class RecalledOrder(AnswerSchema):
    """A work order with its instructions in force."""

    id = word()
    external = nested(ExternalNumber)
    asset = word()
    revision = ma_fields.Integer(required=True)
    link = word()


class OpenOrder(RecalledOrder):
    """An open order whose instructions go by the rows in question."""

    positions = words()


class RecalledBearing(AnswerSchema):
    """A bearing that runs now and was mounted by the rows in question."""

    rank = ma_fields.Integer(required=True)
    verdict = ma_fields.String(required=True, metadata={"enum": list(VERDICTS)})
    outside_by = quantity(null=True)
    detail = word()
    position = word()
    stay = word()
    designation = word()
    serial = word(null=True)
    installed_at = ma_fields.DateTime(required=True)
    used = words()
    data_version = word()
    reading = word(null=True)
    read = ma_fields.List(fields.QuantityOut(), required=True)
    window_as_mounted = nested(LimitsRead, null=True)
    corrected = nested(LimitsRead, null=True)
    work_order = nested(RecalledOrder)


class RecallRead(AnswerSchema):
    """Which bearings a book has mounted, the worst first."""

    book = nested(BookRecalled)
    reason = word()
    compared = ma_fields.Boolean(required=True)
    counts = nested(RecallCounts)
    items = nested(RecalledBearing, many=True)
    open_work_orders = nested(OpenOrder, many=True)
