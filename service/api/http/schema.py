"""The base of all request schemas: unknown members are refused, nothing is coerced."""

from marshmallow import RAISE, Schema

from service.api.http import fields
from service.words import UNIT_SYSTEMS


class StrictSchema(Schema):
    """A schema that refuses members it does not know."""

    class Meta:
        unknown = RAISE


class UnitsQuery(StrictSchema):
    """Query of every operation that answers quantities."""

    units = fields.Choice(
        UNIT_SYSTEMS, metadata={"description": "Unit system of the answer; the site's own when left out"}
    )


class WriteQuery(UnitsQuery):
    """Query of every operation that stores something."""

    dry_run = fields.Choice(
        ("true", "false"),
        metadata={"description": "true: everything is checked and answered as usual, nothing is stored"},
    )


class PageQuery(StrictSchema):
    """Query of every list."""

    limit = fields.Whole(1, 500, in_query=True, load_default=50, metadata={"description": "Items on a page"})
    cursor = fields.Text(1000, metadata={"description": "Where the page begins: taken from `next`, never made up"})
