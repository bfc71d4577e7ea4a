"""A sample of what ``python -m tests.golden.mutations`` does in full: the net turns red when one value changes."""

from pathlib import Path

import pytest

from tests.golden import mutations
from tests.golden.locks import table_faults
from tests.golden.tables import read_locks

SAMPLE = 97
INSTRUCTIONS, DOMAIN = "service/instructions", "service/mounting"


def test_a_changed_cell_of_any_table_is_named() -> None:
    lock = read_locks()
    for number, (name, key, column, rows) in enumerate(mutations.mutated_tables()):
        if number % SAMPLE == 0:
            said = "\n".join(table_faults(name, rows, lock, [], lock.data_version))
            assert name in said and f"row {key}" in said and column in said, (name, key, column)


def test_a_changed_word_flag_or_place_of_the_steps_is_seen() -> None:
    tally = mutations.try_steps(SAMPLE)
    assert tally.made > 5
    assert tally.unseen == []


def only(folder: Path, name: str) -> Path:
    (found,) = folder.rglob(name)
    return found


def test_a_changed_package_fails_with_the_version_to_raise() -> None:
    """One copy of the package, changed five times: a hold point, a text, an order, a limit, a table."""
    cases = [
        (
            "closing.toml",
            INSTRUCTIONS,
            'per = "free"\ntitle = "Set the free bearing"',
            "hold_point = true",
            "hold_point = false",
        ),
        ("closing.toml", INSTRUCTIONS, "", "Ring gap upward.", "Ring gap downward."),
        ("arrangement_facts.py", INSTRUCTIONS, "", "PER_K: float = 10.0", "PER_K: float = 20.0"),
        ("readings.py", DOMAIN, "", "RECHECK_NM: Final = 5080", "RECHECK_NM: Final = 7620"),
    ]
    with mutations.copied() as root:
        assert mutations.told(root, "-m", "tests.golden").returncode == 0
        for name, folder, after, old, new in cases:
            path = only(root / folder, name)
            text = path.read_text()
            start = text.index(after)
            path.write_text(text[:start] + text[start:].replace(old, new, 1))
            said = mutations.told(root, "-m", "tests.golden")
            assert said.returncode == 1, (name, new)
            assert "raise ENGINE_VERSION in service/__init__.py" in said.stdout
            path.write_text(text)


@pytest.mark.parametrize("raised", [False, True], ids=["same version", "raised version"])
def test_a_changed_table_fails_until_version_and_line_are_there(raised: bool) -> None:
    """The smallest residual of the practice, 0.090 -> 0.085: once passed by every test there was."""
    with mutations.copied() as root:
        table = only(root / "service", "mounting_srb.csv")
        rows = table.read_text().splitlines()
        at = next(number for number, row in enumerate(rows) if row.startswith("140,160,"))
        assert "0.090" in rows[at]
        rows[at] = rows[at].replace("0.090", "0.085", 1)
        table.write_text("\n".join(rows) + "\n")
        if raised:
            module = only(root / "service/reference", "tables.py")
            module.write_text(module.read_text().replace('DATA_VERSION = "', 'DATA_VERSION = "9', 1))
        said = mutations.told(root, "-m", "tests.golden")
        assert said.returncode == 1
        assert "mounting_srb, row 140: residual_min_C3_mm is now 0.085" in said.stdout
        assert ("does not account for it" if raised else "raise DATA_VERSION") in said.stdout
        if raised:
            lines = table.with_name("CHANGES.md")
            version = module.read_text().split('DATA_VERSION = "')[1].split('"')[0]
            row = "| mounting_srb | 140 | residual_min_C3_mm | 0.090 | 0.085 | A book of tables, p. 12 |"
            lines.write_text(f"{lines.read_text()}\n## {version}\n\n{row}\n")
            assert mutations.told(root, "-m", "tests.golden", "--lock", "--write").returncode == 0
            assert mutations.told(root, "-m", "tests.golden").returncode == 0
