"""What is sent to /v1/import-profiles and what is answered."""

import re
from typing import Any, Final

from marshmallow import ValidationError, validate
from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.fields import Refused
from service.api.http.schema import PageQuery, StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word, words
from service.errors import shown
from service.use_cases.stays.marks import THOUSANDS
from service.use_cases.stays.profile import ENCODINGS, SEPARATORS

MOST_ENTRIES: Final = 200
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,59}").fullmatch


class ProfileName(fields.Text):
    """The name of a profile, as it stands in an address."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        name = super()._deserialize(value, attr, data, **kwargs)
        if not _NAME(name):
            raise Refused("bad_name", f"{shown(name)}: a name has small letters, digits and hyphens, at most 60")
        return name


class Words(ma_fields.Field[Any]):
    """Texts by texts; ``below`` makes it texts by texts once more, by column.

    Parameters
    ----------
    below : Words or None
        What stands below each name.
    """

    def __init__(self, longest: int = 200, *, below: "Words | None" = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._key, self._value = fields.Text(200), below or EmptyOrText(longest)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, Any]:
        if not isinstance(value, dict) or len(value) > MOST_ENTRIES:
            raise Refused("wrong_type", f"texts by name, at most {MOST_ENTRIES} of them")
        loaded: dict[str, Any] = {}
        wrong: dict[str, Any] = {}
        for name, below in value.items():
            try:
                loaded[str(self._key.deserialize(name))] = self._value.deserialize(below)
            except ValidationError as error:
                wrong[name[:80]] = error.messages
        if wrong:
            raise ValidationError(wrong)
        return loaded


class EmptyOrText(fields.Text):
    """A text that may be empty: a word that says nothing."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        return "" if value == "" else super()._deserialize(value, attr, data, **kwargs)


class Dates(StrictSchema):
    """How a sheet writes times."""

    patterns = fields.Array(
        fields.Text(60),
        validate=validate.Length(1, 5),
        metadata={"description": "Tried in their order: %d.%m.%Y %H:%M, with %Y %m %d %H %M %S %z"},
    )
    zone = fields.Text(60, metadata={"description": "IANA time zone of times without an offset: Europe/Stockholm"})


class ImportProfileRequest(StrictSchema):
    """How a sheet of the site is read."""

    name = ProfileName(60, required=True)
    note = fields.Text(2000, lines=True)
    columns = Words(
        metadata={"type": "object", "description": "From their names of columns to ours: residual_clearance_in too"}
    )
    separator = fields.Choice(SEPARATORS, metadata={"description": "Found by the first line when left out"})
    encoding = fields.Choice(ENCODINGS, load_default="utf-8")
    skip_lines = fields.Whole(0, 50, load_default=0, metadata={"description": "Lines above the names of the columns"})
    decimal_mark = fields.Choice((".", ","), metadata={"description": "Never guessed where it may be two things"})
    thousands_mark = fields.Choice(THOUSANDS, metadata={"description": "None when left out beside decimal_mark"})
    dates = ma_fields.Nested(Dates)
    values = Words(
        below=Words(),
        metadata={"type": "object", "description": "By our column: from their words to ours; '' for none"},
    )
    fixed = Words(metadata={"type": "object", "description": "By our column: what every row says"})
    identity = fields.Array(
        fields.Text(200),
        validate=validate.Length(1, 6),
        metadata={"description": "Their columns that together name a stay, where none is an external_id"},
    )
    ignore = fields.Array(
        fields.Text(200),
        validate=validate.Length(max=MOST_ENTRIES),
        metadata={"description": "Not read; * for all others"},
    )


class DatesRead(AnswerSchema):
    """How a sheet writes times."""

    patterns = words(required=False)
    zone = word(required=False)


class ImportProfileLine(AnswerSchema):
    """One version of an import profile, without its contents."""

    id = word()
    name = word()
    version = ma_fields.Integer(required=True)
    in_force = ma_fields.Boolean(required=True)
    created_at = ma_fields.DateTime(required=True)


class ImportProfileRead(ImportProfileLine):
    """One version of an import profile."""

    note = word(required=False)
    columns = ma_fields.Dict(required=False)
    separator = word(required=False)
    encoding = word()
    skip_lines = ma_fields.Integer(required=True)
    decimal_mark = word(required=False)
    thousands_mark = word(required=False)
    dates = nested(DatesRead, required=False)
    values = ma_fields.Dict(required=False)
    fixed = ma_fields.Dict(required=False)
    identity = words(required=False)
    ignore = words(required=False)


class ImportProfilePage(AnswerSchema):
    """A page of import profiles."""

    items = nested(ImportProfileLine, many=True)
    next = word(null=True)


class ImportProfileQuery(PageQuery):
    """Filters of the list of import profiles."""

    name = ProfileName(60)
