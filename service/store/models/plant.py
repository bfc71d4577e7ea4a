"""Assets with their shafts and positions, and the books of a site: its housings and charts.

``document`` holds the members that no query asks for, as a record (``service.record``).
"""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, belongs_to, of_a_site, one_of
from service.words import CHART_KINDS


class Asset(Base):
    """A machine, known by its tag."""

    __tablename__ = "assets"
    __table_args__ = (
        of_a_site(),
        sa.UniqueConstraint("site_id", "tag"),
        sa.CheckConstraint("version > 0", name="version_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    tag: Mapped[str]
    name: Mapped[str]
    version: Mapped[int]
    document: Mapped[str]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]


class MeterReading(Base):
    """A reading of the hour meter of an asset; ``restarts_at_h`` when the meter was exchanged. Never changed."""

    __tablename__ = "meter_readings"
    __table_args__ = (
        belongs_to(("asset_id",), "assets", ("id",)),
        sa.UniqueConstraint("site_id", "asset_id", "read_at"),
        sa.CheckConstraint("value_h >= 0 AND value_h < 1e9", name="value_h_finite"),
        sa.CheckConstraint("restarts_at_h >= 0 AND restarts_at_h < 1e9", name="restarts_at_h_finite"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    asset_id: Mapped[str] = mapped_column(ID)
    read_at: Mapped[datetime]
    value_h: Mapped[float] = mapped_column(sa.Double)
    restarts_at_h: Mapped[float | None] = mapped_column(sa.Double)
    created_at: Mapped[datetime]


class Shaft(Base):
    """A shaft of an asset."""

    __tablename__ = "shafts"
    __table_args__ = (
        belongs_to(("asset_id",), "assets", ("id",)),
        sa.UniqueConstraint("site_id", "asset_id", "name"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    asset_id: Mapped[str] = mapped_column(ID)
    name: Mapped[str]
    ordinal: Mapped[int]
    document: Mapped[str]


class Position(Base):
    """The place of one bearing; its name is unique within its asset."""

    __tablename__ = "positions"
    __table_args__ = (
        belongs_to(("asset_id",), "assets", ("id",)),
        belongs_to(("shaft_id",), "shafts", ("id",)),
        sa.UniqueConstraint("site_id", "asset_id", "name"),
        sa.Index(None, "site_id", "shaft_id"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    asset_id: Mapped[str] = mapped_column(ID)
    shaft_id: Mapped[str] = mapped_column(ID)
    name: Mapped[str]
    ordinal: Mapped[int]
    document: Mapped[str]
    role: Mapped[str | None]  # from here on copies out of the document, for questions about many positions
    housing: Mapped[str | None]
    duty: Mapped[float | None] = mapped_column(sa.Double)
    rated_life_h: Mapped[float | None] = mapped_column(sa.Double)


class Housing(Base):
    """A housing as its maker's book gives it; a correction is a new version."""

    __tablename__ = "housings"
    __table_args__ = (
        of_a_site(),
        sa.UniqueConstraint("site_id", "name", "version"),
        one_of("kind", ("housing",), "kind_known"),
        sa.CheckConstraint("version > 0", name="version_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    kind: Mapped[str]
    name: Mapped[str]
    version: Mapped[int]
    document: Mapped[str]
    created_at: Mapped[datetime]


class Chart(Base):
    """A table of the site's own, with its provenance; a correction is a new version."""

    __tablename__ = "charts"
    __table_args__ = (
        of_a_site(),
        sa.UniqueConstraint("site_id", "kind", "name", "version"),
        one_of("kind", CHART_KINDS, "kind_known"),
        sa.CheckConstraint("version > 0", name="version_positive"),
    )
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    id: Mapped[str] = mapped_column(ID, primary_key=True)
    kind: Mapped[str]
    name: Mapped[str]
    version: Mapped[int]
    document: Mapped[str]
    created_at: Mapped[datetime]
