"""Connecting other systems: field maps and the messages they mapped, subscriptions and their deliveries.

Field maps and messages refuse UPDATE and DELETE, as the journal does.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

APPEND_ONLY = ("field_maps", "inbound_messages")
TABLES = ("inbound_messages", "field_maps", "delivery_attempts", "deliveries", "subscriptions")


def upgrade() -> None:
    """Make the tables, then what is not a table."""
    field_maps()
    subscriptions()
    if op.get_bind().dialect.name == "sqlite":
        append_only_on_sqlite()
    else:
        append_only_on_postgresql()


def downgrade() -> None:
    """Drop everything; triggers go with their tables."""
    for table in TABLES:
        op.drop_table(table)


def field_maps() -> None:
    """Field maps, and the messages that orders were made of."""
    op.create_table(
        "field_maps",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("version > 0", name=op.f("ck_field_maps_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_field_maps_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_field_maps")),
        sa.UniqueConstraint("site_id", "name", "version", name=op.f("uq_field_maps_site_id_name_version")),
    )
    op.create_table(
        "inbound_messages",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("field_map_id", sa.Uuid(as_uuid=False), nullable=True),
        sa.Column("field_map", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_inbound_messages_sha256_is_a_digest")),
        sa.ForeignKeyConstraint(
            ["site_id", "field_map_id"],
            ["field_maps.site_id", "field_maps.id"],
            name=op.f("fk_inbound_messages_field_maps"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_inbound_messages_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_inbound_messages")),
    )
    op.create_index(
        op.f("ix_inbound_messages_site_id_work_order_id"),
        "inbound_messages",
        ["site_id", "work_order_id"],
        unique=False,
    )


def subscriptions() -> None:
    """Subscriptions, their deliveries and the attempts at them."""
    op.create_table(
        "subscriptions",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("types", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("status_reason", sa.Text(), nullable=True),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("previous_secret", sa.Text(), nullable=True),
        sa.Column("previous_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("not_before", sa.DateTime(timezone=True), nullable=False),
        sa.Column("leased_by", sa.Text(), nullable=True),
        sa.Column("leased_until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("status IN ('active', 'paused', 'disabled')", name=op.f("ck_subscriptions_status_known")),
        sa.CheckConstraint("position >= 0", name=op.f("ck_subscriptions_position_not_negative")),
        sa.CheckConstraint("version > 0", name=op.f("ck_subscriptions_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_subscriptions_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_subscriptions")),
    )
    op.create_table(
        "deliveries",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("subscription_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=True),
        sa.Column("event_type", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("next_attempt_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("status IN ('pending', 'delivered', 'dead')", name=op.f("ck_deliveries_status_known")),
        sa.CheckConstraint("attempts >= 0", name=op.f("ck_deliveries_attempts_not_negative")),
        sa.ForeignKeyConstraint(
            ["site_id", "subscription_id"],
            ["subscriptions.site_id", "subscriptions.id"],
            name=op.f("fk_deliveries_subscriptions"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_deliveries")),
    )
    op.create_index(
        op.f("ix_deliveries_site_id_subscription_id_status_next_attempt_at"),
        "deliveries",
        ["site_id", "subscription_id", "status", "next_attempt_at"],
        unique=False,
    )
    op.create_index(
        "uq_deliveries_one_pending",
        "deliveries",
        ["site_id", "subscription_id", "seq"],
        unique=True,
        sqlite_where=sa.text("status = 'pending'"),
        postgresql_where=sa.text("status = 'pending'"),
    )
    op.create_table(
        "delivery_attempts",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("delivery_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("duration_ms", sa.Integer(), nullable=False),
        sa.CheckConstraint("number > 0", name=op.f("ck_delivery_attempts_number_positive")),
        sa.ForeignKeyConstraint(
            ["site_id", "delivery_id"],
            ["deliveries.site_id", "deliveries.id"],
            name=op.f("fk_delivery_attempts_deliveries"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "delivery_id", "number", name=op.f("pk_delivery_attempts")),
    )


def append_only_on_sqlite() -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for table in APPEND_ONLY:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER tr_{table}_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
        op.execute(
            f"CREATE TRIGGER tr_{table}_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE site_id = NEW.site_id AND id = NEW.id) "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def append_only_on_postgresql() -> None:
    """Refuse UPDATE, DELETE and TRUNCATE, by the function that the first schema made."""
    for table in APPEND_ONLY:
        op.execute(
            f"CREATE TRIGGER tr_{table}_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{table}_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
