"""Work orders, their positions, and the revisions of their instructions."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to, one_of
from service.words import ORDER_KINDS, ORDER_STATUSES


class WorkOrder(Base):
    """An order of the maintenance system, known by that system's own number."""

    __tablename__ = "work_orders"
    __table_args__ = (
        belongs_to(("asset_id",), "assets", ("id",)),
        sa.UniqueConstraint("site_id", "external_system", "external_number"),
        one_of("kind", ORDER_KINDS, "kind_known"),
        one_of("status", ORDER_STATUSES, "status_known"),
        sa.CheckConstraint("(status = 'open') = (closed_at IS NULL)", name="open_until_closed"),
        sa.CheckConstraint("(status = 'cancelled') = (cancel_reason IS NOT NULL)", name="cancelled_with_reason"),
        sa.Index(None, "site_id", "asset_id"),
        sa.Index(None, "site_id", "opened_at"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    external_system: Mapped[str]
    external_number: Mapped[str]
    asset_id: Mapped[str] = mapped_column(ID)
    kind: Mapped[str]
    status: Mapped[str]
    opened_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    cancel_reason: Mapped[str | None]
    created_at: Mapped[datetime]


class WorkOrderPosition(Base):
    """A position of an order, by the name it had then, with the bearing to be fitted (``fitted``, a record)."""

    __tablename__ = "work_order_positions"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("position_id",), "positions", ("id",)),
        sa.UniqueConstraint("site_id", "work_order_id", "ordinal"),
        sa.Index(None, "site_id", "position_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID, primary_key=True)
    position_id: Mapped[str] = mapped_column(ID, primary_key=True)
    ordinal: Mapped[int]
    name: Mapped[str]
    fitted: Mapped[str | None]


class Revision(Base):
    """Instructions as issued, with what they were made from. Immutable: triggers of both engines hold it."""

    __tablename__ = "revisions"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("work_order_id", "supersedes"), "revisions", ("work_order_id", "number")),
        sa.UniqueConstraint("site_id", "work_order_id", "number"),
        sa.CheckConstraint("number > 0", name="number_positive"),
        sa.CheckConstraint("supersedes < number", name="supersedes_an_earlier_one"),
        sa.CheckConstraint("length(sha256) = 64", name="sha256_is_a_digest"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    number: Mapped[int]
    supersedes: Mapped[int | None]
    created_at: Mapped[datetime]
    data_version: Mapped[str]
    engine_version: Mapped[str]
    inputs: Mapped[str]
    record: Mapped[str]
    sha256: Mapped[str]
