"""Photos of a job: what they show and the hash of their file; the files lie beside the database. Append-only."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to, one_of
from service.words import PHOTO_SUBJECTS


class Photo(Base):
    """A photo of an order; ``sent_as``: the id that the phone gave it, so that it is stored once."""

    __tablename__ = "photos"
    __table_args__ = (
        belongs_to(("work_order_id",), "work_orders", ("id",)),
        sa.UniqueConstraint("site_id", "work_order_id", "sent_as"),
        one_of("about", PHOTO_SUBJECTS, "about_known"),
        sa.CheckConstraint("length(sha256) = 64", name="sha256_is_a_digest"),
        sa.CheckConstraint("length(taken_by) > 0", name="taken_by_somebody"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    work_order_id: Mapped[str] = mapped_column(ID)
    about: Mapped[str]
    position: Mapped[str | None]
    sha256: Mapped[str]
    bytes: Mapped[int]
    width: Mapped[int]
    height: Mapped[int]
    taken_by: Mapped[str]
    taken_at: Mapped[datetime]
    sent_as: Mapped[str | None]
    created_at: Mapped[datetime]
