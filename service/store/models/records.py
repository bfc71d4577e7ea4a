"""What becomes of a work order: readings, what was found, deviations, its completion, corrections.

All of it is append-only: triggers of both engines refuse UPDATE and DELETE. ``entry`` numbers readings and
deviations of an order in the order in which they were entered; ``document`` is a record.
"""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.instructions.readings.readings import KINDS
from service.store.models.base import ID, Base, belongs_to, one_of
from service.words import VERDICTS

READING_KINDS = KINDS


class Reading(Base):
    """A reading or a tick, with its verdict and the revision that gave it; ``replaces``: the one it takes back."""

    __tablename__ = "readings"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("work_order_id", "revision"), "revisions", ("work_order_id", "number")),
        belongs_to(("replaces",), "readings", ("id",)),
        sa.UniqueConstraint("site_id", "work_order_id", "entry"),
        one_of("kind", READING_KINDS, "kind_known"),
        one_of("verdict", VERDICTS, "verdict_known"),
        sa.CheckConstraint("entry > 0", name="entry_positive"),
        sa.CheckConstraint("made_revision > revision", name="made_a_later_revision"),
        sa.CheckConstraint("length(taken_by) > 0", name="taken_by_somebody"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    entry: Mapped[int]
    kind: Mapped[str]
    position: Mapped[str | None]
    step: Mapped[str | None]
    revision: Mapped[int]
    made_revision: Mapped[int | None]
    verdict: Mapped[str]
    code: Mapped[str | None]
    taken_at: Mapped[datetime]
    taken_by: Mapped[str]
    replaces: Mapped[str | None] = mapped_column(ID)
    document: Mapped[str]
    created_at: Mapped[datetime]


class Deviation(Base):
    """A hold point that another person let pass, with the reason."""

    __tablename__ = "deviations"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("work_order_id", "revision"), "revisions", ("work_order_id", "number")),
        sa.UniqueConstraint("site_id", "work_order_id", "entry"),
        sa.CheckConstraint("entry > 0", name="entry_positive"),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("approved_by <> taken_by", name="approved_by_another"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    entry: Mapped[int]
    step: Mapped[str]
    position: Mapped[str | None]
    revision: Mapped[int]
    reason: Mapped[str]
    approved_by: Mapped[str]
    taken_by: Mapped[str | None]
    created_at: Mapped[datetime]


class AsFound(Base):
    """What was found at a position before it was touched; ``made_revision`` when it overrode the record."""

    __tablename__ = "as_found"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        sa.Index(None, "site_id", "work_order_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    position: Mapped[str]
    made_revision: Mapped[int | None]
    document: Mapped[str]
    created_at: Mapped[datetime]


class Completion(Base):
    """The end of an order: what was done at each of its positions. One an order."""

    __tablename__ = "completions"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("work_order_id", "revision"), "revisions", ("work_order_id", "number")),
        sa.UniqueConstraint("site_id", "work_order_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    revision: Mapped[int]
    completed_at: Mapped[datetime]
    completed_by: Mapped[str]
    document: Mapped[str]
    created_at: Mapped[datetime]


class Correction(Base):
    """A correction of a completion: ``corrects`` names it, or the correction before; each is corrected once."""

    __tablename__ = "corrections"
    __table_args__ = (
        belongs_to(("completion_id",), "completions", ("id",)),
        sa.UniqueConstraint("site_id", "corrects"),
        sa.Index(None, "site_id", "completion_id"),
        sa.CheckConstraint("length(reason) > 0", name="reason_given"),
        sa.CheckConstraint("corrects <> id", name="corrects_another"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    completion_id: Mapped[str] = mapped_column(ID)
    corrects: Mapped[str] = mapped_column(ID)
    reason: Mapped[str]
    corrected_by: Mapped[str]
    document: Mapped[str]
    created_at: Mapped[datetime]
