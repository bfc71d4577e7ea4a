"""Whose transaction this is, said to PostgreSQL: its row level security shows no row of another site.

The second fence: every query names its site by itself. Said for one transaction only, so that a pooler may give the
connection to another process afterwards.
"""

import sqlalchemy as sa

_OF_SITE = "SELECT set_config('capsaddle.site_id', %(site)s, true)"
_OF_ALL = "SELECT set_config('capsaddle.all_sites', 'on', true)"


def let_through(connection: sa.Connection, site_id: str | None) -> None:
    """Let the transaction of this connection see the rows of a site, or of all sites when it is None."""
    if connection.dialect.name == "sqlite":
        return
    if site_id is None:
        connection.exec_driver_sql(_OF_ALL).close()
    else:
        connection.exec_driver_sql(_OF_SITE, {"site": site_id}).close()
