"""How long each question about lives takes over HTTP, in a plant with so many stays. Prints a table; asserts nothing.

    python -m tests.benchmarks.lives [sqlite|postgresql] [stays]

One gunicorn worker on the same machine; the least of three requests of each question, the first of which loads numpy.
Beside the time of the clock stands that of the processor in the server, which other work on the machine hardly changes.
The plant: machines with two positions, five designations, seven makers, nine crews, bearings that wear out (shape 2),
removals by plan, a tenth of these not looked at; each position is followed for ten mean lives.
"""

import os
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import requests

from service.moments import rfc3339
from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from service.use_cases.stays.import_places import create_places
from service.use_cases.stays.import_read import read_import
from tests import databases
from tests.benchmarks.history import as_csv, insert, written
from tests.system.servers import Server, serving

BEGIN, END = datetime(2006, 1, 1, tzinfo=UTC), datetime(2026, 1, 1, tzinfo=UTC)
SCALE_H, PLANNED_H = 20_000.0, 26_000.0
DESIGNATIONS = ("22216 K/C3", "22218 K/C3", "22220 K", "1310 K", "22224 K/C4")
MODES = ("wear.abrasive", "corrosion.moisture", "rolling_contact_fatigue.subsurface_initiated")
QUESTIONS = (
    "life-analysis",
    "life-analysis?group_by=position",
    "life-analysis?group_by=damage",
    "life-analysis?damage=wear",
    "recurrence",
    "recurrence?points=all&event=failure",
    "replacement-ranking",
    "replacement-ranking?by=asset",
    "early-failures?within_h=4000",
    "early-failures?group_by=work_order",
    "life-comparison?group_by=manufacturer,installer",
    "life-comparison?group_by=manufacturer,fitted_month",
    "life-comparison?group_by=manufacturer,fitted_year",
    "life-comparison?group_by=fitted_month",
    "life-comparison?group_by=designation",
    "mounting-quality",
    "replacement-age?preventive_cost=1&failure_cost=8",
    "replacement-age?preventive_cost=1&failure_cost=8&group_by=position",
    "life-regression?covariates=residual_clearance,fit,manufacturer,installer,month_of_year",
    "life-change?at=2016-01-01T00:00:00Z",
    "replacement-forecast?months=12",
    "replacement-forecast?months=12&group_by=position",
)


def plant(number: int) -> Iterator[dict[str, Any]]:
    """Yield stays of a plant, position by position, until there are so many."""
    chance = random.Random(7)
    made = asset = 0
    while made < number:
        asset += 1
        for position in ("drive", "tail"):
            fitted = BEGIN + timedelta(days=chance.random() * 2000)
            designation = DESIGNATIONS[asset % len(DESIGNATIONS)]
            while True:
                life_h = chance.weibullvariate(SCALE_H, 2.0)
                removed = fitted + timedelta(hours=min(life_h, PLANNED_H))
                made += 1
                yield _stay(chance, made, f"A-{asset:05d}", position, designation, fitted, removed, life_h)
                if removed >= END - timedelta(days=1) or made >= number:
                    break
                fitted = removed + timedelta(hours=8)
            if made >= number:
                return


def _stay(
    chance: random.Random, n: int, asset: str, position: str, designation: str, fitted: datetime, removed: datetime,
    life_h: float,
) -> dict[str, Any]:  # fmt: skip
    failed = life_h <= PLANNED_H
    running = removed >= END
    ended = {
        "removed_at": "" if running else rfc3339(removed),
        "end_type": "running" if running else "failed" if failed else "removed_preventive",
        "as_of": rfc3339(END) if running else "",
        "operating_hours": round(((END if running else removed) - fitted).total_seconds() / 3600),
        "inspected": "" if running or chance.random() < 0.1 else "true",
        "damage": chance.choice(MODES) if failed and not running and chance.random() < 0.7 else "",
    }
    return {
        "external_id": f"S-{n:07d}",
        "asset": asset,
        "position": position,
        "designation": designation,
        "manufacturer": f"Maker {chance.randrange(7)}",
        "installed_by": f"Crew {chance.randrange(9)}",
        "work_order": f"WO-{n // 2}",
        "installed_at": rfc3339(fitted),
        "residual_clearance_mm": f"{0.050 + chance.random() * 0.04:.4f}",
        "window_min_mm": "0.056",
        "window_max_mm": "0.080",
        "shaft_diameter_mm": f"{79.95 + chance.random() * 0.1:.3f}",
        "shaft_min_mm": "79.97",
        "shaft_max_mm": "80.03",
        **ended,
    }


def filled(url: str, number: int) -> str:
    """Fill the database and return a key of its site."""
    rows = list(plant(number))
    database = Database(Settings(database_url=url, statement_timeout_ms=600_000))
    site_id = create_site(database, "BENCH", "Bench", "metric").id
    read = read_import(as_csv(iter(rows)), "text/csv", None)
    written(database, site_id, lambda tx: create_places(tx, read.stays, {}, {}))
    written(database, site_id, lambda tx: insert(tx, read.stays))
    key = create_key(database, "BENCH", ("read",))
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")
    database.dispose()
    return key


def seconds(base_url: str, path: str, key: str) -> tuple[float, int]:
    """Return the seconds of a request and the length of its answer, [byte]."""
    begin = time.perf_counter()
    answer = requests.get(f"{base_url}/v1/{path}", headers={"Authorization": f"Bearer {key}"}, timeout=300)
    took = time.perf_counter() - begin
    assert answer.status_code == 200, (path, answer.text[:500])
    return took, len(answer.content)


def processor_seconds(server: Server) -> float:
    """Return what all processes of a server have taken of the processor, [s] (Linux)."""
    ticks = 0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:  # it has ended
            continue
        if int(fields[2]) == server.process.pid:  # its group
            ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def main(engine: str, number: int) -> None:
    """Print the seconds of each question."""
    with ExitStack() as stack:
        if engine == "sqlite":
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="capsaddle-bench-")))
            url = databases.SqliteFiles(folder).clone(Path(tempfile.mkdtemp(dir=folder)))
        else:
            url = databases.postgres_server(stack).clone()
        key = filled(url, number)
        server = stack.enter_context(serving(url, STATEMENT_TIMEOUT_MS="600000"))
        for path in QUESTIONS:
            found = []
            for _ in range(3):
                before = processor_seconds(server)
                took, size = seconds(server.base_url, path, key)
                found.append((took, processor_seconds(server) - before, size))
            took, worked = min(one[0] for one in found), min(one[1] for one in found)
            said = f"{took:.2f} s, of the processor {worked:.2f} s, {found[0][2] / 1000:.0f} kB"
            print(f"{engine}: {number:,} stays: {path}: {said}", flush=True)


if __name__ == "__main__":
    given = sys.argv[1:]
    main(given[0] if given else "sqlite", int(given[1]) if len(given) > 1 else 20_000)
