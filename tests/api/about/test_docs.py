"""/docs: complete, true and its own: every code, rule and table stands there, and the examples answer as they say."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from service.api.http.problems import CATALOGUE
from service.app import create_app
from service.reference import tables
from service.render import docs
from service.render.docs.marked import FOLDER
from service.settings import NAMES, Settings
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.golden import codes
from tests.unit.render.card_readers import Page

SERVICE = Path(__file__).parents[3] / "service"
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
    anchors = {f"/docs/{name}".rstrip("/"): set(ids(page)) for name, page in pages.items()}
    served: dict[str, int] = {}
    for name, page in pages.items():
        assert page.faults == [], name
        assert not {tag for tag, _ in page.elements} & {"script", "img", "link", "iframe"}
        assert not [attributes for _, attributes in page.elements if "style" in attributes or "src" in attributes]
        own = f"/docs/{name}".rstrip("/")
        for link in page.all("a"):
            path, _, anchor = link["href"].partition("#")
            assert not path or path.startswith("/"), link
            if path and path not in served:
                served[path] = browser.get(path).status_code
            assert not path or served[path] == 200, link
            assert not anchor or anchor in anchors[path or own], link


def ids(page: Page) -> list[str]:
    """The anchors of a page."""
    return [str(attributes["id"]) for _, attributes in page.elements if "id" in attributes]


def test_no_anchor_stands_twice_on_a_page(pages: dict[str, Page]) -> None:
    for name, page in pages.items():
        assert sorted(set(ids(page))) == sorted(ids(page)), name


def test_every_file_of_the_pages_is_served_and_every_page_has_a_file() -> None:
    files = {path.stem for path in FOLDER.iterdir()}
    assert files == {name or "start" for name in docs.PAGES} - {"index", "all"}


def test_the_contents_name_every_page_and_every_heading_of_this_one(pages: dict[str, Page], app: Flask) -> None:
    for name in pages:
        written = app.test_client().get(f"/docs/{name}" if name else "/docs").text
        contents = Page(written[written.index("<nav") : written.index("</nav>") + len("</nav>")])
        linked = [link["href"] for link in contents.all("a")]
        others = {f"/docs/{other}" if other else "/docs" for other in docs.PAGES if other != name}
        assert others <= set(linked), name
        within = Page(written[written.index("<main>") : written.index("</main>") + len("</main>")])
        if name not in ("index", "all"):  # their own contents stand in them
            headings = [tag for tag, _ in within.elements if tag in ("h2", "h3")]
            assert len([link for link in linked if link.startswith("#")]) == len(headings), name


def test_pages_follow_each_other_without_a_gap(app: Flask) -> None:
    browser, name, seen = app.test_client(), "", [""]
    while True:
        turns = {link.get("rel"): link["href"] for link in Page(address_text(browser, name)).all("a")}
        assert turns.get("prev", "").removeprefix("/docs").strip("/") == (seen[-2] if len(seen) > 1 else "")
        if "next" not in turns:
            break
        name = turns["next"].removeprefix("/docs").strip("/")
        seen.append(name)
    assert [*seen, "index", "all"] == list(docs.PAGES)


def address_text(browser: Any, name: str) -> str:
    """A page as it is served."""
    return str(browser.get(f"/docs/{name}" if name else "/docs").text)


def test_one_page_holds_what_all_the_others_say(app: Flask, pages: dict[str, Page]) -> None:
    for name in docs.PAGES.keys() - {"index", "all"}:
        text = address_text(app.test_client(), name)
        body = text[text.index("</h1>") + 5 : text.index('<ul class="turn">')]
        assert Page(body).text in pages["all"].text, name


def test_the_index_leads_to_every_heading_setting_and_code(pages: dict[str, Page]) -> None:
    links = {link["href"] for link in pages["index"].all("a")}
    for code in CATALOGUE:
        assert f"/docs/problems#{code}" in links
    for rule in docs.rules():
        assert f"/docs/rules#{rule}" in links
    assert all(name in pages["index"].text for name in NAMES)
    assert {"/docs/operate#stopping-and-limits", "/docs/backup", "/docs/orders#readings"} <= links
    assert "row level security: Security" in pages["index"].text


def test_markdown_takes_no_html_no_image_and_no_script_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """CommonMark lets raw HTML through; a page may not."""
    from service.render.docs import marked

    hostile = "# T\n\n<script>x</script> <b>y</b> ![z](http://example.org/z.png) [go](javascript:alert(1))\n"
    (tmp_path / "hostile.md").write_text(hostile, encoding="utf-8")
    monkeypatch.setattr(marked, "FOLDER", tmp_path)
    page = Page(marked.marked("hostile").body)
    assert {tag for tag, _ in page.elements} <= {"p", "a"}
    assert not [link for link in page.all("a") if link["href"].startswith("javascript")]
    assert "<script>x</script>" in page.text


def test_the_standing_warning_stands_where_a_newcomer_begins(pages: dict[str, Page], app: Flask) -> None:
    home = app.test_client().get("/", headers={"Accept": "text/html"}).text
    for text in (pages[""].text, Page(home).text):
        assert "does not replace the makers' instructions, your local codes or qualified people" in text


def test_the_root_says_what_this_is(app: Flask) -> None:
    """RFC 9110, 12.5.1: a browser prefers text/html; who takes anything gets the JSON."""
    browser = app.test_client()
    accept = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
    page = browser.get("/", headers={"Accept": accept})
    assert page.content_type == "text/html; charset=utf-8" and page.headers["Vary"] == "Accept"
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    links = {link["href"] for link in Page(page.text).all("a")}
    assert {"/docs", "/openapi.json"} <= links
    tag = page.headers["ETag"]
    assert browser.get("/", headers={"Accept": accept, "If-None-Match": tag}).status_code == 304
    for headers in ({}, {"Accept": "*/*"}, {"Accept": "application/json"}):
        answer = browser.get("/", headers=headers)
        assert answer.content_type == "application/json" and answer.headers["Vary"] == "Accept"
        assert (answer.json["documentation"], answer.json["contract"]) == ("/docs", "/openapi.json")
    for link in (*links, answer.json["documentation"], answer.json["contract"], answer.json["ready"]):
        assert browser.get(link).status_code == 200, link
    refused = browser.get("/", headers={"Accept": "image/png"})
    assert (refused.status_code, refused.json["code"]) == (406, "not_acceptable")
    refused = browser.post("/", json={})
    assert (refused.status_code, refused.json["code"]) == (405, "method_not_allowed")


def test_the_documentation_has_one_address(app: Flask) -> None:
    """RFC 9110, 15.4.9 and 10.2.2: 308 with a Location that no Host header of the caller gets into."""
    answer = app.test_client().get("/docs/", headers={"Host": "elsewhere.example"})
    assert (answer.status_code, answer.headers["Location"], answer.data) == (308, "/docs", b"")


def test_links_of_the_root_begin_with_the_public_address(sqlite_url: str) -> None:
    app = create_app(Settings(database_url=sqlite_url, public_url="https://bearings.example/mill"))
    browser = app.test_client()
    assert browser.get("/").json["documentation"] == "https://bearings.example/mill/docs"
    assert browser.get("/docs/").headers["Location"] == "https://bearings.example/mill/docs"
    app.extensions["capsaddle"].database.dispose()


def test_every_problem_type_leads_to_its_row(app: Flask, client_of: ClientMaker, pages: dict[str, Page]) -> None:
    rows = {row["id"] for row in pages["problems"].all("tr") if "id" in row}
    assert rows == set(CATALOGUE)
    kind = client_of(app, None).get("/v1/assets").json["type"]
    assert kind == "/docs/problems#no_key"
    for code, (status, title) in CATALOGUE.items():
        assert f"{code}{status}{title}" in pages["problems"].text


def test_every_code_of_blocked_is_explained(pages: dict[str, Page]) -> None:
    assert set(docs.blocked()) == codes.blocked()
    assert {rule for rule, _ in docs.blocked().values()} <= set(docs.rules())
    assert all(code in pages["blocked"].text for code in docs.blocked())


def test_every_rule_that_is_cited_is_written_down(pages: dict[str, Page]) -> None:
    cited = codes.cited_rules()
    for path in (SERVICE / "instructions" / "plan" / "data").glob("*.toml"):
        for steps in tomllib.loads(path.read_text(encoding="utf-8")).values():
            cited |= {step["rule"] for step in steps if isinstance(step, dict) and "rule" in step}
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
