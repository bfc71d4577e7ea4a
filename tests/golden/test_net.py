"""Golden plans, steps, limits and tables are as they are kept, and what differs says which version to raise."""

import pytest

from service import ENGINE_VERSION
from service.reference.tables import DATA_VERSION
from tests.golden import engine, locks, net, plans
from tests.golden.changes import Change, NotThisTable, changes, undone
from tests.golden.locks import history_faults, table_faults
from tests.golden.tables import Locks, Rows, locked, read_locks, tables, write_locks
from tests.golden.text import differences, said

LATER = "9999.1"
TABLE, ROW, COLUMN = "mounting_srb", "65", "residual_min_C3_mm"
"""Smallest residual of C3 above 65 to 80 mm: 0.040 mm in four publications of the mm printing."""


@pytest.mark.parametrize("name", plans.names())
def test_the_plan_of_a_machine_is_the_one_kept(name: str) -> None:
    document = plans.kept(name)
    found = plans.plan_differences(document)
    assert not found, f"\n{said(found)}\n{net.RAISE_ENGINE}, or DATA_VERSION where a table changed, then {net.WRITE}"
    assert plans.written(document) == plans.kept_text(name), f"not as {net.WRITE} writes it"


def test_steps_limits_and_machine_files_are_those_kept() -> None:
    assert "\n".join(net.engine_faults()) == ""


def test_every_table_is_as_it_is_locked_with_its_version() -> None:
    assert "\n".join(locks.data_faults()) == ""
    assert locks.is_current(), net.LOCK


def test_the_versions_are_those_that_the_golden_plans_were_made_with() -> None:
    kept = engine.kept()
    assert (kept["engine_version"], kept["data_version"]) == (ENGINE_VERSION, DATA_VERSION), net.WRITE


def changed(old: str = "0.040", new: str = "0.035") -> Rows:
    rows = tables()[TABLE]
    assert rows[ROW][COLUMN] == old
    return {**rows, ROW: {**rows[ROW], COLUMN: new}}


def line(
    old: str = "0.040", new: str = "0.035", *, version: str = LATER, row: str = ROW, column: str = COLUMN
) -> Change:
    return Change(version, TABLE, row, column, old, new, "A book of tables, 3rd ed., p. 12")


def test_a_changed_value_needs_a_raised_version_and_says_which_cell_it_is() -> None:
    (fault,) = table_faults(TABLE, changed(), read_locks(), [line(version=DATA_VERSION)], DATA_VERSION)
    assert all(
        word in fault for word in (f"{TABLE}, row {ROW}: {COLUMN} is now 0.035", "raise DATA_VERSION", "CHANGES.md")
    )


def test_a_raised_version_needs_the_line_that_names_the_value() -> None:
    (fault,) = table_faults(TABLE, changed(), read_locks(), [], LATER)
    assert "does not account for it" in fault and COLUMN in fault
    assert not list(table_faults(TABLE, changed(), read_locks(), [line()], LATER))


@pytest.mark.parametrize(
    "wrong",
    [line(old="0.045"), line(new="0.030"), line(column="residual_min_C4_mm"), line(row="80"), line(row="66")],
    ids=["old value", "new value", "column", "row", "no such row"],
)
def test_a_line_that_is_not_true_does_not_do(wrong: Change) -> None:
    assert list(table_faults(TABLE, changed(), read_locks(), [wrong], LATER))


def test_rows_that_come_or_go_are_accounted_for_too() -> None:
    rows = dict(tables()[TABLE])
    came = {**rows, "1250": {"d_over_mm": "1250", "d_incl_mm": "1400"}}
    assert list(table_faults(TABLE, came, read_locks(), [], LATER))
    assert not list(
        table_faults(TABLE, came, read_locks(), [line("-", "as printed", row="1250", column="(row)")], LATER)
    )
    cells = "; ".join(f"{column}={value}" for column, value in rows[ROW].items() if value)
    gone = {key: row for key, row in rows.items() if key != ROW}
    assert list(table_faults(TABLE, gone, read_locks(), [], LATER))
    assert not list(table_faults(TABLE, gone, read_locks(), [line(cells, "-", column="(row)")], LATER))


def test_a_new_column_is_one_line() -> None:
    rows = {key: {**row, "note": "x"} for key, row in tables()[TABLE].items() if key != "provenance"}
    wider = {"provenance": tables()[TABLE]["provenance"], **rows}
    assert list(table_faults(TABLE, wider, read_locks(), [], LATER))
    assert not list(table_faults(TABLE, wider, read_locks(), [line("-", "x", row="(all)", column="note")], LATER))


def test_rows_in_another_order_are_seen() -> None:
    backwards = dict(reversed(tables()[TABLE].items()))
    (fault,) = table_faults(TABLE, backwards, read_locks(), [], DATA_VERSION)
    assert "another order" in fault


def test_the_tables_of_an_earlier_version_can_still_be_had() -> None:
    """After a renewed lock, the line of CHANGES.md still leads back to the digest of the old table."""
    old = read_locks().tables[TABLE]
    later = Locks(LATER, {TABLE: locked(changed())}, ((DATA_VERSION, {TABLE: old.digest}),))
    assert not list(history_faults({TABLE: changed()}, later, [line()]))
    assert list(history_faults({TABLE: changed()}, later, []))
    assert list(history_faults({TABLE: changed()}, later, [line(old="0.041")]))
    assert list(history_faults({TABLE: changed()}, later, [line(new="0.036")]))


def test_a_table_says_what_it_is_before_a_line_is_believed() -> None:
    with pytest.raises(NotThisTable, match=r"the table says 0\.040"):
        undone(TABLE, tables()[TABLE], [line()])


def test_lines_are_read_from_the_file_as_it_is_written(tmp_path) -> None:
    path = tmp_path / "CHANGES.md"
    path.write_text(
        f"## {LATER}\n\n| table | row | column | old | new | publication |\n|---|---|---|---|---|---|\n"
        f"| {TABLE} | {ROW} | {COLUMN} | 0.040 | 0.035 | A book of tables, 3rd ed., p. 12 |\n"
    )
    assert changes(path) == [line()]
    path.write_text(f"## {LATER}\n| {TABLE} | {ROW} | {COLUMN} | 0.040 | 0.035 | |\n")
    with pytest.raises(ValueError, match="none of them empty"):
        changes(path)


def test_locks_are_read_as_they_were_written(tmp_path) -> None:
    found = Locks(LATER, read_locks().tables, (("2026.11", {TABLE: "0123"}),))
    write_locks(found, tmp_path / "locks.toml")
    assert read_locks(tmp_path / "locks.toml") == found


@pytest.mark.parametrize(
    ("engine_version", "data_version", "raised"),
    [
        ("9", "2026.11", True),
        ("2", "2026.12", True),
        ("2", "2026.11", False),
        ("1", "2026.12", False),
        ("10", "2026.9", False),
    ],
)
def test_only_a_version_that_was_raised_lets_plans_be_made_anew(
    monkeypatch, engine_version: str, data_version: str, raised: bool
) -> None:
    monkeypatch.setattr(net, "ENGINE_VERSION", engine_version)
    monkeypatch.setattr(net, "DATA_VERSION", data_version)
    assert net.raised({"engine_version": "2", "data_version": "2026.11"}) is raised


def test_golden_plans_are_not_made_anew_under_the_same_versions() -> None:
    with pytest.raises(SystemExit, match="raise the one that changed"):
        net.write()


def test_a_difference_names_member_old_and_new() -> None:
    old = {"steps": [{"id": "a", "text": "x"}, {"id": "b", "text": "y"}, {"id": "c", "text": "z"}]}
    new = {
        "steps": [
            {"id": "a", "text": "w"},
            {"id": "c", "text": "z"},
            {"id": "b", "text": "y"},
            {"id": "d", "text": "v"},
        ]
    }
    found = list(differences(old, new))
    assert found == [
        ("/steps/d", "(absent)", {"id": "d", "text": "v"}),
        ("/steps/a/text", "x", "w"),
        ("/steps (order)", ["b", "c"], ["c", "b"]),
    ]
    assert said(found[1:2]) == '  /steps/a/text\n    old: "x"\n    new: "w"'
