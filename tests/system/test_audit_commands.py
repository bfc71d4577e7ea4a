"""capsaddle audit: what it prints, how it ends, and what an anchor is worth that was kept elsewhere."""

import json
import stat
from pathlib import Path

import sqlalchemy as sa

from service.settings import Settings
from service.store import models
from service.store.database import Database
from tests.outages import tampering
from tests.store.test_migrations import populated
from tests.system.servers import run_command


def head_seq(url: str) -> int:
    database = Database(Settings(database_url=url))
    with database.reading() as connection:
        found: int = connection.execute(sa.select(models.SiteHead.seq)).scalar_one()
    database.dispose()
    return found


def committed(url: str, forged: bool) -> None:
    """A history rewritten by hand, with or without every hash after it."""
    table = models.Base.metadata.tables["readings"]
    with tampering.as_owner(url) as connection:
        site_id = connection.execute(sa.select(models.Site.id)).scalar_one()
        if forged:
            tampering.forge(connection, site_id, table, table.c.taken_by)
        else:
            tampering.change(connection, table, table.c.taken_by)
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("BEGIN")


def test_the_ends_are_signed_kept_elsewhere_and_held(sqlite_url: str, tmp_path: Path) -> None:
    populated(sqlite_url).dispose()
    kept = tmp_path / "elsewhere"
    kept.mkdir()
    refused = run_command(sqlite_url, "audit", "head")
    assert (refused.returncode, "capsaddle audit key" in refused.stderr) == (1, True)
    public = run_command(sqlite_url, "audit", "key").stdout.strip()
    (key,) = tmp_path.glob("*.signing-key")
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert run_command(sqlite_url, "audit", "key").returncode == 1, "a key is never overwritten"
    head = json.loads(run_command(sqlite_url, "audit", "head").stdout)
    assert (head["seq"], head["public_key"], head["site_code"]) == (head_seq(sqlite_url), public, "north")
    told = run_command(sqlite_url, "audit", "anchor", "--to", str(kept))
    (file,) = kept.iterdir()
    assert str(file) in told.stdout
    assert "Nothing is new" in run_command(sqlite_url, "audit", "anchor", "--to", str(kept)).stdout
    held = run_command(sqlite_url, "audit", "verify", "--anchor", str(file), "--public-key", public)
    assert (held.returncode, "1 anchored ends held, whole" in held.stdout) == (0, True), held.stdout
    committed(sqlite_url, forged=True)
    blind = run_command(sqlite_url, "audit", "verify")
    assert (blind.returncode, "whole" in blind.stdout) == (0, True), "a whole new chain is a chain"
    found = run_command(sqlite_url, "audit", "verify", "--anchor", str(file))
    assert (found.returncode, "history was rewritten" in found.stdout) == (1, True), found.stdout


def test_subscribers_are_told_of_an_anchor(sqlite_url: str, tmp_path: Path) -> None:
    populated(sqlite_url).dispose()
    run_command(sqlite_url, "audit", "key")
    run_command(sqlite_url, "audit", "anchor", "--to", str(tmp_path))
    database = Database(Settings(database_url=sqlite_url))
    with database.reading() as connection:
        last = sa.select(models.JournalEntry.event_type, models.JournalEntry.data).order_by(sa.desc("seq")).limit(1)
        event_type, data = connection.execute(last).one()
    database.dispose()
    (file,) = tmp_path.glob("anchor-*.jsonl")
    assert (event_type, json.loads(data)) == ("record.anchored", json.loads(file.read_text()))


def test_what_differs_is_named_and_a_baseline_keeps_it_on_record(sqlite_url: str) -> None:
    populated(sqlite_url).dispose()
    committed(sqlite_url, forged=False)
    told = run_command(sqlite_url, "audit", "verify")
    assert told.returncode == 1
    assert "north: readings " in told.stdout
    assert ": changed" in told.stdout
    assert "1 faults" in told.stdout
    taken = run_command(sqlite_url, "audit", "baseline", "--site", "north", "--reason", "a test")
    assert (taken.returncode, "1 faults before it" in taken.stdout) == (0, True), taken.stderr
    again = run_command(sqlite_url, "audit", "verify")
    assert (again.returncode, "whole" in again.stdout) == (0, True), again.stdout
    assert again.stdout.splitlines()[-1].endswith(", a test"), "who verifies is told that rows were taken as they stood"
    database = Database(Settings(database_url=sqlite_url))
    with database.reading() as connection:
        kept = sa.select(models.JournalEntry.data).where(models.JournalEntry.event_type == "record.baseline")
        data = json.loads(connection.execute(kept).scalar_one())
    database.dispose()
    assert (data["why"], data["faults"], data["found"][0][0]) == ("a test", 1, "readings")
