"""Import profiles: how a sheet of a site names its columns and writes its numbers. Append-only, as field maps are."""

import sqlalchemy as sa
from alembic import op

from service.store.baseline import enter_baselines

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None
TABLE = "import_profiles"
ID = sa.Uuid(as_uuid=False)
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the table, with the fence between sites and what refuses changes."""
    op.create_table(
        TABLE,
        sa.Column("site_id", ID, nullable=False),
        sa.Column("id", ID, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("version > 0", name=op.f("ck_import_profiles_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_import_profiles_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_import_profiles")),
        sa.UniqueConstraint("site_id", "name", "version", name=op.f("uq_import_profiles_site_id_name_version")),
    )
    if op.get_context().dialect.name == "postgresql":
        op.execute(f"ALTER TABLE {TABLE} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {TABLE} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON {TABLE} USING ({OURS}) WITH CHECK ({OURS})")
        op.execute(
            f"CREATE TRIGGER tr_{TABLE}_change BEFORE UPDATE OR DELETE ON {TABLE} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{TABLE}_truncate BEFORE TRUNCATE ON {TABLE} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER tr_{TABLE}_{verb.lower()} BEFORE {verb} ON {TABLE} "
            f"BEGIN SELECT RAISE(ABORT, '{TABLE} is append-only'); END"
        )
    op.execute(
        f"CREATE TRIGGER tr_{TABLE}_replace BEFORE INSERT ON {TABLE} "
        f"WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE site_id = NEW.site_id AND id = NEW.id) "
        f"BEGIN SELECT RAISE(ABORT, '{TABLE} is append-only'); END"
    )


def downgrade() -> None:
    """Drop the table; triggers and policy go with it. The chain begins again without the rows that stood in it."""
    op.drop_table(TABLE)
    if not op.get_context().as_sql:
        enter_baselines(op.get_bind(), actor="migration", request_id=revision, why="import profiles were dropped")
