"""What a driver raises, said in our words. No text of a driver reaches a caller."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Final

import sqlalchemy as sa
from sqlalchemy import exc

from service.errors import (
    Busy,
    CannotEvaluate,
    Conflict,
    DatabaseMissing,
    DiskFull,
    ReadOnly,
    ServiceError,
    StorageFailed,
)
from service.store.engines import MISSING
from service.store.models import Base

LOG = logging.getLogger(__name__)
MEANINGS: Final = {
    "uq_assets_site_id_tag": ("asset_tag_taken", "An asset with this tag is on record already."),
    "uq_shafts_site_id_asset_id_name": ("shaft_name_taken", "Two shafts of the asset would have the same name."),
    "uq_positions_site_id_asset_id_name": (
        "position_name_taken",
        "Two positions of the asset would have the same name.",
    ),
    "uq_work_orders_site_id_external_system_external_number": (
        "work_order_exists",
        "A work order with this number of this system is on record already.",
    ),
    "uq_revisions_site_id_work_order_id_number": (
        "revision_exists",
        "Another revision of these instructions was made at the same time; read the order again.",
    ),
    "uq_sites_code": ("site_code_taken", "A site with this code is on record already."),
    "uq_housings_site_id_name_version": ("version_exists", "This version of the housing is on record already."),
    "uq_charts_site_id_kind_name_version": ("version_exists", "This version of the chart is on record already."),
    "uq_field_maps_site_id_name_version": ("version_exists", "This version of the map is on record already."),
    "uq_import_profiles_site_id_name_version": (
        "version_exists",
        "This version of the profile is on record already.",
    ),
    "uq_readings_site_id_work_order_id_entry": ("entered_at_once", "Another entry was made in this order at once."),
    "uq_deviations_site_id_work_order_id_entry": ("entered_at_once", "Another entry was made in this order at once."),
    "uq_completions_site_id_work_order_id": ("work_order_not_open", "The work order is completed already."),
    "uq_corrections_site_id_corrects": (
        "already_corrected",
        "This entry has been corrected already; a further correction names the one before.",
    ),
    "uq_meter_readings_site_id_asset_id_read_at": (
        "meter_read_then",
        "The meter of this asset has another reading of the same moment on record.",
    ),
    "pk_alarms": ("alarm_raised", "Another process looks at the same site at this moment."),
    "pk_stay_attributes": ("attribute_exists", "An attribute of this name was named by another request meanwhile."),
    "uq_stays_one_open": ("position_has_open_stay", "A bearing is running in this position already."),
    "uq_stays_site_id_external_id": ("stay_exists", "A stay with this external id is on record already."),
    "ex_stays_no_overlap": ("stays_overlap", "Two bearings would be in the same position at the same time."),
    "ck_stays_removed_after_installed": ("removed_before_installed", "The removal must come after the installation."),
    "ck_stays_open_is_running": ("end_type_differs", "A stay is running exactly as long as it has no removal."),
}
_RETRIED: Final = frozenset({"40001", "40P01"})
_TAKEN: Final = frozenset({"23505", "23P01"})
_SQLITE_RETRY_LATER: Final = frozenset({5, 6})  # SQLITE_BUSY, SQLITE_LOCKED
READ_ONLY: Final = "The database takes no changes now; questions are answered."
_FULL: Final = "The database has no room for this; send the same request again when there is."
_FAILED: Final = "The disk of the database failed; send the same request again after a moment."
_BY_SQLITE: Final[dict[int, tuple[type[Busy], str]]] = {
    8: (ReadOnly, READ_ONLY),  # SQLITE_READONLY
    10: (StorageFailed, _FAILED),  # SQLITE_IOERR
    13: (DiskFull, _FULL),  # SQLITE_FULL
    14: (DatabaseMissing, MISSING),  # SQLITE_CANTOPEN
}
"""By the primary code: https://www.sqlite.org/rescode.html"""
_DISK_FULL: Final = "53100"  # PostgreSQL's documentation, appendix A
_READ_ONLY_TRANSACTION: Final = "25006"
BUSY: Final = "The database cannot do this now; send the same request again after a moment."


def sqlstate(error: exc.DBAPIError) -> str:
    """Return PostgreSQL's code of an error, empty when there is none."""
    return getattr(error.orig, "sqlstate", None) or ""


def retried(error: exc.DBAPIError) -> bool:
    """Return whether the transaction lost against another one and may simply be run again."""
    return sqlstate(error) in _RETRIED


def refused_as_read_only(error: exc.DBAPIError) -> bool:
    """Return whether PostgreSQL takes no changes: a standby, or ``default_transaction_read_only``.

    Asked of writes alone: where a question tries to change something, the fault is ours.
    """
    return sqlstate(error) == _READ_ONLY_TRANSACTION


def taken(error: exc.DBAPIError) -> bool:
    """Return whether another transaction may have stored the same name a moment before (PostgreSQL only)."""
    return sqlstate(error) in _TAKEN


@contextmanager
def translated() -> Iterator[None]:
    """Raise what the drivers raise as errors of the service.

    Raises
    ------
    Busy
        Locked, out of connections, shut down, full: the same request may be sent again.
    Conflict
        A constraint holds against what is on record.
    CannotEvaluate
        The database cannot hold a value.
    """
    try:
        yield
    except exc.DBAPIError as error:
        meaning = _meaning(error)
        if meaning is None:
            raise
        raise meaning from error
    except exc.TimeoutError as error:
        raise Busy(BUSY) from error
    except UnicodeEncodeError as error:
        raise CannotEvaluate("A text holds half of a character (a lone surrogate).", code="invalid_text") from error


def _meaning(error: exc.DBAPIError) -> ServiceError | None:
    """Return our error, or None for a fault of our own, which stays what it is."""
    if isinstance(error, exc.IntegrityError):
        return _conflict(constraint(error))
    if isinstance(error, exc.DataError):
        return CannotEvaluate("A value is too large, or holds a character that the database cannot keep.")
    if error.connection_invalidated:
        return Busy(BUSY)
    if isinstance(error, exc.OperationalError):
        errorcode = getattr(error.orig, "sqlite_errorcode", None)
        kind, said = _BY_SQLITE.get(-1 if errorcode is None else errorcode & 0xFF, (None, ""))
        if sqlstate(error) == _DISK_FULL:
            kind, said = DiskFull, _FULL
        if kind is not None:
            LOG.error("the database cannot be used as it should: %s", error.orig)
            return kind(said)
        if errorcode is None or errorcode & 0xFF in _SQLITE_RETRY_LATER:
            return Busy(BUSY)
    return None


def _conflict(name: str) -> ServiceError | None:
    if name in MEANINGS:
        code, detail = MEANINGS[name]
        return Conflict(detail, code=code)
    if name.startswith("ck_") or "append-only" in name:
        return None
    return Conflict("The request contradicts what is on record: something it needs is gone, or something hangs on it.")


def constraint(error: exc.IntegrityError) -> str:
    """Return the name of the constraint, or the message of our trigger, that was hit.

    SQLite does not tell which foreign key it was: ``foreign key``.
    """
    diagnosis = getattr(error.orig, "diag", None)
    if diagnosis is not None:
        return diagnosis.constraint_name or diagnosis.message_primary or ""
    kind, _, rest = str(error.orig).partition(" constraint failed")
    what = rest.removeprefix(": ")
    if kind == "UNIQUE":
        return _unique_names().get(what, "")
    return {"CHECK": what, "FOREIGN KEY": "foreign key"}.get(kind, kind)


@cache
def _unique_names() -> dict[str, str]:
    """Return the names of unique constraints by their columns, as SQLite lists them."""
    names = {}
    for table in Base.metadata.tables.values():
        unique = [item for item in table.constraints if isinstance(item, sa.PrimaryKeyConstraint | sa.UniqueConstraint)]
        for item in (*unique, *(index for index in table.indexes if index.unique)):
            columns = ", ".join(f"{table.name}.{column.name}" for column in item.columns)
            names[columns] = str(item.name)
    return names
