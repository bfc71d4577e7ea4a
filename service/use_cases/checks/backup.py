"""Backup and restore of the embedded database: online, consistent, verified, and whole or not at all.

Photos go with it: their files lie in a folder beside the database, and beside the backup. They are named by the hash of
their bytes and never change, so that they are copied, held to their hash, and never overwritten by others.

PostgreSQL has its own tools (pg_dump, WAL archiving); it is refused here.
"""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Final

from sqlalchemy import exc

from service.errors import ServiceError
from service.settings import Settings
from service.store import migrate, photo_folder
from service.store.database import Database
from service.store.engines import BUSY_TIMEOUT_MS
from service.store.queries.photos import photo_files
from service.use_cases.checks.audit import Audited, Fault, audit
from service.use_cases.checks.manifest import NotWhole, manifest_file, manifest_of, refuse_damaged
from service.use_cases.checks.verification import verify_revisions

PAGES_AT_ONCE: Final = 1000
OWNER_ONLY: Final = 0o600
"""A backup holds what the database holds; nobody else reads it."""


class CannotBackUp(ServiceError):
    """The backup or the restore cannot be made; nothing was changed."""

    code = "cannot_back_up"


def back_up(settings: Settings, file: Path, *, force: bool = False) -> list[Audited]:
    """Write the database to a file while it is in use; return the sums of its sites as verified in the file.

    Its manifest is laid beside it: without it, or with another file, nothing is restored.

    Raises
    ------
    CannotBackUp
        Not the embedded database; the file exists and ``force`` is not set; the copy is not whole.
    """
    source = database_file(settings)
    if not source.is_file():
        raise CannotBackUp(f"there is no database {source}")
    _refuse_existing(file, force)
    photos = (settings.photo_folder, photos_beside(file))
    return _copy_whole(settings, source, file, photos=photos, manifest=manifest_file(file))


def photos_beside(file: Path) -> Path:
    """Return the folder of the photos of a backup."""
    return file.with_name(f"{file.name}-photos")


def restore(settings: Settings, file: Path, *, force: bool = False) -> list[Audited]:
    """Put a backup in the place of the database; return the sums of its sites as verified.

    First it is held against its manifest, then the copy is verified: pages, references, the record, the instructions
    computed again.

    Raises
    ------
    CannotBackUp
        Not the embedded database; the backup is none or not whole; there is a database and ``force`` is not set; a
        process has it open.
    """
    target = database_file(settings)
    if not file.is_file():
        raise CannotBackUp(f"there is no backup {file}")
    if target.exists() and file.samefile(target):
        raise CannotBackUp(f"{file} is the database itself")
    _refuse_existing(target, force)
    try:
        refuse_damaged(file)
    except NotWhole as error:
        raise CannotBackUp(str(error)) from error
    photos = (photos_beside(file), settings.photo_folder)
    return _copy_whole(settings, file, target, photos=photos, revisions=True)


def database_file(settings: Settings) -> Path:
    """Return the file of the embedded database.

    Raises
    ------
    CannotBackUp
        The database is PostgreSQL.
    """
    if not settings.on_sqlite:
        raise CannotBackUp("the database is PostgreSQL; back it up with pg_dump and restore it with pg_restore")
    return Path(settings.database_url.removeprefix("sqlite:///"))


def _refuse_existing(file: Path, force: bool) -> None:
    if file.exists() and file.stat().st_size and not force:
        raise CannotBackUp(f"{file} exists; --force overwrites it")


def _copy_whole(
    settings: Settings,
    source: Path,
    target: Path,
    *,
    photos: tuple[Path | None, Path | None],
    manifest: Path | None = None,
    revisions: bool = False,
) -> list[Audited]:
    """Copy beside the target, verify the copy, and only then put it in the target's place, then its manifest."""
    with _beside(target) as copy:
        try:
            _copy(source, copy)
            audited = _verified(settings, copy, revisions=revisions)
        except (sqlite3.Error, exc.DatabaseError) as error:
            raise CannotBackUp(f"{source} cannot be read as a database: {error}") from error
        _copy_photos(settings, copy, *photos)
        text = None if manifest is None else manifest_of(copy, schema=migrate.head()).text
        _close_log_of(target)
        os.replace(copy, target)
        if manifest is not None and text is not None:
            _write(manifest, text)
    _synced(target.parent)
    return audited


def _copy_photos(settings: Settings, copy: Path, source: Path | None, target: Path | None) -> None:
    """Copy the files of the photos that the copied database names; a file that is there already is held to its hash.

    Raises
    ------
    CannotBackUp
        A photo is missing or is not what was stored.
    """
    database = Database(replace(settings, database_url=f"sqlite:///{copy}"))
    try:
        wanted = list(photo_files(database))
    finally:
        database.dispose()
    _close_log_of(copy)
    for site_id, digest in wanted:
        data = None if source is None else photo_folder.read(source, site_id, digest)
        if data is None or target is None:
            raise CannotBackUp(f"the photo {digest[:12]}... is not in {source}, or is not what was stored")
        if photo_folder.read(target, site_id, digest) is None:
            photo_folder.path_of(target, site_id, digest).unlink(missing_ok=True)
            photo_folder.kept(target, site_id, data)


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """Yield a new file in the folder of the target, gone at the end with what SQLite lays beside it."""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}-", suffix=".part", dir=target.parent)
    except OSError as error:
        raise CannotBackUp(f"nothing can be written into {target.parent}: {error.strerror}") from error
    os.close(handle)
    copy = Path(name)
    try:
        yield copy
    finally:
        for each in (copy, *_logs_of(copy)):
            each.unlink(missing_ok=True)


def _write(manifest: Path, text: str) -> None:
    with _beside(manifest) as made:
        made.write_text(text, encoding="utf-8")
        made.chmod(OWNER_ONLY)
        _synced(made)
        os.replace(made, manifest)


def _copy(source: Path, copy: Path) -> None:
    """Copy page by page in one read transaction of the source; writers go on meanwhile."""
    reading = f"file:{_quoted(source)}?mode=ro"
    with closing(sqlite3.connect(reading, uri=True, timeout=BUSY_TIMEOUT_MS / 1000)) as original:
        original.execute("BEGIN")
        original.execute("SELECT count(*) FROM sqlite_master").fetchone()  # begins the one snapshot that is copied
        with closing(sqlite3.connect(copy)) as made:
            original.backup(made, pages=PAGES_AT_ONCE)
    copy.chmod(OWNER_ONLY)
    _synced(copy)


def _verified(settings: Settings, copy: Path, *, revisions: bool) -> list[Audited]:
    """Return the sums of the sites in a copy that SQLite finds whole.

    Raises
    ------
    CannotBackUp
        SQLite finds it damaged, rows refer to nothing, or it has another schema than this version, or its
        journals do not bear it out.
    """
    with closing(sqlite3.connect(copy)) as connection:
        found = [row[0] for row in connection.execute("PRAGMA integrity_check(1)")]
        if found != ["ok"]:
            raise CannotBackUp(f"the file is damaged: {found[0]}")
        if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
            raise CannotBackUp("rows of the file refer to rows that are not there")
    database = Database(replace(settings, database_url=f"sqlite:///{copy}"))
    try:
        state = database.ready()
        if not state["ready"]:
            found_, expected = state["migration"], state["expected_migration"]
            raise CannotBackUp(f"the file has schema {found_}, this version {expected}; use the version that wrote it")
        audited = _audited(database)
        for each in verify_revisions(database) if revisions else ():
            if each.different is not None:
                raise CannotBackUp(f"{each.different} of {each.site_code}: {each.reason}")
    finally:
        database.dispose()
    _close_log_of(copy)
    return audited


def _audited(database: Database) -> list[Audited]:
    """Return the sums of the sites, whose record the chains bear out.

    Raises
    ------
    CannotBackUp
        Something is changed, missing or too many; the first is named.
    """
    found = []
    for each in audit(database):
        if isinstance(each, Fault):
            said = f"the record of {each.site_code} is not what its journal says: {each.table} {each.key}: {each.what}"
            raise CannotBackUp(said)
        if isinstance(each, Audited):
            found.append(each)
    return found


def _close_log_of(file: Path) -> None:
    """Bring what the write-ahead log holds into the file and leave no log: one left behind would ruin its successor.

    Raises
    ------
    CannotBackUp
        Another process has the database open.
    """
    if not file.exists():
        for each in _logs_of(file):
            each.unlink(missing_ok=True)
        return
    try:
        with closing(sqlite3.connect(file, timeout=1, isolation_level=None)) as connection:
            mode = connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB:
            return
        raise CannotBackUp(f"{file} is in use; stop the service first") from error
    if mode != "delete":
        raise CannotBackUp(f"{file} is in use; stop the service first")


def _logs_of(file: Path) -> tuple[Path, Path]:
    return Path(f"{file}-wal"), Path(f"{file}-shm")


def _quoted(file: Path) -> str:
    return str(file.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")


def _synced(path: Path) -> None:
    """Have the file, or the names in a folder, on the disk before going on."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
