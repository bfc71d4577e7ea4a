"""How long cards take over HTTP, beside the JSON of the same instructions; run it by hand.

    python -m tests.benchmarks.card

Limits: HTML at most 5 times the JSON, PDF at most 100 ms, each in processor time of one core: what other programs do
at the same time does not count. The time for the database is in both.
"""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from flask.testing import FlaskClient

from service.app import create_app
from service.settings import Settings
from service.store.keys import create_key
from service.store.migrate import upgrade
from service.store.sites import create_site
from tests.api.machines import order
from tests.api.orders import known_fan

ROUNDS = 40
HTML_TIMES_JSON = 5.0
PDF_MS = 100.0
MEDIA = ("application/json", "text/plain", "text/markdown", "text/html", "application/pdf")


def service(folder: str) -> tuple[FlaskClient, dict[str, str], str]:
    """Return a client, its headers, and the path of the instructions of an order on one bearing."""
    url = f"sqlite:///{Path(folder) / 'cards.db'}"
    upgrade(url)
    app = create_app(Settings(database_url=url, public_url="https://mill.example"))
    database = app.extensions["capsaddle"].database
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    headers = {"Authorization": f"Bearer {create_key(database, 'ALDER', ('read', 'write'))}"}
    client = app.test_client()
    positions = sys.argv[1:] or ["tail"]
    made = client.post("/v1/work-orders", json=order(asset=known_fan(), positions=positions), headers=headers)
    return client, headers, f"/v1/work-orders/{made.json['id']}/instructions"


def median_ms(client: FlaskClient, path: str, headers: dict[str, str]) -> float:
    """Return the median processor time of a request, [ms]."""
    times = []
    for _ in range(ROUNDS):
        began = time.process_time()
        assert client.get(path, headers=headers).status_code == 200
        times.append((time.process_time() - began) * 1000)
    return sorted(times)[ROUNDS // 2]


def main() -> int:
    """Print the times; 1 when a limit is exceeded."""
    with TemporaryDirectory() as folder:
        client, headers, path = service(folder)
        found = {}
        for media in MEDIA:
            accepting = headers | {"Accept": media}
            size = len(client.get(path, headers=accepting).data)
            found[media] = median_ms(client, path, accepting)
            times = found[media] / found[MEDIA[0]]
            print(f"{media:18} {found[media]:7.2f} ms  {times:5.1f} times the JSON  {size / 1024:6.1f} KiB")
    slow = found["text/html"] > HTML_TIMES_JSON * found[MEDIA[0]] or found["application/pdf"] > PDF_MS
    print("a limit is exceeded" if slow else "within the limits")
    return int(slow)


if __name__ == "__main__":
    raise SystemExit(main())
