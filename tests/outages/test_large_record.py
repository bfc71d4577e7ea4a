"""Verifying needs the same memory for a small record and for a large one; the short form of ``tests.long audit``."""

import tracemalloc

from service.settings import Settings
from service.store.database import Database
from service.use_cases.checks.audit import Audited, Reached, audit
from tests.outages.large_record import filled

MOST_MB = 16.0
"""What Python holds at most while it verifies; 60,000 rows of this record would take more than 60 MB at once"""


def test_a_record_is_verified_in_bounded_memory_and_says_how_far_it_got(sqlite_url: str) -> None:
    filled(sqlite_url, orders=50, stays=60_000)
    database = Database(Settings(database_url=sqlite_url))
    list(audit(database, "nothing"))  # what is made once for all does not count
    tracemalloc.start()
    told = list(audit(database))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    database.dispose()
    (done,) = [each for each in told if isinstance(each, Audited)]
    assert (done.faults, done.rows > 60_000) == (0, True)
    assert [(each.table, each.rows) for each in told if isinstance(each, Reached)] == [("stays", 50_000)]
    assert peak / 1e6 < MOST_MB
