"""The secret outside the database: a copy of the database reads no secret and forges no link."""

import stat
import subprocess
import sys
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask
from flask.testing import FlaskClient

from service.app import create_app
from service.secret import Secret, SecretChanged, SecretMissing, make_secret, new_line, read_secret
from service.settings import AllowedTarget, Settings
from service.store import models
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from service.use_cases.checks.backup import back_up
from service.use_cases.checks.sealing import seal_secrets
from tests.api.samples.machines import fan, order
from tests.store import plant
from tests.store.test_migrations import populated
from tests.system.servers import environment, run_command

HOOK = {"url": "https://cmms.example/x", "types": []}


@pytest.fixture
def app(sqlite_url: str) -> Iterator[Flask]:
    app = create_app(
        Settings(database_url=sqlite_url, webhook_targets=(AllowedTarget("https", 443, host="cmms.example"),))
    )
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow", "inch")
    yield app
    app.extensions["capsaddle"].database.dispose()


def sender(app: Flask) -> Callable[..., Any]:
    """Sends with a key of its own and an Idempotency-Key."""
    key = create_key(app.extensions["capsaddle"].database, "ALDER", ["read", "write", "admin"])
    client: FlaskClient = app.test_client()

    def send(path: str, body: Any, named: str | None = None) -> Any:
        headers = {"Authorization": f"Bearer {key}"} | ({} if named is None else {"Idempotency-Key": named})
        return client.post(path, json=body, headers=headers)

    return send


def everything(database: Database) -> str:
    """All that a copy of the database shows."""
    with database.reading() as connection:
        rows = [connection.execute(sa.select(table)).all() for table in models.Base.metadata.sorted_tables]
    return repr(rows)


def test_a_copy_of_the_database_shows_no_secret_of_a_webhook_nor_a_link(app: Flask) -> None:
    """Neither in its own row nor in the answers kept for repeated requests, which are given again all the same."""
    send = sender(app)
    assert send("/v1/work-orders", order(asset=fan())).status_code == 201
    with app.extensions["capsaddle"].database.reading() as connection:
        of_order = connection.execute(sa.select(models.WorkOrder.id)).scalar_one()
    made = send("/v1/subscriptions", HOOK, "hook-1")
    turned = send(f"/v1/subscriptions/{made.json['id']}/secret", {}, "turn-1")
    link = send(f"/v1/work-orders/{of_order}/card-links", {}, "link-1")
    assert (made.status_code, turned.status_code, link.status_code) == (201, 201, 201), link.text
    shown = everything(app.extensions["capsaddle"].database)
    for told in (made.json["secret"], turned.json["secret"]):
        assert told.startswith("whsec_")
        assert told not in shown and told.removeprefix("whsec_") not in shown
    assert "whsec_" not in shown
    assert link.json["url"].rpartition("/")[2] not in shown
    again = send("/v1/subscriptions", HOOK, "hook-1")
    assert (again.headers["Idempotency-Replayed"], again.json, again.headers["Location"]) == (
        "true",
        made.json,
        made.headers["Location"],
    )
    assert send(f"/v1/work-orders/{of_order}/card-links", {}, "link-1").json == link.json


def test_who_has_only_the_database_signs_no_link(app: Flask, sqlite_url: str, tmp_path: Path) -> None:
    """A program like ours, with the database and another secret: its links open nothing here."""
    send = sender(app)
    assert send("/v1/work-orders", order(asset=fan())).status_code == 201
    database = app.extensions["capsaddle"].database
    with database.reading() as connection:
        of_order = connection.execute(sa.select(models.WorkOrder.id)).scalar_one()
        key_id = connection.execute(sa.select(models.ApiKey.id)).scalar_one()
    other = tmp_path / "guessed"
    make_secret(other)
    thief = create_app(Settings(database_url=sqlite_url, secret_file=other))
    from service.use_cases.orders.links import LinkRefused, link_of, token_of

    keyring = thief.extensions["capsaddle"].keyring
    caller = keyring.in_force(key_id)
    token = token_of(keyring, caller, of_order, plant.OPENED_AT.replace(year=2099))
    assert link_of(keyring, token).order_id == of_order  # it would open the card, signed by the right one
    with pytest.raises(LinkRefused):
        link_of(app.extensions["capsaddle"].keyring, token)
    thief.extensions["capsaddle"].database.dispose()


def test_the_file_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    url, file = f"sqlite:///{tmp_path / 'new.db'}", tmp_path / "new.db.secret"
    told = run_command(url, "migrate")
    assert (told.returncode, str(file) in told.stderr) == (0, True), told.stderr
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    before = file.read_text()
    assert run_command(url, "migrate").returncode == 0
    assert file.read_text() == before
    assert [each.name for each in tmp_path.iterdir() if "part" in each.name] == []
    assert "ok     secret" in run_command(url, "check").stdout
    file.write_text("not a secret")
    refused = run_command(url, "check")
    assert (refused.returncode, "failed secret" in refused.stdout) == (1, True)


@pytest.mark.parametrize("command", [("migrate",), ("serve",), ("deliver", "--once")])
def test_on_postgresql_it_is_asked_for(command: tuple[str, ...]) -> None:
    """Before anything is connected to."""
    given = environment("postgresql://nobody@127.0.0.1:1/nothing")
    del given["CAPSADDLE_SECRET_FILE"]
    program = [sys.executable, "-m", "service.cli", *command]
    told = subprocess.run(program, env=given, capture_output=True, text=True, timeout=60)
    assert (told.returncode, "set CAPSADDLE_SECRET_FILE" in told.stderr) == (1, True), told.stderr


def test_a_file_that_is_named_is_never_made(tmp_path: Path) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'x.db'}", secret_file=tmp_path / "none")
    with pytest.raises(SecretMissing, match="cannot be read"):
        _ = Database(settings).secret
    (tmp_path / "none").write_text(run_command("sqlite:///x.db", "secret").stdout)
    assert len(Database(settings).secret.lines) == 1


def test_two_lines_read_what_either_sealed_and_the_first_seals(tmp_path: Path) -> None:
    old, new = new_line(), new_line()
    file = tmp_path / "secret"
    file.write_text(f"{old}\n")
    before = read_secret(file)
    sealed = before.seal("whsec_old")
    file.write_text(f"{new}\n{old}\n")
    both = read_secret(file)
    assert both.open(sealed) == "whsec_old"
    assert both.signers(b"x")[1] == before.signers(b"x")[0]
    assert not both.is_current(sealed) and both.is_current(both.seal("y"))
    file.write_text(f"{new}\n")
    assert read_secret(file).open(both.seal("y")) == "y"
    with pytest.raises(SecretChanged):
        read_secret(file).open(sealed)


def test_what_seals_is_authenticated_and_apart_from_what_signs() -> None:
    secret = Secret((urlsafe_b64decode(new_line()),))
    sealed = secret.seal("whsec_x")
    data = bytearray(urlsafe_b64decode(sealed))
    for place in range(0, len(data), 5):
        altered = bytearray(data)
        altered[place] ^= 1
        with pytest.raises(SecretChanged):
            secret.open(urlsafe_b64encode(bytes(altered)).decode())
    assert len(set(secret.signers(b"a") + secret.signers(b"b") + secret.lines)) == 3


@pytest.mark.parametrize("text", ["", "short\n", "é", "\n".join([new_line()] * 9), "A" * 43])
def test_another_file_is_no_secret(tmp_path: Path, text: str) -> None:
    (tmp_path / "secret").write_text(text, encoding="utf-8")
    with pytest.raises(SecretMissing):
        read_secret(tmp_path / "secret")


def test_what_stood_plain_is_sealed_when_the_version_before_is_gone(sqlite_url: str) -> None:
    """As versions before kept it: ``populated`` stores whsec_x."""
    database = populated(sqlite_url)
    assert "whsec_x" in everything(database)
    told = run_command(sqlite_url, "migrate")
    assert "1 secrets of webhooks stand plain: when no process" in told.stdout, told.stderr
    assert "whsec_x" in everything(database), "a relay of the version before still needs it"
    told = run_command(sqlite_url, "migrate", "--finish")
    assert "1 secrets of webhooks are encrypted now" in told.stdout, told.stderr
    assert "--finish" not in run_command(sqlite_url, "migrate").stdout
    assert "whsec_x" not in everything(database)
    with database.reading() as connection:
        kept = connection.execute(sa.select(models.Subscription.secret)).scalar_one()
    assert database.secret.open(kept) == "whsec_x"
    assert run_command(sqlite_url, "audit", "verify").returncode == 0
    database.dispose()


def test_a_backup_without_the_secret_restores_and_says_what_ends(sqlite_url: str, tmp_path: Path) -> None:
    database = populated(sqlite_url)
    seal_secrets(database)
    file, elsewhere = tmp_path / "plant.backup", tmp_path / "elsewhere"
    elsewhere.mkdir()
    back_up(Settings(database_url=sqlite_url), file)
    assert database.secret.lines[0] not in file.read_bytes()
    url = f"sqlite:///{elsewhere / 'fresh.db'}"
    told = run_command(url, "restore", str(file))
    assert told.returncode == 0, told.stderr
    assert "links to cards that were made before open nothing" in told.stdout
    assert "was set anew; it is disabled" in told.stdout
    fresh = Database(Settings(database_url=url))
    with fresh.reading() as connection:
        row = connection.execute(sa.select(models.Subscription)).one()
    assert row.status == "disabled"
    assert fresh.secret.open(row.secret).startswith("whsec_")
    assert run_command(url, "audit", "verify").returncode == 0
    beside = tmp_path / "beside"
    beside.mkdir()
    (beside / "fresh.db.secret").write_text((tmp_path / "capsaddle.db.secret").read_text())
    kept = run_command(f"sqlite:///{beside / 'fresh.db'}", "restore", str(file))
    assert (kept.returncode, "anew" in kept.stdout, "open nothing" in kept.stdout) == (0, False, False), kept.stderr
    fresh.dispose()
    database.dispose()


def test_keys_and_sites_are_listed(sqlite_url: str) -> None:
    for code in ("MILL-A", "MILL-B"):
        run_command(sqlite_url, "sites", "create", code, "--name", f"The {code}", "--units", "inch")
    make = ("keys", "create", "--site", "MILL-A", "--scopes", "read")
    key = run_command(sqlite_url, *make, "--label", "cmms", "--expires", "2099-06-30").stdout.split()[-1]
    assert run_command(sqlite_url, *make, "--expires", "2020-01-01").returncode == 2
    assert [line.split("\t")[0] for line in run_command(sqlite_url, "sites", "list").stdout.splitlines()] == [
        "MILL-A",
        "MILL-B",
    ]
    (line,) = run_command(sqlite_url, "keys", "list").stdout.splitlines()
    site, key_id, label, scopes, _, used, ends = line.split("\t")
    assert (site, key_id.replace("-", ""), label, scopes, used) == (
        "MILL-A",
        key.split("_")[1],
        "cmms",
        "read",
        "never",
    )
    assert ends == "2099-07-01T00:00:00Z", "the last day is a whole day"
    assert key.split("_")[2] not in line
    app = create_app(Settings(database_url=sqlite_url))
    assert app.test_client().get("/v1/assets", headers={"Authorization": f"Bearer {key}"}).status_code == 200
    database = app.extensions["capsaddle"].database
    with database.reading() as connection:
        first = connection.execute(sa.select(models.ApiKey.last_used_at)).scalar_one()
    assert first is not None
    assert app.test_client().get("/v1/assets", headers={"Authorization": f"Bearer {key}"}).status_code == 200
    with database.reading() as connection:
        assert connection.execute(sa.select(models.ApiKey.last_used_at)).scalar_one() == first, "within the hour"
    database.dispose()
    (used,) = [line.split("\t")[5] for line in run_command(sqlite_url, "keys", "list").stdout.splitlines()]
    assert used == f"{first:%Y-%m-%dT%H}:00Z"
    assert run_command(sqlite_url, "keys", "list", "--site", "MILL-B").stdout == ""
    assert run_command(sqlite_url, "audit", "verify").returncode == 0
