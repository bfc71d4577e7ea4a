"""Questions about many stays: which are chosen, in flat rows, in the order of their ids; and the replacements."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service.store import models
from service.store.identity import canonical_id
from service.store.queries.attributes import attribute_column, attribute_in_words, attribute_types
from service.store.transaction import Tx

MANY_POSITIONS: Final = 500  # beyond, positions are joined and not listed


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which stays: everything that is not None must hold.

    ``damage`` is our code, its submodes belong to it. ``begin`` (inclusive) and ``end`` limit when the bearing was
    fitted; of replacements, when the new one was. ``role`` is that of the mounting, else that of the position.
    ``work_order`` is the number of the order that fitted the bearing, or its id. ``attributes`` are names with values
    in words.
    """

    asset: str | None = None
    position: str | None = None
    designation: str | None = None
    manufacturer: str | None = None
    housing: str | None = None
    damage: str | None = None
    end_type: str | None = None
    role: str | None = None
    begin: datetime | None = None
    end: datetime | None = None
    installer: str | None = None
    batch: str | None = None
    lubricant: str | None = None
    cause: str | None = None
    work_order: str | None = None
    serial_prefix: str | None = None
    attributes: tuple[tuple[str, str], ...] = ()


def stay_rows(tx: Tx, chosen: Chosen, *, after: str | None, limit: int) -> Sequence[Any]:
    """Return up to ``limit`` rows of flat columns in the order of their ids, those after the id ``after``."""
    stay, ids = models.Stay, few_positions(tx, chosen)
    held = conditions(tx, chosen, ids) + ([stay.id > after] if after is not None else [])
    statement = joined(sa.select(*_flat(stay, models.Position, models.Asset, models.WorkOrder)), stay)
    if chosen.role is None and (ids is not None or not _of_place(chosen)):  # the page first, then what it is joined to
        page = sa.select(stay.id).where(*held).order_by(_ordering(tx, stay.id, ids)).limit(limit)
        held = [stay.site_id == tx.site_id, stay.id.in_(page.correlate(None).scalar_subquery())]
    return tx.connection.execute(statement.where(*held).order_by(_ordering(tx, stay.id, ids)).limit(limit)).all()


def stay_row(tx: Tx, stay_id: str) -> Any | None:
    """Return the flat columns of one stay, None when the site has none of this id."""
    stay, known = models.Stay, canonical_id(stay_id)
    if known is None:
        return None
    statement = joined(sa.select(*_flat(stay, models.Position, models.Asset, models.WorkOrder)), stay)
    return tx.connection.execute(statement.where(stay.site_id == tx.site_id, stay.id == known)).one_or_none()


def replacement_rows(tx: Tx, chosen: Chosen, *, after: str | None, limit: int) -> Sequence[Any]:
    """Return up to ``limit`` replacements in the order of the ids of the stays they began.

    A replacement is a bearing removed and the next one fitted in the same position. The filters are about the bearing
    that was removed, ``begin`` and ``end`` about the day of the next one.
    """
    fitted = sa.orm.aliased(models.Stay)
    removed, position, asset, order = models.Stay, models.Position, models.Asset, models.WorkOrder
    before, ids = sa.orm.aliased(models.Stay), few_positions(tx, chosen)
    latest = (
        sa.select(before.id)
        .where(before.site_id == fitted.site_id, before.position_id == fitted.position_id)
        .where(before.installed_at < fitted.installed_at)
        .order_by(before.installed_at.desc())
        .limit(1)
        .scalar_subquery()
    )
    columns = (
        *_flat(removed, position, asset, order),
        fitted.id.label("fitted_id"),
        fitted.external_id.label("fitted_external_id"),
        fitted.installed_at.label("replaced_at"),
        fitted.designation.label("fitted_designation"),
        fitted.manufacturer.label("fitted_manufacturer"),
        fitted.serial.label("fitted_serial"),
        sa.func.coalesce(order.external_number, fitted.work_order_number).label("fitted_work_order"),
    )
    of_order = (order.site_id == fitted.site_id) & (order.id == fitted.work_order_id)
    statement = (
        sa.select(*columns)
        .select_from(fitted)
        .join(removed, (removed.site_id == fitted.site_id) & (removed.id == latest))
        .join(position, (position.site_id == removed.site_id) & (position.id == removed.position_id))
        .join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
        .join(order, of_order, isouter=True)
        .where(fitted.site_id == tx.site_id, *conditions(tx, chosen, ids, dated=fitted))
        .order_by(_ordering(tx, fitted.id, ids))
        .limit(limit)
    )
    if ids is not None:
        statement = statement.where(fitted.position_id.in_(ids))
    if after is not None:
        statement = statement.where(fitted.id > after)
    return tx.connection.execute(statement).all()


def joined(statement: Any, stay: Any) -> Any:
    """Return a selection of stays with their position, asset and work order joined."""
    position, asset, order = models.Position, models.Asset, models.WorkOrder
    return (
        statement.select_from(stay)
        .join(position, (position.site_id == stay.site_id) & (position.id == stay.position_id))
        .join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
        .join(order, (order.site_id == stay.site_id) & (order.id == stay.work_order_id), isouter=True)
    )


def conditions(tx: Tx, chosen: Chosen, ids: Sequence[str] | None, *, dated: Any = models.Stay) -> list[Any]:
    """Return what must hold of stays joined with position and asset.

    Parameters
    ----------
    ids : sequence of str or None
        ``few_positions``
    dated : model
        The stay that the period is about.

    Raises
    ------
    CannotEvaluate
        ``unknown_attribute``, ``attribute_type_differs``
    """
    stay, position = models.Stay, models.Position
    wanted = (
        (stay.designation, chosen.designation),
        (stay.manufacturer, chosen.manufacturer),
        (stay.end_type, chosen.end_type),
        (sa.func.coalesce(stay.role, position.role), chosen.role),
        (stay.installed_by, chosen.installer),
        (stay.batch, chosen.batch),
        (stay.lubricant, chosen.lubricant),
        (stay.cause, chosen.cause),
    )
    held: list[Any] = [stay.site_id == tx.site_id]
    held += [column == value for column, value in wanted if value is not None]
    held += _of_place(chosen) if ids is None else [stay.position_id.in_(ids)]
    held += [_damaged(chosen.damage)] if chosen.damage is not None else []
    held += [_fitted_under(tx, chosen.work_order)] if chosen.work_order is not None else []
    prefix = chosen.serial_prefix
    held += [stay.serial.startswith(prefix, autoescape=True)] if prefix is not None else []
    held += _with_attributes(tx, chosen.attributes)
    held += [dated.installed_at >= chosen.begin] if chosen.begin is not None else []
    held += [dated.installed_at < chosen.end] if chosen.end is not None else []
    return held


def few_positions(tx: Tx, chosen: Chosen) -> Sequence[str] | None:
    """Return the ids of the positions that are meant when asset, name or housing leave few, so that an index serves."""
    position, asset = models.Position, models.Asset
    of_place = _of_place(chosen)
    if not of_place:
        return None
    found = (
        sa.select(position.id)
        .join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
        .where(position.site_id == tx.site_id, *of_place)
        .limit(MANY_POSITIONS + 1)
    )
    ids = tx.connection.execute(found).scalars().all()
    return ids if len(ids) <= MANY_POSITIONS else None


def _of_place(chosen: Chosen) -> list[Any]:
    """Return the conditions of asset, position and housing."""
    wanted = (
        (models.Asset.tag, chosen.asset),
        (models.Position.name, chosen.position),
        (models.Position.housing, chosen.housing),
    )
    return [column == value for column, value in wanted if value is not None]


def _ordering(tx: Tx, column: Any, ids: Sequence[str] | None) -> Any:
    """Return the order by id; with few positions SQLite must not walk through all stays to keep it."""
    if ids is None or tx.connection.dialect.name != "sqlite":
        return column
    return sa.type_coerce(column, sa.Text).concat("")


def _damaged(code: str) -> Any:
    """Return the condition that a mode of damage, or a submode of it, is among those seen."""
    listed = sa.literal("|") + models.Stay.damage + sa.literal("|")
    hit = (listed.contains(f"|{code}|", autoescape=True), listed.contains(f"|{code}.", autoescape=True))
    return sa.and_(models.Stay.damage.is_not(None), sa.or_(*hit))


def _fitted_under(tx: Tx, number: str) -> Any:
    """Return the condition that a work order of this number, here or elsewhere, or of this id fitted the bearing."""
    stay, order = models.Stay, models.WorkOrder
    ours = sa.select(order.id).where(order.site_id == tx.site_id, order.external_number == number)
    hit = [stay.work_order_number == number, stay.work_order_id.in_(ours)]
    known = canonical_id(number)
    return sa.or_(*hit, *([] if known is None else [stay.work_order_id == known]))


def _with_attributes(tx: Tx, wanted: Sequence[tuple[str, str]]) -> list[Any]:
    """Return the conditions that stays have these attributes."""
    types = attribute_types(tx) if wanted else {}
    return [attribute_column(tx, name, types) == attribute_in_words(text, name, types).stored for name, text in wanted]


def _flat(stay: Any, position: Any, asset: Any, order: Any) -> tuple[Any, ...]:
    """Return the flat columns of a stay, as they are listed and exported; lengths still in nanometres."""
    return (
        stay.id,
        stay.external_id,
        asset.tag.label("asset"),
        position.name.label("position"),
        stay.designation,
        stay.manufacturer,
        stay.serial,
        stay.installed_at,
        stay.removed_at,
        stay.operating_hours,
        stay.as_of,
        stay.age_at_install_h,
        stay.observed_from,
        stay.end_type,
        stay.inspected,
        stay.damage,
        stay.cause,
        stay.initial_clearance_nm,
        stay.residual_clearance_nm,
        stay.window_min_nm,
        stay.window_max_nm,
        stay.downtime_h,
        sa.func.coalesce(order.external_number, stay.work_order_number).label("work_order"),
        stay.installed_by,
        stay.shaft_diameter_nm,
        stay.shaft_min_nm,
        stay.shaft_max_nm,
        stay.lubricant,
        stay.batch,
        stay.speed_rpm,
        stay.temperature_degc,
        stay.radial_load_n,
        stay.attributes,
        stay.position_id,
    )
