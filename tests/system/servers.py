"""Real servers for the tests: gunicorn on a loopback port, started and killed as processes."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import requests

from tests import databases

READY_WITHIN_S = 30.0


def free_port() -> int:
    """Return a port of 127.0.0.1 that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def environment(url: str, **settings: str) -> dict[str, str]:
    """Return the environment of a server on this database, with further settings by their names without prefix."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("CAPSADDLE_")}
    given = {f"CAPSADDLE_{name}": value for name, value in settings.items()}
    usual = {"CAPSADDLE_DATABASE_URL": url, "CAPSADDLE_LOG_LEVEL": "warning"}
    if not url.startswith("sqlite"):
        usual["CAPSADDLE_SECRET_FILE"] = str(databases.secret_file())
    return kept | usual | given


class Server:
    """A gunicorn of ours with all its processes in one group, so that a kill reaches every one of them."""

    def __init__(
        self,
        url: str,
        port: int,
        *,
        workers: int = 1,
        options: tuple[str, ...] = (),
        stdout: Any = None,
        **settings: str,
    ) -> None:
        self.base_url = f"http://127.0.0.1:{port}"
        command = [
            sys.executable,
            "-m",
            "service.cli",
            "serve",
            "--bind",
            f"127.0.0.1:{port}",
            "--workers",
            str(workers),
            *options,
        ]
        given = environment(url, **settings)
        self.process = subprocess.Popen(command, env=given, start_new_session=True, stdout=stdout)
        self._wait()

    def _wait(self) -> None:
        limit = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < limit:
            assert self.process.poll() is None, "the server ended while starting"
            try:
                if requests.get(f"{self.base_url}/health/ready", timeout=2).ok:
                    return
            except requests.RequestException:
                pass
            time.sleep(0.05)
        raise AssertionError("the server did not become ready")

    def kill(self) -> None:
        """Kill every process of the server at once, with SIGKILL."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)

    def stop(self) -> None:
        """Ask the server to end, and see that it does."""
        if self.process.poll() is None:
            self.process.terminate()
            self.process.wait(30)


@contextmanager
def serving(url: str, *, workers: int = 1, **more: Any) -> Iterator[Server]:
    """Serve the database until the block ends."""
    server = Server(url, free_port(), workers=workers, **more)
    try:
        yield server
    finally:
        if server.process.poll() is None:
            server.kill()


def run_command(url: str, *arguments: str, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run ``capsaddle`` on this database."""
    command = [sys.executable, "-m", "service.cli", *arguments]
    return subprocess.run(command, env=environment(url), capture_output=True, text=True, timeout=120, **options)
