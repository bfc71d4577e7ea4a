"""How long large histories take: import, list pages, life analysis; beside the driver and plain SQL. Prints a table.

    python tests/benchmarks/history.py [sqlite|postgresql] [stays imported] [stays analysed]

PostgreSQL is found as for the tests. Import: the bytes of a CSV to the committed rows, against the driver's executemany
of the same rows in one transaction. Analysis: the whole answer by designation, against plain SQL that reads the
columns it needs through the same driver, in batches, and drops them. Wall time; the machine should be quiet.
"""

import csv
import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from service.settings import Settings
from service.store import fence
from service.store.database import Database
from service.store.queries import stay_import
from service.store.queries.histories import COLUMNS as READ_COLUMNS
from service.store.queries.sites import create_site
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.unit_of_work import Tx, Written
from service.use_cases.lives.by_group import life_analysis_of
from service.use_cases.stays.import_read import read_import
from service.use_cases.stays.import_stays import import_stays
from service.use_cases.stays.sources import STAY_COLUMNS
from tests import databases

POSITIONS, STAYS_A_POSITION = 2, 50
DESIGNATIONS = ("22216 K/C3", "22218 K/C3", "22220 K", "1310 K", "22224 K/C4")
QUERY = {"group_by": ("designation",), "count": "excluded", "level": 0.95, "interval": "likelihood_ratio",
         "method": "maximum_likelihood", "steps": "false"}  # fmt: skip


def stays(number: int, begin_year: int = 1990) -> Iterator[dict[str, Any]]:
    """Yield stays, one after the other in each of the positions, every tenth without inspection."""
    places = [(f"A-{n // POSITIONS:05d}", f"p{n % POSITIONS}") for n in range(max(number // STAYS_A_POSITION, 2))]
    hours = 300_000 // (STAYS_A_POSITION + 1)
    begin = time.mktime((begin_year, 1, 1, 0, 0, 0, 0, 0, 0))
    for n in range(number):
        asset, position = places[n % len(places)]
        start = begin + (n // len(places)) * hours * 3600
        run = 1 + (n * 7919) % (hours - 1)
        failed = n % 2 == 0
        yield {
            "external_id": f"S-{n:07d}",
            "asset": asset,
            "position": position,
            "designation": DESIGNATIONS[n % len(DESIGNATIONS)],
            "manufacturer": f"Maker {n % 7}",
            "serial": f"{n:08x}",
            "installed_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start)),
            "removed_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start + run * 3600)),
            "operating_hours": run,
            "end_type": "failed" if failed else "removed_preventive",
            "inspected": "" if n % 10 == 9 else "true",
            "damage": "wear.abrasive" if failed else "",
            "residual_clearance_mm": f"{0.05 + n % 40 / 1000:.3f}",
            "window_min_mm": "0.056",
            "window_max_mm": "0.080",
        }


def as_csv(rows: Iterator[dict[str, Any]]) -> bytes:
    """Return the file that a maintenance system would send."""
    out = io.StringIO()
    writer = csv.DictWriter(out, [name for name in STAY_COLUMNS if name != "attributes"], restval="")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def written(database: Database, site_id: str, work: Callable[[Tx], Any]) -> Any:
    """Return what the work returns, committed."""
    found = []

    def unit(tx: Tx) -> Written:
        found.append(work(tx))
        return Written(200, "")

    database.write(site_id=site_id, actor="benchmark", request_id="benchmark", work=unit)
    return found[-1]


def with_assets(url: str, number: int) -> tuple[Database, str]:
    """Return a database with a site whose assets are registered."""
    database = Database(Settings(database_url=url, statement_timeout_ms=600_000))
    site_id = create_site(database, "BENCH", "Bench", "metric").id
    first = [row for row, _ in zip(stays(number), range(max(number // STAYS_A_POSITION, 2)), strict=False)]
    read = read_import(as_csv(iter(first)), "text/csv", None)
    from service.use_cases.stays.import_places import create_places  # the import's own way of registering assets

    written(database, site_id, lambda tx: create_places(tx, read.stays, {}, {}))
    return database, site_id


def import_times(clone: Callable[[], str], number: int) -> tuple[float, float]:
    """Return the seconds of the import, and of the driver's executemany of the same rows."""
    data = as_csv(stays(number))
    database, site_id = with_assets(clone(), number)
    begin = time.perf_counter()
    read = read_import(data, "text/csv", None)
    written(database, site_id, lambda tx: import_stays(tx, read, create_assets=False))
    ours = time.perf_counter() - begin
    database.dispose()
    database, site_id = with_assets(clone(), number)
    rows = written(database, site_id, lambda tx: raw_rows(tx, read.stays))
    begin = time.perf_counter()
    plain(database, rows)
    theirs = time.perf_counter() - begin
    database.dispose()
    return ours, theirs


def raw_rows(tx: Tx, given: list[Any]) -> list[tuple[Any, ...]]:
    """Return the rows as the driver takes them."""
    _, places = stay_import.positions_by_name(tx, (stay.asset for stay in given))
    rows = [stay_import._row(tx, stay, places[stay.place]) for stay in given]
    return [stay_import._for_sqlite(row) for row in rows] if tx.connection.dialect.name == "sqlite" else rows


def plain(database: Database, rows: list[tuple[Any, ...]]) -> None:
    """Insert the rows by the driver's executemany, in one transaction."""
    mark = "?" if database.settings.on_sqlite else "%s"
    marks = ", ".join([mark] * len(stay_import.COLUMNS))
    statement = f"INSERT INTO stays ({', '.join(stay_import.COLUMNS)}) VALUES ({marks})"
    with database.engine.connect().execution_options(writes=True) as connection, connection.begin():
        fence.let_through(connection, None)
        cursor = connection.connection.cursor()
        cursor.executemany(statement, rows)


def filled(url: str, number: int, owned: Callable[[str], str]) -> tuple[Database, str]:
    """Return a database with so many stays, filled by the owner of its tables."""
    database, site_id = with_assets(owned(url), number)
    for part in parts(stays(number), 100_000):
        read = read_import(as_csv(iter(part)), "text/csv", None)
        written(database, site_id, lambda tx, read=read: insert(tx, read.stays))
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")
    database.dispose()
    return Database(Settings(database_url=url, statement_timeout_ms=600_000)), site_id


def insert(tx: Tx, given: list[Any]) -> None:
    """Store stays that are known to be in order, without the triggers' checks where the server lets us."""
    if tx.connection.dialect.name == "postgresql":
        tx.connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
    _, places = stay_import.positions_by_name(tx, (stay.asset for stay in given))
    stay_import.insert_stays(tx, given, places)


def parts(rows: Iterator[dict[str, Any]], size: int) -> Iterator[list[dict[str, Any]]]:
    """Yield the rows some at a time."""
    part: list[dict[str, Any]] = []
    for row in rows:
        part.append(row)
        if len(part) == size:
            yield part
            part = []
    if part:
        yield part


def page_times(sites: list[tuple[Database, str]]) -> dict[str, list[float]]:
    """Return the milliseconds of a page of 50 in each site, by filter: the least of 40, the sites in turn."""
    questions = {
        "no filter": Chosen(),
        "an asset": Chosen(asset="A-00007"),
        "a position": Chosen(asset="A-00007", position="p1"),
        "a designation": Chosen(designation="1310 K"),
        "an end type": Chosen(end_type="removed_preventive"),
        "damage": Chosen(damage="wear"),
    }
    middles = []
    for database, site_id in sites:
        with database.read(site_id) as tx:
            middles.append(stay_rows(tx, Chosen(), after=None, limit=5_000)[-1].id)
    found = {}
    for name, chosen in questions.items():
        least = [float("inf")] * len(sites)
        for _ in range(40):
            for n, (database, site_id) in enumerate(sites):
                begin = time.perf_counter()
                with database.read(site_id) as tx:
                    stay_rows(tx, chosen, after=middles[n] if name == "no filter" else None, limit=51)
                least[n] = min(least[n], time.perf_counter() - begin)
        found[name] = [seconds * 1000 for seconds in least]
    return found


def analysis_times(database: Database, site_id: str) -> tuple[float, float, float]:
    """Return the seconds of the life analysis and of plain SQL, and how much more memory the analysis took, [MB]."""
    names = ("begin_h", "end_h", "observed_h", "operating_h", "carried_h", "position", "designation", "end_type",
             "inspected", "damage")  # fmt: skip
    columns = ", ".join(_plain_columns(names))
    statement = f"SELECT {columns} FROM stays"
    theirs = []
    for _ in range(3):
        begin = time.perf_counter()
        with database.reading(site_id=site_id) as connection:
            raw = connection.connection.driver_connection
            cursor = raw.cursor() if database.settings.on_sqlite else raw.cursor(name="plain")
            cursor.execute(statement)
            while cursor.fetchmany(20_000):
                pass
            cursor.close()
        theirs.append(time.perf_counter() - begin)
    ours = []
    for _ in range(3):
        begin = time.perf_counter()
        with database.read(site_id) as tx:
            life_analysis_of(tx, QUERY).record()
        ours.append(time.perf_counter() - begin)
    return min(ours), min(theirs), _memory(database.settings.database_url, site_id)


def _memory(url: str, site_id: str) -> float:
    """Return what the first analysis adds to a process of its own that has everything imported, [MB]."""
    command = [sys.executable, "-m", "tests.benchmarks.history", "memory", url, site_id]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def memory(url: str, site_id: str) -> None:
    """Print by how much one analysis raises the peak of this process, [MB]."""
    database = Database(Settings(database_url=url, statement_timeout_ms=600_000))
    with database.read(site_id) as tx:
        stay_rows(tx, Chosen(), after=None, limit=51)
        before = _peak_kb()
        life_analysis_of(tx, QUERY).record()
    print((_peak_kb() - before) / 1024)


def _peak_kb() -> int:
    """Return the largest memory this process has had, [kB]; Linux. (``ru_maxrss`` is inherited from the parent.)"""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))


def _plain_columns(names: tuple[str, ...]) -> list[str]:
    stored = {"begin_h": "installed_at", "end_h": "coalesce(removed_at, as_of)", "observed_h": "observed_from",
              "operating_h": "operating_hours", "carried_h": "age_at_install_h", "position": "position_id"}  # fmt: skip
    assert set(names) <= set(READ_COLUMNS)
    return [stored.get(name, name) for name in names]


def main(engine: str, to_import: int, to_analyse: int) -> None:
    """Print the figures of one engine."""
    with ExitStack() as stack:
        if engine == "sqlite":
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="capsaddle-bench-")))
            files = databases.SqliteFiles(folder)

            def clone() -> str:
                return files.clone(Path(tempfile.mkdtemp(dir=folder)))

            owned: Callable[[str], str] = str
        else:
            server = databases.postgres_server(stack)
            clone, owned = server.clone, server.as_owner
        if to_import:
            ours, theirs = import_times(clone, to_import)
            both = f"{ours:.2f} s, executemany {theirs:.2f} s: {theirs / ours:.2f}"
            print(f"{engine}: import of {to_import:,} stays {both}", flush=True)
        small, small_site = filled(clone(), 10_000, owned)
        large, large_site = filled(clone(), to_analyse, owned)
        for name, (few, many) in page_times([(small, small_site), (large, large_site)]).items():
            print(f"{engine}: page, {name}: {few:.2f} ms at 10,000, {many:.2f} ms at {to_analyse:,}: {many / few:.2f}")
        ours, theirs, more = analysis_times(large, large_site)
        both = f"{ours:.2f} s, plain SQL {theirs:.2f} s: {ours / theirs:.2f}"
        print(f"{engine}: life analysis of {to_analyse:,} stays {both}")
        print(f"{engine}: memory that the analysis adds at its peak: {more:.0f} MB")
        for database in (small, large):
            database.dispose()


if __name__ == "__main__":
    given = sys.argv[1:]
    if given[:1] == ["memory"]:
        memory(*given[1:])
        sys.exit()
    main(given[0] if given else "sqlite", *[int(one) for one in (given[1:] or ("100000", "1000000"))])
