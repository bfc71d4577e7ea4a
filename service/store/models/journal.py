"""The journal, its head per site, and the answers kept for repeated requests."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, of_a_site


class SiteHead(Base):
    """The last number and hash of a site's journal; updating it makes the writers of a site commit one by one."""

    __tablename__ = "site_heads"
    __table_args__ = (of_a_site(), sa.CheckConstraint("seq >= 0", name="seq_not_negative"))
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    seq: Mapped[int] = mapped_column(sa.BigInteger)
    head_hash: Mapped[str]


class JournalEntry(Base):
    """One thing that happened. Append-only: triggers of both engines refuse UPDATE and DELETE."""

    __tablename__ = "journal"
    __table_args__ = (
        of_a_site(),
        sa.CheckConstraint("seq > 0", name="seq_positive"),
        sa.Index(None, "site_id", "subject_kind", "subject_id"),
        sa.Index(None, "site_id", "request_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    seq: Mapped[int] = mapped_column(sa.BigInteger, primary_key=True, autoincrement=False)
    at: Mapped[datetime]
    actor: Mapped[str]
    request_id: Mapped[str]
    event_type: Mapped[str]
    subject_kind: Mapped[str]
    subject_id: Mapped[str]
    before_hash: Mapped[str | None]
    after_hash: Mapped[str | None]
    data: Mapped[str]
    prev_hash: Mapped[str]
    hash: Mapped[str]


class JournalRows(Base):
    """Which rows the write of a journal row left, in parts: JSON of table, key and hash (``service.store.chain``).

    The journal row names their digest and is entered after them. Append-only like the journal.
    """

    __tablename__ = "journal_rows"
    __table_args__ = (
        of_a_site(),
        sa.CheckConstraint("part > 0", name="part_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    seq: Mapped[int] = mapped_column(sa.BigInteger, primary_key=True, autoincrement=False)
    part: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    rows: Mapped[str]


class IdempotencyKey(Base):
    """The answer to a request that named itself, kept in the transaction of its effect."""

    __tablename__ = "idempotency_keys"
    __table_args__ = (
        of_a_site(),
        sa.CheckConstraint("status = 0 OR status BETWEEN 200 AND 299", name="only_success_kept"),
        sa.CheckConstraint("length(key) BETWEEN 1 AND 255", name="key_length"),
        sa.Index(None, "site_id", "created_at"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    actor: Mapped[str] = mapped_column(primary_key=True)
    method: Mapped[str] = mapped_column(primary_key=True)
    route: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)
    fingerprint: Mapped[str]
    status: Mapped[int]
    headers: Mapped[str]
    body: Mapped[str]
    created_at: Mapped[datetime]
