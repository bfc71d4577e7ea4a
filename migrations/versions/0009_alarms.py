"""What has been told of positions and groups that fail more than others, so that it is told once."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None
ID = sa.Uuid(as_uuid=False)
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the table, with the fence between sites."""
    op.create_table(
        "alarms",
        sa.Column("site_id", ID, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("raised_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("kind IN ('position', 'group')", name=op.f("ck_alarms_kind_known")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_alarms_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "kind", "subject", name=op.f("pk_alarms")),
    )
    if op.get_context().dialect.name == "postgresql":
        op.execute("ALTER TABLE alarms ENABLE ROW LEVEL SECURITY")
        op.execute("ALTER TABLE alarms FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON alarms USING ({OURS}) WITH CHECK ({OURS})")


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("alarms")
