"""The first schema.

Besides tables: the journal and the revisions refuse UPDATE and DELETE, and no two stays of a position overlap. On
PostgreSQL the latter is an exclusion constraint where the extension btree_gist can be had, else, as on SQLite, a
trigger; there the trigger locks the position, so that two transactions cannot both find room.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

RECORDS = ("readings", "deviations", "as_found", "completions", "corrections")
APPEND_ONLY = ("journal", "revisions", "charts", "housings", *RECORDS)
TABLES = (
    "stays",
    "meter_readings",
    *reversed(RECORDS),
    "revisions",
    "work_order_positions",
    "work_orders",
    "charts",
    "housings",
    "positions",
    "shafts",
    "assets",
    "idempotency_keys",
    "journal",
    "site_heads",
    "api_keys",
    "sites",
)


def upgrade() -> None:
    """Make the tables, then what is not a table."""
    sites()
    journal()
    plant()
    work_orders()
    records()
    stays()
    meter_readings()
    if op.get_bind().dialect.name == "sqlite":
        append_only_on_sqlite()
        no_overlap_on_sqlite()
    else:
        append_only_on_postgresql()
        no_overlap_on_postgresql()


def downgrade() -> None:
    """Drop everything; triggers go with their tables."""
    for table in TABLES:
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION refuse_change()")
        op.execute("DROP FUNCTION refuse_overlap()")


def sites() -> None:
    """Sites and their keys."""
    op.create_table(
        "sites",
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("units", sa.Text(), nullable=False),
        sa.Column("blade_set", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("units IN ('inch', 'metric')", name=op.f("ck_sites_units_known")),
        sa.CheckConstraint("length(code) BETWEEN 1 AND 64", name=op.f("ck_sites_code_length")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sites")),
        sa.UniqueConstraint("code", name=op.f("uq_sites_code")),
    )
    op.create_table(
        "api_keys",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("secret_sha256", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("revoked_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint("length(scopes) > 0", name=op.f("ck_api_keys_scopes_given")),
        sa.CheckConstraint("length(secret_sha256) = 64", name=op.f("ck_api_keys_secret_is_a_digest")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_api_keys_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_api_keys")),
    )
    op.create_index("ix_api_keys_id", "api_keys", ["id"], unique=True)


def journal() -> None:
    """The journal, its heads, and the answers kept for repeated requests."""
    op.create_table(
        "site_heads",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("head_hash", sa.Text(), nullable=False),
        sa.CheckConstraint("seq >= 0", name=op.f("ck_site_heads_seq_not_negative")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_site_heads_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_site_heads")),
    )
    op.create_table(
        "journal",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("request_id", sa.Text(), nullable=False),
        sa.Column("event_type", sa.Text(), nullable=False),
        sa.Column("subject_kind", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Text(), nullable=False),
        sa.Column("before_hash", sa.Text(), nullable=True),
        sa.Column("after_hash", sa.Text(), nullable=True),
        sa.Column("data", sa.Text(), nullable=False),
        sa.Column("prev_hash", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.CheckConstraint("seq > 0", name=op.f("ck_journal_seq_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_journal_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "seq", name=op.f("pk_journal")),
    )
    op.create_table(
        "idempotency_keys",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("actor", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("route", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(key) BETWEEN 1 AND 255", name=op.f("ck_idempotency_keys_key_length")),
        sa.CheckConstraint(
            "status = 0 OR status BETWEEN 200 AND 299", name=op.f("ck_idempotency_keys_only_success_kept")
        ),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_idempotency_keys_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "actor", "method", "route", "key", name=op.f("pk_idempotency_keys")),
    )
    op.create_index(
        op.f("ix_idempotency_keys_site_id_created_at"), "idempotency_keys", ["site_id", "created_at"], unique=False
    )
    op.create_index(op.f("ix_journal_site_id_request_id"), "journal", ["site_id", "request_id"], unique=False)
    op.create_index(
        op.f("ix_journal_site_id_subject_kind_subject_id"),
        "journal",
        ["site_id", "subject_kind", "subject_id"],
        unique=False,
    )


def plant() -> None:
    """Assets, and the books of a site."""
    op.create_table(
        "assets",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("tag", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("updated_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("version > 0", name=op.f("ck_assets_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_assets_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_assets")),
        sa.UniqueConstraint("site_id", "tag", name=op.f("uq_assets_site_id_tag")),
    )
    op.create_table(
        "shafts",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("asset_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "asset_id"], ["assets.site_id", "assets.id"], name=op.f("fk_shafts_assets"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_shafts")),
        sa.UniqueConstraint("site_id", "asset_id", "name", name=op.f("uq_shafts_site_id_asset_id_name")),
    )
    op.create_table(
        "positions",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("asset_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("shaft_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("housing", sa.Text(), nullable=True),
        sa.Column("duty", sa.Double(), nullable=True),
        sa.Column("rated_life_h", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "asset_id"],
            ["assets.site_id", "assets.id"],
            name=op.f("fk_positions_assets"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "shaft_id"],
            ["shafts.site_id", "shafts.id"],
            name=op.f("fk_positions_shafts"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_positions")),
        sa.UniqueConstraint("site_id", "asset_id", "name", name=op.f("uq_positions_site_id_asset_id_name")),
    )
    op.create_table(
        "housings",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("kind IN ('housing')", name=op.f("ck_housings_kind_known")),
        sa.CheckConstraint("version > 0", name=op.f("ck_housings_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_housings_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_housings")),
        sa.UniqueConstraint("site_id", "name", "version", name=op.f("uq_housings_site_id_name_version")),
    )
    op.create_table(
        "charts",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('reduction', 'initial_clearance', 'axial_displacement', 'nut_turn', "
            "'cap_bolt_torque', 'housing')",
            name=op.f("ck_charts_kind_known"),
        ),
        sa.CheckConstraint("version > 0", name=op.f("ck_charts_version_positive")),
        sa.ForeignKeyConstraint(["site_id"], ["sites.id"], name=op.f("fk_charts_sites"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_charts")),
        sa.UniqueConstraint("site_id", "kind", "name", "version", name=op.f("uq_charts_site_id_kind_name_version")),
    )
    op.create_index(op.f("ix_positions_site_id_shaft_id"), "positions", ["site_id", "shaft_id"], unique=False)


def work_orders() -> None:
    """Work orders and instructions."""
    op.create_table(
        "work_orders",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("external_system", sa.Text(), nullable=False),
        sa.Column("external_number", sa.Text(), nullable=False),
        sa.Column("asset_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("cancel_reason", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "(status = 'cancelled') = (cancel_reason IS NOT NULL)", name=op.f("ck_work_orders_cancelled_with_reason")
        ),
        sa.CheckConstraint("(status = 'open') = (closed_at IS NULL)", name=op.f("ck_work_orders_open_until_closed")),
        sa.CheckConstraint("kind IN ('replacement', 'inspection')", name=op.f("ck_work_orders_kind_known")),
        sa.CheckConstraint("status IN ('open', 'completed', 'cancelled')", name=op.f("ck_work_orders_status_known")),
        sa.ForeignKeyConstraint(
            ["site_id", "asset_id"],
            ["assets.site_id", "assets.id"],
            name=op.f("fk_work_orders_assets"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_work_orders")),
        sa.UniqueConstraint(
            "site_id",
            "external_system",
            "external_number",
            name=op.f("uq_work_orders_site_id_external_system_external_number"),
        ),
    )
    op.create_table(
        "work_order_positions",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("position_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("fitted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "position_id"],
            ["positions.site_id", "positions.id"],
            name=op.f("fk_work_order_positions_positions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_work_order_positions_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "work_order_id", "position_id", name=op.f("pk_work_order_positions")),
        sa.UniqueConstraint(
            "site_id", "work_order_id", "ordinal", name=op.f("uq_work_order_positions_site_id_work_order_id_ordinal")
        ),
    )
    op.create_table(
        "revisions",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("supersedes", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("data_version", sa.Text(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("inputs", sa.Text(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_revisions_sha256_is_a_digest")),
        sa.CheckConstraint("number > 0", name=op.f("ck_revisions_number_positive")),
        sa.CheckConstraint("supersedes < number", name=op.f("ck_revisions_supersedes_an_earlier_one")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id", "supersedes"],
            ["revisions.site_id", "revisions.work_order_id", "revisions.number"],
            name=op.f("fk_revisions_revisions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_revisions_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_revisions")),
        sa.UniqueConstraint(
            "site_id", "work_order_id", "number", name=op.f("uq_revisions_site_id_work_order_id_number")
        ),
    )
    op.create_index(op.f("ix_work_orders_site_id_asset_id"), "work_orders", ["site_id", "asset_id"], unique=False)
    op.create_index(op.f("ix_work_orders_site_id_opened_at"), "work_orders", ["site_id", "opened_at"], unique=False)
    op.create_index(
        op.f("ix_work_order_positions_site_id_position_id"),
        "work_order_positions",
        ["site_id", "position_id"],
        unique=False,
    )


def records() -> None:
    """What becomes of work orders."""
    op.create_table(
        "readings",
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
        sa.CheckConstraint(
            "kind IN ('initial_clearance', 'residual_clearance', 'axial_displacement', 'nut_turn', 'cap_bolt_torque', "
            "'free_setting', 'bearing_spacing', 'shaft_diameter', 'run_in_temperature', 'confirmation')",
            name=op.f("ck_readings_kind_known"),
        ),
        sa.CheckConstraint("made_revision > revision", name=op.f("ck_readings_made_a_later_revision")),
        sa.CheckConstraint("length(taken_by) > 0", name=op.f("ck_readings_taken_by_somebody")),
        sa.CheckConstraint("verdict IN ('accept', 'recheck', 'reject')", name=op.f("ck_readings_verdict_known")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id", "revision"],
            ["revisions.site_id", "revisions.work_order_id", "revisions.number"],
            name=op.f("fk_readings_revisions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_readings_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_readings")),
        sa.UniqueConstraint("site_id", "work_order_id", "entry", name=op.f("uq_readings_site_id_work_order_id_entry")),
    )
    op.create_table(
        "deviations",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("entry", sa.Integer(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("position", sa.Text(), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("approved_by", sa.Text(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("approved_by <> taken_by", name=op.f("ck_deviations_approved_by_another")),
        sa.CheckConstraint("entry > 0", name=op.f("ck_deviations_entry_positive")),
        sa.CheckConstraint("length(reason) > 0", name=op.f("ck_deviations_reason_given")),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id", "revision"],
            ["revisions.site_id", "revisions.work_order_id", "revisions.number"],
            name=op.f("fk_deviations_revisions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_deviations_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_deviations")),
        sa.UniqueConstraint(
            "site_id", "work_order_id", "entry", name=op.f("uq_deviations_site_id_work_order_id_entry")
        ),
    )
    op.create_table(
        "as_found",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("position", sa.Text(), nullable=False),
        sa.Column("made_revision", sa.Integer(), nullable=True),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_as_found_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_as_found")),
    )
    op.create_index(op.f("ix_as_found_site_id_work_order_id"), "as_found", ["site_id", "work_order_id"], unique=False)
    op.create_table(
        "completions",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("completed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("completed_by", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id", "revision"],
            ["revisions.site_id", "revisions.work_order_id", "revisions.number"],
            name=op.f("fk_completions_revisions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_completions_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_completions")),
        sa.UniqueConstraint("site_id", "work_order_id", name=op.f("uq_completions_site_id_work_order_id")),
    )
    op.create_table(
        "corrections",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("completion_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("corrects", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("corrected_by", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("corrects <> id", name=op.f("ck_corrections_corrects_another")),
        sa.CheckConstraint("length(reason) > 0", name=op.f("ck_corrections_reason_given")),
        sa.ForeignKeyConstraint(
            ["site_id", "completion_id"],
            ["completions.site_id", "completions.id"],
            name=op.f("fk_corrections_completions"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_corrections")),
        sa.UniqueConstraint("site_id", "corrects", name=op.f("uq_corrections_site_id_corrects")),
    )
    op.create_index(
        op.f("ix_corrections_site_id_completion_id"), "corrections", ["site_id", "completion_id"], unique=False
    )


def stays() -> None:
    """Stays of bearings in positions."""
    op.create_table(
        "stays",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("external_id", sa.Text(), nullable=True),
        sa.Column("position_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("work_order_id", sa.Uuid(as_uuid=False), nullable=True),
        sa.Column("designation", sa.Text(), nullable=False),
        sa.Column("manufacturer", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("installed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("removed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("operating_hours", sa.Double(), nullable=True),
        sa.Column("as_of", sa.DateTime(timezone=True), nullable=True),
        sa.Column("age_at_install_h", sa.Double(), nullable=True),
        sa.Column("observed_from", sa.DateTime(timezone=True), nullable=True),
        sa.Column("end_type", sa.Text(), nullable=False),
        sa.Column("inspected", sa.Boolean(), nullable=True),
        sa.Column("damage", sa.Text(), nullable=True),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("initial_clearance_nm", sa.BigInteger(), nullable=True),
        sa.Column("residual_clearance_nm", sa.BigInteger(), nullable=True),
        sa.Column("window_min_nm", sa.BigInteger(), nullable=True),
        sa.Column("window_max_nm", sa.BigInteger(), nullable=True),
        sa.Column("downtime_h", sa.Double(), nullable=True),
        sa.Column("work_order_number", sa.Text(), nullable=True),
        sa.Column("role", sa.Text(), nullable=True),
        sa.Column("installed_by", sa.Text(), nullable=True),
        sa.Column("deviations", sa.Integer(), nullable=True),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("(removed_at IS NULL) = (end_type = 'running')", name=op.f("ck_stays_open_is_running")),
        sa.CheckConstraint(
            "end_type IN ('running', 'failed', 'removed_condition', 'removed_preventive', "
            "'removed_opportunistic', 'removed_other', 'lost_to_follow_up', 'unknown')",
            name=op.f("ck_stays_end_type_known"),
        ),
        sa.CheckConstraint(
            "age_at_install_h >= 0 AND age_at_install_h < 1e9", name=op.f("ck_stays_age_at_install_h_finite")
        ),
        sa.CheckConstraint("downtime_h >= 0 AND downtime_h < 1e9", name=op.f("ck_stays_downtime_h_finite")),
        sa.CheckConstraint(
            "operating_hours >= 0 AND operating_hours < 1e9", name=op.f("ck_stays_operating_hours_finite")
        ),
        sa.CheckConstraint(
            "removed_at IS NULL OR removed_at > installed_at", name=op.f("ck_stays_removed_after_installed")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "position_id"],
            ["positions.site_id", "positions.id"],
            name=op.f("fk_stays_positions"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "work_order_id"],
            ["work_orders.site_id", "work_orders.id"],
            name=op.f("fk_stays_work_orders"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_stays")),
        sa.UniqueConstraint("site_id", "external_id", name=op.f("uq_stays_site_id_external_id")),
    )
    op.create_index(
        "uq_stays_one_open",
        "stays",
        ["site_id", "position_id"],
        unique=True,
        sqlite_where=sa.text("removed_at IS NULL"),
        postgresql_where=sa.text("removed_at IS NULL"),
    )
    op.create_index(
        op.f("ix_stays_site_id_position_id_installed_at"),
        "stays",
        ["site_id", "position_id", "installed_at"],
        unique=False,
    )
    op.create_index(op.f("ix_stays_site_id_work_order_id"), "stays", ["site_id", "work_order_id"], unique=False)
    op.create_index(op.f("ix_stays_site_id_designation_id"), "stays", ["site_id", "designation", "id"], unique=False)
    op.create_index(op.f("ix_stays_site_id_end_type_id"), "stays", ["site_id", "end_type", "id"], unique=False)
    op.create_index(op.f("ix_stays_site_id_installed_at"), "stays", ["site_id", "installed_at"], unique=False)
    op.create_index(
        "ix_stays_damaged",
        "stays",
        ["site_id", "id"],
        unique=False,
        sqlite_where=sa.text("damage IS NOT NULL"),
        postgresql_where=sa.text("damage IS NOT NULL"),
    )


def meter_readings() -> None:
    """Readings of hour meters."""
    op.create_table(
        "meter_readings",
        sa.Column("site_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("asset_id", sa.Uuid(as_uuid=False), nullable=False),
        sa.Column("read_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("value_h", sa.Double(), nullable=False),
        sa.Column("restarts_at_h", sa.Double(), nullable=True),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("value_h >= 0 AND value_h < 1e9", name=op.f("ck_meter_readings_value_h_finite")),
        sa.CheckConstraint(
            "restarts_at_h >= 0 AND restarts_at_h < 1e9", name=op.f("ck_meter_readings_restarts_at_h_finite")
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "asset_id"],
            ["assets.site_id", "assets.id"],
            name=op.f("fk_meter_readings_assets"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name=op.f("pk_meter_readings")),
        sa.UniqueConstraint("site_id", "asset_id", "read_at", name=op.f("uq_meter_readings_site_id_asset_id_read_at")),
    )


def append_only_on_sqlite() -> None:
    """Refuse UPDATE and DELETE, and the INSERT OR REPLACE that deletes without firing a trigger."""
    for table in APPEND_ONLY:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER tr_{table}_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            )
    keys = {"journal": "seq"}
    for table, key in ((table, keys.get(table, "id")) for table in APPEND_ONLY):
        op.execute(
            f"CREATE TRIGGER tr_{table}_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE site_id = NEW.site_id AND {key} = NEW.{key}) "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def append_only_on_postgresql() -> None:
    """Refuse UPDATE, DELETE and TRUNCATE."""
    op.execute(
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$"
    )
    for table in APPEND_ONLY:
        op.execute(
            f"CREATE TRIGGER tr_{table}_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{table}_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )


def no_overlap_on_sqlite() -> None:
    """Refuse a stay that overlaps another; that two are open is left to the unique index.

    A bare year would be compared as a number: the column has numeric affinity.
    """
    for name, event in (("insert", "INSERT"), ("update", "UPDATE OF position_id, installed_at, removed_at")):
        op.execute(
            f"CREATE TRIGGER tr_stays_no_overlap_{name} BEFORE {event} ON stays WHEN EXISTS ("
            "SELECT 1 FROM stays AS other WHERE other.site_id = NEW.site_id AND other.position_id = NEW.position_id "
            "AND other.id <> NEW.id AND NOT (other.removed_at IS NULL AND NEW.removed_at IS NULL) "
            "AND other.installed_at < coalesce(NEW.removed_at, '9999-12-31') "
            "AND NEW.installed_at < coalesce(other.removed_at, '9999-12-31')) "
            "BEGIN SELECT RAISE(ABORT, 'ex_stays_no_overlap'); END"
        )


def no_overlap_on_postgresql() -> None:
    """Refuse a stay that overlaps another, by a constraint if the server has the means, else by a trigger.

    One block, so that it is decided where it runs: the server may lack the files of the extension, the role the right.
    """
    op.execute(
        "CREATE FUNCTION refuse_overlap() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF NEW.removed_at < NEW.installed_at THEN RETURN NEW; END IF; "  # no range: left to the CHECK
        "PERFORM 1 FROM positions WHERE site_id = NEW.site_id AND id = NEW.position_id FOR UPDATE; "
        "IF EXISTS (SELECT 1 FROM stays AS other WHERE other.site_id = NEW.site_id "
        "AND other.position_id = NEW.position_id AND other.id <> NEW.id "
        "AND NOT (other.removed_at IS NULL AND NEW.removed_at IS NULL) "
        "AND tstzrange(other.installed_at, other.removed_at) && tstzrange(NEW.installed_at, NEW.removed_at)) THEN "
        "RAISE EXCEPTION 'two stays overlap' USING ERRCODE = 'exclusion_violation', "
        "CONSTRAINT = 'ex_stays_no_overlap'; "
        "END IF; RETURN NEW; END $$"
    )
    op.execute(
        "DO $$ DECLARE at_hand boolean; BEGIN "
        "SELECT count(*) > 0 INTO at_hand FROM pg_available_extensions WHERE name = 'btree_gist'; "
        "IF at_hand THEN BEGIN CREATE EXTENSION IF NOT EXISTS btree_gist; "
        "EXCEPTION WHEN insufficient_privilege THEN at_hand := false; END; END IF; "
        "IF at_hand THEN EXECUTE 'ALTER TABLE stays ADD CONSTRAINT ex_stays_no_overlap EXCLUDE USING gist "
        "(site_id WITH =, position_id WITH =, tstzrange(installed_at, removed_at) WITH &&)'; "
        "ELSE EXECUTE 'CREATE TRIGGER tr_stays_no_overlap BEFORE INSERT OR "
        "UPDATE OF site_id, position_id, installed_at, removed_at ON stays "
        "FOR EACH ROW EXECUTE FUNCTION refuse_overlap()'; "
        "END IF; END $$"
    )
