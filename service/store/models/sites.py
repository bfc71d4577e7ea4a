"""Sites and the keys that open them."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, of_a_site, one_of
from service.words import UNIT_SYSTEMS


class Site(Base):
    """A plant: owner of everything else; ``blade_set`` is a record (``"inch"``, ``"metric"`` or a list of blades).

    ``books_version`` is raised by every version of a chart or a housing, in the same transaction;
    ``require_release``: no work begins on an order that is not released; ``planning_hours``: its own clock hours by
    size and phase, a record.
    """

    __tablename__ = "sites"
    __table_args__ = (
        sa.UniqueConstraint("code"),
        one_of("units", UNIT_SYSTEMS, "units_known"),
        sa.CheckConstraint("length(code) BETWEEN 1 AND 64", name="code_length"),
    )
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    code: Mapped[str]
    name: Mapped[str]
    units: Mapped[str]
    blade_set: Mapped[str]
    books_version: Mapped[int] = mapped_column(server_default="0")
    require_release: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False), server_default=sa.false())
    planning_hours: Mapped[str | None]
    takes_photos: Mapped[bool | None] = mapped_column(sa.Boolean(create_constraint=False))
    """None: nobody said, it does; NULL in the rows of before, so that the chain of their hashes holds."""
    created_at: Mapped[datetime]


class ApiKey(Base):
    """A key of a site: the SHA-256 of its secret, never the secret.

    The index on ``id`` alone is the one that does not begin with the site: the key is what tells the site.
    """

    __tablename__ = "api_keys"
    __table_args__ = (
        of_a_site(),
        sa.Index("ix_api_keys_id", "id", unique=True),
        sa.CheckConstraint("length(secret_sha256) = 64", name="secret_is_a_digest"),
        sa.CheckConstraint("length(scopes) > 0", name="scopes_given"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    secret_sha256: Mapped[str]
    scopes: Mapped[str]
    label: Mapped[str | None]
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    last_used_at: Mapped[datetime | None]  # to the hour; outside the chain
