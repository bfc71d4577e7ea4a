"""When a key was last used; and on PostgreSQL a key is looked up by a function that gives one row.

The function runs as the owner of the tables, whom a policy of his own lets read keys: an owner who is no superuser may
not set a parameter of ours for a function. ``pg_temp`` is searched last, so that no temporary table stands in for keys.

The function takes the id of a key and the hash of its secret, and answers for that key alone. Without a hash (a link to
a card, which something else has signed) it tells no hash. So no row of ``api_keys`` need be read before the site is
known. The policy that lets the version before do so stays until ``capsaddle migrate --finish``; where there is no key
yet nobody serves yet, and it goes at once.
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column and the function, and close the open door where nobody can be going through it."""
    op.add_column("api_keys", sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True))
    if op.get_bind().dialect.name == "sqlite":
        return
    op.execute(
        "CREATE FUNCTION find_key(wanted uuid, digest text) RETURNS TABLE (site_id uuid, secret_sha256 text, "
        "scopes text, expires_at timestamptz, revoked_at timestamptz, code text, units text, blade_set text, "
        "books_version integer) "
        "LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$ "
        "SELECT k.site_id, digest, k.scopes, k.expires_at, k.revoked_at, s.code, s.units, s.blade_set, s.books_version "
        "FROM api_keys k JOIN sites s ON s.id = k.site_id "
        "WHERE k.id = wanted AND (digest IS NULL OR k.secret_sha256 = digest) $$"
    )
    op.execute("CREATE POLICY read_by_owner ON api_keys FOR SELECT TO CURRENT_USER USING (true)")
    if not op.get_context().as_sql and op.get_bind().exec_driver_sql("SELECT 1 FROM api_keys LIMIT 1").first() is None:
        op.execute("DROP POLICY read_before_site ON api_keys")


def downgrade() -> None:
    """Open the door again, and drop function and column."""
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP POLICY IF EXISTS read_before_site ON api_keys")
        op.execute("CREATE POLICY read_before_site ON api_keys FOR SELECT USING (true)")
        op.execute("DROP POLICY read_by_owner ON api_keys")
        op.execute("DROP FUNCTION find_key(uuid, text)")
    op.drop_column("api_keys", "last_used_at")
