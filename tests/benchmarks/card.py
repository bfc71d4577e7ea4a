"""How long cards take over HTTP, beside the JSON of the same instructions; run it by hand.

    python -m tests.benchmarks.card [positions of the order, tail unless given]

One client asks a real server for each in turn. Limits: HTML at most 5 times the JSON, PDF at most 60 ms on one core,
each the median time until the answer has come. The time for the database is in all.
"""

import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from socket import create_connection
from tempfile import TemporaryDirectory

import requests

from service.settings import Settings
from service.store.database import Database
from service.store.migrate import upgrade
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import order
from tests.api.samples.orders import known_fan
from tests.benchmarks.load import one_answer, request_bytes
from tests.system.servers import serving

ROUNDS = 60
HTML_TIMES_JSON = 5.0
PDF_MS = 60.0
MEDIA = ("application/json", "text/plain", "text/markdown", "text/html", "application/pdf")


@contextmanager
def service(positions: list[str]) -> Iterator[tuple[int, dict[str, str], str]]:
    """Yield the port of a server, the headers of a key, and the path of the instructions of an order."""
    with TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'cards.db'}"
        upgrade(url)
        database = Database(Settings(database_url=url))
        create_site(database, "ALDER", "Alder Hollow board mill", "inch")
        headers = {"Authorization": f"Bearer {create_key(database, 'ALDER', ('read', 'write'))}"}
        database.dispose()
        with serving(url, PUBLIC_URL="https://mill.example") as server:
            wanted = order(asset=known_fan(), positions=positions)
            made = requests.post(f"{server.base_url}/v1/work-orders", json=wanted, headers=headers, timeout=30).json()
            port = int(server.base_url.rpartition(":")[2])
            yield port, headers, f"/v1/work-orders/{made['id']}/instructions"


def timed(port: int, headers: dict[str, str], path: str) -> dict[str, tuple[float, int]]:
    """Return the median time of each rendering, [ms], and its size, [byte]."""
    times: dict[str, list[float]] = {media: [] for media in MEDIA}
    sizes = dict.fromkeys(MEDIA, 0)
    with create_connection(("127.0.0.1", port), 30) as connection:
        for turn in range(ROUNDS + 5):
            for media in MEDIA:
                began = time.perf_counter()
                status, body = one_answer(connection, request_bytes("GET", path, b"", headers | {"Accept": media}))
                if status != 200:
                    raise SystemExit(f"{media}: {status}")
                if turn >= 5:
                    times[media].append((time.perf_counter() - began) * 1000)
                sizes[media] = len(body)
    return {media: (statistics.median(times[media]), sizes[media]) for media in MEDIA}


def main() -> int:
    """Print the times; 1 when a limit is exceeded."""
    with service(sys.argv[1:] or ["tail"]) as (port, headers, path):
        found = timed(port, headers, path)
    json_ms = found[MEDIA[0]][0]
    for media, (median_ms, size) in found.items():
        print(f"{media:18} {median_ms:7.2f} ms  {median_ms / json_ms:5.1f} times the JSON  {size / 1024:6.1f} KiB")
    slow = found["text/html"][0] > HTML_TIMES_JSON * json_ms or found["application/pdf"][0] > PDF_MS
    print("a limit is exceeded" if slow else "within the limits")
    return int(slow)


if __name__ == "__main__":
    raise SystemExit(main())
