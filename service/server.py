"""gunicorn with the settings this service needs, from the command line and from docker alike."""

from typing import Any

from flask import Flask
from gunicorn.app.base import BaseApplication

from service.app import create_app
from service.settings import Settings


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
    """

    def __init__(self, settings: Settings, *, bind: str, workers: int, threads: int, quiet: bool = False) -> None:
        self.settings = settings
        self.options: dict[str, Any] = {
            "bind": bind,
            "workers": workers,
            "threads": threads,
            "worker_class": "gthread",
            "preload_app": True,
            "graceful_timeout": 20,
            "timeout": 60,
            "keepalive": 15,
            "header_map": "refuse",
            "forwarded_allow_ips": "",
            "control_socket_disable": True,
            "loglevel": "warning" if quiet else settings.log_level,
        }
        super().__init__()

    def load_config(self) -> None:
        """Hand the options to gunicorn."""
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Flask:
        """Return the application."""
        return create_app(self.settings)
