"""Queries of answers to the questions of an order, and of its release. Neither is ever changed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from service import record as records
from service.errors import Conflict
from service.store import models
from service.store.identity import new_id
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class AnswerRow:
    """An answer as stored; ``value`` as it was given, ``made_revision`` None where it changed nothing."""

    id: str
    work_order_id: str
    question: str
    position: str | None
    value: Any
    answered_by: str
    source: str | None
    made_revision: int | None
    created_at: datetime


@dataclass(frozen=True, slots=True)
class ReleaseRow:
    """The release of an order as stored; ``questions_open``: [{id, position}] that were red and open then."""

    id: str
    work_order_id: str
    revision: int
    released_by: str
    reason: str | None
    questions_open: list[dict[str, Any]]
    created_at: datetime


def insert_answer(
    tx: Tx,
    *,
    work_order_id: str,
    question: str,
    position: str | None,
    value: Any,
    answered_by: str,
    source: str | None,
    made_revision: int | None,
) -> AnswerRow:
    """Return the new answer."""
    row = AnswerRow(new_id(), work_order_id, question, position, value, answered_by, source, made_revision, tx.now)
    members = {name: getattr(row, name) for name in AnswerRow.__dataclass_fields__ if name != "value"}
    values = {"site_id": tx.site_id, **members, "document": records.encoded({"value": value})}
    tx.connection.execute(sa.insert(models.Answer).values(values))
    return row


def answers_of(tx: Tx, work_order_id: str) -> list[AnswerRow]:
    """Return the answers of an order, oldest first."""
    table = models.Answer
    mine = (table.site_id == tx.site_id, table.work_order_id == work_order_id)
    found = tx.connection.execute(sa.select(table.__table__).where(*mine).order_by(table.id))
    return [_answer_row(row) for row in found]


def count_answers(tx: Tx, work_order_id: str) -> int:
    """Return how many answers an order has, [-]"""
    table = models.Answer
    counted = sa.select(sa.func.count()).where(table.site_id == tx.site_id, table.work_order_id == work_order_id)
    return int(tx.connection.execute(counted).scalar_one())


def _answer_row(row: Any) -> AnswerRow:
    members = {name: value for name, value in row._mapping.items() if name not in ("site_id", "document")}
    return AnswerRow(**members, value=records.decoded(row.document)["value"])


def insert_release(
    tx: Tx,
    *,
    work_order_id: str,
    revision: int,
    released_by: str,
    reason: str | None,
    questions_open: list[dict[str, Any]],
) -> ReleaseRow:
    """Return the release of an order.

    Raises
    ------
    Conflict
        ``already_released``
    """
    before = release_of(tx, work_order_id)
    if before is not None:
        said = f"the order was released by {before.released_by}"
        raise Conflict(said, code="already_released", released_by=before.released_by)
    row = ReleaseRow(new_id(), work_order_id, revision, released_by, reason, questions_open, tx.now)
    members = {name: getattr(row, name) for name in ReleaseRow.__dataclass_fields__ if name != "questions_open"}
    values = {"site_id": tx.site_id, **members, "document": records.encoded({"questions_open": questions_open})}
    tx.connection.execute(sa.insert(models.Release).values(values))
    return row


def release_of(tx: Tx, work_order_id: str) -> ReleaseRow | None:
    """Return the release of an order, None while it is not released."""
    table = models.Release
    mine = (table.site_id == tx.site_id, table.work_order_id == work_order_id)
    row = tx.connection.execute(sa.select(table.__table__).where(*mine)).one_or_none()
    if row is None:
        return None
    members = {name: value for name, value in row._mapping.items() if name not in ("site_id", "document")}
    return ReleaseRow(**members, questions_open=records.decoded(row.document)["questions_open"])


@dataclass(frozen=True, slots=True)
class Begun:
    """The first reading of an order: the revision it was judged by, who took it, when it came."""

    revision: int
    person: str
    at: datetime


def begun(tx: Tx, work_order_id: str) -> Begun | None:
    """Return the first reading of an order, with which work on it began; None without readings."""
    table = models.Reading
    mine = (table.site_id == tx.site_id, table.work_order_id == work_order_id)
    first = sa.select(table.revision, table.taken_by, table.created_at).where(*mine).order_by(table.entry).limit(1)
    row = tx.connection.execute(first).one_or_none()
    return None if row is None else Begun(*row)
