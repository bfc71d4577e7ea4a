"""Migrations run while the version before still serves: what would break it, or lock a table for long, is refused.

Common practice of expanding first and contracting a release later; the locks that PostgreSQL takes: its documentation,
ALTER TABLE and CREATE INDEX. Held on the SQL that each migration sends to PostgreSQL.
"""

import re

import pytest
from alembic import command
from alembic.script import ScriptDirectory

from service.store import migrate

RULES = (
    (r"\bDROP TABLE\b", "the version before still reads the table"),
    (r"\bDROP COLUMN\b", "the version before still reads the column"),
    (r"\bDROP POLICY\b", "the version before still goes through it; capsaddle migrate --finish"),
    (r"\bRENAME\b", "the version before knows the old name only"),
    (r"\bALTER COLUMN \S+ (SET DATA )?TYPE\b", "rewrites the table under a lock"),
    (r"\bALTER COLUMN \S+ SET NOT NULL\b", "reads the table under a lock, and the version before may write NULL"),
    (r"\bADD COLUMN (?=.*NOT NULL)(?!.*DEFAULT)", "the version before writes no value"),
    (r"\bADD (CONSTRAINT \S+ )?(CHECK|FOREIGN KEY)\b(?!.*NOT VALID)", "reads the table under a lock; NOT VALID first"),
    (r"\bADD (CONSTRAINT \S+ )?(UNIQUE|EXCLUDE|PRIMARY KEY)\b(?!.*USING INDEX)", "builds an index under a lock"),
    (r"\bCREATE (UNIQUE )?INDEX (?!CONCURRENTLY)", "blocks writers while it is built; CONCURRENTLY"),
    (r"\w (BIG|SMALL)?SERIAL\b|\bCREATE SEQUENCE\b", "identifiers are made by the service"),
    (r"\bTIMESTAMP WITHOUT TIME ZONE\b", "moments carry their offset"),
)


def faults(sql: str) -> list[str]:
    """What may not run beside the version before; tables that the same migration makes are nobody's yet."""
    statements = [" ".join(each.split()) for each in re.sub(r"--[^\n]*", "", sql).split(";")]
    made = {name for each in statements for name in re.findall(r"CREATE TABLE (\w+)", each)}
    found = []
    for each in statements:
        target = re.search(r"(?:ALTER TABLE(?: ONLY)?|INDEX(?: CONCURRENTLY)? \w+ ON|DROP TABLE) (\w+)", each)
        if target is not None and target[1] in made:
            continue
        found += [f"{why}: {each[:90]}" for rule, why in RULES if re.search(rule, each, re.IGNORECASE)]
    return found


def revisions() -> list[str]:
    script = ScriptDirectory(str(migrate.folder()))
    return sorted(each.revision for each in script.walk_revisions())


@pytest.mark.parametrize("revision", revisions())
def test_a_migration_may_run_beside_the_version_before(
    revision: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("CAPSADDLE_DATABASE_URL", "postgresql://user@localhost/name")
    before = f"{int(revision) - 1:04d}" if revision != revisions()[0] else "base"
    command.upgrade(migrate._config(None), f"{before}:{revision}", sql=True)
    printed = capsys.readouterr().out
    assert f"'{revision}'" in printed
    assert faults(printed) == []


@pytest.mark.parametrize(
    "sql",
    [
        "DROP TABLE stays",
        "ALTER TABLE stays DROP COLUMN damage",
        "DROP POLICY of_site ON stays",
        "ALTER TABLE stays RENAME COLUMN damage TO harm",
        "ALTER TABLE stays ALTER COLUMN damage TYPE INTEGER",
        "ALTER TABLE stays ALTER COLUMN damage SET NOT NULL",
        "ALTER TABLE stays ADD COLUMN more TEXT NOT NULL",
        "ALTER TABLE stays ADD CONSTRAINT ck_x CHECK (a > 0)",
        "ALTER TABLE stays ADD CONSTRAINT fk_x FOREIGN KEY (a) REFERENCES sites (id)",
        "ALTER TABLE stays ADD CONSTRAINT uq_x UNIQUE (site_id, a)",
        "CREATE INDEX ix_x ON stays (site_id, a)",
        "CREATE TABLE other (id INTEGER); CREATE UNIQUE INDEX ix_x ON stays (site_id, a)",
        "CREATE TABLE other (at TIMESTAMP WITHOUT TIME ZONE)",
        "CREATE TABLE other (id BIGSERIAL)",
    ],
)
def test_what_may_not_run_is_found(sql: str) -> None:
    assert len(faults(sql)) == 1


@pytest.mark.parametrize(
    "sql",
    [
        "ALTER TABLE stays ADD COLUMN more TEXT",
        "ALTER TABLE stays ADD COLUMN more INTEGER DEFAULT '0' NOT NULL",
        "ALTER TABLE stays ADD CONSTRAINT ck_x CHECK (a > 0) NOT VALID; ALTER TABLE stays VALIDATE CONSTRAINT ck_x",
        "CREATE INDEX CONCURRENTLY ix_x ON stays (site_id, a)",
        "CREATE TABLE other (id INTEGER NOT NULL); CREATE INDEX ix_o ON other (id)",
    ],
)
def test_what_may_run_is_let_through(sql: str) -> None:
    assert faults(sql) == []
