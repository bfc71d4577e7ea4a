"""Persons who call with a token: the site that it names, as the rows of keys have it."""

import threading
import time
from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.store import models
from service.store.database import Database
from service.store.queries.keys import Caller

ACTOR: Final = "person:"
"""What stands before the subject of a token where the id of a key stands else: no key's id begins so."""
_SITE: Final = sa.select(
    models.Site.id, models.Site.code, models.Site.units, models.Site.blade_set, models.Site.books_version
).where(models.Site.code == sa.bindparam("code"))


class Sites:
    """The sites that tokens name; each is kept for at most ``cache_s`` on PostgreSQL and read anew on SQLite."""

    def __init__(self, database: Database, cache_s: float) -> None:
        self._database = database
        self._cache_s = 0.0 if database.settings.on_sqlite else cache_s
        self._kept: dict[str, tuple[float, Any]] = {}
        self._lock = threading.Lock()

    def caller(
        self, site_code: str, *, subject: str, name: str, scopes: Iterable[str], until: datetime
    ) -> Caller | None:
        """Return a person as a caller, None when there is no such site.

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        site = self._site(site_code)
        if site is None:
            return None
        blade_set = record.decoded(site.blade_set)
        return Caller(
            key_id=ACTOR + subject,
            site_id=site.id,
            site_code=site.code,
            units=site.units,
            blade_set=blade_set,
            scopes=frozenset(scopes),
            books_version=site.books_version,
            person=name,
            until=until,
        )

    def forget(self) -> None:
        """Look the sites up again: what comes with them has changed."""
        with self._lock:
            self._kept = {}

    def _site(self, code: str) -> Any:
        asked_at = time.monotonic()
        kept = self._kept.get(code)
        if kept is not None and asked_at - kept[0] < self._cache_s:
            return kept[1]
        with self._database.reading() as connection:
            row = connection.execute(_SITE, {"code": code}).one_or_none()
        if row is not None and self._cache_s > 0:
            with self._lock:
                self._kept[code] = (asked_at, row)
        return row
