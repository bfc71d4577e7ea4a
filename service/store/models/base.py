"""The base of all models: names of constraints, and the types that both engines store alike."""

from datetime import UTC, datetime
from typing import Any, ClassVar

import sqlalchemy as sa
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase
from sqlalchemy.types import TypeDecorator

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UTCDateTime(TypeDecorator[datetime]):
    """A moment: naive values are refused, aware ones stored in UTC and given back in UTC by both engines."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment in UTC.

        Raises
        ------
        ValueError
            The value has no offset.
        """
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ValueError(f"{value!r} has no offset from UTC")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment in UTC; SQLite gives it back without its offset."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """Base of the models. Identifiers are text here, UUID on PostgreSQL; every other text is TEXT."""

    metadata = sa.MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar = {datetime: UTCDateTime(), str: sa.Text()}


ID: Any = sa.Uuid(as_uuid=False)


def one_of(column: str, values: tuple[str, ...], name: str) -> sa.CheckConstraint:
    """Return the constraint that holds a column to its values."""
    listed = ", ".join(f"'{value}'" for value in values)
    return sa.CheckConstraint(f"{column} IN ({listed})", name=name)


def belongs_to(columns: tuple[str, ...], table: str, referred: tuple[str, ...]) -> sa.ForeignKeyConstraint:
    """Return a foreign key within one site; what is referred to cannot be deleted."""
    return sa.ForeignKeyConstraint(
        ["site_id", *columns], [f"{table}.site_id", *(f"{table}.{column}" for column in referred)], ondelete="RESTRICT"
    )


def of_a_site() -> sa.ForeignKeyConstraint:
    """Return the foreign key of every row to its site."""
    return sa.ForeignKeyConstraint(["site_id"], ["sites.id"], ondelete="RESTRICT")
