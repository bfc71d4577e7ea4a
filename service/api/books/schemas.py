"""Charts and housings of a site as they are entered: their provenance and their rows, by kind of chart."""

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, post_load, validate, validates_schema
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.bolts import Bolts
from service.api.wire.objects import HousingByName, HousingBySize, LocatingRings
from service.instructions.books.books import CAP_BOLT_TORQUE, HOUSING
from service.mounting.charts import AXIAL_DISPLACEMENT, INITIAL_CLEARANCE, NUT_TURN, REDUCTION
from service.mounting.charts import KINDS as BEARING_KINDS
from service.words import BEARING_TYPES, CHART_KINDS, CLEARANCE_CLASSES, SLEEVE_TAPERS

BORE_FORMS = ("tapered", "cylindrical")
MOST_ROWS = 2000


class Provenance(StrictSchema):
    """Where the numbers come from: a book with edition and page, who entered them and who checked them."""

    title = fields.Text(200, required=True)
    edition = fields.Text(80, required=True)
    page = fields.Text(40, required=True)
    entered_by = fields.Text(80, required=True)
    checked_by = fields.Text(80, required=True)


class Accepted(StrictSchema):
    """What lets an unusual row stand."""

    accept_unusual = fields.Flag(
        metadata={"description": "true: the row stands though it is unusual; needs a reason, stored with it"}
    )
    reason = fields.Text(500)


class BoreRow(Accepted):
    """A row for bores over < d <= incl."""

    bore_over = fields.QuantityField("dimension", least=0, most=5000, keep=True, required=True)
    bore_incl = fields.QuantityField("dimension", above=0, most=5000, keep=True, required=True)


def _clearance(**kwargs: Any) -> fields.QuantityField:
    return fields.QuantityField("clearance", above=0, most=10, keep=True, **kwargs)


class ResidualByClass(StrictSchema):
    """Smallest residual clearance by clearance class."""

    C2 = _clearance()
    CN = _clearance()
    C3 = _clearance()
    C4 = _clearance()
    C5 = _clearance()


class ReductionRow(BoreRow):
    """Reduction of the radial internal clearance, and what must be left."""

    min = _clearance(required=True)
    max = _clearance(required=True)
    smallest_residual = ma_fields.Nested(ResidualByClass)


class InitialClearanceRow(BoreRow):
    """Initial clearance of one clearance class."""

    clearance_class = fields.Choice(CLEARANCE_CLASSES, required=True)
    min = _clearance(required=True)
    max = _clearance(required=True)


class TaperRow(BoreRow):
    """A row for one taper, on a sleeve or on the shaft."""

    taper = fields.Choice(SLEEVE_TAPERS, required=True)
    on_sleeve = fields.Flag(required=True)


class DisplacementRow(TaperRow):
    """Axial displacement from firm contact."""

    min = fields.QuantityField("displacement", above=0, most=100, keep=True, required=True)
    max = fields.QuantityField("displacement", above=0, most=100, keep=True, required=True)


class NutTurnRow(TaperRow):
    """Turn of the locknut from firm contact."""

    min = fields.QuantityField("angle", above=0, most=3600, keep=True, required=True)
    max = fields.QuantityField("angle", above=0, most=3600, keep=True, required=True)


class TorqueRow(Accepted):
    """Cap bolt torque of a housing."""

    housing = fields.OneOf(
        [
            (fields.has("size"), ma_fields.Nested(HousingBySize)),
            (fields.has("name"), ma_fields.Nested(HousingByName)),
        ],
        expected="a housing: {size, dimensions, seat_design?} or {name}",
        required=True,
    )
    torque = fields.QuantityField("torque", above=0, most=1e6, keep=True, required=True)
    bolt = ma_fields.Nested(Bolts)


class CapBolts(Bolts):
    """The cap bolts of a housing, and their torque in its maker's book."""

    torque = fields.QuantityField("torque", above=0, most=1e6, keep=True)


class HousingRow(Accepted):
    """A housing as its maker's book gives it."""

    name = fields.Text(80, required=True)
    seat_width = fields.QuantityField("dimension", above=0, most=2000, keep=True, required=True)
    seat_bore = fields.QuantityField("dimension", above=0, most=5000, keep=True, required=True)
    locating_rings = ma_fields.Nested(LocatingRings)
    cap_bolts = ma_fields.Nested(CapBolts)


class HousingRequest(HousingRow):
    """A housing with its provenance; the same name again makes the next version."""

    provenance = ma_fields.Nested(Provenance, required=True)


ROWS: Mapping[str, type[Schema]] = {
    REDUCTION: ReductionRow,
    INITIAL_CLEARANCE: InitialClearanceRow,
    AXIAL_DISPLACEMENT: DisplacementRow,
    NUT_TURN: NutTurnRow,
    CAP_BOLT_TORQUE: TorqueRow,
    HOUSING: HousingRow,
}


class RowsOfKind(fields.OneOf):
    """The rows of a chart; its ``kind`` says which members they have."""

    def __init__(self, **kwargs: Any) -> None:
        self.by_kind = {
            kind: fields.Array(ma_fields.Nested(row), validate=validate.Length(1, MOST_ROWS))
            for kind, row in ROWS.items()
        }
        shapes = [(fields.is_array, field) for field in self.by_kind.values()]
        super().__init__(shapes, expected="a list of rows", **kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        kind = data.get("kind")
        if not isinstance(kind, str) or kind not in self.by_kind:
            return []  # the kind itself is refused
        return self.by_kind[kind].deserialize(value, attr, data, **kwargs)


class ChartRows(StrictSchema):
    """Rows as a chart of one kind has them."""

    kind = fields.Choice(CHART_KINDS, required=True)
    bearing_type = fields.Choice(BEARING_TYPES, metadata={"description": "Of every chart that is for bearings"})
    bore_form = fields.Choice(
        BORE_FORMS, metadata={"description": "Asked for initial_clearance; every other kind is for tapered bores"}
    )
    rows = RowsOfKind(required=True)

    @validates_schema
    def _bearing_members(self, data: dict[str, Any], **_: Any) -> None:
        """Ask for type and bore form where the chart is for bearings, refuse them where it is not."""
        kind = data["kind"]
        asked = {"bearing_type"} if kind in BEARING_KINDS else set()
        asked |= {"bore_form"} if kind == INITIAL_CLEARANCE else set()
        faults = {name: [_fault("required", "is required")] for name in asked if name not in data}
        if kind not in BEARING_KINDS:
            faults |= {
                name: [_fault("unknown_member", f"is not a member of a chart of {kind}")]
                for name in ("bearing_type", "bore_form")
                if name in data
            }
        if faults:
            raise ValidationError(faults)

    @post_load
    def _with_bore_form(self, data: dict[str, Any], **_: Any) -> dict[str, Any]:
        return data if data["kind"] not in BEARING_KINDS else {"bore_form": "tapered", **data}


class ChartRequest(ChartRows):
    """A chart: one kind, one book; the same kind and name again make the next version."""

    name = fields.Text(80, required=True)
    provenance = ma_fields.Nested(Provenance, required=True)


def _fault(code: str, detail: str) -> Any:
    return {"code": code, "detail": detail}
