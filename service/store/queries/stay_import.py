"""Storing many stays at once: what is on record of the same bearings and positions, and the insertion itself."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy import exc

from service.errors import Conflict
from service.history.stays import Stay
from service.store import chain, models
from service.store.identity import new_id
from service.store.queries.stay_lists import joined
from service.store.transaction import Tx

AT_ONCE: Final = 5_000  # values in one IN list
COPIED_AT_ONCE: Final = 10_000  # rows in one statement, so that each stays far below the limit of time
KEPT: Final = (
    "external_id", "designation", "manufacturer", "serial", "installed_at", "removed_at", "operating_hours", "as_of",
    "age_at_install_h", "observed_from", "end_type", "inspected", "damage", "cause", "initial_clearance_nm",
    "residual_clearance_nm", "window_min_nm", "window_max_nm", "downtime_h",
    "installed_by", "shaft_diameter_nm", "shaft_min_nm", "shaft_max_nm",
    "lubricant", "batch", "speed_rpm", "temperature_degc", "radial_load_n", "attributes",
)  # fmt: skip
END: Final = ("removed_at", "operating_hours", "as_of", "end_type", "inspected", "damage", "cause", "downtime_h")
"""What a stay is told when it ends."""
TOLD: Final = ("lubricant", "batch", "speed_rpm", "temperature_degc", "radial_load_n", "attributes")
"""What a stay may be told when it ends: how it ran; what is not told stays as it was."""
COLUMNS: Final = ("site_id", "id", "position_id", *KEPT, "work_order_number", "document", "created_at")


def positions_by_name(tx: Tx, tags: Iterable[str]) -> tuple[dict[str, str], dict[tuple[str, str], str]]:
    """Return the ids of the assets of these tags, and of their positions by (tag, name)."""
    asset, position = models.Asset, models.Position
    of_asset = (position.site_id == asset.site_id) & (position.asset_id == asset.id)
    columns = (asset.tag, asset.id, position.name, position.id.label("position_id"))
    assets: dict[str, str] = {}
    places: dict[tuple[str, str], str] = {}
    for some in _parts(sorted(set(tags))):
        statement = sa.select(*columns).outerjoin_from(asset, position, of_asset)
        for row in tx.connection.execute(statement.where(asset.site_id == tx.site_id, asset.tag.in_(some))):
            assets[row.tag] = row.id
            if row.name is not None:
                places[row.tag, row.name] = row.position_id
    return assets, places


def stays_on_record(
    tx: Tx, *, position_ids: Iterable[str], external_ids: Iterable[str], ids: Iterable[str]
) -> dict[str, Stay]:
    """Return the stays of these positions, and those of these external ids or ids, by their ids."""
    stay = models.Stay
    if tx.connection.execute(sa.select(stay.id).where(stay.site_id == tx.site_id).limit(1)).first() is None:
        return {}
    found: dict[str, Stay] = {}
    asked = (
        (stay.position_id, sorted(set(position_ids))),
        (stay.external_id, sorted(set(external_ids))),
        (stay.id, sorted(set(ids))),
    )
    for column, values in asked:
        for some in _parts(values):
            found |= dict(_stays(tx, column.in_(some)))
    return found


def end_stays(tx: Tx, ends: Mapping[str, Stay]) -> None:
    """End stays that run, by their ids, as the stays that come with their removal say.

    Raises
    ------
    Conflict
        ``stay_ended_meanwhile``: another transaction ended one of them after it was looked at.
    """
    stay = models.Stay
    for stay_id, sent in ends.items():
        running = (stay.site_id == tx.site_id, stay.id == stay_id, stay.removed_at.is_(None))
        values = {name: getattr(sent, name) for name in (*END, *TOLD)}
        if tx.connection.execute(sa.update(stay).where(*running).values(values)).rowcount != 1:
            said = f"stay {sent.external_id or stay_id} was ended by another request meanwhile; send the file again"
            raise Conflict(said, code="stay_ended_meanwhile")


def insert_stays(tx: Tx, stays: Sequence[Stay], position_ids: Mapping[tuple[str, str], str]) -> None:
    """Store new stays of positions that are on record.

    Raises
    ------
    Conflict
        A constraint of the stays: another transaction stored one of the same positions meanwhile.
    """
    if not stays:
        return
    rows = [_row(tx, stay, position_ids[stay.place]) for stay in stays]
    chain.insert_rows(tx.connection, "stays", (dict(zip(COLUMNS, row, strict=True)) for row in rows))
    if tx.connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(COLUMNS))
        statement = f"INSERT INTO stays ({', '.join(COLUMNS)}) VALUES ({marks})"
        tx.connection.exec_driver_sql(statement, [_for_sqlite(row) for row in rows])
        return
    _sent_at_once(tx, rows)


def _row(tx: Tx, stay: Stay, position_id: str) -> tuple[Any, ...]:
    kept = [getattr(stay, name) for name in KEPT]
    return (tx.site_id, new_id(), position_id, *kept, stay.work_order, "{}", tx.now)


def _sent_at_once(tx: Tx, rows: list[tuple[Any, ...]]) -> None:
    """Insert as fast as PostgreSQL takes rows from a role that its row level security holds.

    COPY into a table with row level security is refused to any role that does not go around it (PostgreSQL's
    documentation, COPY: Notes), so rows are copied into a temporary table and inserted from there. Who may make no
    temporary tables sends them one by one, which takes nearly twice the time.
    """
    import psycopg

    driver: Any = tx.connection.connection.driver_connection
    statement = f"INSERT INTO stays ({', '.join(COLUMNS)}) "
    try:
        with driver.cursor() as cursor:
            (may_copy,) = cursor.execute("SELECT has_database_privilege(current_database(), 'TEMPORARY')").fetchone()
            if may_copy:
                _copy(cursor, f"{statement}SELECT {', '.join(COLUMNS)} FROM arriving_stays", rows)
            else:
                cursor.executemany(f"{statement}VALUES ({', '.join(['%s'] * len(COLUMNS))})", rows)
    except psycopg.Error as error:
        wrapped = exc.DBAPIError.instance(statement, None, error, psycopg.Error, dialect=tx.connection.dialect)
        raise wrapped from error


def _copy(cursor: Any, insert: str, rows: list[tuple[Any, ...]]) -> None:
    """Copy the rows into a table of this transaction and insert them from there, part by part."""
    cursor.execute("CREATE TEMPORARY TABLE IF NOT EXISTS arriving_stays (LIKE stays) ON COMMIT DROP")
    for start in range(0, len(rows), COPIED_AT_ONCE):
        with cursor.copy(f"COPY arriving_stays ({', '.join(COLUMNS)}) FROM STDIN") as copy:
            for row in rows[start : start + COPIED_AT_ONCE]:
                copy.write_row(row)
        cursor.execute(insert)
        cursor.execute("TRUNCATE arriving_stays")


def _for_sqlite(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """Return a row as the types of the models keep it in SQLite: ids without hyphens, times as text."""
    ids = [value.replace("-", "") for value in row[:3]]
    rest = [value.isoformat(" ", "microseconds")[:26] if type(value) is datetime else value for value in row[3:]]
    return (*ids, *rest)


def _stays(tx: Tx, condition: Any) -> Iterator[tuple[str, Stay]]:
    stay, order = models.Stay, models.WorkOrder
    number = sa.func.coalesce(order.external_number, stay.work_order_number).label("work_order")
    columns = [getattr(stay, name) for name in KEPT]
    named = (models.Asset.tag.label("asset"), models.Position.name.label("position"), number)
    statement = joined(sa.select(stay.id, *columns, *named), stay).where(stay.site_id == tx.site_id, condition)
    for row in tx.connection.execute(statement):
        members = dict(row._mapping)
        yield members.pop("id"), Stay(**members)


def _parts(values: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(values), AT_ONCE):
        yield values[start : start + AT_ONCE]
