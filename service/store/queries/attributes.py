"""Queries of the names that attributes of stays have at a site."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import JSONB

from service.errors import CannotEvaluate, shown
from service.history.attributes import LARGEST, PREFIX, WORDS, Value
from service.store import models
from service.store.transaction import Tx
from service.words import AttributeType

FLAGS: Final = {"true": True, "false": False}


@dataclass(frozen=True, slots=True)
class AttributeRow:
    """A name and its one type."""

    name: str
    type: AttributeType
    description: str | None
    created_at: datetime


def attribute_rows(tx: Tx) -> list[AttributeRow]:
    """Return the names of the site, in their order."""
    named = models.StayAttribute
    columns = (named.name, named.type, named.description, named.created_at)
    rows = tx.connection.execute(sa.select(*columns).where(named.site_id == tx.site_id).order_by(named.name))
    return [AttributeRow(**row._mapping) for row in rows]


def attribute_types(tx: Tx) -> dict[str, AttributeType]:
    """Return the types of the names that the site has."""
    return {row.name: row.type for row in attribute_rows(tx)}


def attribute_column(tx: Tx, name: str, types: Mapping[str, AttributeType]) -> Any:
    """Return an attribute of a stay as a column: a text, a number, or 1 and 0 for true and false.

    Raises
    ------
    CannotEvaluate
        ``unknown_attribute``
    """
    kind = known_type(name, types)
    held = models.Stay.attributes
    if tx.connection.dialect.name == "sqlite":
        found = sa.func.json_extract(held, f"$.{name}")
        return found if kind == "text" else sa.cast(found, sa.Double if kind == "number" else sa.Integer)
    found = sa.cast(held, JSONB)[name].astext
    if kind == "text":
        return found
    return sa.cast(found, sa.Double) if kind == "number" else sa.cast(sa.cast(found, sa.Boolean), sa.Integer)


@dataclass(frozen=True, slots=True)
class InWords:
    """A value that was written in words, and what ``attribute_column`` has for it."""

    value: Value

    @property
    def stored(self) -> str | int | float:
        """Return what the column has."""
        return int(self.value) if isinstance(self.value, bool) else self.value


def attribute_in_words(text: str, name: str, types: Mapping[str, AttributeType]) -> InWords:
    """Return the value that a text says where the name has its type.

    Raises
    ------
    CannotEvaluate
        ``unknown_attribute``, ``attribute_type_differs``
    """
    kind = known_type(name, types)
    if kind == "text":
        return InWords(text)
    try:
        return InWords(FLAGS[text] if kind == "flag" else _number(text))
    except (KeyError, ValueError):
        said = f"{shown(text)} is not {WORDS[kind]}, which {name} takes at this site"
        raise CannotEvaluate(said, code="attribute_type_differs", field=f"{PREFIX}{name}") from None


def known_type(name: str, types: Mapping[str, AttributeType]) -> AttributeType:
    """Return the type of a name.

    Raises
    ------
    CannotEvaluate
        ``unknown_attribute``
    """
    kind = types.get(name)
    if kind is None:
        listed = ", ".join(sorted(types)) or "none"
        said = f"the stays of this site have no attribute {name}; known are {listed}"
        raise CannotEvaluate(said, code="unknown_attribute", field=f"{PREFIX}{name}")
    return kind


def _number(text: str) -> float:
    if len(text) > 24 or "_" in text:
        raise ValueError(text)
    found = float(text)
    if not abs(found) <= LARGEST:
        raise ValueError(text)
    return found


def hold_names(tx: Tx) -> None:
    """Make this transaction the only one that names attributes of the site until its commit."""
    tx.connection.execute(sa.select(models.Site.id).where(models.Site.id == tx.site_id).with_for_update()).one()


def insert_attributes(tx: Tx, types: Mapping[str, AttributeType], *, description: str | None = None) -> None:
    """Store names with their types.

    Raises
    ------
    Conflict
        ``attribute_exists``
    """
    rows: list[dict[str, Any]] = [
        {"site_id": tx.site_id, "name": name, "type": kind, "description": description, "created_at": tx.now}
        for name, kind in sorted(types.items())
    ]
    if rows:
        tx.connection.execute(sa.insert(models.StayAttribute), rows)


def change_attribute(tx: Tx, name: str, *, kind: AttributeType, description: str | None) -> None:
    """Give a name another type or description."""
    named = models.StayAttribute
    mine = (named.site_id == tx.site_id, named.name == name)
    tx.connection.execute(sa.update(named).where(*mine).values(type=kind, description=description))


def delete_attribute(tx: Tx, name: str) -> None:
    """Delete a name."""
    named = models.StayAttribute
    tx.connection.execute(sa.delete(named).where(named.site_id == tx.site_id, named.name == name))


def stay_with_attribute(tx: Tx, name: str) -> str | None:
    """Return the id of a stay that has an attribute of this name, None when none has."""
    stay = models.Stay
    held = stay.attributes.contains(f'"{name}":', autoescape=True)  # a quotation mark inside a text is escaped: \"
    found = sa.select(stay.id).where(stay.site_id == tx.site_id, stay.attributes.is_not(None), held).limit(1)
    return tx.connection.execute(found).scalar_one_or_none()
