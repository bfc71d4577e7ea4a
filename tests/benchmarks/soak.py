"""Mixed load for a while through the proxy, with slow clients attached: errors, and what memory does.

    python -m tests.benchmarks.soak [seconds, 600 unless given]

Eight clients calculate, open orders, read them and list; sixteen more begin requests and never end them, and are
replaced as the proxy drops them. Memory is that of the worker after the first tenth of the time and at the end. Needs
nginx. Prints; asserts nothing.
"""

import itertools
import json
import socket
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import ExitStack, suppress
from pathlib import Path

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan, order
from tests.benchmarks.load import one_answer, request_bytes
from tests.benchmarks.startup import memory_mib, workers
from tests.system.servers import serving
from tests.system.test_deployment import proxied, stalled, trickling

CLIENTS, SLOW = 8, 16
BODY = {"bearing": {"designation": "22216 K/C3"}, "seat": "adapter_sleeve", "blade_set": "inch"}


class Soak:
    """What the clients share."""

    def __init__(self, port: int, key: str, until: float) -> None:
        self.port, self.key, self.until = port, key, until
        self.statuses: Counter[int | str] = Counter()
        self.headers = {"Authorization": f"Bearer {key}"}

    def client(self, number: int) -> None:
        """Send a mix of requests until the time is over."""
        for count in itertools.count():
            try:
                with socket.create_connection(("127.0.0.1", self.port), 30) as connection:
                    connection.settimeout(30)
                    for _ in range(20):
                        if time.monotonic() > self.until:
                            return
                        count += 1
                        self.statuses[one_answer(connection, self.request(number, count))[0]] += 1
            except OSError as error:
                self.statuses[type(error).__name__] += 1

    def request(self, number: int, count: int) -> bytes:
        """Return one of the mix: of ten requests six calculate, one opens an order, three read."""
        kind = count % 10
        if kind < 6:
            return request_bytes("POST", "/v1/clearance-targets", json.dumps(BODY).encode(), self.headers)
        if kind == 6:
            body = json.dumps(order(f"{number}-{time.monotonic_ns()}", asset=fan(), allow_second=True)).encode()
            return request_bytes("POST", "/v1/work-orders", body, self.headers)
        path = ("/v1/work-orders?limit=20", "/v1/events?limit=50", "/v1/assets")[kind - 7]
        return request_bytes("GET", path, b"", self.headers)

    def slow(self, number: int) -> None:
        """Begin a request, wait until the proxy gives it up, and begin again."""
        while time.monotonic() < self.until:
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 10) as connection:
                (stalled if number % 2 else trickling)(connection, self.key)
                connection.settimeout(max(0.1, min(20.0, self.until - time.monotonic())))
                connection.recv(1)


def main(seconds: float = 600) -> None:
    """Run and print."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        url = f"sqlite:///{folder / 'soak.db'}"
        migrate.upgrade(url)
        database = Database(Settings(database_url=url))
        create_site(database, "BENCH", "bench", "inch")
        key = create_key(database, "BENCH", ("read", "write"))
        database.dispose()
        server = stack.enter_context(serving(url))
        port = stack.enter_context(proxied(server, folder))
        (worker,) = workers(server.process.pid)
        soak = Soak(port, key, time.monotonic() + seconds)
        threads = [threading.Thread(target=soak.client, args=(number,)) for number in range(CLIENTS)]
        threads += [threading.Thread(target=soak.slow, args=(number,)) for number in range(SLOW)]
        for thread in threads:
            thread.start()
        time.sleep(seconds / 10)
        early_mib = memory_mib(worker, "Rss")
        for thread in threads:
            thread.join()
        late_mib = memory_mib(worker, "Rss")
    print(f"{seconds:g} s, {CLIENTS} clients and {SLOW} slow ones: {dict(soak.statuses)}")
    print(f"worker: {early_mib:.1f} MiB after a tenth, {late_mib:.1f} MiB at the end ({late_mib / early_mib - 1:+.1%})")


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:2]))
