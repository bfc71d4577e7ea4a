"""Alarms that stand: what was told, so that it is told once."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from service.store.models.base import ID, Base, of_a_site, one_of
from service.words import ALARM_KINDS


class Alarm(Base):
    """A position, or a group of stays, of which an event told that it fails more than others; gone when it ends."""

    __tablename__ = "alarms"
    __table_args__ = (of_a_site(), one_of("kind", ALARM_KINDS, "kind_known"))
    site_id: Mapped[str] = mapped_column(ID, primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    subject: Mapped[str] = mapped_column(primary_key=True)
    verdict: Mapped[str]
    raised_at: Mapped[datetime]
