"""A receiver of webhooks for the tests: a small HTTP server that answers as it is told and keeps what it got."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = tuple[int, dict[str, str]]


@dataclass
class Received:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Receiver:
    """What came, and what is answered: statuses in turn, then 204."""

    url: str = ""
    port: int = 0
    received: list[Received] = field(default_factory=list)
    answers: list[Answer | Callable[[BaseHTTPRequestHandler], None]] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def next_answer(self, received: Received) -> Answer | Callable[[BaseHTTPRequestHandler], None]:
        """Keep the request and return what to answer."""
        with self.lock:
            self.received.append(received)
            return self.answers.pop(0) if self.answers else (204, {})


@contextmanager
def receiving() -> Iterator[Receiver]:
    """Run a receiver on a port of its own until the block ends."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            headers = {name.lower(): value for name, value in self.headers.items()}
            answer = receiver.next_answer(Received(self.path, headers, body))
            if callable(answer):
                answer(self)
                return
            status, more = answer
            self.send_response(status)
            for name, value in more.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_GET = do_POST  # noqa: N815

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    receiver.port = server.server_address[1]
    receiver.url = f"http://127.0.0.1:{receiver.port}/hook"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
