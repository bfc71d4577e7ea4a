"""A running server: its log, its metrics, its limits, and how it stops. Common practice of operators, no source but
the text formats: Prometheus exposition format 0.0.4, and the IETF draft of the RateLimit header fields."""

import json
import re
import signal
import subprocess
import threading
import time
from pathlib import Path
from typing import Any

import pytest
import requests
from prometheus_client.parser import text_string_to_metric_families

from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan, order
from tests.system.servers import Server, free_port, serving

TARGET = {"bearing": {"designation": "22216 K/C3"}, "seat": "adapter_sleeve", "blade_set": "inch"}


def key_of_a_site(url: str, *scopes: str) -> str:
    database = Database(Settings(database_url=url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", scopes or ("read", "write"))
    database.dispose()
    return key


def calling(server: Server, key: str) -> requests.Session:
    session = requests.Session()
    session.headers["Authorization"] = f"Bearer {key}"
    session.base = server.base_url  # type: ignore[attr-defined]
    return session


def samples(port: int) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """The metrics, read by the parser of the reference client."""
    answer = requests.get(f"http://127.0.0.1:{port}/metrics", timeout=10)
    assert answer.status_code == 200, answer.text
    found = {}
    for family in text_string_to_metric_families(answer.text):
        for sample in family.samples:
            found[sample.name, tuple(sorted(sample.labels.items()))] = sample.value
    return found


def test_metrics_of_all_processes_are_counted_together_on_an_address_of_their_own(sqlite_url: str) -> None:
    key, port = key_of_a_site(sqlite_url), free_port()
    with serving(sqlite_url, workers=3, METRICS_BIND=f"127.0.0.1:{port}") as server:
        for _ in range(40):  # a new connection each, so that every process gets some
            answer = requests.post(
                f"{server.base_url}/v1/clearance-targets",
                json=TARGET,
                headers={"Authorization": f"Bearer {key}"},
                timeout=10,
            )
            assert answer.status_code == 200
        session = calling(server, key)
        assert session.get(f"{server.base_url}/v1/assets/none/such").status_code == 404
        assert session.post(f"{server.base_url}/v1/assets", json=fan()).status_code == 201
        opened = session.post(f"{server.base_url}/v1/work-orders", json=order("WO-1"))
        assert opened.status_code == 201
        dry = session.post(f"{server.base_url}/v1/work-orders?dry_run=true", json=order("WO-2", allow_second=True))
        assert dry.status_code in (200, 201)
        found = samples(port)
        assert requests.get(f"{server.base_url}/metrics", timeout=5).status_code == 404
        assert requests.get(f"http://127.0.0.1:{port}/health/live", timeout=5).status_code == 404
    name = "capsaddle_http_server_request_duration_seconds_count"
    route = (("method", "POST"), ("route", "/v1/clearance-targets"), ("status", "2xx"))
    assert found[name, route] == 40
    assert found[name, (("method", "other"), ("route", "unmatched"), ("status", "4xx"))] == 1
    assert found["capsaddle_plans_issued_total", (("revision", "first"),)] == 1  # a dry run issues nothing
    blocked = opened.json()["instructions"]["blocked"]
    counted = {
        labels[0][1]: value for (name, labels), value in found.items() if name == "capsaddle_plans_blocked_total"
    }
    assert counted == {each["code"]: sum(other["code"] == each["code"] for other in blocked) for each in blocked}
    assert found["capsaddle_database_up", ()] == 1
    assert found["capsaddle_journal_lag_events", ()] == 0
    assert key.split("_")[2] not in str(found) and opened.json()["id"] not in str(found)


def test_a_line_of_the_log_tells_of_a_request_and_holds_no_secret(sqlite_url: str, tmp_path: Path) -> None:
    key = key_of_a_site(sqlite_url)
    written = tmp_path / "stdout"
    with (
        written.open("wb") as stdout,
        serving(sqlite_url, LOG_LEVEL="info", stdout=stdout) as server,
    ):
        session = calling(server, key)
        session.get(f"{server.base_url}/v1/assets/0190-secret-in-a-path?units=metric", headers={"X-Request-ID": "it-1"})
        server.stop()
    lines = [json.loads(line) for line in written.read_text().splitlines()]
    line = next(line for line in lines if line.get("request_id") == "it-1")
    assert line["method"] == "GET" and line["status"] == 404 and line["site"] == "ALDER"
    assert line["route"].startswith("/v1/assets/<")
    assert 0 < line["duration_ms"] < 60_000
    assert line["key"].replace("-", "") == key.split("_")[1]
    assert key.split("_")[2] not in written.read_text()
    assert "secret-in-a-path" not in written.read_text()


def test_a_limit_is_shared_by_the_processes_of_a_server(sqlite_url: str) -> None:
    key = key_of_a_site(sqlite_url)
    limit = 20
    while time.time() % 60 > 40:  # all requests within one minute of the clock
        time.sleep(0.5)
    with serving(sqlite_url, workers=3, RATE_LIMIT=str(limit)) as server:
        answers = []
        for _ in range(limit + 5):
            headers = {"Authorization": f"Bearer {key}"}
            answers.append(requests.get(f"{server.base_url}/v1/assets", headers=headers, timeout=10))
    assert [answer.status_code for answer in answers] == [200] * limit + [429] * 5
    assert [answer.headers["RateLimit-Policy"] for answer in answers] == [f'"default";q={limit};w=60'] * (limit + 5)
    left = [re.fullmatch(r'"default";r=(\d+);t=(\d+)', answer.headers["RateLimit"]) for answer in answers]
    assert [int(each[1]) for each in left if each] == [*range(limit - 1, -1, -1), 0, 0, 0, 0, 0]
    refused = answers[-1]
    assert refused.json()["code"] == "rate_limited"
    assert int(refused.headers["Retry-After"]) >= int(left[-1][2])  # type: ignore[index]


def test_a_server_that_is_told_to_stop_is_not_ready_and_finishes_what_is_under_way(sqlite_url: str) -> None:
    key = key_of_a_site(sqlite_url)
    with serving(sqlite_url, options=("--drain", "1.5")) as server:
        answers: list[Any] = []

        def slow() -> None:
            """Wait for an event that does not come: the longest request there is."""
            called = {"Authorization": f"Bearer {key}"}
            read = requests.get(f"{server.base_url}/v1/events", headers=called, timeout=10).json()
            answers.append(requests.get(f"{server.base_url}{read['next']}&wait=3", headers=called, timeout=30))

        thread = threading.Thread(target=slow)
        thread.start()
        time.sleep(0.5)
        server.process.send_signal(signal.SIGTERM)
        until = time.monotonic() + 1.2
        seen = set()
        while time.monotonic() < until:
            seen.add(requests.get(f"{server.base_url}/health/ready", timeout=5).status_code)
            if 503 in seen:
                break
        live = requests.get(f"{server.base_url}/health/live", timeout=5).status_code
        thread.join(30)
        assert server.process.wait(30) == 0
    assert 503 in seen
    assert live == 200
    assert [answer.status_code for answer in answers] == [200]


def test_a_setting_that_is_wrong_stops_the_start_with_a_sentence(sqlite_url: str) -> None:
    with pytest.raises(AssertionError, match="ended while starting"):
        Server(sqlite_url, free_port(), METRICS_BIND="9108", stdout=subprocess.DEVNULL)
