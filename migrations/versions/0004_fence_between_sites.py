"""A second fence between sites on PostgreSQL: row level security, for the owner of the tables too.

Every transaction of the service says whose it is (``capsaddle.site_id``), or that it is a command that goes over all
sites (``capsaddle.all_sites``); one that says neither sees nothing. Keys are read before the site is known, so reading
them is open; who changes one says whose it is.
"""

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

TABLES = (
    "as_found", "assets", "charts", "completions", "corrections", "deliveries", "delivery_attempts", "deviations",
    "field_maps", "housings", "idempotency_keys", "inbound_messages", "journal", "meter_readings", "positions",
    "readings", "revisions", "shafts", "site_heads", "stays", "subscriptions", "work_order_positions", "work_orders",
)  # fmt: skip
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)


def upgrade() -> None:
    """Put the fence up."""
    if op.get_bind().dialect.name == "sqlite":
        return
    for table in (*TABLES, "api_keys"):
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} FORCE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY of_site ON {table} USING ({OURS}) WITH CHECK ({OURS})")
    op.execute("CREATE POLICY read_before_site ON api_keys FOR SELECT USING (true)")


def downgrade() -> None:
    """Take the fence away."""
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute("DROP POLICY read_before_site ON api_keys")
    for table in (*TABLES, "api_keys"):
        op.execute(f"DROP POLICY of_site ON {table}")
        op.execute(f"ALTER TABLE {table} NO FORCE ROW LEVEL SECURITY")
        op.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")
