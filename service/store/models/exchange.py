"""How other systems are connected: field maps, the messages they mapped, subscriptions and their deliveries."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to, of_a_site, one_of
from service.words import DELIVERY_STATES, SUBSCRIPTION_STATES


class FieldMap(Base):
    """One version of a field map; append-only."""

    __tablename__ = "field_maps"
    __table_args__ = (
        of_a_site(),
        sa.UniqueConstraint("site_id", "name", "version"),
        sa.CheckConstraint("version > 0", name="version_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str]
    version: Mapped[int]
    document: Mapped[str]
    created_at: Mapped[datetime]


class ImportProfile(Base):
    """One version of an import profile; append-only."""

    __tablename__ = "import_profiles"
    __table_args__ = (
        of_a_site(),
        sa.UniqueConstraint("site_id", "name", "version"),
        sa.CheckConstraint("version > 0", name="version_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str]
    version: Mapped[int]
    document: Mapped[str]
    created_at: Mapped[datetime]


class InboundMessage(Base):
    """A message that a field map made an order of, as it came; append-only."""

    __tablename__ = "inbound_messages"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        belongs_to(("field_map_id",), "field_maps", ("id",)),
        sa.Index(None, "site_id", "work_order_id"),
        sa.CheckConstraint("length(sha256) = 64", name="sha256_is_a_digest"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    field_map_id: Mapped[str | None] = mapped_column(ID)
    field_map: Mapped[str]
    sha256: Mapped[str]
    body: Mapped[str]
    created_at: Mapped[datetime]


class Subscription(Base):
    """Who is told of events: where, of which types, up to which row of the journal, and who is delivering now."""

    __tablename__ = "subscriptions"
    __table_args__ = (
        of_a_site(),
        one_of("status", SUBSCRIPTION_STATES, "status_known"),
        sa.CheckConstraint("version > 0", name="version_positive"),
        sa.CheckConstraint("position >= 0", name="position_not_negative"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    version: Mapped[int]
    url: Mapped[str]
    types: Mapped[str]
    status: Mapped[str]
    status_reason: Mapped[str | None]
    secret: Mapped[str]
    previous_secret: Mapped[str | None]
    previous_until: Mapped[datetime | None]
    position: Mapped[int] = mapped_column(sa.BigInteger)
    not_before: Mapped[datetime]
    leased_by: Mapped[str | None]
    leased_until: Mapped[datetime | None]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]


class Delivery(Base):
    """One event for one subscription: the row of the journal, or none for a test ping."""

    __tablename__ = "deliveries"
    __table_args__ = (
        belongs_to(("subscription_id",), "subscriptions", ("id",)),
        one_of("status", DELIVERY_STATES, "status_known"),
        sa.CheckConstraint("attempts >= 0", name="attempts_not_negative"),
        sa.Index(
            "uq_deliveries_one_pending",
            "site_id",
            "subscription_id",
            "seq",
            unique=True,
            sqlite_where=sa.text("status = 'pending'"),
            postgresql_where=sa.text("status = 'pending'"),
        ),
        sa.Index(None, "site_id", "subscription_id", "status", "next_attempt_at"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    subscription_id: Mapped[str] = mapped_column(ID)
    seq: Mapped[int | None] = mapped_column(sa.BigInteger)
    event_type: Mapped[str]
    subject: Mapped[str]
    status: Mapped[str]
    attempts: Mapped[int]
    next_attempt_at: Mapped[datetime]
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class DeliveryAttempt(Base):
    """One attempt to deliver: what came back, never the body of the answer."""

    __tablename__ = "delivery_attempts"
    __table_args__ = (
        belongs_to(("delivery_id",), "deliveries", ("id",)),
        sa.CheckConstraint("number > 0", name="number_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    delivery_id: Mapped[str] = mapped_column(ID, primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    status: Mapped[int | None]
    outcome: Mapped[str]
    duration_ms: Mapped[int]
