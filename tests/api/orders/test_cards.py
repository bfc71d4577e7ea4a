"""The cards over HTTP: chosen by Accept, tagged by media, equal to the JSON; nothing of a caller runs in a browser."""

import re

import pytest

from service.app import create_app
from service.settings import Settings
from service.words import LEVELS
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import order
from tests.api.samples.orders import initial, known_fan, opened, sent
from tests.unit.render.card_readers import Page, html_text, markdown_text, pdf_pages, plain

CARDS = ("text/plain", "text/markdown", "text/html", "application/pdf")
SCRIPT = "<script>alert('x')</script>"


def texts(node):
    """Every text of a quantity in a JSON answer."""
    if isinstance(node, dict):
        if set(node) == {"value", "unit", "text"}:
            yield node["text"]
        for value in node.values():
            yield from texts(value)
    elif isinstance(node, list):
        for value in node:
            yield from texts(value)


def read(answer):
    """The text of a card."""
    media = answer.content_type.split(";")[0]
    if media == "application/pdf":
        return " ".join(pdf_pages(answer.data))
    return {"text/html": html_text, "text/markdown": markdown_text, "text/plain": plain}[media](answer.text)


@pytest.mark.parametrize("units", ["inch", "metric"])
@pytest.mark.parametrize("media", CARDS)
def test_every_quantity_of_the_json_stands_on_the_card_in_full(client: Client, media: str, units: str) -> None:
    made = opened(client)
    sent(client, made["id"], initial("tail", 0.0040, 0.0040))
    path = f"/v1/work-orders/{made['id']}/instructions?units={units}"
    printed = read(client.get(f"{path}&level=full", headers={"Accept": media}))
    wanted = set(texts(client.get(path).json))
    assert len(wanted) > 40
    assert {text for text in wanted if text not in printed} == set()


@pytest.mark.parametrize("media", CARDS)
def test_a_card_carries_revision_hash_and_its_own_etag(client: Client, media: str) -> None:
    made = opened(client)
    path = f"/v1/work-orders/{made['id']}/instructions?level=full"
    answer = client.get(path, headers={"Accept": media})
    assert answer.status_code == 200 and answer.content_type.startswith(media)
    said = read(answer).replace(" ", "")
    assert made["instructions"]["sha256"] in said and "revision1" in said.lower() and made["instructions"]["id"] in said
    tag = answer.headers["ETag"]
    assert tag.startswith('"1.') and tag != client.get(path).headers["ETag"]
    assert client.get(path, headers={"Accept": media, "If-None-Match": tag}).status_code == 304
    assert client.get(path, headers={"Accept": "application/json", "If-None-Match": tag}).status_code == 200
    assert "Accept" in answer.headers["Vary"]
    assert client.get(path, headers={"Accept": media}).data == answer.data


def test_tags_differ_between_media_units_width_and_paper(client: Client) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/instructions"
    asked = [(media, units) for media in CARDS for units in ("?units=inch", "?units=metric")]
    asked += [(media, f"?level={level}") for media in CARDS for level in ("brief", "full")]
    asked += [("text/plain", "?width=40"), ("text/plain", "?ascii=false"), ("application/pdf", "?paper=a4")]
    tags = [client.get(path + query, headers={"Accept": media}).headers["ETag"] for media, query in asked]
    assert len(set(tags)) == len(tags)


@pytest.mark.parametrize("media", CARDS)
def test_each_level_says_more_and_standard_is_what_is_left_out(client: Client, media: str) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/instructions"
    sizes = [len(client.get(f"{path}?level={level}", headers={"Accept": media}).data) for level in LEVELS]
    assert sizes == sorted(set(sizes))
    usual = "brief" if media == "application/pdf" else "standard"
    same = [client.get(f"{path}{query}", headers={"Accept": media}).data for query in ("", f"?level={usual}")]
    assert same[0] == same[1]


def test_a_browser_gets_the_html_card_and_a_client_that_does_not_care_gets_json(client: Client) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/instructions"
    browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
    assert client.get(path, headers={"Accept": browser}).content_type == "text/html; charset=utf-8"
    assert client.get(path, headers={"Accept": "*/*"}).content_type == "application/json"
    refused = client.get(path, headers={"Accept": "image/png"})
    assert refused.status_code == 406
    assert all(media in refused.json["detail"] for media in CARDS)


@pytest.mark.parametrize(
    ("query", "size"), [("", (612, 792)), ("?units=metric", (595, 842)), ("?paper=a4", (595, 842))]
)
def test_the_pdf_takes_the_paper_that_is_asked_for(client: Client, query: str, size: tuple[int, int]) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/instructions{query}"
    pdf = client.get(path, headers={"Accept": "application/pdf"}).data
    assert b"/MediaBox [ 0 0 %d %d ]" % size in pdf


def test_a_script_as_the_name_of_an_asset_stays_words(client: Client) -> None:
    fan = known_fan() | {"tag": SCRIPT, "name": SCRIPT}
    external = {"system": SCRIPT, "number": f'x"\r\n{SCRIPT}'[:40].replace("\r\n", " ")}
    made = client.post("/v1/work-orders", {**order(asset=fan, positions=("tail",)), "external": external})
    assert made.status_code == 201
    for media in CARDS:
        answer = client.get(f"/v1/work-orders/{made.json['id']}/instructions", headers={"Accept": media})
        assert SCRIPT.replace(" ", "") in read(answer).replace(" ", "")
        assert re.fullmatch(r'inline; filename="[A-Za-z0-9_-]+\.[a-z]+"', answer.headers["Content-Disposition"])
        if media == "text/html":
            assert not Page(answer.text).all("script") and Page(answer.text).faults == []


def test_a_browser_may_run_and_load_nothing(client: Client) -> None:
    answer = client.get(f"/v1/work-orders/{opened(client)['id']}/instructions", headers={"Accept": "text/html"})
    policy = answer.headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'sha256-") and "unsafe" not in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "no-referrer"


def test_a_public_address_is_printed_with_its_qr_code(sqlite_url: str, client_of: ClientMaker) -> None:
    from service.store.queries.sites import create_site

    app = create_app(Settings(database_url=sqlite_url, public_url="https://mill.example"))
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow board mill", "inch")
    client = client_of(app)
    made = opened(client)
    answer = client.get(f"/v1/work-orders/{made['id']}/instructions", headers={"Accept": "text/html"})
    address = f"https://mill.example/v1/work-orders/{made['id']}/instructions/1"
    assert address in answer.text and '<figure class="code">' in answer.text
    assert f'<{address}>; rel="alternate"; type="application/pdf"' in answer.headers["Link"]
    app.extensions["capsaddle"].database.dispose()


def test_no_answer_says_that_it_is_none_of_the_media_types_it_is(client: Client) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/instructions"
    assert client.get(path, headers={"Accept": "application/pdf"}).data.startswith(b"%PDF-1.")
    assert client.get(path, headers={"Accept": "text/html"}).text.startswith("<!DOCTYPE html>")
    assert client.get(path, headers={"Accept": "text/markdown"}).text.startswith("# Replace bearing: tail\n")
