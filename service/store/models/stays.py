"""Stays: one bearing in one position, from fitting to removal."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to, one_of
from service.words import END_TYPES

STRUCK_OUT = "struck_out"
BEGINNING_UNKNOWN = "beginning_unknown"
SET_ASIDE = (STRUCK_OUT, BEGINNING_UNKNOWN)
NO_OVERLAP = "ex_stays_no_overlap"  # exclusion constraint or trigger, made in the migration


def _hours(column: str) -> sa.CheckConstraint:
    """Return the constraint that a number of hours is finite and not negative (NaN sorts above all on PostgreSQL)."""
    return sa.CheckConstraint(f"{column} >= 0 AND {column} < 1e9", name=f"{column}_finite")


class Stay(Base):
    """A bearing in a position. No two stays of a position overlap, and at most one of them is open."""

    __tablename__ = "stays"
    __table_args__ = (
        belongs_to(("position_id",), "positions", ("id",)),
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        sa.UniqueConstraint("site_id", "external_id"),
        sa.Index(
            "uq_stays_one_open",
            "site_id",
            "position_id",
            unique=True,
            sqlite_where=sa.text("removed_at IS NULL"),
            postgresql_where=sa.text("removed_at IS NULL"),
        ),
        sa.Index(None, "site_id", "position_id", "installed_at"),
        sa.Index(None, "site_id", "work_order_id"),
        sa.Index(None, "site_id", "designation", "id"),
        sa.Index(None, "site_id", "end_type", "id"),
        sa.Index(None, "site_id", "installed_at"),
        sa.Index(
            "ix_stays_damaged",
            "site_id",
            "id",
            sqlite_where=sa.text("damage IS NOT NULL"),
            postgresql_where=sa.text("damage IS NOT NULL"),
        ),
        one_of("end_type", END_TYPES, "end_type_known"),
        sa.CheckConstraint("removed_at IS NULL OR removed_at > installed_at", name="removed_after_installed"),
        sa.CheckConstraint("(removed_at IS NULL) = (end_type = 'running')", name="open_is_running"),
        _hours("operating_hours"),
        _hours("age_at_install_h"),
        _hours("downtime_h"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    external_id: Mapped[str | None]
    position_id: Mapped[str] = mapped_column(ID)
    work_order_id: Mapped[str | None] = mapped_column(ID)
    designation: Mapped[str]
    manufacturer: Mapped[str | None]
    serial: Mapped[str | None]
    installed_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]
    operating_hours: Mapped[float | None] = mapped_column(sa.Double)
    as_of: Mapped[datetime | None]
    age_at_install_h: Mapped[float | None] = mapped_column(sa.Double)
    observed_from: Mapped[datetime | None]
    end_type: Mapped[str]
    inspected: Mapped[bool | None] = mapped_column(sa.Boolean(create_constraint=False))
    damage: Mapped[str | None]
    cause: Mapped[str | None]
    initial_clearance_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    residual_clearance_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    window_min_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    window_max_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    downtime_h: Mapped[float | None] = mapped_column(sa.Double)
    work_order_number: Mapped[str | None]  # of an order that is not on record here
    role: Mapped[str | None]  # as mounted; so are the next five
    installed_by: Mapped[str | None]
    deviations: Mapped[int | None]
    shaft_diameter_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    shaft_min_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    shaft_max_nm: Mapped[int | None] = mapped_column(sa.BigInteger)
    document: Mapped[str]
    created_at: Mapped[datetime]


class SetAsideStay(Base):
    """A stay that is kept and shown and counted by nothing: struck out of the history, or of unknown beginning.

    ``document``: its members as a record. A table of its own, so that no question can count it by mistake.
    """

    __tablename__ = "set_aside_stays"
    __table_args__ = (
        belongs_to(("position_id",), "positions", ("id",)),
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        one_of("reason", SET_ASIDE, "reason_known"),
        sa.Index(None, "site_id", "work_order_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    position_id: Mapped[str] = mapped_column(ID)
    work_order_id: Mapped[str] = mapped_column(ID)
    reason: Mapped[str]
    document: Mapped[str]
    created_at: Mapped[datetime]
