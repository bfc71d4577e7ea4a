"""The tools that hold the code together: style, types, the direction of imports."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "service", "tests", "migrations"),
        ("ruff", "format", "--check", "service", "tests", "migrations"),
        ("mypy",),
        ("lint-imports",),
    ],
    ids=" ".join,
)
def test_a_tool_finds_nothing(command: tuple[str, ...]) -> None:
    tool = Path(sys.executable).parent / command[0]
    told = subprocess.run([tool, *command[1:]], cwd=ROOT, capture_output=True, text=True, timeout=300)
    assert told.returncode == 0, told.stdout + told.stderr
