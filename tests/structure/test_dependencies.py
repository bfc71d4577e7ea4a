"""What is installed is what was pinned: each dependency that pyproject.toml names has one exact version."""

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]


def pinned() -> dict[str, str]:
    lines = (ROOT / "docker/constraints.txt").read_text().split()
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line) for line in lines)
    return {canonicalize_name(name): version for name, version in (line.split("==") for line in lines)}


def test_every_dependency_is_pinned_within_its_range() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = [Requirement(text) for text in (*project["dependencies"], *project["optional-dependencies"]["test"])]
    versions = pinned()
    for each in wanted:
        assert versions.get(canonicalize_name(each.name)) in each.specifier, each
