"""The history in columns, for questions about very many stays: read in batches, never a row as an object."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from service import record as records
from service.store import models
from service.store.queries.stay_lists import Chosen, conditions, few_positions
from service.store.transaction import Tx

ROWS_AT_ONCE: Final = 20_000


class HoursSinceEpoch(FunctionElement[float]):
    """A moment as hours since 1970, computed by the database: cheaper than an object for each moment."""

    type = sa.Double()
    inherit_cache = True


@compiles(HoursSinceEpoch, "postgresql")
def _hours_on_postgresql(element: Any, compiler: Any, **kw: Any) -> str:
    return f"(extract(epoch FROM {compiler.process(element.clauses, **kw)})::double precision / 3600)"


@compiles(HoursSinceEpoch, "sqlite")
def _hours_on_sqlite(element: Any, compiler: Any, **kw: Any) -> str:
    return f"((julianday({compiler.process(element.clauses, **kw)}) - 2440587.5) * 24)"


@dataclass(frozen=True, slots=True)
class Place:
    """A position with what questions about many of them ask for; ``key`` is how the columns name it."""

    key: str
    id: str
    name: str
    asset: str
    asset_id: str
    shaft: str
    role: str | None
    housing: str | None
    duty: float | None
    rated_life_h: float | None

    @property
    def label(self) -> str:
        """Return what the position is called among those of the site."""
        return f"{self.asset} / {self.name}"


_STAY: Final = models.Stay
_ENDED: Final = sa.func.coalesce(_STAY.removed_at, _STAY.as_of)
COLUMNS: Final[dict[str, Any]] = {
    # numbers
    "begin_h": HoursSinceEpoch(_STAY.installed_at),
    "end_h": HoursSinceEpoch(_ENDED),
    "observed_h": HoursSinceEpoch(_STAY.observed_from),
    "operating_h": _STAY.operating_hours,
    "carried_h": _STAY.age_at_install_h,
    "residual_nm": sa.cast(_STAY.residual_clearance_nm, sa.Double),
    "window_min_nm": sa.cast(_STAY.window_min_nm, sa.Double),
    "window_max_nm": sa.cast(_STAY.window_max_nm, sa.Double),
    "deviations": sa.cast(_STAY.deviations, sa.Double),
    "shaft_nm": sa.cast(_STAY.shaft_diameter_nm, sa.Double),
    "shaft_min_nm": sa.cast(_STAY.shaft_min_nm, sa.Double),
    "shaft_max_nm": sa.cast(_STAY.shaft_max_nm, sa.Double),
    # words
    "position": sa.type_coerce(_STAY.position_id, sa.Text),
    "designation": _STAY.designation,
    "manufacturer": _STAY.manufacturer,
    "role": sa.func.coalesce(_STAY.role, models.Position.role),
    "housing": models.Position.housing,
    "end_type": _STAY.end_type,
    "inspected": sa.type_coerce(_STAY.inspected, sa.Integer),
    "damage": _STAY.damage,
    "installed_by": _STAY.installed_by,
    "work_order": sa.func.coalesce(sa.cast(_STAY.work_order_id, sa.Text), _STAY.work_order_number),
}


def stay_batches(tx: Tx, chosen: Chosen, columns: Sequence[str]) -> Iterator[Sequence[Any]]:
    """Yield rows of these columns, ``ROWS_AT_ONCE`` at a time, in no order."""
    position, asset = models.Position, models.Asset
    asked = [_text(tx, COLUMNS[name]) if name == "position" else COLUMNS[name] for name in columns]
    statement = sa.select(*asked).select_from(_STAY)
    statement = statement.join(position, (position.site_id == _STAY.site_id) & (position.id == _STAY.position_id))
    ids = few_positions(tx, chosen)
    if chosen.asset is not None and ids is None:
        statement = statement.join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
    streamed = statement.where(*conditions(tx, chosen, ids)).execution_options(
        stream_results=True, yield_per=ROWS_AT_ONCE
    )
    yield from tx.connection.execute(streamed).partitions()


def places(tx: Tx, *, position_id: str | None = None) -> dict[str, Place]:
    """Return the positions of the site, or the one of this id, by the key that ``stay_batches`` gives them."""
    position, asset, shaft = models.Position, models.Asset, models.Shaft
    columns = (
        _text(tx, position.id).label("key"),
        position.id,
        position.name,
        asset.tag.label("asset"),
        asset.id.label("asset_id"),
        shaft.name.label("shaft"),
        position.role,
        position.housing,
        position.duty,
        position.rated_life_h,
    )
    statement = (
        sa.select(*columns)
        .join(asset, (asset.site_id == position.site_id) & (asset.id == position.asset_id))
        .join(shaft, (shaft.site_id == position.site_id) & (shaft.id == position.shaft_id))
        .where(position.site_id == tx.site_id)
    )
    if position_id is not None:
        statement = statement.where(position.id == position_id)
    return {row.key: Place(**row._mapping) for row in tx.connection.execute(statement)}


def reading_documents(
    tx: Tx, *, kind: str, asset: str | None, position: str | None, begin: datetime | None, end: datetime | None
) -> Iterator[dict[str, Any]]:
    """Yield the documents of the readings of one kind, with their units, in the order of their ids."""
    read, order, owner = models.Reading, models.WorkOrder, models.Asset
    statement = (
        sa.select(read.document)
        .join(order, (order.site_id == read.site_id) & (order.id == read.work_order_id))
        .join(owner, (owner.site_id == order.site_id) & (owner.id == order.asset_id))
        .where(read.site_id == tx.site_id, read.kind == kind)
        .order_by(read.id)
    )
    wanted = (
        None if asset is None else owner.tag == asset,
        None if position is None else read.position == position,
        None if begin is None else read.taken_at >= begin,
        None if end is None else read.taken_at < end,
    )
    statement = statement.where(*(one for one in wanted if one is not None))
    streamed = statement.execution_options(stream_results=True, yield_per=1_000)
    for row in tx.connection.execute(streamed):
        yield records.decoded(row.document)


def _text(tx: Tx, column: Any) -> Any:
    """Return an id as the text that the database makes of it, so that no object is made for each row."""
    if tx.connection.dialect.name == "sqlite":
        return sa.type_coerce(column, sa.Text)
    return sa.cast(column, sa.Text)
