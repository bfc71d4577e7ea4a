"""Engines of the two databases: their connections, pragmas, time limits and our own BEGIN."""

import os
import sqlite3
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

from service.errors import DatabaseMissing

MISSING: Final = "The database is not where it was, or cannot be opened; its operator must see to it."
BUSY_TIMEOUT_MS: Final = 10_000
IDLE_IN_TRANSACTION_MS: Final = 60_000
CONNECT_TIMEOUT_S: Final = 5
REPLICA_CONNECT_TIMEOUT_S: Final = 2  # the primary can answer in its place
UNREACHABLE: Final = {"tcp_user_timeout": 10_000, "keepalives_idle": 10, "keepalives_interval": 5}
"""When a host has gone without a word: what was sent and not acknowledged for 10 s ends the connection."""
PRAGMAS: Final = (
    f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA trusted_schema = OFF",
)


def pooled(
    url: str,
    *,
    size: int,
    statement_timeout_ms: int,
    lock_timeout_ms: int,
    pooler: bool = False,
    connect_timeout_s: int = CONNECT_TIMEOUT_S,
) -> sa.Engine:
    """Return an engine with a pool of at most ``size`` connections; waiting longer than 5 s for one fails.

    Parameters
    ----------
    pooler : bool
        Whether a connection may change between transactions: limits are said in each, and nothing is prepared.
    """
    pool: dict[str, Any] = {"pool_size": size, "max_overflow": 0, "pool_timeout": 5.0}
    if url.startswith("sqlite"):
        return _sqlite(url, **pool)
    limits = {
        "statement_timeout": statement_timeout_ms,
        "lock_timeout": lock_timeout_ms,
        "idle_in_transaction_session_timeout": IDLE_IN_TRANSACTION_MS,
    }
    connect = {"connect_timeout": connect_timeout_s, "application_name": "capsaddle", **UNREACHABLE}
    return _behind_pooler(url, limits, connect, **pool) if pooler else _postgresql(url, limits, connect, **pool)


def single(url: str) -> sa.Engine:
    """Return an engine for one task (a migration): no pool, no limit of time but for locks; SQLite's file is made."""
    if url.startswith("sqlite"):
        return _sqlite(url, may_make=True, poolclass=NullPool)
    connect = {"connect_timeout": CONNECT_TIMEOUT_S, "application_name": "capsaddle"}
    return _postgresql(url, {"lock_timeout": BUSY_TIMEOUT_MS}, connect, poolclass=NullPool)


def _postgresql(url: str, limits: dict[str, int], connect: dict[str, Any], **pool: Any) -> sa.Engine:
    options = " ".join(f"-c {name}={value}" for name, value in limits.items())
    return _as_the_server_says(sa.create_engine(url, connect_args={**connect, "options": options}, **pool))


def _as_the_server_says(engine: sa.Engine) -> sa.Engine:
    """Return the engine, whose transactions may write where the server lets them.

    After a read-only transaction SQLAlchemy tells the driver to begin the next ones READ WRITE: a standby refuses that
    with an error of its own, and ``default_transaction_read_only`` would be overruled.
    """

    @sa.event.listens_for(engine, "checkin")
    def forget(connection: Any, _record: Any) -> None:
        if connection is not None and not connection.closed:
            connection.read_only = None

    return engine


def _behind_pooler(url: str, limits: dict[str, int], connect: dict[str, Any], **pool: Any) -> sa.Engine:
    """Return an engine that keeps no state in the session: PgBouncer in transaction mode refuses or loses it."""
    engine = _as_the_server_says(sa.create_engine(url, connect_args={**connect, "prepare_threshold": None}, **pool))
    said = "SELECT " + ", ".join(f"set_config('{name}', '{value}', true)" for name, value in limits.items())

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql(said).close()

    return engine


def watcher(url: str) -> sqlite3.Connection:
    """Return a connection of the embedded database that only asks whether others have changed it."""
    return opened(sqlite_file(url))


def sqlite_file(url: str) -> Path:
    """Return the file of an embedded database."""
    return Path(str(sa.make_url(url).database))


def opened(file: Path, *, may_make: bool = False) -> sqlite3.Connection:
    """Return a connection to the file of an embedded database; a file that is not there is not made by accident.

    On a read-only file system nothing can be laid beside the file, as SQLite does even for reading; since nothing
    changes there, it is told so (``immutable``), unless changes still wait in a log beside it.
    """
    how = "rwc" if may_make else "rw"
    if not may_make and read_only_mount(file) and not _log_of(file):
        how = "ro&immutable=1"
    name = f"file:{quote(str(file.absolute()))}?mode={how}"
    timeout_s = BUSY_TIMEOUT_MS / 1000
    return sqlite3.connect(name, uri=True, timeout=timeout_s, isolation_level=None, check_same_thread=False)


def read_only_mount(file: Path) -> bool:
    """Return whether the file lies on a file system that was mounted for reading alone."""
    try:
        return bool(os.statvfs(file).f_flag & os.ST_RDONLY)
    except OSError:
        return False


def _log_of(file: Path) -> bool:
    """Return whether changes wait beside the file to be written into it."""
    try:
        return file.with_name(f"{file.name}-wal").stat().st_size > 0
    except OSError:
        return False


def identity(file: Path) -> tuple[int, int] | None:
    """Return what tells a file from another that is put in its place, None when it is not there."""
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _sqlite(url: str, *, may_make: bool = False, **pool: Any) -> sa.Engine:
    """Return an engine whose transactions begin as we say: sqlite3 itself begins none.

    A transaction does not begin on a file that was deleted or replaced meanwhile: what is written there is lost.
    """
    file = sqlite_file(url)
    engine = sa.create_engine(url, creator=lambda: opened(file, may_make=may_make), **pool)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, record: Any) -> None:
        connection.isolation_level = None
        for pragma in PRAGMAS:
            connection.execute(pragma).close()
        record.info["file"] = identity(file)

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        if connection.info.get("file") != identity(file):
            connection.invalidate()
            raise DatabaseMissing(MISSING)
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
