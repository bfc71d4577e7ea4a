"""Engines of the two databases: their connections, pragmas, time limits and our own BEGIN."""

import sqlite3
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.pool import NullPool

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
    pool = {"pool_size": size, "max_overflow": 0, "pool_timeout": 5.0}
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
    """Return an engine for one task (a migration): no pool, no limit of time but for locks."""
    if url.startswith("sqlite"):
        return _sqlite(url, poolclass=NullPool)
    connect = {"connect_timeout": CONNECT_TIMEOUT_S, "application_name": "capsaddle"}
    return _postgresql(url, {"lock_timeout": BUSY_TIMEOUT_MS}, connect, poolclass=NullPool)


def _postgresql(url: str, limits: dict[str, int], connect: dict[str, Any], **pool: Any) -> sa.Engine:
    options = " ".join(f"-c {name}={value}" for name, value in limits.items())
    return sa.create_engine(url, connect_args={**connect, "options": options}, **pool)


def _behind_pooler(url: str, limits: dict[str, int], connect: dict[str, Any], **pool: Any) -> sa.Engine:
    """Return an engine that keeps no state in the session: PgBouncer in transaction mode refuses or loses it."""
    engine = sa.create_engine(url, connect_args={**connect, "prepare_threshold": None}, **pool)
    said = "SELECT " + ", ".join(f"set_config('{name}', '{value}', true)" for name, value in limits.items())

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql(said).close()

    return engine


def watcher(url: str) -> sqlite3.Connection:
    """Return a connection of the embedded database that only asks whether others have changed it."""
    return sqlite3.connect(str(sa.make_url(url).database), isolation_level=None, check_same_thread=False)


def _sqlite(url: str, **pool: Any) -> sa.Engine:
    """Return an engine whose transactions begin as we say: sqlite3 itself begins none."""
    engine = sa.create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_MS / 1000}, **pool)

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        for pragma in PRAGMAS:
            connection.execute(pragma).close()

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
