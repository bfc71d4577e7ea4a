"""The sheets over HTTP: PDF by level and paper, the print view of a browser, each with its own ETag and policy."""

import json
from collections.abc import Iterator
from typing import Any

import pypdfium2
import pytest
from flask.testing import FlaskClient

from service.app import create_app
from service.settings import Settings
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.first_sheet import SERVICE
from tests.unit.render.card_readers import Page

PDF, HTML = {"Accept": "application/pdf"}, {"Accept": "text/html"}


@pytest.fixture
def asked(sqlite_url: str) -> Iterator[Any]:
    """Answers for the instructions of the demo's order: two bearings, inch site."""
    plant = json.loads((SERVICE / "demo" / "plant.json").read_text(encoding="utf-8"))
    app = create_app(Settings(database_url=sqlite_url))
    database = app.extensions["capsaddle"].database
    create_site(database, plant["site"]["code"], plant["site"]["name"], plant["site"]["units"])
    key = {"Authorization": f"Bearer {create_key(database, plant['site']['code'], ('read', 'write'))}"}
    client: FlaskClient = app.test_client()
    for each in plant["assets"]:
        assert client.post("/v1/assets", json=each, headers=key).status_code == 201
    made = client.post("/v1/work-orders", json=plant["work_order"], headers=key)
    path = f"/v1/work-orders/{made.get_json()['id']}/instructions"
    yield lambda query="", **headers: client.get(f"{path}{query}", headers={**key, **headers})
    database.dispose()


def pages(pdf: bytes) -> int:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return len(document)
    finally:
        document.close()


def test_the_pdf_is_brief_unless_more_is_asked_for(asked: Any) -> None:
    """The demo's two bearings on two leaves, printed on both sides."""
    plain = asked("", **PDF)
    assert plain.status_code == 200 and pages(plain.data) == 4
    assert asked("?level=brief", **PDF).data == plain.data
    counts = [pages(asked(f"?level={level}", **PDF).data) for level in ("brief", "standard", "full")]
    assert counts == sorted(set(counts))


def test_each_level_and_medium_has_a_tag_of_its_own(asked: Any) -> None:
    tags = [asked(query, **PDF).headers["ETag"] for query in ("", "?level=standard", "?level=full", "?paper=a4")]
    tags.append(asked("?level=brief", **HTML).headers["ETag"])
    assert len(set(tags)) == len(tags)
    assert asked("?level=full", **PDF, **{"If-None-Match": tags[2]}).status_code == 304


def test_html_with_a_level_is_the_print_view_with_a_policy_that_lets_nothing_run(asked: Any) -> None:
    answer = asked("?level=brief", **HTML)
    page = Page(answer.get_data(as_text=True))
    assert page.faults == [] and not page.all("script")
    assert len(page.all("svg")) == 4
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'sha256-")


def test_an_unknown_level_is_refused_by_name(asked: Any) -> None:
    answer = asked("?level=short", **PDF)
    assert answer.status_code == 400
    assert "level" in answer.get_data(as_text=True) and "brief" in answer.get_data(as_text=True)
