"""What the engine makes plans and verdicts from besides the tables: steps as data, and limits that stand in the code.

Kept beside the golden plans with the versions they were made with.
"""

import json
import tomllib
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from service import ENGINE_VERSION
from service.reference.tables import DATA_VERSION
from tests.golden import codes, plans
from tests.golden.text import Difference, differences, pretty

KEPT = Path(__file__).parent / "engine.json"
_NAMED_BY = {"step": "id", "question": "fields", "stop": "code", "source": "id"}


def digest(node: Any) -> str:
    """Return a short digest of a tree, whatever the order of its members."""
    return sha256(json.dumps(node, sort_keys=True, ensure_ascii=False).encode()).hexdigest()[:16]


def step_tables() -> dict[str, Any]:
    """Return what the step tables and the catalogues of messages hold, by file: ``plan/mount``."""
    paths = sorted({*(codes.SERVICE / "instructions").rglob("*.toml"), *codes.SERVICE.glob("*/data/messages.toml")})
    return {f"{path.parents[1].name}/{path.stem}": tomllib.loads(path.read_text(encoding="utf-8")) for path in paths}


def steps_of(tables: dict[str, Any]) -> dict[str, Any]:
    """Return a digest of each entry of the step tables, in their order."""
    return {
        file: {
            kind: [f"{_name(kind, entry)} {digest(entry)}" for entry in entries]
            if isinstance(entries, list)
            else digest(entries)
            for kind, entries in content.items()
        }
        for file, content in tables.items()
    }


def _name(kind: str, entry: dict[str, Any]) -> str:
    name = entry.get(_NAMED_BY.get(kind, "id"), kind)
    return name if isinstance(name, str) else ",".join(name)


def now() -> dict[str, Any]:
    """Return what is kept, as it is now."""
    return {
        "engine_version": ENGINE_VERSION,
        "data_version": DATA_VERSION,
        "steps": steps_of(step_tables()),
        "limits": codes.limits(),
        "machines": {name: sha256(plans.kept_text(name).encode()).hexdigest()[:16] for name in plans.names()},
    }


def kept() -> dict[str, Any]:
    """Return what is kept."""
    found: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8"))
    return found


def keep(state: dict[str, Any]) -> None:
    """Keep a state."""
    KEPT.write_text(pretty(state) + "\n", encoding="utf-8")


def engine_differences(before: dict[str, Any], after: dict[str, Any]) -> Iterator[Difference]:
    """Yield the steps and limits that differ."""
    for member in ("steps", "limits"):
        yield from differences(before[member], after[member], f"/{member}")
