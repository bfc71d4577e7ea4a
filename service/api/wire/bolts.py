"""Bolts, their lubrication and the torque wrench, as several resources take them.

They load into documents of ``service.record``, as the shapes of machines do: calculations, stored assets and work
orders read the same ones.
"""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema

LUBRICATION_STATES = ("dry", "oiled", "anti_seize", "unknown")


class NutFactor(StrictSchema):
    """A known nut factor K."""

    nut_factor = fields.Number(above=0, most=1, required=True)


class Frictions(StrictSchema):
    """Known coefficients of friction in the thread and under the head."""

    thread_friction = fields.Number(above=0, most=1, required=True)
    head_friction = fields.Number(above=0, most=1, required=True)


def lubrication_field(**kwargs: object) -> fields.OneOf:
    """Return the field of the state of thread and nut face."""
    return fields.OneOf(
        [
            (fields.is_text, fields.Choice(LUBRICATION_STATES)),
            (fields.has("nut_factor"), ma_fields.Nested(NutFactor)),
            (fields.is_object, ma_fields.Nested(Frictions)),
        ],
        expected="dry, oiled, anti_seize, unknown, {nut_factor} or {thread_friction, head_friction}",
        **kwargs,
    )


class Bolts(StrictSchema):
    """The bolts of one cap or base."""

    thread = fields.Text(20, required=True, metadata={"examples": ["M16", "1/2-13 UNC"]})
    grade = fields.Text(20, metadata={"examples": ["8.8", "SAE J429 5"]})
    count = fields.Whole(1, 16)


class FittedBolts(Bolts):
    """The bolts that are fitted, with the state of their threads."""

    lubrication = lubrication_field()


class Wrench(StrictSchema):
    """A torque wrench, with an adapter if one is used."""

    min = fields.QuantityField("torque", above=0, most=1e6, keep=True, required=True)
    max = fields.QuantityField("torque", above=0, most=1e6, keep=True, required=True)
    length = fields.QuantityField("dimension", above=0, most=5000, keep=True)
    adapter_length = fields.QuantityField("dimension", least=0, most=2000, keep=True)
    adapter_angle = fields.QuantityField("angle", least=-180, most=180, keep=True)
