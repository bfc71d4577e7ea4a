"""Readings of the nine holds: their kinds, and which reading one takes back; stays that are kept and not counted.

Going down, readings of kinds that the older schema does not know are kept as confirmations that say what they were;
going up again gives them their kind back. A ``free_setting`` is what is called ``free_gap`` now.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

OLD = (
    "initial_clearance", "residual_clearance", "axial_displacement", "nut_turn", "cap_bolt_torque",
    "free_setting", "bearing_spacing", "shaft_diameter", "run_in_temperature", "confirmation",
)  # fmt: skip
NEW = (
    "initial_clearance", "residual_clearance", "axial_displacement", "nut_turn", "cap_bolt_torque", "base_bolt_torque",
    "shaft_diameter", "bearing_spacing", "seat_spacing", "free_gap_before", "free_gap", "class_read", "try_start",
    "swivel", "rings_in", "stop_limit", "run_in_temperature", "confirmation",
)  # fmt: skip
WAS: str = '{"was_kind":"'
"""How the document of a reading begins whose kind the older schema does not know."""
OURS = (
    "site_id = nullif(current_setting('capsaddle.site_id', true), '')::uuid "
    "OR current_setting('capsaddle.all_sites', true) = 'on'"
)
COLUMNS = (
    "site_id", "id", "work_order_id", "entry", "kind", "position", "step", "revision", "made_revision", "verdict",
    "code", "taken_at", "taken_by", "document", "created_at",
)  # fmt: skip


def upgrade() -> None:
    """Let the new kinds in, and make the table of stays that are set aside."""
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    if on_sqlite:
        rebuild_on_sqlite(NEW, KIND_UP_SQLITE, DOCUMENT_UP_SQLITE, replaces=True)
    else:
        change_on_postgresql(NEW, UP_POSTGRESQL)
        op.add_column("readings", sa.Column("replaces", sa.Uuid(as_uuid=False), nullable=True))
        op.create_foreign_key(
            op.f("fk_readings_readings"),
            "readings",
            "readings",
            ["site_id", "replaces"],
            ["site_id", "id"],
            ondelete="RESTRICT",
            postgresql_not_valid=True,
        )
        op.execute(
            f"ALTER TABLE readings VALIDATE CONSTRAINT {op.f('fk_readings_readings')}"
        )  # the column is new: NULL
    set_aside_stays(on_sqlite=on_sqlite)


def downgrade() -> None:
    """Take both away again; no reading is lost."""
    op.drop_table("set_aside_stays")
    if op.get_bind().dialect.name == "sqlite":
        rebuild_on_sqlite(OLD, KIND_DOWN_SQLITE, DOCUMENT_DOWN_SQLITE, replaces=False)
        return
    op.drop_constraint(op.f("fk_readings_readings"), "readings", type_="foreignkey")
    op.drop_column("readings", "replaces")
    change_on_postgresql(OLD, DOWN_POSTGRESQL)


def listed(kinds: tuple[str, ...]) -> str:
    """Return kinds as SQL lists them."""
    return ", ".join(f"'{kind}'" for kind in kinds)


UNKNOWN_BEFORE = f"kind NOT IN ({listed(OLD)}, 'free_gap')"
KIND_UP_SQLITE = (
    "CASE WHEN kind = 'free_setting' THEN 'free_gap' "
    f"WHEN substr(document, 1, {len(WAS)}) = '{WAS}' "
    f"THEN substr(document, {len(WAS) + 1}, instr(substr(document, {len(WAS) + 1}), '\"') - 1) "
    "ELSE kind END"
)
DOCUMENT_UP_SQLITE = (
    f"CASE WHEN substr(document, 1, {len(WAS)}) = '{WAS}' "
    "THEN '{' || substr(document, instr(document, ',') + 1) ELSE document END"
)
KIND_DOWN_SQLITE = (
    f"CASE WHEN kind = 'free_gap' THEN 'free_setting' WHEN {UNKNOWN_BEFORE} THEN 'confirmation' ELSE kind END"
)
DOCUMENT_DOWN_SQLITE = (
    f"CASE WHEN {UNKNOWN_BEFORE} THEN '{WAS}' || kind || '\",' || substr(document, 2) ELSE document END"
)
UP_POSTGRESQL = (
    "UPDATE readings SET kind = 'free_gap' WHERE kind = 'free_setting'",
    f"UPDATE readings SET kind = split_part(substr(document, {len(WAS) + 1}), '\"', 1), "
    "document = '{' || substr(document, strpos(document, ',') + 1) "
    f"WHERE substr(document, 1, {len(WAS)}) = '{WAS}'",
)
DOWN_POSTGRESQL = (
    f"UPDATE readings SET document = '{WAS}' || kind || '\",' || substr(document, 2), kind = 'confirmation' "
    f"WHERE {UNKNOWN_BEFORE}",
    "UPDATE readings SET kind = 'free_setting' WHERE kind = 'free_gap'",
)


def change_on_postgresql(kinds: tuple[str, ...], changes: tuple[str, ...]) -> None:
    """Change the kinds that readings may have; for this one moment their rows may be changed too."""
    op.drop_constraint(op.f("ck_readings_kind_known"), "readings", type_="check")
    op.execute("ALTER TABLE readings DISABLE TRIGGER tr_readings_change")
    for change in changes:
        op.execute(sa.text(change.replace(":", "\\:")))
    op.execute("ALTER TABLE readings ENABLE TRIGGER tr_readings_change")
    op.create_check_constraint(
        op.f("ck_readings_kind_known"),
        "readings",
        f"kind IN ({listed(kinds)})",
        postgresql_not_valid=True,
    )
    op.execute(f"ALTER TABLE readings VALIDATE CONSTRAINT {op.f('ck_readings_kind_known')}")


def rebuild_on_sqlite(kinds: tuple[str, ...], kind: str, document: str, *, replaces: bool) -> None:
    """Make the table anew with other kinds, and copy every row; its triggers went with the old one."""
    further: list[sa.schema.SchemaItem] = []
    if replaces:
        further.append(sa.Column("replaces", sa.Uuid(as_uuid=False), nullable=True))
        further.append(_refers_to(["site_id", "replaces"], "readings", ["site_id", "id"], "fk_readings_readings"))
    op.create_table(
        "readings_anew",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("step", sa.Text(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("made_revision", sa.Integer(), nullable=True),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("entry > 0", name=op.f("ck_readings_entry_positive")),
        sa.CheckConstraint(f"kind IN ({listed(kinds)})", name=op.f("ck_readings_kind_known")),
        sa.CheckConstraint("made_revision > revision", name=op.f("ck_readings_made_a_later_revision")),
        sa.CheckConstraint("length(taken_by) > 0", name=op.f("ck_readings_taken_by_somebody")),
        sa.CheckConstraint("verdict IN ('accept', 'recheck', 'reject')", name=op.f("ck_readings_verdict_known")),
        _refers_to(
            ["site_id", "work_order_id", "revision"],
            "revisions",
            ["site_id", "work_order_id", "number"],
            "fk_readings_revisions",
        ),
        _refers_to(["site_id", "work_order_id"], "work_orders", ["site_id", "id"], "fk_readings_work_orders"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_readings")),
        sa.UniqueConstraint("site_id", "work_order_id", "entry", name=op.f("uq_readings_site_id_work_order_id_entry")),
        *further,
    )
    taken = ", ".join({"kind": kind, "document": document}.get(name, name) for name in COLUMNS)
    copied = f"INSERT INTO readings_anew ({', '.join(COLUMNS)}) SELECT {taken} FROM readings"
    op.execute(sa.text(copied.replace(":", "\\:")))
    op.drop_table("readings")
    op.rename_table("readings_anew", "readings")
    append_only_on_sqlite("readings")


def _refers_to(columns: list[str], table: str, referred: list[str], name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        columns, [f"{table}.{each}" for each in referred], name=op.f(name), ondelete="RESTRICT"
    )


def set_aside_stays(*, on_sqlite: bool) -> None:
    """Make the table of stays that are kept and shown, and counted by nothing."""
    op.create_table(
        "set_aside_stays",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("position_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "reason IN ('struck_out', 'beginning_unknown')", name=op.f("ck_set_aside_stays_reason_known")
        ),
        _refers_to(["site_id", "position_id"], "positions", ["site_id", "id"], "fk_set_aside_stays_positions"),
        _refers_to(["site_id", "work_order_id"], "work_orders", ["site_id", "id"], "fk_set_aside_stays_work_orders"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_set_aside_stays")),
    )
    op.create_index(op.f("ix_set_aside_stays_site_id_work_order_id"), "set_aside_stays", ["site_id", "work_order_id"])
    if on_sqlite:
        return
    op.execute("ALTER TABLE set_aside_stays ENABLE ROW LEVEL SECURITY")
    op.execute("ALTER TABLE set_aside_stays FORCE ROW LEVEL SECURITY")
    op.execute(f"CREATE POLICY of_site ON set_aside_stays USING ({OURS}) WITH CHECK ({OURS})")


def append_only_on_sqlite(table: str) -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER tr_{table}_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )
    op.execute(
        f"CREATE TRIGGER tr_{table}_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE site_id = NEW.site_id AND id = NEW.id) "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    )
