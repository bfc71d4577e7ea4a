"""The field of free attributes: ``{"crew_size": 3, "hot_oil": true}``, names of the site, one type each."""

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.errors import shown
from service.history.attributes import LARGEST, LONGEST_TEXT, MOST, NAME, NotAValue, attribute_value, is_name

SCHEMA: Final = {
    "type": "object",
    "maxProperties": MOST,
    "propertyNames": {"pattern": f"^{NAME}$"},
    "additionalProperties": {
        "anyOf": [
            {"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT},
            {"type": "number", "minimum": -LARGEST, "maximum": LARGEST},
            {"type": "boolean"},
        ]
    },
    "description": f"Free attributes, at most {MOST} names a site, each of one type: text, number or flag",
}


class AttributesField(ma_fields.Field[dict[str, Any]]):
    """Attributes of a stay, as they are kept. Whether a name takes the type is said when the site is known."""

    json_schema = SCHEMA

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, Mapping):
            raise fields.Refused("wrong_type", f'{shown(value)} is not an object such as {{"crew_size": 3}}')
        if len(value) > MOST:
            raise fields.Refused("wrong_length", f"{len(value)} attributes; at most {MOST} are taken")
        found = {}
        for name, one in value.items():
            if not is_name(name):
                said = (
                    f"{shown(name)} is no name of an attribute: small letters, digits and _, a letter first, up to 40"
                )
                raise fields.Refused("bad_name", said)
            try:
                found[name] = attribute_value(one)
            except NotAValue as refused:
                raise fields.Refused(refused.code, f"{name}: {refused.said}") from None
        return found


class AttributeFilters(ma_fields.Field[tuple[tuple[str, str], ...]]):
    """Parameters ``attributes.NAME=value`` of a query: names with values in words, in the order of the names."""

    json_schema: Final = {
        "type": "object",
        "maxProperties": MOST,
        "propertyNames": {"pattern": rf"^attributes\.{NAME}$"},
        "additionalProperties": {"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT},
        "description": "Parameters attributes.NAME: stays with this value of the attribute NAME of the site",
    }

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> tuple[tuple[str, str], ...]:
        if not isinstance(value, Mapping):
            raise fields.Refused("wrong_type", "an attribute is named with its value: attributes.crew_size=3")
        for name in value:
            if not is_name(name):
                raise fields.Refused("bad_name", f"{shown(name)} is no name of an attribute")
        text = fields.Text(LONGEST_TEXT)
        return tuple((name, text.deserialize(value[name]) or "") for name in sorted(value))


class AttributesRead(ma_fields.Dict):
    """Attributes in an answer."""

    json_schema = SCHEMA
