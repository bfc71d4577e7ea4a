"""Runs migrations: one transaction for all of them, on both engines.

SQLite: a table that is rebuilt is dropped, and with foreign keys on that would delete or refuse its children. So they
are turned off before BEGIN (inside a transaction the pragma does nothing) and checked before COMMIT.
"""

import os

import sqlalchemy as sa
from alembic import context

from service.settings import Settings
from service.store import engines, fence
from service.store.models import Base

LOCK = 0x63617073  # any number: two processes that migrate take turns


def check_foreign_keys(connection: sa.Connection) -> None:
    """Refuse to commit rows that refer to nothing."""
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    if broken:
        tables = ", ".join(sorted({row[0] for row in broken}))
        raise RuntimeError(f"the migration would leave {len(broken)} rows without what they refer to, in: {tables}")


def migrate(connection: sa.Connection) -> None:
    """Run the migrations in one transaction."""
    on_sqlite = connection.dialect.name == "sqlite"
    if on_sqlite:
        connection.connection.dbapi_connection.execute("PRAGMA foreign_keys = OFF").close()
    with connection.begin():
        if not on_sqlite:
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(LOCK)))
            fence.let_through(connection, None)
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_as_batch=on_sqlite,
            compare_type=True,
            transactional_ddl=True,
        )
        context.run_migrations()
        if on_sqlite:
            check_foreign_keys(connection)


def online() -> None:
    """Migrate the database that the caller names, else the one of the environment."""
    url = context.config.attributes.get("url") or Settings.from_environment(os.environ).database_url
    engine = engines.single(url).execution_options(writes=True)
    try:
        with engine.connect() as connection:
            migrate(connection)
    finally:
        engine.dispose()


def offline() -> None:
    """Print the SQL instead of running it."""
    url = Settings.from_environment(os.environ).database_url
    context.configure(url=url, target_metadata=Base.metadata, literal_binds=True, transactional_ddl=True)
    with context.begin_transaction():
        context.run_migrations()


if context.is_offline_mode():
    offline()
else:
    online()
