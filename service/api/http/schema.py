"""The base of all request schemas: unknown members are refused, nothing is coerced."""

from collections.abc import Iterator
from typing import Any, Final

from marshmallow import RAISE, Schema, ValidationError

from service.api.http import fields
from service.errors import nearest
from service.words import UNIT_SYSTEMS

MOST_COMPARED: Final = 20  # members that are compared with those that are known


class StrictSchema(Schema):
    """A schema that refuses members it does not know, and says which one may be meant."""

    class Meta:
        unknown = RAISE

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **kwargs: Any) -> None:
        """Add to each member that is not known the nearest one that is, or the list of a short schema."""
        if isinstance(error.messages, dict):
            for name in list(self._unknown(error.messages))[:MOST_COMPARED]:
                detail = f"is not a member that is known here{self._way_out(name)}"
                error.messages[name] = {"code": "unknown_member", "detail": detail}

    def _unknown(self, messages: dict[Any, Any]) -> Iterator[str]:
        said = [self.error_messages["unknown"]]
        yield from (name for name, below in messages.items() if isinstance(name, str) and below == said)

    def _way_out(self, name: str) -> str:
        near = nearest([name], self.fields)
        known = ", ".join(self.fields) if len(self.fields) <= 12 else ""
        return near or (f"; known are {known}" if known else "")


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
