"""The examples for integrators do what they say, against a real server."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests

from service.app import create_app
from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from service.webhooks.relay import Relay
from tests.system.servers import Server, free_port, serving

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "tests" / "examples"
SCOPES = ("read", "write", "approve", "admin")


@pytest.fixture
def site(sqlite_url: str) -> Iterator[tuple[Server, str]]:
    """A server and a key."""
    database = Database(Settings(database_url=sqlite_url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", SCOPES)
    database.dispose()
    with serving(sqlite_url) as server:
        yield server, key


def run(*command: str, **options: Any) -> str:
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, **options)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_quick_starts_run_and_the_poller_sees_what_they_did(site: tuple[Server, str], tmp_path: Path) -> None:
    server, key = site
    for _ in range(2):  # a quick start may be run again
        said = run(sys.executable, str(EXAMPLES / "quick_start.py"), server.base_url, key)
    assert "Work order WO-20001" in said
    assert re.search(r"^READING accept ", said, re.MULTILINE)
    shell = {**os.environ, "URL": server.base_url, "KEY": key}
    said = run("bash", str(EXAMPLES / "quick_start.sh"), env=shell)
    assert "Work order WO-20002" in said
    assert "number,short_text,long_text" in said
    poll = (sys.executable, str(EXAMPLES / "poller.py"), server.base_url, key, "--once")
    feed = requests.get(
        f"{server.base_url}/v1/events?limit=500", headers={"Authorization": f"Bearer {key}"}, timeout=10
    ).json()["items"]
    assert run(*poll, cwd=tmp_path).splitlines() == [f"{e['id']} {e['type']} {e['subject']}" for e in feed]
    assert run(*poll, cwd=tmp_path) == "", "the next run goes on where the last one ended"


@pytest.mark.parametrize("document", ["README.md", "service/render/docs/pages/start.md"])
def test_the_curl_lines_run_as_they_are_printed(site: tuple[Server, str], document: str, tmp_path: Path) -> None:
    server, key = site
    written = (ROOT / document).read_text(encoding="utf-8")
    blocks = re.findall(r"(?:^    .*\n?)+", written, re.MULTILINE)
    commands = [block for block in blocks if block.lstrip().startswith("curl ")]
    assert len(commands) >= 2
    variables = {**os.environ, "URL": server.base_url, "KEY": key}
    for command in commands:
        said = run("bash", "-euc", command, env=variables, cwd=tmp_path)
        answer = json.loads(said) if said else {}  # nothing is said where it went into a file
        assert "code" not in answer, answer
        variables.setdefault("ID", answer.get("id", ""))
    assert len(variables["ID"]) == 36, "the first one opens the order that the others speak of"
    assert all(file.read_bytes().startswith(b"%PDF-") for file in tmp_path.glob("*.pdf"))
    assert len(list(tmp_path.glob("*.pdf"))) == sum("card.pdf" in command for command in commands)


@contextmanager
def example_receiver(secret: str, port: int) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, str(EXAMPLES / "webhook_receiver.py"), str(port), secret]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        yield process
        process.terminate()


def test_the_example_receiver_takes_each_event_once_and_refuses_what_is_not_ours(sqlite_url: str) -> None:
    port = free_port()
    environment = {
        "CAPSADDLE_DATABASE_URL": sqlite_url,
        "CAPSADDLE_WEBHOOK_TARGETS": f"http://127.0.0.1:{port}",
        "CAPSADDLE_WEBHOOK_LOOPBACK": "true",
        "CAPSADDLE_WEBHOOK_DELAYS_S": ",".join(["0"] + ["0.2"] * 20),
    }
    settings = Settings.from_environment(environment)
    app = create_app(settings)
    database = app.extensions["capsaddle"].database
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    headers = {"Authorization": f"Bearer {create_key(database, 'ALDER', SCOPES)}"}
    client = app.test_client()
    made = client.post("/v1/subscriptions", json={"url": f"http://127.0.0.1:{port}/hook"}, headers=headers).json
    client.post(f"/v1/subscriptions/{made['id']}/ping", headers=headers)
    relay = Relay(database, settings)
    with example_receiver(made["secret"], port) as receiver:
        assert receiver.stdout is not None
        forged = requests.Request("POST", f"http://127.0.0.1:{port}/hook", data=b"{}").prepare()
        answer = None
        while answer is None:
            try:
                answer = requests.Session().send(forged, timeout=5)
            except requests.ConnectionError:
                continue
        assert answer.status_code == 401
        relay.run_once()
        (ping,) = [
            each
            for each in client.get(f"/v1/subscriptions/{made['id']}/deliveries", headers=headers).json["items"]
            if each["event"] is None
        ]
        client.post(f"/v1/subscriptions/{made['id']}/deliveries/{ping['id']}/redelivery", headers=headers)
        relay.run_once()
        receiver.terminate()
        printed = receiver.stdout.read().splitlines()
    subject = f"subscription/{made['id']}"
    assert sorted(printed) == [
        f"internal.capsaddle.subscription.created {subject}",
        f"internal.capsaddle.subscription.ping {subject}",
        f"internal.capsaddle.subscription.ping {subject}",
    ]
    database.dispose()
