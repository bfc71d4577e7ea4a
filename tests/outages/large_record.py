"""How long the record of many orders takes to verify, and in how much memory: ``python -m tests.outages.large_record``.

A machine, orders opened through the API one after the other, and then a fresh process that runs ``capsaddle audit
verify`` on them; with ``--stays`` so many imported stays beside them, for a record of a million rows. At the end a row
is changed, which must be found. Prints figures; ends with 1 if the intact record has a fault or the change is not seen.
"""

import argparse
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from service.app import create_app
from service.history.stays import Stay
from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import assets, stay_import
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site, site_by_code
from service.store.unit_of_work import Event, Tx, Written
from tests.api.samples.machines import fan, order
from tests.store import plant
from tests.system.servers import environment

STAYS_AT_ONCE = 50_000
STAYS_A_POSITION = 250
"""What refuses an overlap looks through the stays of a position"""
BEGINNING = datetime(1990, 1, 1, tzinfo=UTC)


def filled(url: str, orders: int, stays: int) -> float:
    """Open the orders and import the stays; return how long opening an order took, [ms]."""
    migrate.upgrade(url)
    app = create_app(Settings(database_url=url))
    database: Database = app.extensions["capsaddle"].database
    create_site(database, "MILL-A", "Mill A", "inch")
    headers = {"Authorization": f"Bearer {create_key(database, 'MILL-A', ['read', 'write'])}"}
    client = app.test_client()
    made = client.post("/v1/assets", json=fan(), headers=headers)
    assert made.status_code == 201, made.text
    began = time.perf_counter()
    for number in range(orders):
        sent = client.post("/v1/work-orders", json=order(f"WO-{number}", allow_second=True), headers=headers)
        assert sent.status_code == 201, sent.text
    took_ms = (time.perf_counter() - began) * 1000 / max(orders, 1)
    for start in range(0, stays, STAYS_AT_ONCE):
        imported(database, start, min(STAYS_AT_ONCE, stays - start))
    database.dispose()
    return took_ms


def imported(database: Database, start: int, count: int) -> None:
    """Stays of a day each in machines of their own, one after the other in each position, as an import stores them."""
    many = [
        Stay(
            asset=f"FAN-{n // STAYS_A_POSITION}",
            position="tail",
            designation="22216 K",
            end_type="removed_preventive",
            inspected=False,
            installed_at=BEGINNING + timedelta(days=2 * (n % STAYS_A_POSITION)),
            removed_at=BEGINNING + timedelta(days=2 * (n % STAYS_A_POSITION) + 1),
        )
        for n in range(start, start + count)
    ]

    def work(tx: Tx) -> Written:
        places = {}
        for tag in sorted({each.asset for each in many}):
            machine = assets.insert_asset(tx, plant.asset(tag))
            places[tag, "tail"] = machine.shafts[0]["positions"][0]["id"]
        stay_import.insert_stays(tx, many, places)
        return Written(200, "", events=(Event("stays.imported", "site", tx.site_id),))

    site_id = site_by_code(database, "MILL-A").id
    database.write(site_id=site_id, actor="test", request_id="test", work=work)


def verified(url: str) -> tuple[int, str, float, float]:
    """How ``capsaddle audit verify`` ends, what it says last, how long it took, [s], and its largest memory, [MB]."""
    program = [sys.executable, "-m", "service.cli", "audit", "verify"]
    began = time.perf_counter()
    told = subprocess.run(program, env=environment(url), capture_output=True, text=True)
    took_s = time.perf_counter() - began
    peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024  # of the largest child so far
    return told.returncode, (told.stdout.splitlines() or [told.stderr])[-1], took_s, peak_mb


def change_a_reading_of_history(file: Path) -> None:
    with closing(sqlite3.connect(file)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        last = "(SELECT max(rowid) FROM work_orders)"
        assert connection.execute(f"UPDATE work_orders SET kind = 'inspection' WHERE rowid = {last}").rowcount == 1
        connection.commit()


def main() -> int:
    """Measure and print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--orders", type=int, default=10_000)
    asked.add_argument("--stays", type=int, default=0)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "plant.db"
        url = f"sqlite:///{file}"
        took_ms = filled(url, given.orders, given.stays)
        print(f"{given.orders} orders, {took_ms:.1f} ms each; {given.stays} stays; {file.stat().st_size / 1e6:.0f} MB")
        intact, said, took_s, peak_mb = verified(url)
        print(f"{said}\n{took_s:.1f} s, at most {peak_mb:.0f} MB")
        change_a_reading_of_history(file)
        changed, said, _, _ = verified(url)
        print(said)
    return 0 if (intact, changed) == (0, 1) else 1


if __name__ == "__main__":
    sys.exit(main())
