"""gunicorn with the settings this service needs, from the command line and from docker alike.

Threads, because requests wait for the database; the application is loaded before the fork, database connections are
opened after it. Workers are not replaced after so many requests: nothing is known to grow, and what were to grow should
be seen, not hidden. gunicorn does not protect itself against slow clients: a buffering proxy stands before it.
"""

import gc
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from shutil import rmtree
from typing import Any, Final

from flask import Flask
from gunicorn.app.base import BaseApplication
from gunicorn.arbiter import Arbiter

from service import logs
from service.app import create_app
from service.serving import metrics
from service.serving.fair_share import FairShare
from service.settings import Settings

WSGI = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
SHARED_MEMORY: Final = Path("/dev/shm")  # heartbeats of the workers must not wait for a disk


class Server(BaseApplication):  # type: ignore[misc]
    """gunicorn serving the application; database connections are opened after the fork.

    Parameters
    ----------
    settings : Settings
        As read from the environment.
    bind : str
        HOST:PORT; port 0 lets the system choose.
    workers, threads : int
        Processes, and threads of each.
    drain_s : float
        How long to answer on, not ready, after SIGTERM, so that a proxy has seen it before connections are refused, [s]
    """

    def __init__(
        self,
        settings: Settings,
        *,
        bind: str,
        workers: int,
        threads: int,
        drain_s: float = 0.0,
        quiet: bool = False,
    ) -> None:
        self.settings, self.drain_s = settings, drain_s
        self.stop: Callable[[], None] = lambda: None  # both made known by ``load``
        self.stopping: Callable[[], bool] = lambda: False
        level = "warning" if quiet else settings.log_level
        self.options: dict[str, Any] = {
            "bind": [bind, settings.metrics_bind] if settings.metrics_bind else bind,
            "workers": workers,
            "threads": threads,
            "worker_class": "service.serving.worker.Worker",
            "preload_app": True,
            "graceful_timeout": 20,
            "timeout": 60,
            "keepalive": 15,
            "header_map": "refuse",
            "forwarded_allow_ips": "",
            "control_socket_disable": True,
            "loglevel": level,
            "logconfig_dict": logs.configuration(level),
        }
        if SHARED_MEMORY.is_dir() and os.access(SHARED_MEMORY, os.W_OK):
            self.options["worker_tmp_dir"] = str(SHARED_MEMORY)
        super().__init__()

    def load_config(self) -> None:
        """Hand the options to gunicorn."""
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Flask | WSGI:
        """Return the application, or one that answers for its metrics too on the address that is for them alone."""
        app = create_app(self.settings)
        services = app.extensions["capsaddle"]
        self.stop = services.shared.stop
        self.stopping = lambda: services.shared.stopping
        services.share = FairShare(self.options["threads"], self.settings.key_share)
        gc.collect()
        gc.freeze()  # what is loaded stays: no collection looks at it, no process copies it
        gc.set_threshold(100_000, 20, 50)  # a plan makes tens of thousands of short-lived objects
        if self.settings.metrics_bind is None:
            return app
        return with_metrics(app, self.settings.metrics_bind.rpartition(":")[2])

    def run(self) -> None:
        """Serve until told to stop."""
        folder = None
        if self.settings.metrics_bind is not None:
            folder = tempfile.mkdtemp(prefix="capsaddle-metrics-", dir=self.options.get("worker_tmp_dir"))
            os.environ[metrics.FOLDER_NAME] = folder  # read by prometheus_client when a worker imports it
        master = os.getpid()
        try:
            Master(self).run()
        except RuntimeError as error:
            sys.stderr.write(f"Error: {error}\n")
            sys.exit(1)
        finally:
            if folder is not None and os.getpid() == master:
                rmtree(folder, ignore_errors=True)


class Master(Arbiter):  # type: ignore[misc]
    """gunicorn's master that is not ready for a while before it stops."""

    def handle_term(self) -> None:
        """Stop: not ready at once, refuse connections after the time to drain, finish what is under way."""
        self.app.stop()
        until = time.monotonic() + self.app.drain_s
        while (left_s := until - time.monotonic()) > 0:
            time.sleep(min(left_s, 0.2))
        super().handle_term()


def with_metrics(app: Flask, port: str) -> WSGI:
    """Return the application, answering ``/metrics`` and nothing else to requests that came in at this port."""
    database = app.extensions["capsaddle"].database

    def dispatched(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if environ["SERVER_PORT"] != port:
            return app(environ, start)
        if environ["PATH_INFO"] != "/metrics" or environ["REQUEST_METHOD"] != "GET":
            start("404 Not Found", [("Content-Type", "text/plain"), ("Content-Length", "0")])
            return [b""]
        text = metrics.exposition(database)
        start("200 OK", [("Content-Type", metrics.CONTENT_TYPE), ("Content-Length", str(len(text)))])
        return [text]

    return dispatched
