"""The rows that each write leaves, by their hashes; and for every site one journal row of all that is on record now.

What was written before is in the chain from this row on: it proves that nothing has changed since, not before.
"""

import sqlalchemy as sa
from alembic import op

from service.store.baseline import enter_baselines

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

TABLE = "journal_rows"
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Make the table, its fence, and the rows to begin from; printed SQL cannot: run ``capsaddle audit baseline``."""
    op.create_table(
        TABLE,
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("part", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rows", sa.Text(), nullable=False),
        sa.CheckConstraint("part > 0", name=op.f("ck_journal_rows_part_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_journal_rows_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "seq", "part", name=op.f("pk_journal_rows")),
    )
    if op.get_bind().dialect.name == "sqlite":
        append_only_on_sqlite()
    else:
        append_only_on_postgresql()
    if not op.get_context().as_sql:
        enter_baselines(op.get_bind(), actor="migration", request_id=revision)


def downgrade() -> None:
    """Drop the table; what the journal says stays."""
    op.drop_table(TABLE)


def append_only_on_sqlite() -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER tr_{TABLE}_{verb.lower()} BEFORE {verb} ON {TABLE} "
            f"BEGIN SELECT RAISE(ABORT, '{TABLE} is append-only'); END"
        )
    op.execute(
        f"CREATE TRIGGER tr_{TABLE}_replace BEFORE INSERT ON {TABLE} "
        f"WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE site_id = NEW.site_id AND seq = NEW.seq AND part = NEW.part) "
        f"BEGIN SELECT RAISE(ABORT, '{TABLE} is append-only'); END"
    )


def append_only_on_postgresql() -> None:
    """Refuse UPDATE, DELETE and TRUNCATE, and let a site see its own rows alone."""
    op.execute(
        f"CREATE TRIGGER tr_{TABLE}_change BEFORE UPDATE OR DELETE ON {TABLE} "
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
    )
    op.execute(
        f"CREATE TRIGGER tr_{TABLE}_truncate BEFORE TRUNCATE ON {TABLE} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
    )
    op.execute(f"ALTER TABLE {TABLE} ENABLE ROW LEVEL SECURITY")
    op.execute(f"ALTER TABLE {TABLE} FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY of_site ON {TABLE} USING ({OURS}) WITH CHECK ({OURS})")
