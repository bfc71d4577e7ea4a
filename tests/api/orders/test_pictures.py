"""Pictures over HTTP: the same resource by Accept, and those of the instructions of a work order."""

from typing import Any
from xml.etree import ElementTree

import pytest
from flask import Flask

from service.api.calculations.arrangements.views import EXAMPLE as SHAFT
from service.api.calculations.clearance.views import EXAMPLE as BEARING
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import bare, fan, order

SVG = {"Accept": "image/svg+xml"}


def title(response: Any) -> str | None:
    """Return the title of a picture that is one."""
    assert (response.status_code, response.content_type) == (200, "image/svg+xml; charset=utf-8")
    return ElementTree.fromstring(response.text)[0].text


@pytest.mark.parametrize(
    ("path", "body", "said", "called"),
    [
        ("/v1/clearance-targets", BEARING, "0.0025\u00a0in", "Clearance window"),
        ("/v1/bearing-arrangements", SHAFT, "LOCATING (held)", "Shaft line"),
    ],
)
def test_a_calculation_is_a_picture_when_one_is_asked_for(
    client: Client, path: str, body: Any, said: str, called: str
) -> None:
    picture = client.post(path, body, headers=SVG)
    assert title(picture) == called
    assert said in picture.text
    assert picture.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
    for accepted in (None, "*/*", "application/json", "image/svg+xml;q=0.5, application/json"):
        answer = client.post(path, body, headers={"Accept": accepted} if accepted else {})
        assert answer.content_type == "application/json"
        assert {part.strip() for part in answer.headers["Vary"].split(",")} >= {"Accept"}
    assert picture.headers["Vary"] == answer.headers["Vary"]


@pytest.mark.parametrize("path", ["/v1/clearance-targets", "/v1/bearing-arrangements"])
def test_another_media_type_is_406_naming_what_is_offered(client: Client, path: str) -> None:
    body = BEARING if "clearance" in path else SHAFT
    refused = client.post(path, body, headers={"Accept": "image/png"})
    assert (refused.status_code, refused.json["code"]) == (406, "not_acceptable")
    assert "image/svg+xml" in refused.json["detail"] and "application/json" in refused.json["detail"]


def test_a_picture_of_what_cannot_be_evaluated_is_a_problem(client: Client) -> None:
    body = {**BEARING, "measured_clearance": {"value": 0.040, "unit": "in"}}
    refused = client.post("/v1/clearance-targets", body, headers=SVG)
    assert (refused.status_code, refused.json["code"]) == (422, "reading_scale_suspect")


def test_a_picture_is_in_the_units_asked_for(client: Client) -> None:
    inch = client.post("/v1/clearance-targets", BEARING, headers=SVG).text
    metric = client.post("/v1/clearance-targets?units=metric", BEARING, headers=SVG).text
    assert "0.0047\u00a0in\u00a0(0.120\u00a0mm)" in inch
    assert "0.120\u00a0mm\u00a0(0.0047\u00a0in)" in metric


@pytest.fixture
def opened(client: Client) -> str:
    """The instructions of an order on a fan, as a path."""
    return f"/v1/work-orders/{client.post('/v1/work-orders', order(asset=fan())).json['id']}/instructions"


def test_the_pictures_of_an_order_show_its_machine(client: Client, opened: str) -> None:
    window = client.get(f"{opened}/clearance-window.svg?position=tail")
    assert title(window) == "Clearance window, tail"
    assert "PROVISIONAL" in window.text
    line = client.get(f"{opened}/shaft-line.svg?units=metric")
    assert title(line) == "Shaft line, DRY-2-FAN, main"
    assert "A coupling at 3400\u00a0mm\u00a0(133.86\u00a0in)" in line.text
    assert "at 3000\u00a0mm\u00a0(118.11\u00a0in)" in line.text


@pytest.mark.parametrize("name", ["clearance-window.svg?position=drive&", "shaft-line.svg?"])
def test_a_picture_held_already_is_not_sent_again(client: Client, opened: str, name: str) -> None:
    first = client.get(f"{opened}/{name}revision=1")
    assert first.headers["ETag"] == '"1.svg.inch"'
    again = client.get(f"{opened}/{name}revision=1", headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    other = client.get(f"{opened}/{name}units=metric", headers={"If-None-Match": first.headers["ETag"]})
    assert (other.status_code, other.headers["ETag"]) == (200, '"1.svg.metric"')


def test_a_machine_of_which_nothing_is_known_has_pictures_that_say_so(client: Client) -> None:
    sent = order(asset=bare(), positions=["one"])
    path = f"/v1/work-orders/{client.post('/v1/work-orders', sent).json['id']}/instructions"
    assert "the bearing is not on record" in client.get(f"{path}/clearance-window.svg").text
    line = client.get(f"{path}/shaft-line.svg").text
    assert "NOT TO SCALE" in line and "ROLE OPEN" in line


def test_the_shaft_drawn_is_the_one_of_the_order(client: Client) -> None:
    machine = fan()
    machine["shafts"].append({"name": "second", "positions": [{"name": "north"}, {"name": "south"}]})
    sent = order(asset=machine, positions=["south"])
    path = f"/v1/work-orders/{client.post('/v1/work-orders', sent).json['id']}/instructions"
    line = client.get(f"{path}/shaft-line.svg")
    assert title(line) == "Shaft line, DRY-2-FAN, second"
    assert "north" in line.text and "tail" not in line.text


@pytest.mark.parametrize(
    ("name", "status", "code"),
    [
        ("clearance-window.svg", 400, "bad_parameter"),
        ("clearance-window.svg?position=", 400, "bad_parameter"),
        ("clearance-window.svg?position=nowhere", 404, "not_found"),
        ("clearance-window.svg?position=tail&revision=2", 404, "not_found"),
        ("shaft-line.svg?revision=0", 400, "bad_parameter"),
        ("shaft-line.svg?position=tail", 400, "unknown_parameter"),
    ],
)
def test_what_cannot_be_drawn_is_refused(client: Client, opened: str, name: str, status: int, code: str) -> None:
    refused = client.get(f"{opened}/{name}")
    assert (refused.status_code, refused.json["code"]) == (status, code)


def test_another_site_sees_no_picture(app: Flask, client_of: ClientMaker, opened: str) -> None:
    other = client_of(app, "BIRCH")
    for name in ("clearance-window.svg?position=tail", "shaft-line.svg"):
        assert other.get(f"{opened}/{name}").status_code == 404


def test_names_cannot_become_markup(client: Client) -> None:
    machine = fan()
    machine["shafts"][0]["positions"][0]["name"] = "<script>alert(1)</script>"
    sent = order(asset=machine, positions=["drive"])
    path = f"/v1/work-orders/{client.post('/v1/work-orders', sent).json['id']}/instructions"
    line = client.get(f"{path}/shaft-line.svg")
    assert title(line) and "<script" not in line.text and "&lt;script&gt;" in line.text
