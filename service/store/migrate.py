"""The schema's migrations, from the repository or from an installed wheel alike."""

from functools import cache
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

import service

PACKAGE = Path(service.__file__).parent


def folder() -> Path:
    """Return the folder of the migrations: inside the installed package, else beside it in the repository."""
    packed = PACKAGE / "_migrations"
    return packed if packed.is_dir() else PACKAGE.parent / "migrations"


def upgrade(url: str, revision: str = "head") -> None:
    """Bring the database up to a revision; from nothing, on either engine."""
    command.upgrade(_config(url), revision)


def downgrade(url: str, revision: str) -> None:
    """Bring the database down to a revision (``base``: before the first)."""
    command.downgrade(_config(url), revision)


@cache
def head() -> str:
    """Return the revision that this code was written for.

    Raises
    ------
    LookupError
        The folder of the migrations is empty or not there.
    """
    revision = ScriptDirectory.from_config(_config(None)).get_current_head()
    if revision is None:
        raise LookupError(f"no migrations in {folder()}")
    return revision


def current(engine: sa.Engine) -> str | None:
    """Return the revision that the database has, None before the first."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def _config(url: str | None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(folder()).replace("%", "%%"))
    config.attributes["url"] = url
    return config
