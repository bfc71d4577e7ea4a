"""How long a history of 20,000 stays takes to import as the role of production, and as a superuser, side by side.

``python -m tests.benchmarks.import_by_role [ROUNDS]``. A superuser goes around row level security, so COPY
straight into the table is open to him; the service sends both through a temporary table. Processor time of this process
is said too, since it varies less with what else the machine does.
"""

import json
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from service.demo.history import FANS, history
from service.settings import Settings
from service.store.database import Database
from service.store.queries.sites import create_site
from service.use_cases.stays.files import import_file
from tests import databases

ROWS = 20_000
MOST = 1.5
"""The role's shortest time may be so many times the superuser's"""


def written(file: Path) -> int:
    """Write a history of as many plants like the demo's as have the rows; return how many rows there are."""
    one, stays = history(), []
    for plant in range(ROWS // len(one) + 1):
        for stay in one:
            asset = f"{stay['asset']}-{plant}"
            stays.append({**stay, "asset": asset, "external_id": f"{plant}-{stay['external_id']}"})
    del stays[ROWS:]
    file.write_text("".join(f"{json.dumps(stay)}\n" for stay in stays), encoding="utf-8")
    return len(stays)


def imported(url: str, file: Path, rows: int) -> tuple[float, float]:
    """Return how long the import took, and the processor time of this process, [s]."""
    database = Database(Settings(database_url=url, statement_timeout_ms=120_000))
    create_site(database, "MILL-A", "Mill A", "metric")
    began, used = time.perf_counter(), time.process_time()
    done = import_file(database, "MILL-A", file, zone=None, create_assets=True, dry_run=False)
    took = time.perf_counter() - began, time.process_time() - used
    assert done.created == rows, done
    database.dispose()
    return took


def main(rounds: int) -> int:
    """Import in turn as each, and print the times."""
    best: dict[str, tuple[float, float]] = {}
    with ExitStack() as stack, tempfile.TemporaryDirectory() as folder:
        server = databases.postgres_server(stack)
        file = Path(folder) / "stays.ndjson"
        rows = written(file)
        print(f"{rows} stays, {FANS} machines a plant")
        for number in range(rounds):
            for who in ("superuser", "role of production"):
                url = server.clone()
                took = imported(server.as_owner(url) if who == "superuser" else url, file, rows)
                server.drop(url)
                print(
                    f"round {number + 1}, {who}: {took[0]:.2f} s, of them {took[1]:.2f} s of processor here", flush=True
                )
                best[who] = min(best.get(who, took), took)
    ratio = best["role of production"][0] / best["superuser"][0]
    print(f"shortest of each: {ratio:.2f} times as long; at most {MOST}")
    return 0 if ratio <= MOST else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 3))
