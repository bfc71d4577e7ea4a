"""What the office answered before an order was released, and who released it. Both are append-only."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to


class Answer(Base):
    """An answer to a question; ``document`` holds its value, ``made_revision`` is None where nothing changed."""

    __tablename__ = "work_order_answers"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        sa.Index(None, "site_id", "work_order_id"),
        sa.CheckConstraint("length(answered_by) > 0", name="answered_by_somebody"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    question: Mapped[str]
    position: Mapped[str | None]
    answered_by: Mapped[str]
    source: Mapped[str | None]
    made_revision: Mapped[int | None]
    document: Mapped[str]
    created_at: Mapped[datetime]


class Release(Base):
    """The release of an order, by which revision; ``document`` holds the questions that were open. One an order."""

    __tablename__ = "work_order_releases"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("work_order_id", "revision"), "revisions", ("work_order_id", "number")),
        sa.UniqueConstraint("site_id", "work_order_id"),
        sa.CheckConstraint("length(released_by) > 0", name="released_by_somebody"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    revision: Mapped[int]
    released_by: Mapped[str]
    reason: Mapped[str | None]
    document: Mapped[str]
    created_at: Mapped[datetime]
