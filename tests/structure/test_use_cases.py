"""The layers that no tool knows by itself: each module in a contract, and commands that load no web framework."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
QUERIES = {path.stem for path in (ROOT / "service/store/queries").glob("*.py")}


def contracts() -> list[dict[str, object]]:
    pyproject = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    found: list[dict[str, object]] = pyproject["tool"]["importlinter"]["contracts"]
    return found


def named(contract: dict[str, object]) -> set[str]:
    """The modules that a contract about layers or independence places."""
    containers = contract.get("containers", [""])
    lines = [*contract.get("layers", ()), *contract.get("modules", ())]  # type: ignore[misc]
    names = [name.strip(" ()") for line in lines for part in line.split("|") for name in part.split(":")]
    return {f"{container}.{name}".strip(".") for container in containers for name in names}  # type: ignore[union-attr]


def modules() -> list[str]:
    """All modules that hold anything; an empty ``__init__`` only makes its folder a package."""
    paths = sorted(path for path in (ROOT / "service").rglob("*.py") if path.stat().st_size)
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in paths]
    return [name.removesuffix(".__init__") for name in names]


def test_every_module_stands_in_a_contract() -> None:
    """A module is placed when it, or a package that it lies in, stands in a contract about layers; ``service.api``
    stands in one as a whole and does not count for what it holds."""
    placed = set().union(*(named(contract) for contract in contracts() if contract["type"] != "forbidden"))
    placed -= {"service", "service.api"}
    outside = [
        name
        for name in modules()
        if name != "service" and not any(name == place or name.startswith(f"{place}.") for place in placed)
    ]
    assert outside == []


def test_each_folder_of_the_api_is_placed_by_itself() -> None:
    """``service.api`` as one layer says nothing about its folders."""
    placed = set().union(*(named(contract) for contract in contracts() if contract["type"] != "forbidden"))
    folders = {
        f"service.api.{path.name}" for path in (ROOT / "service/api").iterdir() if (path / "__init__.py").exists()
    }
    assert folders - placed == set()


def test_the_edge_writes_by_use_cases_alone() -> None:
    """What is entered in the journal is said by the use cases: a view that made an event, or stored a row by itself,
    would be a second way of writing, past what the card, the batch and the command line do."""
    writing = re.compile(r"^(insert|delete|replace|change|cancel|record|end|begin|queue|move)_|^(queue|move|lease)$")
    found = []
    for path in sorted((ROOT / "service/api").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and any(each.name == "Event" for each in node.names):
                found.append(f"{path.relative_to(ROOT)} makes events")
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("service.store.queries."):
                found += [f"{path.relative_to(ROOT)} {each.name}" for each in node.names if writing.search(each.name)]
            asked = isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in QUERIES
            if asked and writing.search(node.attr):  # type: ignore[attr-defined]
                found.append(f"{path.relative_to(ROOT)} {ast.unparse(node)}")
    assert found == []


COMMANDS = {
    "import": (("import", "{folder}/stays.csv", "--site", "ALDER", "--create-assets"), {"flask", "marshmallow"}),
    "export": (("export", "{folder}/out.ndjson", "--site", "ALDER"), {"flask", "marshmallow"}),
    "charts import": (
        (
            *("charts", "import", "{folder}/chart.csv", "--site", "ALDER", "--kind", "reduction", "--name", "book"),
            *("--title", "Book", "--edition", "1", "--page", "1", "--entered-by", "A", "--checked-by", "B"),
            *("--accept-unusual", "an invented row"),
        ),
        {"flask"},  # its rows are read through the schemas of the API
    ),
}
STAYS = (
    "external_id,asset,position,designation,installed_at,end_type\r\n"
    "S-1,FAN-1,tail,22216 K/C3,2024-01-07T06:30:00Z,running\r\n"
)
CHART = "bearing_type,bore_over_mm,bore_incl_mm,min_mm,max_mm\r\nspherical_roller,65,80,0.04,0.05\r\n"
PROGRAM = """
import sys
from service.cli import main
try:
    main(sys.argv[1:], standalone_mode=False)
finally:
    print("LOADED", *sorted({name.split(".")[0] for name in sys.modules}))
"""


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_loads_no_web_framework(command: str, sqlite_url: str, tmp_path: Path) -> None:
    from service.settings import Settings
    from service.store.database import Database
    from service.store.queries.sites import create_site

    database = Database(Settings(database_url=sqlite_url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    database.dispose()
    (tmp_path / "stays.csv").write_text(STAYS, newline="")
    (tmp_path / "chart.csv").write_text(CHART, newline="")
    arguments, refused = COMMANDS[command]
    told = subprocess.run(
        [sys.executable, "-c", PROGRAM, *(each.format(folder=tmp_path) for each in arguments)],
        cwd=ROOT,
        env={"CAPSADDLE_DATABASE_URL": sqlite_url, "PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert told.returncode == 0, told.stderr
    (loaded,) = [line.split()[1:] for line in told.stdout.splitlines() if line.startswith("LOADED")]
    assert "sqlalchemy" in loaded  # the command did run
    assert refused & set(loaded) == set()
