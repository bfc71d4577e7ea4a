"""Answers to the questions of an order, its release, and what a site decides about both and about its hours."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

TABLES = ("work_order_answers", "work_order_releases")
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the tables, their fence, and the columns of sites."""
    answers()
    releases()
    op.add_column("sites", sa.Column("require_release", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("sites", sa.Column("planning_hours", sa.Text(), nullable=True))
    if op.get_bind().dialect.name == "sqlite":
        append_only_on_sqlite()
    else:
        append_only_on_postgresql()


def downgrade() -> None:
    """Drop everything; triggers and policies go with their tables."""
    for name in ("planning_hours", "require_release"):
        op.drop_column("sites", name)
    for table in reversed(TABLES):
        op.drop_table(table)


def answers() -> None:
    """What the office answered, and the revision that an answer made."""
    op.create_table(
        "work_order_answers",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("question", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("answered_by", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=True),
        sa.Column("made_revision", sa.Integer(), nullable=True),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(answered_by) > 0", name=op.f("ck_work_order_answers_answered_by_somebody")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_work_order_answers_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_work_order_answers")),
    )
    op.create_index(
        op.f("ix_work_order_answers_site_id_work_order_id"), "work_order_answers", ["site_id", "work_order_id"]
    )


def releases() -> None:
    """Who released an order, and which questions were open then. One an order."""
    op.create_table(
        "work_order_releases",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("released_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(released_by) > 0", name=op.f("ck_work_order_releases_released_by_somebody")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id", "revision"],
            ["revisions.site_id", "revisions.work_order_id", "revisions.number"],
            name=op.f("fk_work_order_releases_revisions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_work_order_releases_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_work_order_releases")),
        sa.UniqueConstraint("site_id", "work_order_id", name=op.f("uq_work_order_releases_site_id_work_order_id")),
    )


def append_only_on_sqlite() -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for table in TABLES:
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
    """Refuse UPDATE, DELETE and TRUNCATE, and let a site see its own rows alone."""
    for table in TABLES:
        op.execute(
            f"CREATE TRIGGER tr_{table}_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{table}_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON {table} USING ({OURS}) WITH CHECK ({OURS})")
