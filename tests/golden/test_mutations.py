"""A sample of what ``python -m tests.golden.mutations`` does in full: the net turns red when one value changes."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.golden import mutations
from tests.golden.locks import table_faults
from tests.golden.tables import read_locks

SAMPLE = 197


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


def without_hold_point(text: str) -> str:
    """The place of the free bearing is no hold any more."""
    return text.replace("hold = 5\n", "")


def with_another_text(text: str) -> str:
    """A ring gap that looks the other way."""
    return text.replace("gap upward", "gap downward")


def in_another_order(text: str) -> str:
    """Locked before it is tightened."""
    return text.replace('"tighten-free:later", "lock-free:later"', '"lock-free:later", "tighten-free:later"')


def with_another_limit(text: str) -> str:
    """A reading is measured again up to 0.0003 in outside its limit, in place of 0.0002 in."""
    return text.replace("RECHECK_NM: Final = 5080", "RECHECK_NM: Final = 7620")


@pytest.mark.parametrize(
    ("name", "folder", "change", "in_a_plan"),
    [
        ("place.toml", "service/instructions", without_hold_point, True),
        ("mount.toml", "service/instructions", with_another_text, True),
        ("walks.toml", "service/instructions", in_another_order, True),
        ("readings.py", "service/mounting", with_another_limit, False),
    ],
    ids=["hold point", "text", "order", "limit"],
)
def test_a_changed_package_fails_with_the_version_to_raise(
    name: str, folder: str, change: Callable[[str], str], in_a_plan: bool
) -> None:
    with mutations.copied() as root:
        path = only(root / folder, name)
        text = path.read_text()
        assert change(text) != text
        path.write_text(change(text))
        said = mutations.told(root, "-m", "tests.golden")
        assert said.returncode == 1
        assert "raise ENGINE_VERSION in service/__init__.py" in said.stdout
        assert ("plans are others, those of another-bearing-fitted," in said.stdout) is in_a_plan


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
