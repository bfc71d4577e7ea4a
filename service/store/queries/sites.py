"""Queries of sites."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.errors import CannotEvaluate, Conflict, NotFound
from service.instructions.planning.hours import checked_hours
from service.store import chain, models
from service.store.database import Database
from service.store.identity import new_id
from service.store.journal import FIRST_HASH, Event
from service.store.unit_of_work import Tx, Written
from service.words import UNIT_SYSTEMS

COMMAND_LINE = "command line"


@dataclass(frozen=True, slots=True)
class Site:
    """A plant. ``blade_set`` is ``"inch"``, ``"metric"`` or a list of blades (quantities)."""

    id: str
    code: str
    name: str
    units: str
    blade_set: Any
    created_at: datetime
    require_release: bool = False
    planning_hours: Mapping[str, Mapping[str, float]] | None = None


def create_site(
    database: Database, code: str, name: str, units: str, *, blade_set: Any = None, actor: str = COMMAND_LINE
) -> Site:
    """Return a new site with an empty journal; its blades are those of its units unless given.

    Raises
    ------
    CannotEvaluate
        The units are not known, or the code is empty, longer than 64 characters or holds a blank.
    Conflict
        ``site_code_taken``
    """
    if units not in UNIT_SYSTEMS:
        raise CannotEvaluate(f"Units are {units!r}; allowed are {', '.join(UNIT_SYSTEMS)}.", field="units")
    if not 1 <= len(code) <= 64 or any(mark.isspace() for mark in code):
        raise CannotEvaluate(f"A site's code has 1 to 64 characters and no blank, not {code!r}.", field="code")
    site_id = new_id()
    blades = units if blade_set is None else blade_set
    others = site_ids(database)

    def work(tx: Tx) -> Written:
        if tx.connection.execute(sa.select(models.Site.id).where(models.Site.code == code)).one_or_none():
            raise Conflict(f"A site with the code {code!r} is on record already.", code="site_code_taken")
        values = {"id": site_id, "code": code, "name": name, "units": units, "created_at": tx.now}
        tx.connection.execute(sa.insert(models.Site).values(values | {"blade_set": record.encoded(blades)}))
        tx.connection.execute(sa.insert(models.SiteHead).values(site_id=site_id, seq=0, head_hash=FIRST_HASH))
        chain.name_sites(tx.connection, others[-1:])
        created = Event("site.created", "site", site_id, data={"code": code, "name": name, "units": units})
        return Written(201, "", events=(created,))

    database.write(site_id=site_id, actor=actor, request_id=new_id(), work=work)
    return site_by_code(database, code)


def set_blade_set(database: Database, code: str, blades: Any, *, actor: str = COMMAND_LINE) -> None:
    """Give the site another blade set: ``"inch"``, ``"metric"`` or a list of blades (quantities).

    Work orders opened before keep the set they were opened with.

    Raises
    ------
    NotFound
        No site has this code.
    """
    site = site_by_code(database, code)

    def work(tx: Tx) -> Written:
        changed = sa.update(models.Site).where(models.Site.id == tx.site_id)
        tx.connection.execute(changed.values(blade_set=record.encoded(blades)))
        return Written(200, "", events=(Event("site.blade_set_changed", "site", site.id, data={"blade_set": blades}),))

    database.write(site_id=site.id, actor=actor, request_id=new_id(), work=work)


def change_settings(
    database: Database,
    code: str,
    *,
    require_release: bool | None = None,
    planning_hours: Mapping[str, Mapping[str, float]] | None = None,
    actor: str = COMMAND_LINE,
) -> Site:
    """Return the site with other settings; what is None stays as it is. Orders opened before keep their hours.

    Parameters
    ----------
    planning_hours : mapping of size to mapping of phase to float
        The site's own clock hours for two bearings; they take the place of all that were set before, [h]

    Raises
    ------
    CannotEvaluate
        ``bad_planning_hours``: a size or phase that is not known, hours that cannot be.
    NotFound
        No site has this code.
    """
    site = site_by_code(database, code)
    changed: dict[str, Any] = {}
    if require_release is not None:
        changed["require_release"] = require_release
    if planning_hours is not None:
        changed["planning_hours"] = record.encoded(checked_hours(planning_hours))

    def work(tx: Tx) -> Written:
        if changed:
            tx.connection.execute(sa.update(models.Site).where(models.Site.id == tx.site_id).values(changed))
        told = {"require_release": require_release, "planning_hours": planning_hours}
        data = {name: value for name, value in told.items() if value is not None}
        return Written(200, "", events=(Event("site.settings_changed", "site", site.id, data=data),))

    database.write(site_id=site.id, actor=actor, request_id=new_id(), work=work)
    return site_by_code(database, code)


def set_photos(database: Database, code: str, *, taken: bool, actor: str = COMMAND_LINE) -> None:
    """Say whether the site takes photos of its jobs; what it took stays.

    Raises
    ------
    NotFound
        No site has this code.
    """
    site = site_by_code(database, code)

    def work(tx: Tx) -> Written:
        changed = sa.update(models.Site).where(models.Site.id == tx.site_id)
        tx.connection.execute(changed.values(takes_photos=taken))
        return Written(200, "", events=(Event("site.photos_switched", "site", site.id, data={"taken": taken}),))

    database.write(site_id=site.id, actor=actor, request_id=new_id(), work=work)


def site_by_code(database: Database, code: str) -> Site:
    """Return the site.

    Raises
    ------
    NotFound
        No site has this code.
    """
    with database.reading() as connection:
        row = connection.execute(sa.select(models.Site.__table__).where(models.Site.code == code)).one_or_none()
    if row is None:
        raise NotFound(f"There is no site with the code {code!r}.")
    return _site(row)


def site_of(tx: Tx) -> Site:
    """Return the site of a transaction."""
    return _site(tx.connection.execute(_OWN, {"site": tx.site_id}).one())


def _site(row: Any) -> Site:
    own_hours = None if row.planning_hours is None else record.decoded(row.planning_hours)
    return Site(
        id=row.id,
        code=row.code,
        name=row.name,
        units=row.units,
        blade_set=record.decoded(row.blade_set),
        created_at=row.created_at,
        require_release=bool(row.require_release),
        planning_hours=own_hours,
    )


_OWN: Final = sa.select(models.Site.__table__).where(models.Site.id == sa.bindparam("site"))


def all_sites(database: Database) -> list[Site]:
    """Return all sites in the order of their codes."""
    with database.reading() as connection:
        return [_site(row) for row in connection.execute(sa.select(models.Site.__table__).order_by(models.Site.code))]


def site_ids(database: Database) -> list[str]:
    """Return the ids of all sites, for work that goes through every site."""
    with database.reading() as connection:
        return list(connection.execute(sa.select(models.Site.id).order_by(models.Site.id)).scalars())


def site_codes(database: Database) -> dict[str, str]:
    """Return the codes of all sites by their ids, in the order of the codes."""
    with database.reading() as connection:
        rows = connection.execute(sa.select(models.Site.id, models.Site.code).order_by(models.Site.code))
        return {row.id: row.code for row in rows}
