"""How far deliveries are behind the journal, over all sites."""

from dataclasses import dataclass
from datetime import UTC, datetime

import sqlalchemy as sa

from service.store.database import Database
from service.store.models import Delivery, SiteHead, Subscription


@dataclass(frozen=True, slots=True)
class Lag:
    """How far behind deliveries are.

    Parameters
    ----------
    events : int
        Rows of the journal not yet read for the active subscription farthest behind, [-]
    pending, dead : int
        Deliveries that wait, and that were given up, [-]
    oldest_s : float
        Age of the delivery that has waited longest, [s]
    """

    events: int
    pending: int
    dead: int
    oldest_s: float


def lag(database: Database) -> Lag:
    """Return how far deliveries are behind.

    Raises
    ------
    Busy
        The database cannot answer now.
    """
    of_site = SiteHead.site_id == Subscription.site_id
    behind = sa.select(sa.func.max(SiteHead.seq - Subscription.position)).join_from(Subscription, SiteHead, of_site)
    counted = sa.select(Delivery.status, sa.func.count(), sa.func.min(Delivery.created_at)).group_by(Delivery.status)
    waiting = counted.where(Delivery.status.in_(("pending", "dead")))
    with database.reading() as connection:
        events = connection.execute(behind.where(Subscription.status == "active")).scalar()
        rows = {status: (count, oldest) for status, count, oldest in connection.execute(waiting)}
    pending, oldest = rows.get("pending", (0, None))
    age_s = 0.0 if oldest is None else (datetime.now(UTC) - oldest).total_seconds()
    return Lag(max(0, events or 0), pending, rows.get("dead", (0, None))[0], max(0.0, age_s))
