"""capsaddle demo: the whole job on an invented plant, over HTTP against a server of its own."""

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import requests

from service.demo.order_round import round_of
from service.demo.pumps import plant_history
from service.demo.recalled import RIGHT, WRONG, complete_order, entered_chart, recall
from service.secret import make_secret
from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from service.use_cases.desk.sessions import offer_opening
from service.use_cases.lives.watch import watch
from service.words import SCOPES

START_LIMIT_S: Final = 30.0


def run(*, once: bool, port: int) -> int:
    """Show the job; return the exit status of the process. SIGTERM ends it as Ctrl-C does, its server with it."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    plant = _plant()
    with tempfile.TemporaryDirectory(prefix="capsaddle-demo-") as folder:
        url = f"sqlite:///{Path(folder) / 'demo.db'}"
        key, opening = _prepared(url, plant)
        chosen = _port(port)
        with _server(url, chosen) as server:
            base_url = f"http://127.0.0.1:{chosen}"
            session = requests.Session()
            session.headers["Authorization"] = f"Bearer {key}"
            _wait(server, base_url)
            order = _opened(session, base_url, plant)
            print(_card(session, base_url, order), flush=True)
            print("\nThe crew begins at the held end:", flush=True)
            for said in round_of(session, f"{base_url}/v1/work-orders/{order['id']}"):
                print(f"  {said}", flush=True)
            database = Database(Settings(database_url=url))
            _follow(session, base_url, plant, database)
            database.dispose()
            print(_closing_words(base_url, key, order, _link(session, base_url, order), opening), flush=True)
            if once:
                return 0
            return _served(server)


def _prepared(url: str, plant: dict[str, Any]) -> tuple[str, str]:
    """Migrate the database, create the site, and return an API key of it and what opens its desk once."""
    migrate.upgrade(url)
    settings = Settings(database_url=url)
    if settings.secret_path is not None:
        make_secret(settings.secret_path)  # else its server says so in the middle of the card
    database = Database(settings)
    site = plant["site"]
    sites.create_site(database, site["code"], site["name"], site["units"])
    key = keys.create_key(database, site["code"], SCOPES, "demo")
    reader = keys.create_key(database, site["code"], ("read",), "demo desk")
    caller = keys.Keyring(database).caller(reader)
    assert caller is not None  # it was made a moment ago
    opening = offer_opening(database, caller)
    database.dispose()
    return key, opening


def _port(wanted: int) -> int:
    """Return the port when it is free, else any free one."""
    for candidate in (wanted, 0):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", candidate))
            except OSError:
                print(f"Port {candidate} is taken; another one is used.", file=sys.stderr)
                continue
            return int(probe.getsockname()[1])
    raise RuntimeError("no free port on 127.0.0.1")


@contextmanager
def _server(url: str, port: int) -> Iterator[subprocess.Popen[bytes]]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("CAPSADDLE_")}
    environment |= {"CAPSADDLE_DATABASE_URL": url, "CAPSADDLE_LOG_LEVEL": "warning"}
    command = [sys.executable, "-m", "service.cli", "serve", "--bind", f"127.0.0.1:{port}"]
    process = subprocess.Popen(command, env=environment)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait(server: subprocess.Popen[bytes], base_url: str) -> None:
    """Wait until the server is ready."""
    limit = time.monotonic() + START_LIMIT_S
    while time.monotonic() < limit and server.poll() is None:
        try:
            if requests.get(f"{base_url}/health/ready", timeout=2).ok:
                return
        except requests.ConnectionError:
            pass
        time.sleep(0.05)
    raise RuntimeError("the server did not become ready")


def _opened(session: requests.Session, base_url: str, plant: dict[str, Any]) -> dict[str, Any]:
    """Register the machines, import the history and open the work order, as a maintenance system would."""
    for asset in plant["assets"]:
        session.post(f"{base_url}/v1/assets", json=asset, timeout=10).raise_for_status()
    stays = {"items": plant_history(datetime.now(UTC))}
    session.post(f"{base_url}/v1/stays/import?create_assets=true", json=stays, timeout=30).raise_for_status()
    answer = session.post(
        f"{base_url}/v1/work-orders",
        json=plant["work_order"],
        headers={"Idempotency-Key": plant["work_order"]["external"]["number"]},
        timeout=10,
    )
    answer.raise_for_status()
    order: dict[str, Any] = answer.json()
    return order


def filled(session: requests.Session, base_url: str, database: Database) -> dict[str, Any]:
    """Put the whole plant on record of a service that runs, and return its first order."""
    plant = _plant()
    order = _opened(session, base_url, plant)
    for _ in round_of(session, f"{base_url}/v1/work-orders/{order['id']}"):
        pass
    _follow(session, base_url, plant, database)
    return order


def _plant() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((files("service.demo") / "plant.json").read_text(encoding="utf-8"))
    return found


def _follow(session: requests.Session, base_url: str, plant: dict[str, Any], database: Database) -> None:
    """Let happen what the desk then shows: a bearing mounted by a wrong book, its recall, an order that waits."""
    chart_id = entered_chart(session, base_url, WRONG)
    for name in ("completed_order", "unreleased_order"):
        answer = session.post(f"{base_url}/v1/work-orders", json=plant[name], timeout=20)
        answer.raise_for_status()
        if name == "completed_order":
            complete_order(session, base_url, answer.json())
    recall(session, base_url, chart_id)
    entered_chart(session, base_url, RIGHT)
    watch(database)


def _card(session: requests.Session, base_url: str, order: dict[str, Any]) -> str:
    url = f"{base_url}/v1/work-orders/{order['id']}/instructions?level=brief"
    answer = session.get(url, headers={"Accept": "text/plain"}, timeout=10)
    answer.raise_for_status()
    return answer.text


def _link(session: requests.Session, base_url: str, order: dict[str, Any]) -> str:
    """Return the address at which the card opens without a key."""
    answer = session.post(f"{base_url}/v1/work-orders/{order['id']}/card-links", json={}, timeout=10)
    answer.raise_for_status()
    url: str = answer.json()["url"]
    return url if url.startswith("http") else f"{base_url}{url}"


def _closing_words(base_url: str, key: str, order: dict[str, Any], link: str, opening: str) -> str:
    asked = '{"bearing": {"designation": "22216 K/C3"}}'
    head = '-H "Authorization: Bearer $KEY"'
    return f"""
The card above in brief was made by the service that now runs here. To ask it (the key is of this demo only), paste:
URL={base_url}
KEY={key}
  curl -s {head} -H 'Accept: text/plain' $URL/v1/work-orders/{order["id"]}/instructions
  curl -s {head} -H 'Content-Type: application/json' $URL/v1/clearance-targets -d '{asked}'
  curl -s {head} "$URL/v1/replacement-ranking?top=3"

A browser opens these by itself:
  the desk, signed in              {base_url}/desk/once/{opening}
                                   (once, from this machine; later at {base_url}/desk with the key)
  the card to fill in on a phone   {link}
  its sheets to print, as PDF      {link}?as=pdf
  the documentation                {base_url}/docs
"""


def _served(server: subprocess.Popen[bytes]) -> int:
    print("Serving until Ctrl-C.", flush=True)
    try:
        return server.wait()
    except KeyboardInterrupt:
        return 0
