"""How long a cold start takes to its first answers, and what a worker holds at rest.

    python -m tests.benchmarks.startup

Starts ``capsaddle serve`` on an empty database, once so that all modules are compiled, as in an installed package,
then five times. Time runs from the start of the process; beside it stands
the processor time, which other work on the machine touches less. Memory is that of the one worker: resident, and its
share when pages shared with the master are split between them (PSS). Prints; asserts nothing.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from socket import create_connection

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.benchmarks.load import one_answer, request_bytes
from tests.system.servers import environment, free_port

ROUNDS = 5
BODY = {"bearing": {"designation": "22216 K/C3"}, "seat": "adapter_sleeve", "blade_set": "inch"}


@dataclass(frozen=True)
class Start:
    """One start, [s] and [MiB]."""

    live_s: float
    answered_s: float
    processor_s: float
    resident_mib: float
    share_mib: float


def workers(pid: int) -> list[int]:
    """Return the processes that a process has forked."""
    return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def processor_s(pid: int) -> float:
    """Return the processor time of a process so far, [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mib(pid: int, name: str) -> float:
    """Return a line of the process's memory, [MiB]."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return int(next(line.split()[1] for line in lines if line.startswith(f"{name}:"))) / 1024


def waited_for(port: int, request: bytes) -> bytes:
    """Return the first answer to a request that is sent until there is one."""
    while True:
        with suppress(OSError), create_connection(("127.0.0.1", port), 5) as connection:
            status, body = one_answer(connection, request)
            if status == 200:
                return body
        time.sleep(0.01)


def start(url: str, key: str, compiled: str) -> Start:
    """Return what one start took."""
    port = free_port()
    command = [sys.executable, "-m", "service.cli", "serve", "--bind", f"127.0.0.1:{port}"]
    begin = time.perf_counter()
    given = {name: value for name, value in environment(url).items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen(command, env=given | {"PYTHONPYCACHEPREFIX": compiled})
    try:
        waited_for(port, request_bytes("GET", "/health/live"))
        live_s = time.perf_counter() - begin
        called = {"Authorization": f"Bearer {key}"}
        waited_for(port, request_bytes("POST", "/v1/clearance-targets", json.dumps(BODY).encode(), called))
        answered_s = time.perf_counter() - begin
        (worker,) = workers(process.pid)
        time.sleep(1)
        taken_s = processor_s(process.pid) + processor_s(worker)
        return Start(live_s, answered_s, taken_s, memory_mib(worker, "Rss"), memory_mib(worker, "Pss"))
    finally:
        process.terminate()
        process.wait(30)


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        migrate.upgrade(url)
        database = Database(Settings(database_url=url))
        create_site(database, "BENCH", "bench", "inch")
        key = create_key(database, "BENCH", ["read"])
        database.dispose()
        start(url, key, folder)
        starts = [start(url, key, folder) for _ in range(ROUNDS)]
    print("| cold start, median of 5 (least) | |")
    print("|---|---|")
    for said, name, unit in (
        ("until /health/live answers", "live_s", "s"),
        ("until the first clearance target", "answered_s", "s"),
        ("processor time until then", "processor_s", "s"),
        ("worker at rest, resident", "resident_mib", "MiB"),
        ("worker at rest, its share (PSS)", "share_mib", "MiB"),
    ):
        values = [getattr(each, name) for each in starts]
        print(f"| {said} | {statistics.median(values):.2f} {unit} ({min(values):.2f}) |")


if __name__ == "__main__":
    main()
