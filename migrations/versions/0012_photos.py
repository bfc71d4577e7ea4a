"""Photos of a job: what they show, whose files they are by their hash; and whether a site takes them.

The files lie beside the database. Going down, the rows are gone and the files stay; up again, the chain of a site that
had some begins anew.
"""

import sqlalchemy as sa
from alembic import op

from service.store.baseline import enter_baselines

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the table, append-only, and let every site take photos."""
    op.add_column(
        "sites", sa.Column("takes_photos", sa.Boolean(), nullable=True)
    )  # NULL: it does, as no hash may change
    op.create_table(
        "photos",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_as", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("about IN ('as_found', 'load_mark', 'damage', 'other')", name=op.f("ck_photos_about_known")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_photos_sha256_is_a_digest")),
        sa.CheckConstraint("length(taken_by) > 0", name=op.f("ck_photos_taken_by_somebody")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_photos_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_photos")),
        sa.UniqueConstraint(
            "site_id", "work_order_id", "sent_as", name=op.f("uq_photos_site_id_work_order_id_sent_as")
        ),
    )
    if op.get_bind().dialect.name == "sqlite":
        append_only_on_sqlite()
    else:
        append_only_on_postgresql()
    if not op.get_context().as_sql and were_here_before():
        enter_baselines(op.get_bind(), actor="migration", request_id=revision)


def were_here_before() -> bool:
    """Return whether the journal names photos, or a site that takes none: both were lost on the way down."""
    named = "SELECT 1 FROM journal_rows WHERE rows LIKE '%[\"photos\",%' LIMIT 1"
    told = "SELECT 1 FROM journal WHERE event_type = 'site.photos_switched' LIMIT 1"
    return any(op.get_bind().exec_driver_sql(asked.replace("%", "%%")).first() for asked in (named, told))


def append_only_on_postgresql() -> None:
    """Refuse UPDATE, DELETE and TRUNCATE, and let a site see its own rows alone."""
    for event, level in (("UPDATE OR DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        name = "change" if level == "ROW" else "truncate"
        op.execute(
            f"CREATE TRIGGER tr_photos_{name} BEFORE {event} ON photos "
            f"FOR EACH {level} EXECUTE FUNCTION refuse_change()"
        )
    op.execute("ALTER TABLE photos ENABLE ROW LEVEL SECURITY")
    op.execute("ALTER TABLE photos FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY of_site ON photos USING ({OURS}) WITH CHECK ({OURS})")


def downgrade() -> None:
    """Take both away."""
    op.drop_table("photos")
    op.drop_column("sites", "takes_photos")


def append_only_on_sqlite() -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER tr_photos_{verb.lower()} BEFORE {verb} ON photos "
            "BEGIN SELECT RAISE(ABORT, 'photos is append-only'); END"
        )
    op.execute(
        "CREATE TRIGGER tr_photos_replace BEFORE INSERT ON photos "
        "WHEN EXISTS (SELECT 1 FROM photos WHERE site_id = NEW.site_id AND id = NEW.id) "
        "BEGIN SELECT RAISE(ABORT, 'photos is append-only'); END"
    )
