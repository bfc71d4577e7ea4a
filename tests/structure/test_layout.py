"""The rules of the house that no tool knows."""

import ast
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.settings import NAMES

ROOT = Path(__file__).parents[2]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "service", "migrations", "tests", "openapi", "docker", "LICENSE",
}  # fmt: skip
SUFFIXES = (
    "_nm",
    "_um",
    "_mm",
    "_n",
    "_n_m",
    "_mpa",
    "_h",
    "_degc",
    "_k",
    "_in",
    "_deg",
    "_rpm",
    "_bytes",
    "_ms",
    "_s",
)
DOMAIN = ("mounting", "arrangement", "bolting", "instructions", "history", "reliability", "reference")


def modules(*packages: str) -> Iterator[Path]:
    for package in packages:
        yield from sorted((ROOT / "service" / package).rglob("*.py"))


def test_nothing_else_is_visible_at_the_top_level() -> None:
    ignored = {"dist", "build", "venv"}
    visible = {name for name in os.listdir(ROOT) if not name.startswith(".")} - ignored
    assert {name for name in visible if not name.endswith((".db", ".egg-info"))} == TOP_LEVEL


def test_no_committed_file_holds_the_marks_of_a_merge() -> None:
    marks = re.compile(rb"^(<{7} |>{7} )", re.MULTILINE)
    folders = ("service", "tests", "migrations", "openapi", "docker")
    files = [path for folder in folders for path in (ROOT / folder).rglob("*") if path.is_file()]
    assert len(files) > 500
    assert [str(path) for path in files if path.suffix != ".pyc" and marks.search(path.read_bytes())] == []


def test_every_setting_is_in_the_documentation() -> None:
    page = (ROOT / "service/render/docs/pages/operate.md").read_text(encoding="utf-8")
    assert [name for name in NAMES if f"`{name}`" not in page] == []


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_links_to_files_lead_somewhere(document: str) -> None:
    links = re.findall(r"\]\(([^)#]+)[^)]*\)", (ROOT / document).read_text(encoding="utf-8"))
    assert [link for link in links if "://" not in link and not (ROOT / link).exists()] == []


def test_every_public_function_of_the_domain_says_what_it_returns() -> None:
    silent = []
    for path in modules(*DOMAIN):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            public = isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
            if public and ast.get_docstring(node) is None:  # type: ignore[arg-type]
                silent.append(f"{path.relative_to(ROOT)}:{node.lineno}")  # type: ignore[attr-defined]
    assert silent == []


@pytest.mark.parametrize("word", ["clearance", "preload", "diameter", "torque", "life"])
def test_ambiguous_words_do_not_stand_alone_as_names_of_numbers(word: str) -> None:
    bare = []
    for path in modules(*DOMAIN):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.arg) and node.annotation is not None and node.arg == word:
                annotation = ast.unparse(node.annotation)
                if re.search(r"\b(int|float)\b", annotation):
                    bare.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.arg}")
    assert bare == []


def test_request_schemas_use_the_strict_fields_only() -> None:
    """marshmallow's own fields coerce; in request schemas only its containers (List, Nested) may stand."""
    from marshmallow import fields as ma_fields

    from service.api.http.operations import DECLARED

    loose = []

    def look(schema: object, path: str) -> None:
        for name, field in schema.fields.items():  # type: ignore[attr-defined]
            check(field, f"{path}.{name}")

    def check(field: object, path: str) -> None:
        if isinstance(field, ma_fields.Nested):
            look(field.schema, path)
        elif isinstance(field, ma_fields.List):
            check(field.inner, path)
        elif hasattr(field, "shapes"):
            for _, inner in field.shapes:
                check(inner, path)
        elif not type(field).__module__.startswith("service.api"):
            loose.append(path)

    for endpoint, operation in DECLARED.operations.items():
        for schema in (operation.body, operation.query):
            if schema is not None:
                look(schema, endpoint)
    assert loose == []


def test_every_code_that_is_raised_is_in_the_catalogue_of_problems() -> None:
    """What the store's own command line raises (sites, keys) never reaches HTTP."""
    from service.api.http.problems import CATALOGUE

    not_http = {"error", "site_code_taken", "unknown_scope", "unknown_word"}
    unlisted = set()
    for path in modules(*DOMAIN, "store", "api"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                for keyword in node.exc.keywords:
                    if keyword.arg == "code" and isinstance(keyword.value, ast.Constant):
                        unlisted |= {str(keyword.value.value)} - set(CATALOGUE) - not_http
    assert unlisted == set()
