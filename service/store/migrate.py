"""The schema's migrations, from the repository or from an installed wheel alike.

Alembic is imported when something is migrated: the processes that answer requests never need it.
"""

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

import service
from service.store import engines

if TYPE_CHECKING:
    from alembic.config import Config

PACKAGE = Path(service.__file__).parent


def folder() -> Path:
    """Return the folder of the migrations: inside the installed package, else beside it in the repository."""
    packed = PACKAGE / "_migrations"
    return packed if packed.is_dir() else PACKAGE.parent / "migrations"


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the database up to a revision; from nothing, on either engine."""
    from alembic import command

    command.upgrade(_config(url), revision)


def downgrade(url: str, revision: str) -> None:
    """Bring the database down to a revision (``base``: before the first)."""
    from alembic import command

    command.downgrade(_config(url), revision)


@cache
def head() -> str:
    """Return the revision that this code was written for: revisions are numbered, their files begin with the number.

    Raises
    ------
    LookupError
        The folder of the migrations is empty or not there.
    """
    numbers = [file.name.partition("_")[0] for file in (folder() / "versions").glob("[0-9]*_*.py")]
    if not numbers:
        raise LookupError(f"no migrations in {folder()}")
    return max(numbers)


def current(engine: sa.Engine) -> str | None:
    """Return the revision that the database has, None before the first."""
    with engine.connect() as connection:
        if not sa.inspect(connection).has_table("alembic_version"):
            return None
        revision: str | None = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
        return revision


def close_doors(url: str) -> None:
    """Take away what only processes of the version before need: reading keys before their site is known (0.1.0)."""
    engine = engines.single(url)
    if engine.dialect.name == "postgresql":
        with engine.begin() as connection:
            connection.exec_driver_sql("DROP POLICY IF EXISTS read_before_site ON api_keys")
    engine.dispose()


def _config(url: str | None) -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(folder()).replace("%", "%%"))
    config.attributes["url"] = url
    return config
