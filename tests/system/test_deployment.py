"""What docker/ ships, as far as it can be held without an engine: the image's commands, the composition, and the proxy
in a real nginx. That gunicorn does not protect itself against slow clients is shown beside the proxy that does."""

import io
import json
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
import requests
import yaml
from PIL import Image
from sqlalchemy.engine import make_url

from service.api.http.problems import CATALOGUE
from service.cli import main
from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import order
from tests.api.samples.orders import known_fan
from tests.databases import started
from tests.outages.postgres import needed_programs
from tests.system.servers import Server, free_port, serving

ROOT = Path(__file__).parents[2]
DOCKER = ROOT / "docker"
REQUIRE_NAME = "CAPSADDLE_TEST_REQUIRE_NGINX"
SLOW_CLIENTS = 16


def instructions() -> list[tuple[str, str]]:
    """The instructions of the Dockerfile, continued lines joined."""
    text = re.sub(r"\\\n\s*", " ", (DOCKER / "Dockerfile").read_text())
    lines = [line.partition(" ") for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return [(word, rest.strip()) for word, _, rest in lines]


def last(word: str) -> str:
    return [rest for each, rest in instructions() if each == word][-1]


def check_arguments(arguments: list[str]) -> None:
    """Let the command line read the arguments, as far as the command itself."""
    command: Any = main
    while hasattr(command, "commands"):
        command = command.commands[arguments.pop(0)]
    command.make_context("capsaddle", arguments)


def shown(value: str) -> str:
    """A value with the defaults of its variables."""
    return re.sub(r"\$\{\w+:-(.*?)\}", r"\1", value)


def composition() -> dict[str, Any]:
    loaded = yaml.safe_load((DOCKER / "compose.yaml").read_text())
    assert isinstance(loaded, dict)
    return loaded


def test_the_image_runs_without_rights_and_starts_what_the_command_line_knows() -> None:
    user = last("USER")
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", user)
    assert json.loads(last("ENTRYPOINT")) == ["capsaddle"]
    check_arguments(json.loads(last("CMD")))
    sources = [shlex.split(rest)[:-1] for word, rest in instructions() if word == "COPY" and "--from" not in rest]
    for source in (name for names in sources for name in names):
        assert (ROOT / source).exists(), source
    ignored = (ROOT / ".dockerignore").read_text().splitlines()
    assert all(f"!{name}" in ignored for names in sources for name in names)
    bases = {rest.partition(" ")[0] for word, rest in instructions() if word == "FROM"}
    (argument,) = (rest for word, rest in instructions() if word == "ARG")
    name, _, image = argument.partition("=")
    assert bases == {f"${{{name}}}"} and ":" in image and ":latest" not in image


def test_the_health_check_of_the_image_tells_ready_from_not_ready(sqlite_url: str, tmp_path: Path) -> None:
    command = json.loads(last("HEALTHCHECK").partition("CMD")[2])
    assert command[:2] == ["python", "-c"]

    def healthy(port: int) -> bool:
        code = command[2].replace("8080", str(port))
        return subprocess.run([sys.executable, "-c", code], capture_output=True, timeout=20).returncode == 0

    with serving(sqlite_url) as server:
        port = int(server.base_url.rpartition(":")[2])
        assert healthy(port)
        Path(sqlite_url.removeprefix("sqlite:///")).rename(tmp_path / "gone.db")
        server.process.send_signal(15)
        server.process.wait(30)
        assert not healthy(port)


def test_the_composition_holds_together() -> None:
    made = composition()
    services = made["services"]
    of_database = {"volumes", "database", "backup", "drill"}
    assert set(services) == {*of_database, "migrate", "service", "relay", "tidy", "watch", "proxy", "drill-verify"}
    for name, each in services.items():
        assert set(each.get("secrets", ())) <= set(made["secrets"]), name
        assert set(each.get("networks", ())) <= set(made["networks"]), name
        assert set(each.get("depends_on", {})) <= set(services), name
        assert "no-new-privileges:true" in each["security_opt"], name
        image = shown(each["image"])
        assert not each.get("privileged") and ":latest" not in image and ":" in image, name
        assert each["cap_drop"] == ["ALL"] and each.get("cap_add", []) == (["CHOWN"] if name == "volumes" else []), name
        assert each["mem_limit"] and each["pids_limit"] and each["logging"]["options"]["max-size"], name
        for volume in each.get("volumes", ()):
            source = volume.partition(":")[0]
            assert (DOCKER / source).exists() if source.startswith(".") else source in made["volumes"], volume
        if name not in ("database", "volumes"):  # the image of the database writes where it must
            assert each["read_only"], name
        if name in of_database - {"volumes"}:
            assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", each["user"]), name
    assert [name for name, each in services.items() if "ports" in each] == ["proxy"]
    assert services["service"]["depends_on"] == {"migrate": {"condition": "service_completed_successfully"}}
    assert services["migrate"]["depends_on"] == {"database": {"condition": "service_healthy"}}
    wanted = {line.split()[1] for line in (DOCKER / "digests.sh").read_text().splitlines() if "pinned " in line}
    assert wanted == set(re.findall(r"\$\{(\w+_IMAGE):-", (DOCKER / "compose.yaml").read_text()))


def test_the_composition_starts_commands_and_gives_settings_that_are_known(tmp_path: Path) -> None:
    url = tmp_path / "url"
    url.write_text("postgresql://someone:pw@database/capsaddle\n")
    for name in ("migrate", "service", "relay", "tidy", "watch"):
        each = composition()["services"][name]
        check_arguments(list(each.get("command", json.loads(last("CMD")))))
        given = {key: re.sub(r"\$\{\w+:-(.*)\}", r"\1", value) for key, value in each["environment"].items()}
        given = {key: str(url) if key.endswith("_FILE") else value for key, value in given.items()}
        assert not Settings.from_environment(given).on_sqlite


def test_the_composition_gives_time_to_stop() -> None:
    """Longer than what the server takes at most: the time it drains, and gunicorn's grace of 20 s."""
    arguments = json.loads(last("CMD"))
    drain_s = float(arguments[arguments.index("--drain") + 1])
    assert float(composition()["services"]["service"]["stop_grace_period"].removesuffix("s")) > drain_s + 20


def test_the_engine_reads_the_composition() -> None:
    if (
        shutil.which("docker") is None
        or subprocess.run(["docker", "compose", "version"], capture_output=True).returncode
    ):
        pytest.skip("no docker compose here")
    command = ["docker", "compose", "-f", str(DOCKER / "compose.yaml"), "config", "--quiet"]
    told = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert told.returncode == 0, told.stderr


def test_the_role_of_the_service_may_change_rows_and_no_tables(postgres_url: str) -> None:
    """The role of docker/roles.sh, which all tests on PostgreSQL work as."""
    import sqlalchemy as sa

    from service.store import engines

    with engines.single(postgres_url).connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM assets").scalar_one() == 0
        for refused in ("DROP TABLE assets", "CREATE TABLE more (id int)", "ALTER TABLE stays ADD note text"):
            with pytest.raises(sa.exc.ProgrammingError, match=r"must be owner|permission denied"):
                connection.exec_driver_sql(refused)
            connection.rollback()


def test_the_script_that_makes_the_role_runs_in_a_shell(tmp_path: Path) -> None:
    """docker/roles.sh itself, by sh and psql, on a server of its own; the password has a quote in it."""
    where = needed_programs()
    psql = shutil.which("psql", path=os.pathsep.join([str(where), os.environ["PATH"]]))
    if psql is None:
        pytest.skip("no psql here")
    password = tmp_path / "app_password"
    password.write_text("it's\n")
    script = tmp_path / "roles.sh"
    script.write_text((DOCKER / "roles.sh").read_text().replace("/run/secrets/app_password", str(password)))
    with ExitStack() as stack:
        url = started(stack, str(where / "initdb"), str(where / "postgres"))
        with psycopg.connect(url, autocommit=True) as owner:
            owner.execute("CREATE ROLE capsaddle_owner SUPERUSER LOGIN")
            owner.execute("CREATE DATABASE capsaddle OWNER capsaddle_owner")
        own = {"PATH": os.pathsep.join([str(Path(psql).parent), os.environ["PATH"]]), "PGHOST": "127.0.0.1"}
        own |= {"PGPORT": str(make_url(url).port), "POSTGRES_USER": "capsaddle_owner", "POSTGRES_DB": "capsaddle"}
        told = subprocess.run(["sh", str(script)], env=own, capture_output=True, text=True, timeout=60)
        assert told.returncode == 0, told.stderr
        server = make_url(url).set(database="capsaddle")
        migrate.upgrade(str(server.set(drivername="postgresql+psycopg", username="capsaddle_owner")))
        with psycopg.connect(str(server.set(username="capsaddle_app"))) as app:
            assert app.execute("SELECT count(*) FROM assets").fetchone() == (0,)
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                app.execute("DROP TABLE assets")


def self_signed(folder: Path) -> tuple[Path, Path]:
    """A certificate of this machine that signs itself, and its key."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl here to make a certificate")
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    asked = ["-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1", "-days", "2"]
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", str(key), "-out", str(certificate)]
    subprocess.run([*made, *asked], check=True, capture_output=True, timeout=60)
    return certificate, key


@contextmanager
def proxied(server: Server, folder: Path, *changes: tuple[str, str]) -> Iterator[int]:
    """The shipped configuration in a real nginx before the server, with changes; its port."""
    nginx = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")
    if nginx is None:
        if os.environ.get(REQUIRE_NAME):
            pytest.fail(f"no nginx; {REQUIRE_NAME} is set")
        pytest.skip("no nginx here (apt-get install nginx-light)")
    port, tls_port = free_port(), free_port()
    certificate, key = self_signed(folder)
    text = (DOCKER / "nginx.conf").read_text()
    for shipped, here in (
        ("/tmp/", f"{folder}/"),
        ("server service:8080", f"server {server.base_url.removeprefix('http://')}"),
        ("listen 8080", f"listen 127.0.0.1:{port}"),
        ("listen 8443 ssl", f"listen 127.0.0.1:{tls_port} ssl"),
        ("/run/secrets/tls_certificate", str(certificate)),
        ("/run/secrets/tls_key", str(key)),
        *changes,
    ):
        assert shipped in text
        text = text.replace(shipped, here)
    file = folder / "nginx.conf"
    file.write_text(text)
    rights = " user root;" if os.geteuid() == 0 else ""  # whose bodies lie in a folder of root's
    command = [nginx, "-e", "stderr", "-c", str(file), "-g", f"daemon off;{rights}"]
    told = subprocess.run([*command[:-2], "-t"], capture_output=True, text=True, timeout=20)
    assert told.returncode == 0, told.stderr
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    try:
        until = time.monotonic() + 10
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                break
            except OSError:
                assert process.poll() is None and time.monotonic() < until, "nginx did not start"
                time.sleep(0.05)
        (folder / "tls_port").write_text(str(tls_port))
        yield port
    finally:
        process.terminate()
        process.wait(20)


def silent(connection: socket.socket, key: str) -> None:
    """Connect and say nothing."""


def trickling(connection: socket.socket, key: str) -> None:
    """Begin a header and never end it."""
    connection.sendall(b"GET /health/live HTTP/1.1\r\nHost: x\r\nX-Slow: ")


def stalled(connection: socket.socket, key: str) -> None:
    """Promise a body and send its first byte."""
    head = "POST /v1/clearance-targets HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 500\r\n"
    connection.sendall(f"{head}Authorization: Bearer {key}\r\n\r\n{{".encode())


Attack = Callable[[socket.socket, str], None]


@contextmanager
def slow_clients(port: int, attack: Attack, key: str) -> Iterator[None]:
    held = [socket.create_connection(("127.0.0.1", port), 5) for _ in range(SLOW_CLIENTS)]
    try:
        for connection in held:
            attack(connection, key)
        time.sleep(0.3)
        yield
    finally:
        for connection in held:
            connection.close()


def answered_within(port: int, seconds: float) -> bool:
    try:
        return requests.get(f"http://127.0.0.1:{port}/health/live", timeout=seconds).status_code == 200
    except requests.RequestException:
        return False


@pytest.mark.parametrize("attack", [silent, trickling, stalled], ids=lambda attack: str(attack.__name__))
def test_sixteen_slow_clients_block_nobody_behind_the_proxy(attack: Attack, sqlite_url: str, tmp_path: Path) -> None:
    key = reading_key(sqlite_url)
    with serving(sqlite_url) as server, proxied(server, tmp_path) as port, slow_clients(port, attack, key):
        assert answered_within(port, 5)
        assert answered_within(int(server.base_url.rpartition(":")[2]), 5)


def test_without_the_proxy_slow_bodies_take_every_thread(sqlite_url: str) -> None:
    """The reason for the proxy; were this to fail, gunicorn had learnt to protect itself."""
    key = reading_key(sqlite_url)
    with serving(sqlite_url) as server:
        port = int(server.base_url.rpartition(":")[2])
        assert answered_within(port, 5)
        with slow_clients(port, stalled, key):
            assert not answered_within(port, 2)


def reading_key(url: str) -> str:
    from service.store.database import Database
    from service.store.queries.keys import create_key
    from service.store.queries.sites import create_site

    database = Database(Settings(database_url=url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", ["read"])
    database.dispose()
    return key


def test_the_proxy_passes_long_answers_waits_and_problems_on(sqlite_url: str, tmp_path: Path) -> None:
    key = reading_key(sqlite_url)
    called = {"Authorization": f"Bearer {key}", "X-Request-ID": "through-1"}
    with serving(sqlite_url) as server, proxied(server, tmp_path) as port:
        base = f"http://127.0.0.1:{port}"
        document = requests.get(f"{base}/openapi.json", timeout=20)
        assert document.json()["openapi"].startswith("3.1")
        refused = requests.get(f"{base}/v1/assets?typo=1", headers=called, timeout=5)
        assert refused.status_code == 400 and refused.headers["X-Request-ID"] == "through-1"
        read = requests.get(f"{base}/v1/events", headers=called, timeout=10).json()["next"]
        waited = requests.get(f"{base}{read}&wait=1", headers=called, timeout=10)
        assert waited.status_code == 200


def test_a_phone_reaches_its_card_over_tls_compressed_and_sends_a_photo(sqlite_url: str, tmp_path: Path) -> None:
    database = Database(Settings(database_url=sqlite_url))
    create_site(database, "TLS", "Trial", "inch")
    key = create_key(database, "TLS", ("read", "write"))
    database.dispose()
    with serving(sqlite_url) as server, proxied(server, tmp_path):
        base = f"https://localhost:{(tmp_path / 'tls_port').read_text()}"
        session, phone = requests.Session(), requests.Session()
        session.trust_env = phone.trust_env = False  # the certificate of this test, whatever the machine trusts
        session.verify, session.headers["Authorization"] = str(tmp_path / "certificate.pem"), f"Bearer {key}"
        made = session.post(
            f"{base}/v1/work-orders", json=order(asset=known_fan(), positions=("tail",)), timeout=20
        ).json()
        link = session.post(f"{base}/v1/work-orders/{made['id']}/card-links", json={}, timeout=20).json()["url"]
        phone.verify = str(tmp_path / "certificate.pem")
        kept = phone.get(f"{base}{link}/pages", timeout=30)
        assert kept.headers["Content-Encoding"] == "gzip" and kept.json()["revision"] == 1
        known = {"If-None-Match": kept.headers["ETag"]}
        assert phone.get(f"{base}{link}/pages", headers=known, timeout=30).status_code == 304
        photo = io.BytesIO()
        Image.effect_noise((2600, 2200), 90).convert("RGB").save(photo, "JPEG", quality=95)
        assert 2_000_000 < len(photo.getvalue()) < 8 * 1024 * 1024
        asked = {"about": "damage", "taken_by": "A. Fitter", "taken_at": "2020-01-07T09:10:00Z"}
        sent = session.post(
            f"{base}/v1/work-orders/{made['id']}/photos",
            data=photo.getvalue(), params=asked, headers={"Content-Type": "image/jpeg"}, timeout=60,
        )  # fmt: skip
        assert sent.status_code == 201, sent.text
        too_large = session.post(f"{base}{link}/photos", data=bytes(9 * 1024 * 1024), timeout=60)
        assert too_large.status_code == 413


def problem_of(answer: requests.Response, status: int, code: str) -> dict[str, Any]:
    """The problem document of the proxy: as the service would have said it (RFC 9457)."""
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, "application/problem+json"), answer.text
    document = answer.json()
    expected_status, title = CATALOGUE[code]
    assert (document["code"], document["status"], document["title"]) == (code, expected_status, title)
    assert document["type"] == f"/docs/problems#{code}"
    assert document["request_id"] == answer.headers["X-Request-ID"] != ""
    assert isinstance(document["detail"], str) and document["errors"] == []
    return dict(document)


def test_the_proxy_takes_large_bodies_where_they_belong_and_nowhere_else(sqlite_url: str, tmp_path: Path) -> None:
    mib = 1024 * 1024
    called = {"Authorization": f"Bearer {reading_key(sqlite_url)}", "Content-Type": "text/csv"}
    with serving(sqlite_url) as server, proxied(server, tmp_path) as port:

        def sent(path: str, size_mib: int) -> requests.Response:
            url = f"http://127.0.0.1:{port}{path}"
            return requests.post(url, data=b" " * (size_mib * mib), headers=called, timeout=30)

        for path in ("/v1/assets", "/card/x", "/v1/work-orders/x/readings", "/v1/stays/import/more"):
            problem_of(sent(path, 3), 413, "too_large")
        for path in ("/v1/stays/import", "/v1/work-orders/batch", "/v1/clearance-targets/batch"):
            passed = sent(path, 3)
            assert passed.status_code in (403, 415, 422), (path, passed.text)
            problem_of(sent(path, 9), 413, "too_large")
        for path in ("/v1/work-orders/x/photos", "/card/x/photos"):
            assert sent(path, 3).status_code != 413, path


def test_the_proxy_lets_one_address_send_so_much_a_second(sqlite_url: str, tmp_path: Path) -> None:
    slower = (("rate=200r/s", "rate=2r/s"), ("burst=400", "burst=5"))
    with serving(sqlite_url) as server, proxied(server, tmp_path, *slower) as port, requests.Session() as session:
        url = f"http://127.0.0.1:{port}/health/live"
        answers = [session.get(url, timeout=10) for _ in range(40)]
        refused = [each for each in answers if each.status_code == 429]
        assert {each.status_code for each in answers} == {200, 429}
        assert len(answers) - len(refused) >= 6, "the first and the burst"
        problem_of(refused[0], 429, "too_many_from_address")
        assert int(refused[0].headers["Retry-After"]) >= 1


def test_the_proxy_lets_one_address_hold_so_many_requests(sqlite_url: str, tmp_path: Path) -> None:
    """Six wait for their bodies' sake; the seventh is refused at once, and another gets in when one is gone."""
    key = reading_key(sqlite_url)
    fewer = (("at_once 100", "at_once 6"),)
    with serving(sqlite_url) as server, proxied(server, tmp_path, *fewer) as port:
        url = f"http://127.0.0.1:{port}/health/live"
        with ExitStack() as held:
            for _ in range(6):
                connection = held.enter_context(socket.create_connection(("127.0.0.1", port), 5))
                stalled(connection, key)
            time.sleep(0.5)
            problem_of(requests.get(url, timeout=5), 429, "too_many_from_address")
        time.sleep(0.5)
        assert requests.get(url, timeout=5).status_code == 200


def test_the_proxy_says_when_the_service_does_not_answer(sqlite_url: str, tmp_path: Path) -> None:
    with serving(sqlite_url) as server, proxied(server, tmp_path) as port:
        server.kill()
        answer = requests.get(f"http://127.0.0.1:{port}/v1/assets", timeout=10)
        problem_of(answer, 503, "service_away")
        assert int(answer.headers["Retry-After"]) >= 1
