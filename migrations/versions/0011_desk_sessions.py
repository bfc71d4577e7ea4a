"""Who is signed in to the pages of the desk: hashes of secrets, with the fence between sites."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None
ID = sa.Uuid(as_uuid=False)
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "desk_sessions",
        sa.Column("site_id", ID, nullable=False),
        sa.Column("id", ID, nullable=False),
        sa.Column("key_id", ID, nullable=False),
        sa.Column("secret_sha256", sa.Text(), nullable=False),
        sa.Column("previous_sha256", sa.Text(), nullable=True),
        sa.Column("opens_once", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("rotated_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(secret_sha256) = 64", name=op.f("ck_desk_sessions_secret_is_a_digest")),
        sa.CheckConstraint("expires_at > created_at", name=op.f("ck_desk_sessions_ends_after_it_begins")),
        sa.ForeignKeyConstraint(
            ["site_id", "key_id"],
            ["api_keys.site_id", "api_keys.id"],
            name=op.f("fk_desk_sessions_api_keys"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_desk_sessions")),
        sa.UniqueConstraint("site_id", "secret_sha256", name=op.f("uq_desk_sessions_site_id_secret_sha256")),
    )
    op.create_index(op.f("ix_desk_sessions_site_id_previous_sha256"), "desk_sessions", ["site_id", "previous_sha256"])
    op.create_index(op.f("ix_desk_sessions_site_id_expires_at"), "desk_sessions", ["site_id", "expires_at"])
    if op.get_context().dialect.name == "postgresql":
        op.execute("ALTER TABLE desk_sessions ENABLE ROW LEVEL SECURITY")
        op.execute("ALTER TABLE desk_sessions FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON desk_sessions USING ({OURS}) WITH CHECK ({OURS})")


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("desk_sessions")
