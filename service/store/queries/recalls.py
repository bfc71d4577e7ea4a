"""Queries of a recall: the bearings that run now, the open orders, whose instructions name a source."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
from service.store import models
from service.store.queries.work_orders import stands
from service.store.transaction import Tx

AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class Issued:
    """Instructions whose record names a source, and the order they belong to."""

    order_id: str
    external_system: str
    external_number: str
    asset: str
    revision: int
    data_version: str
    inputs: dict[str, Any]
    record: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Mounted:
    """A bearing that runs now, with the instructions it was mounted by; ``name``: its position in their inputs."""

    stay_id: str
    position: str
    name: str
    designation: str
    serial: str | None
    installed_at: datetime
    window_min_nm: int | None
    window_max_nm: int | None
    document: dict[str, Any]
    issued: Issued


def running(tx: Tx) -> tuple[int, int]:
    """Return how many bearings run now, and how many of them were mounted by instructions on record."""
    stay, done = models.Stay, models.Completion
    of_order = (done.site_id == stay.site_id) & (done.work_order_id == stay.work_order_id)
    counts = sa.select(sa.func.count(), sa.func.count(done.id)).select_from(stay).join(done, of_order, isouter=True)
    whole, known = tx.connection.execute(counts.where(*_runs(tx))).one()
    return whole, known


def mounted_by(tx: Tx, source_id: str, data_version: str | None = None) -> Iterator[Mounted]:
    """Yield the bearings that run now and whose instructions name the source, without holding them all."""
    stay, position, ordered, done = models.Stay, models.Position, models.WorkOrderPosition, models.Completion
    of_stay = (stay.id.label("stay_id"), stay.designation, stay.serial, stay.installed_at)
    columns = (*of_stay, stay.window_min_nm, stay.window_max_nm, stay.document, position.name.label("position"))
    of_completion = (done.site_id == models.Revision.site_id, done.work_order_id == models.Revision.work_order_id)
    in_position = (ordered.site_id == stay.site_id, ordered.position_id == stay.position_id)
    statement = (
        _issued(tx, source_id, data_version)
        .add_columns(*columns, ordered.name)
        .join(done, sa.and_(*of_completion, done.revision == models.Revision.number))
        .join(stay, sa.and_(stay.site_id == done.site_id, stay.work_order_id == done.work_order_id))
        .join(position, sa.and_(position.site_id == stay.site_id, position.id == stay.position_id))
        .join(ordered, sa.and_(*in_position, ordered.work_order_id == stay.work_order_id))
        .where(*_runs(tx))
        .order_by(stay.id)
    )
    with tx.connection.execute(statement.execution_options(yield_per=AT_ONCE)) as rows:
        for row in rows:
            members = {name: row._mapping[name] for name in Mounted.__dataclass_fields__ if name != "issued"}
            yield Mounted(**members | {"document": records.decoded(row.document)}, issued=_issued_row(row))


def open_orders_by(tx: Tx, source_id: str, data_version: str | None = None) -> Iterator[Issued]:
    """Yield the open orders whose instructions in force name the source."""
    order = models.WorkOrder
    statement = _issued(tx, source_id, data_version).where(order.status == "open", stands())
    with tx.connection.execute(statement.order_by(order.id).execution_options(yield_per=AT_ONCE)) as rows:
        for row in rows:
            yield _issued_row(row)


def _runs(tx: Tx) -> tuple[sa.ColumnElement[bool], ...]:
    return (models.Stay.site_id == tx.site_id, models.Stay.removed_at.is_(None))


def _issued(tx: Tx, source_id: str, data_version: str | None) -> sa.Select[*tuple[Any, ...]]:
    """Return the query of revisions whose record holds the id of a source as a JSON string."""
    order, asset, issued = models.WorkOrder, models.Asset, models.Revision
    columns = (
        order.id.label("order_id"),
        order.external_system,
        order.external_number,
        asset.tag.label("asset"),
        issued.number.label("revision"),
        issued.data_version,
        issued.inputs,
        issued.record,
    )
    named = (issued.site_id == tx.site_id, issued.record.contains(f'"{source_id}"', autoescape=True))
    of_data = () if data_version is None else (issued.data_version == data_version,)
    return (
        sa.select(*columns)
        .select_from(issued)
        .join(order, sa.and_(order.site_id == issued.site_id, order.id == issued.work_order_id))
        .join(asset, sa.and_(asset.site_id == order.site_id, asset.id == order.asset_id))
        .where(*named, *of_data)
    )


def _issued_row(row: Any) -> Issued:
    members = {name: row._mapping[name] for name in Issued.__dataclass_fields__}
    return Issued(**members | {"inputs": records.decoded(row.inputs), "record": records.decoded(row.record)})
