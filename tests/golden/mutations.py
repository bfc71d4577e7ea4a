"""python -m tests.golden.mutations: change one value at a time and see that the net turns red.

Tables: every cell, in this process, against the locks. Steps: every word, flag and place of the step tables, in this
process, against their lock and against the golden plans alone. Limits: every number of a constant of the domain, in a
temporary copy of the package, against the lock and against the golden plans alone. Numbers: every other number of the
domain but 0, 1 and 2, against the golden plans, which are all that holds them.
"""

import argparse
import ast
import copy
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from service import catalogue
from service.catalogue import Catalogue
from service.instructions import readiness
from service.instructions.plan import added_steps, calculations, messages, step_table, walk
from service.reference.tables import DATA_VERSION
from tests.golden import codes, engine, plans
from tests.golden.changes import changes
from tests.golden.locks import table_faults
from tests.golden.tables import Rows, read_locks, tables

ROOT = Path(__file__).parents[2]


@dataclass
class Tally:
    """How many changes were made, which the net did not see, and which the golden plans alone did not see."""

    made: int = 0
    unseen: list[str] = field(default_factory=list)
    in_no_plan: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        told = f"{self.made} changes, {len(self.unseen)} not seen"
        return told + (f", {len(self.in_no_plan)} that no golden plan shows" if self.in_no_plan else "")


def other(value: str) -> str:
    """Return another value that a slip of the finger makes: the last digit, else a letter more."""
    for place in range(len(value) - 1, -1, -1):
        if value[place].isdigit():
            return value[:place] + str((int(value[place]) + 1) % 10) + value[place + 1 :]
    return value + "x" if value else "1"


def mutated_tables() -> Iterator[tuple[str, str, str, Rows]]:
    """Yield every table with one cell changed, empty cells and provenance too: name, row, column, rows."""
    for name, rows in tables().items():
        for key, row in rows.items():
            for column, value in row.items():
                yield name, key, column, {**rows, key: {**row, column: other(value)}}


def try_tables() -> Tally:
    """Change every cell of every table; a fault must name table, row and column, raised version or not."""
    lock, lines, tally = read_locks(), changes(), Tally()
    for name, key, column, rows in mutated_tables():
        tally.made += 1
        for version in (DATA_VERSION, "9999.1"):
            said = "\n".join(table_faults(name, rows, lock, lines, version))
            if not all(word in said for word in (name, f"row {key}", column, "CHANGES.md")):
                tally.unseen.append(f"{name} {key} {column} ({version}): {said}")
    return tally


def mutated_steps() -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the step tables with one word, flag or place changed, and what was changed."""
    whole = engine.step_tables()
    for file, content in whole.items():
        for kind, entries in content.items():
            if isinstance(entries, str):
                after = copy.deepcopy(whole)
                _change(after[file], (kind,))
                yield f"{file} {kind}", after
                continue
            for number in range(len(entries)) if isinstance(entries, list) else entries:
                for path in _leaves(entries[number], (number,)):
                    after = copy.deepcopy(whole)
                    _change(after[file][kind], path)
                    yield f"{file} {kind} {'/'.join(map(str, path))}", after
                if kind == "step" and number and entries[number]["phase"] == entries[number - 1]["phase"]:
                    after = copy.deepcopy(whole)
                    pair = after[file][kind]
                    pair[number - 1], pair[number] = pair[number], pair[number - 1]
                    yield f"{file} step {number} changes places", after
                if kind == "step" and "hold" not in entries[number]:
                    after = copy.deepcopy(whole)
                    after[file][kind][number]["hold"] = 6
                    yield f"{file} step {number} becomes a hold", after


def _leaves(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(node, dict | list):
        for key, value in node.items() if isinstance(node, dict) else enumerate(node):
            yield from _leaves(value, (*path, key))
    else:
        yield path


def _change(node: Any, path: tuple[Any, ...]) -> None:
    for key in path[:-1]:
        node = node[key]
    value = node[path[-1]]
    if isinstance(value, bool):
        node[path[-1]] = not value
    else:
        node[path[-1]] = value % 9 + 1 if isinstance(value, int) else other(value)


@contextmanager
def steps(given: dict[str, Any]) -> Iterator[None]:
    """Make plans from other step tables, in this process."""
    kept = (
        *(step_table.built_in_steps, step_table.sources, step_table.phases, step_table.typical_facts),
        *(
            calculations.unmeasured_table,
            added_steps.stops,
            added_steps.stop_template,
            walk.walks,
            readiness.all_questions,
        ),
    )

    def forget() -> None:
        for each in kept:
            each.cache_clear()
        for each in Catalogue.known:
            vars(each).pop("messages", None)

    def said(package: str) -> dict[str, Any]:
        return given[f"{package.rpartition('.')[2]}/messages"]

    forget()
    try:
        with (
            mock.patch.object(messages, "_contents", lambda name: given[f"plan/{name}"]),
            mock.patch.object(catalogue, "contents", said),
        ):
            yield
    finally:
        forget()


def try_steps(step: int = 1) -> Tally:
    """Change every leaf of the step tables, or each ``step``-th; a table that is refused when read is seen too."""
    kept, tally = engine.kept()["steps"], Tally()
    expected = {name: plans.kept(name) for name in plans.names()}
    for number, (what, after) in enumerate(mutated_steps()):
        if number % step:
            continue
        tally.made += 1
        if engine.steps_of(after) == kept:
            tally.unseen.append(what)
        with steps(after):
            if not _any_plan_differs(expected):
                tally.in_no_plan.append(what)
    return tally


def _any_plan_differs(expected: dict[str, dict[str, Any]]) -> bool:
    try:
        return any(plans.made_now(document)["sha256"] != document["sha256"] for document in expected.values())
    except Exception:  # whatever keeps a plan from being made is seen
        return True


def mutated_limits(*, constants: bool = True) -> Iterator[tuple[str, Path, str]]:
    """Yield each number of the constants of the domain, or each other one, with its module and the text changed."""
    for path, tree in codes.domain():
        text = path.read_text(encoding="utf-8").split("\n")
        for node in _numbers(tree, of_constants=constants):
            line = text[node.lineno - 1]
            number = line[node.col_offset : node.end_col_offset]
            changed = line[: node.col_offset] + other(number) + line[node.end_col_offset :]
            after = [*text[: node.lineno - 1], changed, *text[node.lineno :]]
            yield f"{path.relative_to(ROOT)}:{node.lineno} {number}", path, "\n".join(after)


def _numbers(tree: ast.Module, *, of_constants: bool) -> list[ast.Constant]:
    """Return the numbers that stand in constants, or the others but 0, 1, 2 and the sizes of caches."""
    inside = [node for _, value in codes.constants(tree) for node in ast.walk(value)]
    if not of_constants:
        decorating = [n for each in ast.walk(tree) if isinstance(each, ast.FunctionDef) for n in each.decorator_list]
        left_out = {id(node) for node in inside} | {id(node) for each in decorating for node in ast.walk(each)}
        inside = [node for node in ast.walk(tree) if id(node) not in left_out]
    found = [node for node in inside if isinstance(node, ast.Constant) and type(node.value) in (int, float)]
    return [node for node in found if of_constants or node.value not in (0, 1, 2)]


def try_limits(step: int = 1) -> Tally:
    """Change every number of the constants in a temporary copy of the package."""
    tally, kept = Tally(), engine.kept()["limits"]
    with copied() as root:
        for number, (what, path, after) in enumerate(mutated_limits()):
            if number % step:
                continue
            tally.made += 1
            limits = {name: ast.unparse(value) for name, value in codes.constants(ast.parse(after))}
            package = path.relative_to(codes.SERVICE).parts[0].removesuffix(".py")
            if all(kept.get(f"{package}.{path.stem}.{name}", value) == value for name, value in limits.items()):
                tally.unseen.append(what)
            if not _plans_differ(root, path.relative_to(ROOT), after):
                tally.in_no_plan.append(what)
    return tally


def try_numbers() -> Tally:
    """Change every other number of the domain in a temporary copy; what no plan shows is told, not refused."""
    tally = Tally()
    with copied() as root:
        for what, path, after in mutated_limits(constants=False):
            tally.made += 1
            if not _plans_differ(root, path.relative_to(ROOT), after):
                tally.in_no_plan.append(what)
    return tally


@contextmanager
def copied() -> Iterator[Path]:
    """Give a temporary copy of the package and of the net."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        ignored = shutil.ignore_patterns("__pycache__", "api", "templates")
        shutil.copytree(ROOT / "service", root / "service", ignore=ignored)
        shutil.copytree(ROOT / "tests" / "golden", root / "tests" / "golden", ignore=ignored)
        (root / "tests" / "__init__.py").touch()
        yield root


def told(root: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Return what Python says in a copy."""
    environment = {**os.environ, "PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, *arguments], cwd=root, env=environment, capture_output=True, text=True, timeout=120
    )


_PLANS_ONLY = "import sys; from tests.golden import plans; sys.exit(any(True for _ in plans.changed_plans()))"


def _plans_differ(root: Path, path: Path, text: str) -> bool:
    before = (root / path).read_text(encoding="utf-8")
    (root / path).write_text(text, encoding="utf-8")
    try:
        return told(root, "-c", _PLANS_ONLY).returncode != 0
    finally:
        (root / path).write_text(before, encoding="utf-8")


TRIES: dict[str, Callable[[], Tally]] = {
    "tables": try_tables,
    "steps": try_steps,
    "limits": try_limits,
    "numbers": try_numbers,
}

if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.golden.mutations", description=__doc__)
    parser.add_argument(
        "what", nargs="*", default=list(TRIES), help="tables, steps, limits, numbers; all when left out"
    )
    failed = False
    for what in parser.parse_args().what:
        tally = TRIES[what]()
        print(f"{what}: {tally}")
        for each in tally.in_no_plan:
            print(f"  in no plan: {each}")
        for each in tally.unseen:
            print(f"  NOT SEEN: {each}")
        failed = failed or bool(tally.unseen)
    sys.exit(failed)
