"""/docs: complete, true and its own: every code, rule and table stands there, and the examples answer as they say."""

import ast
import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from service.api.http.problems import CATALOGUE
from service.reference import tables
from service.render import docs
from tests.api.checked import Client
from tests.api.conftest import ClientMaker
from tests.unit.render.card_readers import Page

SERVICE = Path(__file__).parents[2] / "service"
EXAMPLES = docs.examples()


@pytest.fixture
def pages(app: Flask) -> dict[str, Page]:
    """Every page of the documentation, read without a key."""
    browser = app.test_client()
    answers = {name: browser.get(f"/docs/{name}" if name else "/docs") for name in docs.PAGES}
    for name, answer in answers.items():
        assert answer.status_code == 200, name
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
    return {name: Page(answer.text) for name, answer in answers.items()}


@pytest.mark.parametrize("example", EXAMPLES, ids=[example.title for example in EXAMPLES])
def test_the_worked_examples_answer_as_they_say(client: Client, example: docs.Example) -> None:
    """Expected values: ISO 5753-1, the printed practice and hand calculation, as each example says in words."""
    answer = client.post(example.path, example.body)
    for pointer, expected in example.answer.items():
        found: Any = answer.json
        for part in pointer.removeprefix("/").split("/"):
            found = found[int(part)] if isinstance(found, list) else found[part]
        assert found == (pytest.approx(expected, rel=1e-9) if isinstance(expected, float) else expected), pointer


def test_pages_load_nothing_from_outside_and_their_links_lead_somewhere(app: Flask, pages: dict[str, Page]) -> None:
    browser = app.test_client()
    for name, page in pages.items():
        assert page.faults == [], name
        assert not {tag for tag, _ in page.elements} & {"script", "img", "link", "iframe"}
        assert not [attributes for _, attributes in page.elements if "style" in attributes or "src" in attributes]
        own = ids(page)
        for link in page.all("a"):
            path, _, anchor = link["href"].partition("#")
            assert not path or path.startswith("/"), link
            assert not path or browser.get(path).status_code == 200, link
            target = ids(pages[path.removeprefix("/docs").strip("/")]) if path and anchor else own
            assert not anchor or anchor in target, link


def ids(page: Page) -> set[str]:
    """The anchors of a page."""
    return {str(attributes["id"]) for _, attributes in page.elements if "id" in attributes}


def test_every_problem_type_leads_to_its_row(app: Flask, client_of: ClientMaker, pages: dict[str, Page]) -> None:
    rows = {row["id"] for row in pages["problems"].all("tr") if "id" in row}
    assert rows == set(CATALOGUE)
    kind = client_of(app, None).get("/v1/assets").json["type"]
    assert kind == "/docs/problems#no_key"
    for code, (status, title) in CATALOGUE.items():
        assert f"{code}{status}{title}" in pages["problems"].text


def blocked_codes() -> set[str]:
    """The codes that the source gives to what is blocked."""
    found = set()
    for path in SERVICE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Blocked":
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant):
                    found.add(str(first.value))
    return found


def test_every_code_of_blocked_is_explained(pages: dict[str, Page]) -> None:
    from service.instructions.plan.scene import CONTRADICTIONS

    assert set(docs.blocked()) == blocked_codes() | set(CONTRADICTIONS)
    assert {rule for rule, _ in docs.blocked().values()} <= set(docs.rules())
    assert all(code in pages["blocked"].text for code in docs.blocked())


def test_every_rule_that_is_cited_is_written_down(pages: dict[str, Page]) -> None:
    cited = set()
    for path in (SERVICE / "instructions" / "plan" / "data").glob("*.toml"):
        for steps in tomllib.loads(path.read_text(encoding="utf-8")).values():
            cited |= {step["rule"] for step in steps if isinstance(step, dict) and "rule" in step}
    for path in SERVICE.rglob("*.py"):
        cited |= set(re.findall(r"\brules? ([ACBIH]\d{1,2})\b", path.read_text(encoding="utf-8")))
    assert len(cited) > 25
    assert cited <= set(docs.rules())
    assert all(rule["says"] in pages["rules"].text for rule in docs.rules().values())


def test_every_table_stands_with_its_provenance(pages: dict[str, Page]) -> None:
    for name in tables.names():
        found = tables.provenance(name)
        said = pages["tables"].text
        assert all(
            " ".join(text.split()) in said for text in (found.document, found.checked_by, found.licence, found.note)
        )
        assert f"({len(tables.rows(name))} rows)" in said


def test_every_operation_and_member_of_the_contract_stands_in_the_reference(app: Flask, pages: dict[str, Page]) -> None:
    document = json.loads(app.extensions["capsaddle"].openapi)
    said = pages["api"].text
    for path, item in document["paths"].items():
        for method in set(item) & set(docs.METHODS):
            operation = item[method]
            assert f"{method.upper()} {path} scope {operation['security'][0]['ApiKey'][0]}" in said
            for parameter in operation.get("parameters", ()):
                assert parameter.get("name", "") in said
    for name, schema in document["components"]["schemas"].items():
        assert name in said
        assert all(member in said for member in schema.get("properties", {}))


def test_a_page_is_fetched_once(app: Flask) -> None:
    browser = app.test_client()
    tag = browser.get("/docs/rules").headers["ETag"]
    assert browser.get("/docs/rules", headers={"If-None-Match": tag}).status_code == 304
    missing = browser.get("/docs/nothing")
    assert (missing.status_code, missing.json["code"]) == (404, "not_found")
