"""What else a stay is asked about: lubricant, batch of the supplier, how the bearing ran, attributes of the site.

The columns come empty: neither engine rewrites a row. A check of one column comes with the column on SQLite, which
adds none afterwards but by rebuilding the table.
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None
TEXTS = ("lubricant", "batch", "attributes")
NUMBERS = {
    "speed_rpm": "speed_rpm >= 0 AND speed_rpm <= 1e5",
    "temperature_degc": "temperature_degc >= -100 AND temperature_degc <= 500",
    "radial_load_n": "radial_load_n >= 0 AND radial_load_n <= 1e8",
}
ID = sa.Uuid(as_uuid=False)
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Add the columns and the names of the sites' attributes."""
    dialect = op.get_context().dialect
    number = sa.Double().compile(dialect=dialect)
    for name in TEXTS:
        op.add_column("stays", sa.Column(name, sa.Text(), nullable=True))
    for name, check in NUMBERS.items():
        op.execute(f"ALTER TABLE stays ADD COLUMN {name} {number} CONSTRAINT ck_stays_{name}_finite CHECK ({check})")
    op.create_table(
        "stay_attributes",
        sa.Column("site_id", ID, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("type IN ('text', 'number', 'flag')", name=op.f("ck_stay_attributes_type_known")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_stay_attributes_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "name", name=op.f("pk_stay_attributes")),
    )
    if dialect.name == "postgresql":
        op.execute("ALTER TABLE stay_attributes ENABLE ROW LEVEL SECURITY")
        op.execute("ALTER TABLE stay_attributes FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON stay_attributes USING ({OURS}) WITH CHECK ({OURS})")


def downgrade() -> None:
    """Take them away; the policy goes with its table."""
    op.drop_table("stay_attributes")
    for name in (*reversed(NUMBERS), *reversed(TEXTS)):
        op.drop_column("stays", name)
