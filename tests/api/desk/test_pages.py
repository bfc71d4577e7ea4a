"""The pages of the desk: what they say is what the API answers, of one site alone, escaped, whatever was typed."""

import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from html import unescape
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient

from service.demo.history import BAD_POSITION
from service.demo.pumps import CREW, DESIGNATION, FALLING, TIGHT_HAND, plant_history
from service.use_cases.lives.watch import watch
from tests.api.conftest import ClientMaker
from tests.api.desk.doors import signed_in
from tests.api.samples.books import reduction_row, reductions
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay
from tests.api.samples.orders import initial, isolated, opened, ready_to_complete, residual, sent

CHART = reductions(reduction_row(65, 80, 0.04, 0.05, smallest_residual={"C3": {"value": 0.04, "unit": "mm"}}))
PAGES = (
    *("/desk", "/desk/machines", "/desk/orders", "/desk/failing"),
    *("/desk/lives", "/desk/replacements", "/desk/mounting", "/desk/books"),
)
LINK = re.compile(r'<code>GET ([^<]+)</code>: <a href="([^"]+)">JSON</a>(?:, <a href="([^"]+)">CSV</a>)?')


@pytest.fixture
def plant(app: Flask, client: Client) -> Iterator[Client]:
    """The invented plant of the demo, its history imported."""
    imported(client, *plant_history())
    yield client


@pytest.fixture
def desk(app: Flask) -> FlaskClient:
    """A browser that is signed in at ALDER."""
    return signed_in(app)


def text_of(page: Any) -> str:
    """What a page says, without its markup."""
    assert page.status_code == 200, page.text[:800]
    body = re.sub(r"<(style|title)>.*?</\1>", " ", page.text, flags=re.DOTALL)
    body = re.sub(r"</?(?:span|small|strong|a|code)\b[^>]*>", "", body)  # what stands within a line
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def machine_path(client: Client, tag: str) -> str:
    (found,) = client.get(f"/v1/assets?tag={tag}").json["items"]
    return f"/desk/machines/{found['id']}"


def timeless(answer: bytes) -> bytes:
    """An answer without the moment at which it was asked."""
    today = f"{datetime.now(UTC):%Y-%m-%d}".encode()
    return re.sub(today + rb"T[0-9:.]+Z", b"now", answer)


def held_to_the_api(client: Client, desk: FlaskClient, path: str) -> int:
    """Compare each answer that a page leads to with the API's, byte for byte but for the time; return how many."""
    found = LINK.findall(desk.get(path).text)
    for where, as_json, as_csv in found:
        api = unescape(where)
        assert timeless(desk.get(unescape(as_json)).data) == timeless(client.get(api).data), api
        if as_csv:
            by_accept = client.get(api, headers={"Accept": "text/csv"})
            assert timeless(desk.get(unescape(as_csv)).data) == timeless(by_accept.data), api
    return len(found)


@pytest.mark.parametrize("path", PAGES)
def test_an_empty_site_has_every_page(desk: FlaskClient, path: str) -> None:
    assert "Traceback" not in text_of(desk.get(path))


ANSWERS = {
    "/desk": 1,
    "/desk/orders": 1,
    "/desk/failing": 1,
    "/desk/failing?by=asset": 1,
    "/desk/failing?by=installer": 1,
    "/desk/failing?by=manufacturer&designation=22220+K%2FC3&from=2015-01-01": 1,
    "/desk/lives": 1,
    "/desk/lives?group_by=manufacturer&picture=probability": 1,
    "/desk/replacements": 1,
    "/desk/replacements?months=24&designation=22220+K%2FC3": 1,
    "/desk/mounting": 2,
    "/desk/mounting?covariates=manufacturer,installer": 2,
    "/desk/books": 1,
}


def test_what_a_page_shows_is_what_the_api_answers(plant: Client, desk: FlaskClient) -> None:
    assert {path: held_to_the_api(plant, desk, path) for path in ANSWERS} == ANSWERS


def test_a_machine_shows_what_runs_where_and_its_stays(plant: Client, desk: FlaskClient) -> None:
    path = machine_path(plant, "FAN-17")
    said = text_of(desk.get(path))
    assert held_to_the_api(plant, desk, path) == 1
    items = plant.get("/v1/stays?asset=FAN-17&limit=500").json["items"]
    assert f"{len(items)} of {len(items)} stays" in said
    for one in items:
        assert one["installed_at"][:10] in said
        if one["operating_hours"] is not None:
            assert f"{one['operating_hours']:,.0f} h" in said.replace("\u00a0", " ")
    of_drive = text_of(desk.get(f"{path}?position=drive"))
    assert f"{sum(one['position'] == 'drive' for one in items)} of {len(items)} stays" in of_drive
    failed = text_of(desk.get(f"{path}?end_type=failed&place=below"))
    below = [
        one
        for one in items
        if one["end_type"] == "failed" and (one["residual_clearance_mm"] or 9) < (one["window_min_mm"] or 0)
    ]
    assert f"{len(below)} of {len(items)} stays" in failed


@pytest.mark.parametrize(("order", "falling"), [("falling", True), ("rising", False)])
def test_stays_are_sorted_by_what_is_asked_for(plant: Client, desk: FlaskClient, order: str, falling: bool) -> None:
    page = desk.get(f"{machine_path(plant, 'FAN-17')}?sort=age_h&order={order}").text
    table = page[page.index('aria-label="Stays"') :]
    ages = [int(hours.replace(",", "")) for hours in re.findall(r'<td class="n">([\d,]+)\u00a0h', table)]
    assert len(ages) > 5 and ages == sorted(ages, reverse=falling)
    assert f'aria-sort="{"descending" if falling else "ascending"}"' in table


def test_the_planted_faults_are_said_where_people_look(plant: Client, app: Flask, desk: FlaskClient) -> None:
    asset, position = BAD_POSITION
    watch(app.extensions["capsaddle"].database, "ALDER")
    assert f"{asset} / {position}" in text_of(desk.get("/desk"))
    ranked = text_of(desk.get("/desk/failing"))
    answer = plant.get("/v1/replacement-ranking?top=25").json
    assert answer["detail"] in ranked and f"flagged {asset} / {position}" in ranked
    first = answer["items"][0]
    assert first["detail"] in ranked
    mounted = text_of(desk.get("/desk/mounting"))
    assert plant.get("/v1/mounting-quality").json["items"][0]["detail"] in mounted
    assert CREW[TIGHT_HAND] in mounted[mounted.index("Left outside of their window") :]
    trend = text_of(desk.get(machine_path(plant, FALLING[0])))
    position_id = next(
        each["id"]
        for shaft in plant.get(f"/v1/assets?tag={FALLING[0]}").json["items"][0]["shafts"]
        for each in shaft["positions"]
        if each["name"] == FALLING[1]
    )
    said = plant.get(f"/v1/positions/{position_id}/recurrence").json["trend"]
    assert said["verdict"] == "worse" and said["detail"] in trend


def test_the_forecast_is_by_designation(plant: Client, desk: FlaskClient) -> None:
    said = text_of(desk.get("/desk/replacements"))
    for one in plant.get("/v1/replacement-forecast?months=12").json["items"]:
        assert one["detail"] in said
    assert DESIGNATION in said


def test_machines_are_searched_by_tag_and_name(plant: Client, desk: FlaskClient) -> None:
    opened(plant)
    assert "PMP-01" not in text_of(desk.get("/desk/machines?q=exhaust"))
    assert "Dryer 2 exhaust fan" in text_of(desk.get("/desk/machines?q=EXHAUST"))
    assert desk.get("/desk/machines?q=FAN-17").headers["Location"].startswith("/desk/machines/")
    assert "No tag and no name" in text_of(desk.get("/desk/machines?q=%25"))
    seen: list[str] = []
    path: str | None = "/desk/machines"
    while path:
        page = desk.get(path).text
        seen += re.findall(r'<th scope="row"><a href="/desk/machines/[^"]+">([^<]+)', page)
        following = re.search(r'href="([^"]+)">Next page', page)
        path = unescape(following[1]) if following else None
    assert len(seen) == len(set(seen)) == 67 and seen == sorted(seen)


def test_an_order_says_what_it_waits_for_and_what_was_entered(client: Client, desk: FlaskClient) -> None:
    made = opened(client)
    sent(client, made["id"], isolated(), initial("tail", 0.0040), residual("tail", 0.0028))
    path = f"/desk/orders/{made['id']}"
    said = text_of(desk.get(path))
    assert held_to_the_api(client, desk, path) == 2
    readiness = client.get(f"/v1/work-orders/{made['id']}/readiness").json
    for each in readiness["questions"]:
        if each["colour"] == "red" and each["status"] == "open":
            assert each["question"] in said
    for one in client.get(f"/v1/work-orders/{made['id']}/readings").json["items"]:
        assert one["detail"] in said and one["taken_by"] in said
    today = text_of(desk.get("/desk"))
    assert "WO-1" in today and "not released" in today
    assert desk.get(f"{path}/sheets.pdf").data.startswith(b"%PDF")
    assert desk.get(f"{path}/card").content_type.startswith("text/html")


def test_an_order_that_is_completed_shows_its_end(client: Client, desk: FlaskClient) -> None:
    from tests.api.samples.orders import completion

    made = opened(client)
    ready_to_complete(client, made["id"])
    done = completion(installed={"designation": "22216 K/C3"})
    assert client.post(f"/v1/work-orders/{made['id']}/completion", done).status_code == 201
    said = text_of(desk.get(f"/desk/orders/{made['id']}"))
    assert "completed A. Fitter" in said and "Holds that wait" not in said
    assert "WO-1" not in text_of(desk.get("/desk"))
    assert desk.get("/desk/orders?number=WO-1").headers["Location"] == f"/desk/orders/{made['id']}"


def test_a_chart_stands_beside_the_built_in_table(client: Client, desk: FlaskClient) -> None:
    made = client.post("/v1/charts", CHART).json
    path = f"/desk/books/{made['id']}"
    said = text_of(desk.get(path))
    assert held_to_the_api(client, desk, path) == 1
    assert made["provenance"]["entered_by"] in said and made["provenance"]["checked_by"] in said
    assert "times the built-in table" in said
    told = client.post(f"/v1/charts/{made['id']}/recall", {"reason": "A row was shifted."})
    assert told.status_code == 200, told.json
    for page in (path, "/desk/books", "/desk"):
        assert "A row was shifted." in text_of(desk.get(page))


@pytest.mark.parametrize(
    "path",
    ["/desk/nothing", "/desk/machines/x", "/desk/orders/x", "/desk/books/x", "/desk/orders/x/card",
     "/desk/machines/01900000-0000-7000-8000-000000000001"],
)  # fmt: skip
def test_what_is_not_there_is_said_on_a_page(desk: FlaskClient, path: str) -> None:
    answer = desk.get(path)
    assert answer.status_code == 404 and answer.content_type.startswith("text/html")


REFUSED = (
    "/desk/failing?by=colour", "/desk/failing?from=yesterday", "/desk/lives?group_by=colour",
    "/desk/replacements?months=999",
    "/desk/lives?picture=none", "/desk?after=x", "/desk/orders?status=odd", "/desk/lives?as=xml",
    "/desk/lives?as=json&of=9", "/desk/lives?designation=%00", "/desk/machines?q=" + "a" * 200,
)  # fmt: skip


def test_what_cannot_be_asked_is_refused_in_words(plant: Client, desk: FlaskClient) -> None:
    for path in REFUSED:
        answer = desk.get(path)
        assert answer.status_code in (400, 422) and answer.content_type.startswith("text/html"), path
    said = plant.get("/v1/life-regression?covariates=date").json["detail"]
    assert said in text_of(desk.get("/desk/mounting?covariates=date")), "what the API refuses stands in its place"


def test_another_site_sees_nothing_of_this_one(plant: Client, app: Flask, client_of: ClientMaker) -> None:
    made = opened(plant)
    book = plant.post("/v1/charts", CHART).json
    plant.post(f"/v1/charts/{book['id']}/recall", {"reason": "A row was shifted."})
    other = signed_in(app, "BIRCH")
    for path in PAGES:
        said = text_of(other.get(path))
        for secret in ("FAN-17", "PMP-07", "WO-1", "A row was shifted", DESIGNATION, "A. Fitter"):
            assert secret not in said, (path, secret)
    for path in (machine_path(plant, "FAN-17"), f"/desk/orders/{made['id']}", f"/desk/orders/{made['id']}/card",
                 f"/desk/orders/{made['id']}/sheets.pdf", f"/desk/books/{book['id']}"):  # fmt: skip
        assert other.get(path).status_code == 404, path
        assert other.get(f"{path}?as=json").status_code == 404, path


PAYLOADS = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg onload=alert(1)>",
    '"><script>alert(1)</script>',
    "'><img src=x onerror=alert(1)>",
    "</title><script>alert(1)</script>",
    "</style><script>alert(1)</script>",
    "</textarea><script>alert(1)</script>",
    "javascript:alert(1)",
    "{{7*7}}{% raw %}",
    "<!--<script>alert(1)//-->",
    "&lt;script&gt;alert(1)&lt;/script&gt;",
    "<a href='javascript:alert(1)'>x</a>",
    '" autofocus onfocus=alert(1) x="',
    "<iframe srcdoc='<script>alert(1)</script>'>",
    "<math><mtext></p><style><img src=x onerror=alert(1)>",
    "\u202ealert(1)\u202c<base href=//evil.example/>",
)
"""Ways to bring script into a page: elements, attributes, ends of other elements, entities, templates, directions."""


def test_no_name_and_no_note_becomes_markup(client: Client, desk: FlaskClient) -> None:
    """Every element of a page has the attributes that one of a page with plain names has."""
    assert len(PAYLOADS) == 17
    plain = filled(client, desk, "P", ["plain name"])
    assert filled(client, desk, "Q", PAYLOADS) - plain == set()


def filled(client: Client, desk: FlaskClient, mark: str, names: Sequence[str]) -> set[str]:
    """The shapes of all pages once machines, orders, books, people, makers and reasons have these names."""
    paths = [*PAGES, "/desk/failing?by=installer", "/desk/failing?by=asset", "/desk/lives?group_by=manufacturer"]
    for n, name in enumerate(names):
        tag, short = f"{mark}{n} {name}"[:80], name[:80]
        typed_in = {"asset": tag, "position": short, "manufacturer": name, "installed_by": short, "batch": short}
        window = {"residual_clearance_mm": 0.01, "window_min_mm": 0.05, "window_max_mm": 0.08}
        imported(
            client,
            stay(f"{mark}-{n}-1", **typed_in, **window, cause=name, serial=name, lubricant=name),
            running(f"{mark}-{n}-2", **typed_in, installed_at="2024-01-01T00:00:00Z"),
        )
        book = client.post("/v1/charts", CHART | {"name": tag}).json
        assert client.post(f"/v1/charts/{book['id']}/recall", {"reason": name}).status_code == 200
        order = opened(client, f"{mark}{n} {name}", allow_second=True)
        sent(client, order["id"], isolated(taken_by=short))
        machine = next(each["id"] for each in client.get("/v1/assets?limit=500").json["items"] if each["tag"] == tag)
        paths += [f"/desk/machines/{machine}", f"/desk/orders/{order['id']}", f"/desk/books/{book['id']}"]
    return {shape for path in paths for shape in shapes(desk.get(path).text)}


def shapes(page: str) -> set[str]:
    """The elements of a page with the names of their attributes."""
    from html.parser import HTMLParser

    found: set[str] = set()

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            for name, value in attrs:
                assert not name.startswith("on"), (tag, name)
                assert "javascript:" not in (value or "") or name in ("value", "aria-label"), (tag, name, value)
            found.add(f"{tag} {sorted(name for name, _ in attrs)}")

    Reader().feed(page)
    return found


def test_a_link_of_the_lives_page_asks_the_same_again(plant: Client, desk: FlaskClient) -> None:
    path = "/desk/lives?designation=22216+K%2FC3&group_by=manufacturer&picture=probability"
    link = re.search(r'This question as a link: <a href="([^"]+)"', desk.get(path).text)
    assert link is not None
    assert dict(parse_qsl(urlsplit(unescape(link[1])).query)) == dict(parse_qsl(urlsplit(path).query))
