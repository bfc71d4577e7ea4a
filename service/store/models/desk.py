"""Who is signed in to the pages of the desk."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to


class DeskSession(Base):
    """A browser that is signed in by a key: the SHA-256 of its secret, never the secret.

    ``previous_sha256``: the secret before the last rotation. ``opens_once``: no session yet, but an address that makes
    one and is gone.
    """

    __tablename__ = "desk_sessions"
    __table_args__ = (
        belongs_to(("key_id",), "api_keys", ("id",)),
        sa.UniqueConstraint("site_id", "secret_sha256"),
        sa.Index(None, "site_id", "previous_sha256"),
        sa.Index(None, "site_id", "expires_at"),
        sa.CheckConstraint("length(secret_sha256) = 64", name="secret_is_a_digest"),
        sa.CheckConstraint("expires_at > created_at", name="ends_after_it_begins"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    key_id: Mapped[str] = mapped_column(ID)
    secret_sha256: Mapped[str]
    previous_sha256: Mapped[str | None]
    opens_once: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False), server_default=sa.false())
    created_at: Mapped[datetime]
    rotated_at: Mapped[datetime]
    expires_at: Mapped[datetime]
