"""What cannot be read as HTTP at all is refused by gunicorn's worker, before the application: on raw sockets.
RFC 9110, 9112 (messages), 6585 (431), 9457 (problem documents)."""

import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import requests

from service.api.http.problems import CATALOGUE
from tests import databases
from tests.system.servers import Server, serving

MARK = "s3cret-mark"
HEAD = f"GET /v1/assets?q={MARK} HTTP/1.1\r\nHost: plant.example\r\nAuthorization: Bearer {MARK}\r\n"
POST = HEAD.replace("GET", "POST", 1)


@dataclass
class Answer:
    """One answer as it came, and whether the connection was closed after it."""

    status: int
    headers: dict[str, str]
    body: bytes


@pytest.fixture(scope="module")
def served(
    sqlite_files: databases.SqliteFiles, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Server, Path]]:
    folder = tmp_path_factory.mktemp("refusals")
    log = folder / "stdout"
    with log.open("wb") as stdout, serving(sqlite_files.clone(folder), stdout=stdout) as server:
        yield server, log


def told(server: Server, *parts: bytes) -> Answer:
    """Send bytes, read until the server closes, and return the one answer."""
    with socket.create_connection(("127.0.0.1", int(server.base_url.rpartition(":")[2])), 20) as client:
        for part in parts:
            client.sendall(part)
        found = b""
        while part := client.recv(65_536):
            found += part
    head, _, body = found.partition(b"\r\n\r\n")
    line, *fields = head.decode("ascii").split("\r\n")
    headers = {name.lower(): value for name, value in (field.split(": ", 1) for field in fields)}
    assert int(headers["content-length"]) == len(body), "one answer and nothing after it"
    return Answer(int(line.split(" ")[1]), headers, body)


CASES: dict[str, tuple[str, str, str]] = {
    "no request line": (f"{MARK}\r\n\r\n", "bad_request", "request line"),
    "html as a method": (f"<b>{MARK}</b> / HTTP/1.1\r\n\r\n", "bad_request", "request line"),
    "tls": ("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", "bad_request", "request line"),
    "another version": (f"GET /{MARK} HTTP/3.7\r\n\r\n", "bad_request", "HTTP/1.1"),
    "no path": (f"GET {MARK} HTTP/1.1\r\n\r\n", "bad_request", "request line"),
    "uri too long": (f"GET /{MARK * 800} HTTP/1.1\r\n\r\n", "uri_too_long", "4094 bytes"),
    "field too long": (f"{HEAD}X-Long: {MARK * 2000}\r\n\r\n", "headers_too_large", "8190 bytes"),
    "too many fields": (HEAD + f"X-A: {MARK}\r\n" * 120 + "\r\n", "headers_too_large", "100"),
    "no colon": (f"{HEAD}{MARK}\r\n\r\n", "bad_request", "NAME: VALUE"),
    "blank in a name": (f"{HEAD}X {MARK}: 1\r\n\r\n", "bad_request", "NAME: VALUE"),
    "NUL in a value": (f"{HEAD}X-A: {MARK}\0\r\n\r\n", "bad_request", "NAME: VALUE"),
    "folded": (f"{HEAD}X-A: 1\r\n {MARK}\r\n\r\n", "bad_request", "second line"),
    "length is no number": (f"{POST}Content-Length: {MARK}\r\n\r\n", "bad_request", "NAME: VALUE"),
    "two lengths": (f"{POST}Content-Length: 2\r\nContent-Length: 3\r\n\r\n{{}}", "bad_request", "stands twice"),
    "length and chunks": (
        f"{POST}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", "bad_request", "contradicts",
    ),
    "coded": (f"{POST}Transfer-Encoding: {MARK}\r\n\r\n", "unknown_transfer_coding", "Content-Length"),
    "expects more": (f"{POST}Expect: {MARK}\r\nContent-Length: 0\r\n\r\n", "expectation_failed", "100-continue"),
}  # fmt: skip


@pytest.mark.parametrize("case", list(CASES))
def test_what_cannot_be_read_is_refused_with_a_problem_document(served: tuple[Server, Path], case: str) -> None:
    server, log = served
    sent, code, named = CASES[case]
    answer = told(server, sent.encode("latin-1"))
    status, title = CATALOGUE[code]
    problem: dict[str, Any] = json.loads(answer.body)
    assert answer.status == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["connection"] == "close"
    assert answer.headers["cache-control"] == "no-store"
    assert named in problem.pop("detail")
    assert problem == {
        "type": f"/docs/problems#{code}", "title": title, "status": status, "code": code,
        "request_id": answer.headers["x-request-id"], "errors": [],
    }  # fmt: skip
    assert MARK.encode() not in answer.body, "nothing of what was sent comes back"
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    (line,) = (line for line in lines if line.get("request_id") == answer.headers["x-request-id"])
    assert (line["event"], line["status"], line["level"]) == ("refused", status, "warning")
    assert MARK not in log.read_text(encoding="utf-8")


def test_a_sender_that_goes_on_after_the_refusal_still_reads_it(served: tuple[Server, Path]) -> None:
    """A connection that is closed over what is still unread is reset, and the answer is lost with it."""
    server, _ = served
    answer = told(server, f"{HEAD}X-Long: ".encode(), *[b"x" * 20_000] * 20, b"\r\n\r\n", *[b"y" * 20_000] * 20)
    assert (answer.status, json.loads(answer.body)["code"]) == (431, "headers_too_large")


def test_a_sender_that_leaves_is_no_fault_and_the_next_one_is_served(served: tuple[Server, Path]) -> None:
    server, log = served
    for part in (b"GET / HT", b"GET /v1/assets HTTP/1.1\r\nHost: a\r\nX-", b"\r\n"):
        with socket.create_connection(("127.0.0.1", int(server.base_url.rpartition(":")[2])), 20) as client:
            client.sendall(part)
    assert requests.get(f"{server.base_url}/health/ready", timeout=20).status_code == 200
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert lines and not [line for line in lines if line["level"] == "error" or line.get("status") == 500]


def test_a_body_in_broken_chunks_gets_one_answer_and_no_second_request_out_of_it(served: tuple[Server, Path]) -> None:
    server, _ = served
    sent = f"{POST}Transfer-Encoding: chunked\r\n\r\nzz\r\nGET /health/live HTTP/1.1\r\nHost: a\r\n\r\n"
    answer = told(server, sent.encode())
    assert (answer.status, json.loads(answer.body)["code"]) == (401, "bad_key")
    assert MARK.encode() not in answer.body
