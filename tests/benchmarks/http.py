"""Requests per second beside an echo: the same gunicorn, one worker, eight threads, eight clients.

    python -m tests.benchmarks.http [rounds [part of an endpoint's name]]

The echo is a bare Flask view that parses the same request and ``jsonify``s the same answer, so a ratio of 1 would mean
that checking the key, calculating, storing and journalling cost nothing. Both run side by side and take turns; the
ratio printed is the median of the rounds. Work orders are durable: SQLite with synchronous=FULL, PostgreSQL with
fsync and synchronous_commit on. Prints a table; asserts nothing.
"""

import itertools
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from shutil import which
from typing import Any

from service.api.calculations.arrangements import views as arrangements
from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests import databases
from tests.api.samples.machines import fan, order
from tests.benchmarks.load import Timing, measured, one_answer, request_bytes
from tests.system.servers import free_port, serving

CLIENTS = 8
SCOPES = ("read", "write", "approve", "admin")
BEARING = {"bearing": {"designation": "22216 K/C3"}, "seat": "adapter_sleeve", "blade_set": "inch"}
ECHO = """
import json, sys
from flask import Flask, jsonify, request
from gunicorn.app.base import BaseApplication
from service.serving.gunicorn import Server
from service.settings import Settings
app = Flask("echo")
answers = json.load(open(sys.argv[2]))

@app.route("/<path:path>", methods=["GET", "POST"])
def view(path):
    if request.method == "POST":
        request.get_json()
    return jsonify(answers["/" + path])

class Echo(Server):
    def load(self):
        return app

Echo(Settings(log_level="warning"), bind="127.0.0.1:" + sys.argv[1], workers=1, threads=8).run()
"""
Requests = Callable[[int], Iterator[bytes]]


def plain(method: str, path: str, body: Any, headers: dict[str, str]) -> Requests:
    """Return the same request over and over."""
    sent = request_bytes(method, path, b"" if body is None else json.dumps(body).encode(), headers)
    return lambda client: itertools.repeat(sent)


def new_orders(headers: dict[str, str]) -> Requests:
    """Return requests that open an order of a new number each."""
    numbers = itertools.count()

    def made(client: int) -> Iterator[bytes]:
        while True:
            body = order(f"{os.getpid()}-{client}-{next(numbers)}", allow_second=True)
            yield request_bytes("POST", "/v1/work-orders", json.dumps(body).encode(), headers)

    return made


class Bench:
    """One database with a site, a key, a machine and an order; ours and the echo serving the same answers."""

    def __init__(self, stack: ExitStack, url: str, name: str) -> None:
        self.name = name
        migrate.upgrade(url)
        database = Database(Settings(database_url=url))
        create_site(database, "BENCH", "bench", "inch")
        self.headers = {"Authorization": f"Bearer {create_key(database, 'BENCH', SCOPES)}"}
        database.dispose()
        server = stack.enter_context(serving(url))
        self.process = server.process
        self.port, self.echo_port = int(server.base_url.rpartition(":")[2]), free_port()
        self.asked("POST", "/v1/assets", fan())
        opened = self.asked("POST", "/v1/work-orders", order("FIRST"))
        place = f"/v1/work-orders/{opened['id']}"
        self.cases: dict[str, tuple[str, Requests, int]] = {
            "GET work-orders/{id}/instructions": (*self.case("GET", f"{place}/instructions", None), 200),
            "GET assets (a page)": (*self.case("GET", "/v1/assets", None), 200),
            "POST clearance-targets": (*self.case("POST", "/v1/clearance-targets", BEARING), 200),
            "POST bearing-arrangements": (*self.case("POST", "/v1/bearing-arrangements", arrangements.EXAMPLE), 200),
            "POST cap-bolt-torques": (
                *self.case("POST", "/v1/cap-bolt-torques", {"housing": {"size": "516", "dimensions": "inch"}}),
                200,
            ),
            "POST work-orders (durable, full plan)": ("/v1/work-orders", new_orders(self.headers), 50),
        }
        answers = {path: self.asked(*self.first(requests)) for path, requests, _ in self.cases.values()}
        self.serve_echo(stack, answers)

    def case(self, method: str, path: str, body: Any) -> tuple[str, Requests]:
        """Return the path of a request and its repetition."""
        return path, plain(method, path, body, self.headers)

    def first(self, requests: Requests) -> tuple[bytes]:
        """Return the first request of a client."""
        return (next(requests(0)),)

    def asked(self, *request: Any) -> Any:
        """Return the answer of ours to one request, which must be a success."""
        sent = request[0]
        if not isinstance(sent, bytes):
            method, path, body = request
            sent = request_bytes(method, path, json.dumps(body).encode(), self.headers)
        with socket.create_connection(("127.0.0.1", self.port)) as connection:
            status, answer = one_answer(connection, sent)
        if not 200 <= status < 300:
            raise RuntimeError(f"{status} {answer.decode()[:500]}")
        return json.loads(answer)

    def serve_echo(self, stack: ExitStack, answers: dict[str, Any]) -> None:
        """Serve the same answers by the bare view."""
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        file, script = Path(folder) / "answers.json", Path(folder) / "echo.py"
        file.write_text(json.dumps(answers))
        script.write_text(ECHO)
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
        process = subprocess.Popen([sys.executable, str(script), str(self.echo_port), str(file)], env=environment)
        stack.callback(process.wait)
        stack.callback(process.terminate)
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.echo_port)) == 0:
                    return
            subprocess.run(["sleep", "0.05"], check=True)
        raise RuntimeError("the echo did not start")

    def rows(self, rounds: int, wanted: str) -> Iterator[str]:
        """Yield a line for each endpoint."""
        for case, (_, requests, each) in self.cases.items():
            if wanted not in case:
                continue
            pairs: list[tuple[Timing, Timing]] = []
            for _ in range(rounds):
                ours = measured(self.port, requests, clients=CLIENTS, each=each)
                pairs.append((ours, measured(self.echo_port, requests, clients=CLIENTS, each=each)))
            yield row(self.name, case, pairs)


def row(engine: str, case: str, pairs: list[tuple[Timing, Timing]]) -> str:
    """Return a line of the table from the rounds, each ours and echo."""
    ratio = statistics.median(ours.rate / echo.rate for ours, echo in pairs)
    ours = [ours for ours, _ in pairs]
    rate = statistics.median(each.rate for each in ours)
    bare = statistics.median(echo.rate for _, echo in pairs)
    tail = statistics.median(each.p99_ms / each.median_ms for each in ours)
    refused = sum(each.refused for each in ours)
    middle = statistics.median(each.median_ms for each in ours)
    return f"| {engine} | {case} | {rate:.0f} | {bare:.0f} | {ratio:.2f} | {middle:.1f} | {tail:.1f} | {refused} |"


def engines(stack: ExitStack) -> Iterator[tuple[str, str]]:
    """Yield name and URL of the databases that can be had here."""
    folder = stack.enter_context(tempfile.TemporaryDirectory())
    yield "SQLite", f"sqlite:///{Path(folder) / 'bench.db'}"
    initdb, postgres = which("initdb"), which("postgres")
    if initdb and postgres:
        url = databases.started(stack, initdb, postgres, "fsync=on", "synchronous_commit=on")
        yield "PostgreSQL", url
    else:
        print("PostgreSQL: no initdb on PATH, not measured")


def main(rounds: str = "5", wanted: str = "") -> None:
    """Measure and print."""
    print("| database | endpoint | ours 1/s | echo 1/s | ratio | median ms | p99/median | refused |")
    print("|---|---|---|---|---|---|---|---|")
    with ExitStack() as outer:
        for name, url in engines(outer):
            with ExitStack() as stack:
                for line in Bench(stack, url, name).rows(int(rounds), wanted):
                    print(line, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:3])
