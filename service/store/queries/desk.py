"""Queries of the desk: what a person looks for first, a page at a time, each within the site."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.store import models
from service.store.queries.stay_lists import joined
from service.store.transaction import Tx
from service.words import DELIVERY_STATES

BOOK_KINDS: Final = ("chart", "housing", "table")
RECALLED: Final = tuple(f"{kind}.recalled" for kind in BOOK_KINDS)
WAITING, _, DEAD = DELIVERY_STATES


@dataclass(frozen=True, slots=True)
class MachineRow:
    """A machine in a list: how many places it has, how many bearings run in them, what is open."""

    id: str
    tag: str
    name: str
    positions: int
    running: int
    open_orders: int


@dataclass(frozen=True, slots=True)
class RecallRow:
    """A recall as the journal has it; ``data`` holds the reason, the counts and the first stays outside."""

    at: datetime
    kind: str
    book_id: str
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class TroubleRow:
    """A receiver of events that does not take them: deliveries given up, and those that were tried and wait."""

    id: str
    url: str
    status: str
    reason: str | None
    dead: int
    waiting: int
    since: datetime | None


def machines_found(tx: Tx, words: str | None, *, after: str | None, limit: int) -> list[MachineRow]:
    """Return up to ``limit`` machines by tag whose tag or name holds the words, those behind the tag ``after``."""
    asset, position, stay, order = models.Asset, models.Position, models.Stay, models.WorkOrder
    chosen = [asset.site_id == tx.site_id]
    if words:
        held = words.lower()
        chosen.append(
            sa.or_(
                sa.func.lower(asset.tag).contains(held, autoescape=True),
                sa.func.lower(asset.name).contains(held, autoescape=True),
            )
        )
    if after is not None:
        chosen.append(asset.tag > after)
    of_asset = (position.site_id == asset.site_id, position.asset_id == asset.id)
    places = sa.select(sa.func.count()).select_from(position).where(*of_asset)
    runs = (
        sa.select(sa.func.count())
        .select_from(position)
        .join(stay, (stay.site_id == position.site_id) & (stay.position_id == position.id))
        .where(*of_asset, stay.removed_at.is_(None))
    )
    opened = (
        sa.select(sa.func.count())
        .select_from(order)
        .where(order.site_id == asset.site_id, order.asset_id == asset.id, order.status == "open")
    )
    statement = (
        sa.select(
            asset.id,
            asset.tag,
            asset.name,
            *(each.correlate(asset).scalar_subquery() for each in (places, runs, opened)),
        )
        .where(*chosen)
        .order_by(asset.tag)
        .limit(limit)
    )
    return [MachineRow(*row) for row in tx.connection.execute(statement)]


def asset_ids(tx: Tx, tags: Sequence[str]) -> dict[str, str]:
    """Return the id of each machine by its tag."""
    asset = models.Asset
    statement = sa.select(asset.tag, asset.id).where(asset.site_id == tx.site_id, asset.tag.in_(tags))
    return {row.tag: row.id for row in tx.connection.execute(statement)} if tags else {}


def latest_recalls(tx: Tx, *, limit: int) -> list[RecallRow]:
    """Return the latest recalls, the newest first."""
    entry = models.JournalEntry
    mine = (entry.site_id == tx.site_id, entry.subject_kind.in_(BOOK_KINDS), entry.event_type.in_(RECALLED))
    columns = (entry.at, entry.subject_kind, entry.subject_id, entry.data)
    rows = tx.connection.execute(sa.select(*columns).where(*mine).order_by(entry.seq.desc()).limit(limit))
    return [RecallRow(row.at, row.subject_kind, row.subject_id, record.decoded(row.data)) for row in rows]


def still_running(tx: Tx, stay_ids: Sequence[str]) -> list[tuple[str, str, str]]:
    """Return asset id, tag and position of those stays of a list that run now."""
    if not stay_ids:
        return []
    stay, position, asset = models.Stay, models.Position, models.Asset
    statement = joined(sa.select(asset.id, asset.tag, position.name), stay)
    mine = (stay.site_id == tx.site_id, stay.id.in_(stay_ids), stay.removed_at.is_(None))
    return [tuple(row) for row in tx.connection.execute(statement.where(*mine).order_by(asset.tag, position.name))]


def troubled_receivers(tx: Tx) -> list[TroubleRow]:
    """Return the receivers that were disabled, or whose deliveries fail."""
    own, delivery = models.Subscription, models.Delivery
    tried = (delivery.status == WAITING) & (delivery.attempts > 0)
    failing = sa.or_(delivery.status == DEAD, tried)
    of_own = (delivery.site_id == own.site_id) & (delivery.subscription_id == own.id) & failing
    columns = (
        sa.func.count(sa.case((delivery.status == DEAD, 1))).label("dead"),
        sa.func.count(sa.case((tried, 1))).label("waiting"),
        sa.func.min(delivery.created_at).label("since"),
    )
    statement = (
        sa.select(own.id, own.url, own.status, own.status_reason, *columns)
        .select_from(own)
        .join(delivery, of_own, isouter=True)
        .where(own.site_id == tx.site_id)
        .group_by(own.id, own.url, own.status, own.status_reason)
        .order_by(own.id)
    )
    rows = [TroubleRow(*row) for row in tx.connection.execute(statement)]
    return [row for row in rows if row.status == "disabled" or row.dead or row.waiting]


def flagged_places(tx: Tx) -> list[tuple[str, str, str, datetime]]:
    """Return asset id, tag, position and time of the positions of which an alarm stands."""
    alarm, position, asset = models.Alarm, models.Position, models.Asset
    standing = sa.select(alarm.subject, alarm.raised_at).where(alarm.site_id == tx.site_id, alarm.kind == "position")
    raised = {row.subject: row.raised_at for row in tx.connection.execute(standing)}
    if not raised:
        return []
    of_asset = (asset.site_id == position.site_id) & (asset.id == position.asset_id)
    statement = sa.select(position.id, asset.id, asset.tag, position.name).join(asset, of_asset)
    mine = (position.site_id == tx.site_id, position.id.in_(list(raised)))
    rows = tx.connection.execute(statement.where(*mine).order_by(asset.tag, position.name))
    return [(row[1], row[2], row[3], raised[row[0]]) for row in rows]


def stays_outside_window(tx: Tx, *, limit: int) -> Sequence[Any]:
    """Return the stays that were left with a clearance outside of their window, the latest fitted first."""
    stay, position, asset, order = models.Stay, models.Position, models.Asset, models.WorkOrder
    columns = (
        asset.id.label("asset_id"),
        asset.tag.label("asset"),
        position.name.label("position"),
        stay.designation,
        stay.installed_at,
        stay.removed_at,
        stay.end_type,
        stay.installed_by,
        sa.func.coalesce(order.external_number, stay.work_order_number).label("work_order"),
        stay.residual_clearance_nm,
        stay.window_min_nm,
        stay.window_max_nm,
    )
    value = stay.residual_clearance_nm
    outside = sa.or_(value < stay.window_min_nm, value > stay.window_max_nm)
    known = (stay.window_min_nm.is_not(None), stay.window_max_nm.is_not(None))
    statement = joined(sa.select(*columns), stay).where(stay.site_id == tx.site_id, *known, outside)
    return tx.connection.execute(statement.order_by(stay.installed_at.desc()).limit(limit)).all()
