"""The transaction of a site: what every query takes, and filters by."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa


@dataclass(frozen=True, slots=True)
class Tx:
    """A transaction, its site and its time. No query reaches beyond ``site_id``."""

    connection: sa.Connection
    site_id: str
    now: datetime
