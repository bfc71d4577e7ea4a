"""What rows, requests and processes cost on PostgreSQL: bytes, processor time, memory. Used by ``sizing``.

    python -m tests.benchmarks.footprint [machines]

Machines are registered and an order of each is taken from opening to completion, through the real API over HTTP.
Bytes are the growth of each table with its indexes and its long values (pg_total_relation_size) by the growth of its
rows. Requests per second of one core are requests by the processor time of the one worker, and likewise for all
processes of PostgreSQL: other work on the machine touches that less than wall time. Asserts nothing.
"""

import json
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from shutil import which
from typing import Any

import psycopg

from service.store.models import Base
from tests import databases
from tests.api.samples.machines import order
from tests.api.samples.orders import closing_readings, completion, initial, isolated, known_fan, residual
from tests.benchmarks import startup
from tests.benchmarks.history import filled
from tests.benchmarks.http import CLIENTS, Bench
from tests.benchmarks.load import measured, one_answer, request_bytes

OPENING, INSTRUCTIONS, PAGE = "POST work-orders (durable, full plan)", "GET work-orders/{id}/instructions", "GET assets"
ANALYSED_STAYS = 20_000
Sizes = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class Cost:
    """Processor time of one request or one life of an order, [s]: of the worker and of PostgreSQL."""

    web_s: float
    database_s: float


@dataclass(frozen=True)
class Footprint:
    """What was measured.

    Parameters
    ----------
    machine_bytes, order_bytes : dict
        From table to the bytes that one machine of two positions adds to it, and one completed order
    row_bytes : dict
        From table to bytes a row
    machine_rows, order_rows : dict
        From table to rows
    requests_per_order : int
        Writes from opening to completion
    worker_mib, backend_mib : float
        Memory of one worker at rest (PSS) and of its connections in PostgreSQL, each [MiB]
    """

    machine_bytes: dict[str, float]
    order_bytes: dict[str, float]
    machine: Cost
    order_life: Cost
    opening: Cost
    instructions: Cost
    page: Cost
    analysis: Cost
    requests_per_order: int
    worker_mib: float
    backend_mib: float
    row_bytes: dict[str, float] = field(default_factory=dict)
    machine_rows: dict[str, float] = field(default_factory=dict)
    order_rows: dict[str, float] = field(default_factory=dict)


class Client:
    """One connection that keeps, and whose requests must succeed."""

    def __init__(self, bench: Bench) -> None:
        self.headers, self.sent = bench.headers, 0
        self.connection = socket.create_connection(("127.0.0.1", bench.port))

    def __call__(self, method: str, path: str, body: Any = None) -> Any:
        """Return the answer."""
        written = b"" if body is None else json.dumps(body).encode()
        status, answer = one_answer(self.connection, request_bytes(method, path, written, self.headers))
        if not 200 <= status < 300:
            raise RuntimeError(f"{method} {path}: {status} {answer.decode()[:500]}")
        self.sent += method != "GET"
        return json.loads(answer)


def whole_order(ask: Client, number: str, tag: str) -> None:
    """Open an order on the tail bearing, measure, clear its hold points and complete it."""
    path = f"/v1/work-orders/{ask('POST', '/v1/work-orders', order(number, asset=tag, positions=('tail',)))['id']}"
    ask("POST", f"{path}/readings", {"readings": [isolated(), initial("tail", 0.0040, 0.0040)]})
    left = ask("POST", f"{path}/readings", {"readings": [residual("tail", 0.0025, 0.0025)]})["hold_points_open"]
    plan = ask("GET", f"{path}/instructions")
    ask("POST", f"{path}/readings", {"readings": closing_readings(left, plan)})
    installed = {"designation": "22216 K/C3", "serial": number, "manufacturer": "Hollow Reach Bearings"}
    ask("POST", f"{path}/completion", completion(installed=installed))


def sizes(url: str) -> Sizes:
    """Return bytes and rows of each table, after a vacuum."""
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE")
        found = {}
        for name in sorted(Base.metadata.tables):
            row = connection.execute(f"SELECT pg_total_relation_size('{name}'), count(*) FROM {name}").fetchone()
            found[name] = row or (0, 0)
        return found


def growth(before: Sizes, after: Sizes, n: int) -> tuple[dict[str, float], dict[str, float], dict[str, float]]:
    """Return bytes and rows of each table that grew, by ``n``, and bytes a row."""
    more = {name: (after[name][0] - before[name][0], after[name][1] - before[name][1]) for name in after}
    grew = {name: both for name, both in more.items() if both[1] > 0}
    by_row = {name: size / rows for name, (size, rows) in grew.items()}
    return (
        {name: size / n for name, (size, _) in more.items()},
        {name: rows / n for name, (_, rows) in grew.items()},
        by_row,
    )


class Processors:
    """The processor time of the worker and of all processes of PostgreSQL."""

    def __init__(self, worker: int, url: str) -> None:
        self.worker = worker
        with psycopg.connect(url) as connection:
            status = Path(f"/proc/{connection.info.backend_pid}/status").read_text().splitlines()
        self.postmaster = int(next(line.split()[1] for line in status if line.startswith("PPid:")))

    @contextmanager
    def cost(self, of: list[Cost], times: int) -> Iterator[None]:
        """Append what one of so many times costs."""
        web_s, database_s = startup.processor_s(self.worker), self.database_s()
        yield
        of.append(Cost((startup.processor_s(self.worker) - web_s) / times, (self.database_s() - database_s) / times))

    def database_s(self) -> float:
        """Return the processor time of PostgreSQL so far, processes that have ended included, [s]."""
        fields = Path(f"/proc/{self.postmaster}/stat").read_text().rpartition(")")[2].split()
        ended_s = (int(fields[13]) + int(fields[14])) / os.sysconf("SC_CLK_TCK")
        living = (self.postmaster, *startup.workers(self.postmaster))
        return ended_s + sum(startup.processor_s(pid) for pid in living)


def taken(machines: int) -> Footprint:
    """Return what was measured here, on a PostgreSQL of its own with fsync."""
    initdb, postgres = which("initdb"), which("postgres")
    if initdb is None or postgres is None:
        raise SystemExit("initdb and postgres must be on PATH")
    with ExitStack() as stack:
        url = databases.started(stack, initdb, postgres, "fsync=on", "synchronous_commit=on")
        bench = Bench(stack, url, "PostgreSQL")
        (worker,) = startup.workers(bench.process.pid)
        processors, ask, costs = Processors(worker, url), Client(bench), []
        empty = sizes(url)
        with processors.cost(costs, machines):
            for n in range(machines):
                ask("POST", "/v1/assets", known_fan(tag=f"FAN-{n}"))
        registered, ask.sent = sizes(url), 0
        with processors.cost(costs, machines):
            for n in range(machines):
                whole_order(ask, f"WO-{n}", f"FAN-{n}")
        requests_per_order, completed = ask.sent // machines, sizes(url)
        for name in (OPENING, INSTRUCTIONS, PAGE):
            costs.append(request_cost(processors, bench, name))
        by_machine = growth(empty, registered, machines)
        by_order = growth(registered, completed, machines)
        worker_mib, backend_mib = startup.memory_mib(worker, "Pss"), backends_mib(url)
        costs.append(analysis_cost(stack, initdb, postgres))
    machine, life, opening, instructions, page, analysis = costs
    return Footprint(
        by_machine[0], by_order[0], machine, life, opening, instructions, page, analysis,
        requests_per_order, worker_mib, backend_mib,
        by_machine[2] | by_order[2], by_machine[1], by_order[1],
    )  # fmt: skip


def request_cost(processors: Processors, bench: Bench, name: str) -> Cost:
    """Return the cost of a case of the benchmark ``http``."""
    _, requests, each = next(case for said, case in bench.cases.items() if said.startswith(name))
    measured(bench.port, requests, clients=CLIENTS, each=5)
    found: list[Cost] = []
    with processors.cost(found, CLIENTS * each):
        measured(bench.port, requests, clients=CLIENTS, each=each)
    return found[0]


def analysis_cost(stack: ExitStack, initdb: str, postgres: str) -> Cost:
    """Return the cost of a life analysis over ``ANALYSED_STAYS`` stays, in a process that has loaded what it needs."""
    from service.use_cases.lives.by_group import life_analysis_of
    from tests.benchmarks.history import QUERY

    own = databases.PostgresServer(databases.started(stack, initdb, postgres))
    url = own.clone()
    database, site_id = filled(url, ANALYSED_STAYS)
    stack.callback(database.dispose)
    processors = Processors(os.getpid(), url.replace("+psycopg", ""))
    found: list[Cost] = []
    for _ in range(2):  # the first loads modules
        with processors.cost(found, 3):
            for _ in range(3):
                with database.read(site_id) as tx:
                    life_analysis_of(tx, QUERY).record()
    return found[-1]


def backends_mib(url: str) -> float:
    """Return the mean memory of the worker's connections in PostgreSQL, without what they share, [MiB]."""
    with psycopg.connect(url) as connection:
        statement = "SELECT pid FROM pg_stat_activity WHERE application_name = 'capsaddle'"
        pids = [row[0] for row in connection.execute(statement)]
    return sum(startup.memory_mib(pid, "Anonymous") for pid in pids) / len(pids)


def report(found: Footprint) -> Iterator[str]:
    """Yield the tables of what was measured."""
    yield "| table | bytes a row, with indexes | rows a machine | rows an order |\n|---|---|---|---|"
    for name, size in sorted(found.row_bytes.items(), key=lambda item: -item[1]):
        rows = f"{found.machine_rows.get(name, 0):.2f} | {found.order_rows.get(name, 0):.2f}"
        yield f"| {name} | {size:,.0f} | {rows} |"
    yield "\n| request | processor time of the worker, ms | a core does, 1/s | of PostgreSQL, ms |\n|---|---|---|---|"
    for name, cost in (
        ("register a machine", found.machine),
        (f"an order from opening to completion ({found.requests_per_order} writes)", found.order_life),
        (OPENING, found.opening),
        (INSTRUCTIONS, found.instructions),
        (f"{PAGE} (a page)", found.page),
        (f"life analysis of {ANALYSED_STAYS:,} stays", found.analysis),
    ):
        yield f"| {name} | {1e3 * cost.web_s:.2f} | {1 / cost.web_s:,.0f} | {1e3 * cost.database_s:.2f} |"
    yield f"\nworker {found.worker_mib:.0f} MiB (PSS), connection in PostgreSQL {found.backend_mib:.1f} MiB"


def main(machines: str = "1000") -> None:
    """Measure and print."""
    for line in report(taken(int(machines))):
        print(line)


if __name__ == "__main__":
    main(*sys.argv[1:])
