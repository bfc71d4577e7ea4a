"""Queries of alarms that stand."""

from collections.abc import Iterable

import sqlalchemy as sa

from service.store import models
from service.store.transaction import Tx

Subject = tuple[str, str]
"""Kind and id of what an alarm is about."""


def hold_alarms(tx: Tx) -> None:
    """Make this transaction the only one that raises or ends alarms of the site until its commit."""
    tx.connection.execute(sa.select(models.Site.id).where(models.Site.id == tx.site_id).with_for_update()).one()


def standing_alarms(tx: Tx) -> dict[Subject, str]:
    """Return the alarms that stand with the verdict that was told."""
    alarm = models.Alarm
    statement = sa.select(alarm.kind, alarm.subject, alarm.verdict).where(alarm.site_id == tx.site_id)
    return {(row.kind, row.subject): row.verdict for row in tx.connection.execute(statement)}


def raise_alarm(tx: Tx, about: Subject, verdict: str) -> None:
    """Store that an alarm was told."""
    end_alarms(tx, [about])
    kind, subject = about
    values = {"site_id": tx.site_id, "kind": kind, "subject": subject, "verdict": verdict, "raised_at": tx.now}
    tx.connection.execute(sa.insert(models.Alarm).values(values))


def end_alarms(tx: Tx, ended: Iterable[Subject]) -> None:
    """Forget alarms: what they told holds no more."""
    alarm = models.Alarm
    for kind, subject in ended:
        mine = (alarm.site_id == tx.site_id, alarm.kind == kind, alarm.subject == subject)
        tx.connection.execute(sa.delete(alarm).where(*mine))
