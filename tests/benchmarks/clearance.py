"""How long a clearance target takes: the computation alone, and bearings per second through the batch endpoint.

    python -m tests.benchmarks.clearance

Prints; asserts nothing. The batch is answered by the application in this process, without a network; beside it the
same bytes pass through a bare Flask view that parses each line and writes the same answer, so that a slow machine
shows in both columns.
"""

import json
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from flask import Flask, Response, request

from service.app import create_app
from service.mounting.blades import INCH_SET
from service.mounting.clearance import Measured, clearance_target
from service.mounting.designation import bearing_from_designation
from service.settings import Settings
from service.store import migrate
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site

LINES = 5_000
ROUNDS = 5


def best_s(work: Callable[[], object]) -> float:
    """Return the shortest of several runs, [s]."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def computation_us() -> float:
    """Return the time of one target with everything known, [us]; readings differ so that nothing is remembered."""
    bearing = bearing_from_designation("22216 K/C3")
    readings = [Measured(((95_000 + 25 * n,),)) for n in range(1000)]

    def work() -> None:
        for measured in readings:
            clearance_target(
                bearing=bearing,
                seat="adapter_sleeve",
                measured=measured,
                blade_set=INCH_SET,
                temperature_difference_k=8.0,
                radial_load_n=9000.0,
                sleeve_thread="inch",
            )

    return best_s(work) / len(readings) * 1e6


def lines() -> bytes:
    """Return a batch of different bearings and readings."""
    sizes = [*range(10, 23), *range(24, 41, 2)]
    requests = []
    for n in range(LINES):
        designation = f"222{sizes[n % len(sizes)]:02d} K/C3"
        reading = {"value": 0.0037 + 0.000001 * (n % 900), "unit": "in"}
        body = {"bearing": {"designation": designation}, "seat": "adapter_sleeve", "blade_set": "inch"}
        requests.append(body | ({"measured_clearance": reading} if sizes[n % len(sizes)] in (15, 16) else {}))
    return b"".join(json.dumps(one).encode() + b"\n" for one in requests)


def echo(answer: bytes) -> Flask:
    """Return an application that parses each line and writes the given answer."""
    app = Flask("echo")

    @app.post("/")
    def view() -> Response:
        for line in request.get_data().splitlines():
            json.loads(line)
        return Response(answer, content_type="application/x-ndjson")

    return app


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        migrate.upgrade(url)
        app = create_app(Settings(database_url=url))
        database = app.extensions["capsaddle"].database
        create_site(database, "BENCH", "bench", "inch")
        headers = {"Authorization": f"Bearer {create_key(database, 'BENCH', ('read',))}"}
        data, client = lines(), app.test_client()

        def batch() -> bytes:
            path = "/v1/clearance-targets/batch"
            return client.post(path, data=data, headers=headers, content_type="application/x-ndjson").data

        answer = batch()
        bare = echo(answer).test_client()
        ours_s = best_s(batch)
        echo_s = best_s(lambda: bare.post("/", data=data, content_type="application/x-ndjson").data)
        ok = sum(1 for line in answer.splitlines() if json.loads(line).get("status") == 200)
        database.dispose()
    print(f"one target, computation alone          {computation_us():8.1f} us")
    print(f"batch of {LINES} lines ({ok} answered 200)  {LINES / ours_s:8.0f} bearings/s on one core")
    print(f"the same bytes through a bare echo     {LINES / echo_s:8.0f} lines/s; ratio {echo_s / ours_s:.3f}")


if __name__ == "__main__":
    main()
