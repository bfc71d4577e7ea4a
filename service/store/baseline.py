"""A row of the journal that names every row of a site as it is: the record is held from there on.

Written by a migration that changes what the chain is made of, and by ``capsaddle audit baseline``.
"""

from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from service.store import chain
from service.store.identity import new_id
from service.store.journal import Event, append
from service.store.models import Site, SiteHead
from service.store.transaction import Tx

NEW_CHAIN = "new_chain"
"""A member of the data of a baseline before which no hashes of rows are kept."""


def enter_baselines(connection: sa.Connection, *, actor: str, request_id: str = "", why: str | None = None) -> None:
    """Enter a baseline of each site, in the transaction of a migration.

    Parameters
    ----------
    why : str or None
        Why rows that stood in the chain are gone; None: a new kind of chain, before which nothing is kept.
    """
    data = {"why": "a new kind of chain", NEW_CHAIN: True} if why is None else {"why": why}
    sites = connection.execute(sa.select(Site.id).order_by(Site.id)).scalars().all()
    for site_id in sites:
        tx = Tx(connection, site_id, datetime.now(UTC))
        enter_baseline(tx, actor=actor, request_id=request_id or new_id(), data=data)


def enter_baseline(tx: Tx, *, actor: str, request_id: str, data: dict[str, Any]) -> None:
    """Enter the baseline of a site; its other writers wait until the commit."""
    head = sa.select(SiteHead.seq).where(SiteHead.site_id == tx.site_id).with_for_update()
    tx.connection.execute(head).scalar_one()
    event = Event(chain.BASELINE, "site", tx.site_id, data=data)
    append(tx, actor=actor, request_id=request_id, events=(event,), left=chain.baseline(tx.connection, tx.site_id))
