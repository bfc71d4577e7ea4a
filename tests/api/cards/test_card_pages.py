"""The card on a phone: opened by its link alone, for its order alone; readings judged at once, each stored once."""

import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from flask import Flask
from flask.testing import FlaskClient

from service.store.queries.keys import revoke_key
from service.use_cases.orders import links as link_tokens
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import GOOD_SERIES, completion, known_fan, opened, ready_to_complete
from tests.unit.render.card_readers import Page, pdf_pages

SCRIPT = "<script>alert('x')</script>"


def link_to(client: Client, order_id: str, **valid_for: Any) -> str:
    """The path of a new link to the card of an order."""
    made = client.post(f"/v1/work-orders/{order_id}/card-links", valid_for)
    assert made.status_code == 201, made.json
    assert made.headers["Location"] == made.json["url"]
    path: str = made.json["url"]
    return path


def forms(page: str) -> list[dict[str, Any]]:
    """The forms of a page: their hidden members and those typed in, as a browser would send them untouched."""
    found = []
    for form in re.findall(r"<form.*?</form>", page, re.DOTALL):
        read = Page(form)
        values = {
            each["name"]: each.get("value", "")
            for each in read.all("input")
            if each.get("type") not in ("checkbox", "radio")
        }
        selects = re.findall(r'<select[^>]*name="(\w+)".*?</select>', form, re.DOTALL)
        for name in selects:
            body = re.search(rf'<select[^>]*name="{name}".*?</select>', form, re.DOTALL)
            assert body is not None
            chosen = re.search(r"<option[^>]* selected>[^<]*", body[0]) or re.search(r"<option[^>]*>[^<]*", body[0])
            assert chosen is not None
            value = re.search(r' value="([^"]*)"', chosen[0])
            values[name] = value[1] if value else chosen[0].rpartition(">")[2]
        found.append(values)
    return found


def form_of(page: str, kind: str, step: int | None = None) -> dict[str, Any]:
    """The form of a page for one kind of reading."""
    return next(each for each in forms(page) if each["kind"] == kind and step in (None, int(each["step"])))


def typed_initial(page: str, one: str = "0.0040", two: str = "0.0040", **more: Any) -> dict[str, Any]:
    return form_of(page, "initial_clearance") | {"one": one, "two": two, "taken_by": "A. Fitter", **more}


@pytest.fixture
def phone_on_each(app_on_each: Flask) -> FlaskClient:
    """A browser without any key."""
    return app_on_each.test_client()


@pytest.fixture
def phone(app: Flask) -> FlaskClient:
    """A browser without any key."""
    return app.test_client()


def test_a_reading_is_judged_at_once_and_narrows_the_card(client_on_each: Client, phone_on_each: FlaskClient) -> None:
    made = opened(client_on_each)
    path = link_to(client_on_each, made["id"])
    page = phone_on_each.get(path).text
    answer = phone_on_each.post(path, data=typed_initial(page))
    assert answer.status_code == 303 and answer.headers["Location"].startswith(f"{path}#step-")
    after = phone_on_each.get(path).text
    assert "ACCEPTED" in after and "A. Fitter" in after and "Revision 2" in after
    (kept,) = client_on_each.get(f"/v1/work-orders/{made['id']}/readings").json["items"]
    assert (kept["verdict"], kept["taken_by"], kept["revision"], kept["made_revision"]) == ("accept", "A. Fitter", 1, 2)
    assert [value["row"] for value in kept["values"]] == [1, 2] and kept["method"] == "blades"
    window = client_on_each.get(f"/v1/work-orders/{made['id']}/instructions").json["targets"][0]["residual_clearance"]
    assert window["provisional"] is False and window["min"]["text"] in Page(after).text


def test_a_form_sent_twice_is_one_reading(client_on_each: Client, phone_on_each: FlaskClient) -> None:
    made = opened(client_on_each)
    path = link_to(client_on_each, made["id"])
    form = typed_initial(phone_on_each.get(path).text)
    assert [phone_on_each.post(path, data=form).status_code for _ in range(3)] == [303, 303, 303]
    assert len(client_on_each.get(f"/v1/work-orders/{made['id']}/readings").json["items"]) == 1
    again = typed_initial(phone_on_each.get(path).text)
    assert phone_on_each.post(path, data=again).status_code == 303
    assert len(client_on_each.get(f"/v1/work-orders/{made['id']}/readings").json["items"]) == 2


def test_a_slip_of_the_decimal_point_is_refused_on_the_page(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    assert phone.post(path, data=typed_initial(phone.get(path).text, "4.0", "4.0")).status_code == 303
    page = phone.get(path).text
    assert "NOT ACCEPTED" in page and "A slip of scale is suspected" in page and "still open" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"one": "abc"}, "is not a number"),
        ({"one": "1e3"}, "is not a number"),
        ({"one": "1,000.5"}, "is not a number"),
        ({"one": ""}, "write the number"),
        ({"one": "-0.004"}, "-0.004"),
        ({"one": "nan"}, "is not a number"),
        ({"unit": "furlong"}, "choose the unit"),
        ({"taken_by": " "}, "write your name"),
        ({"taken_by": "x" * 81}, "80"),
        ({"kind": "run_in_temperature"}, "takes no such reading"),
        ({"step": "99999"}, "takes no such reading"),
        ({"revision": "7"}, "no such revision"),
        ({"approved_by": "B. Foreman"}, "is not part of this card"),
    ],
)
def test_what_cannot_be_taken_is_said_and_what_was_typed_is_kept(
    client: Client, phone: FlaskClient, change: dict[str, str], said: str
) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    answer = phone.post(path, data=typed_initial(phone.get(path).text, two="0.0041") | change)
    assert answer.status_code == 422 and answer.content_type == "text/html; charset=utf-8"
    assert said in Page(answer.text).text
    assert answer.text.count('role="alert"') == 1
    assert client.get(f"/v1/work-orders/{made['id']}/readings").json["items"] == []
    if set(change) <= {"one", "unit"}:
        assert form_of(answer.text, "initial_clearance")["two"] == "0.0041"


def test_a_comma_is_the_decimal_sign_of_many_keyboards(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert phone.post(path, data=typed_initial(phone.get(path).text, "0,0040", "0,0040")).status_code == 303
    (kept,) = client.get(f"/v1/work-orders/{made['id']}/readings").json["items"]
    assert kept["verdict"] == "accept" and kept["values"][0]["value"]["value"] == 0.0040


def test_words_of_callers_stay_words_on_the_page(client: Client, phone: FlaskClient) -> None:
    machine = known_fan() | {"tag": SCRIPT, "name": SCRIPT}
    made = client.post("/v1/work-orders", order(asset=machine, positions=("tail",))).json
    path = link_to(client, made["id"])
    refused = phone.post(path, data=typed_initial(phone.get(path).text, SCRIPT, taken_by=SCRIPT))
    phone.post(path, data=typed_initial(phone.get(path).text, taken_by=SCRIPT))
    for page in (refused, phone.get(path)):
        assert SCRIPT in Page(page.text).text or SCRIPT[:20] in Page(page.text).text
        assert not Page(page.text).all("script") and Page(page.text).faults == []


def test_a_link_opens_its_order_only_and_cannot_be_altered(client: Client, phone: FlaskClient) -> None:
    first, second = opened(client, "WO-1"), opened(client, "WO-2", asset=fan("OTHER"))
    path = link_to(client, first["id"])
    token = path.removeprefix("/card/")
    assert "WO-1" in phone.get(path).text and "WO-2" not in phone.get(path).text
    data = bytearray(urlsafe_b64decode(token + "=" * (-len(token) % 4)))
    for place in range(len(data)):
        altered = bytearray(data)
        altered[place] ^= 1
        other = urlsafe_b64encode(bytes(altered)).decode().rstrip("=")
        assert phone.get(f"/card/{other}").status_code == 404, place
    swapped = bytes(data[:16]) + UUID(second["id"]).bytes + bytes(data[32:])
    for other in (urlsafe_b64encode(swapped).decode().rstrip("="), token[:-1], token + "A", token + "=", "x", "ä" * 70):
        answer = phone.get(f"/card/{other}")
        assert answer.status_code == 404 and "This link leads nowhere" in answer.text


def test_a_link_of_a_time_that_no_calendar_has_leads_nowhere(app: Flask, client: Client, phone: FlaskClient) -> None:
    """Genuinely signed, five bytes of seconds: beyond the year 9999."""
    token = link_to(client, opened(client)["id"]).removeprefix("/card/")
    data = urlsafe_b64decode(token + "=" * (-len(token) % 4))
    signer = app.extensions["capsaddle"].keyring.signer(str(UUID(bytes=data[:16])))
    payload = data[:32] + b"\xff" * 5
    absurd = urlsafe_b64encode(payload + link_tokens._signature(signer[1][0], payload)).decode().rstrip("=")
    answer = phone.get(f"/card/{absurd}")
    assert answer.status_code == 404 and "This link leads nowhere" in answer.text


def test_a_link_ends_with_its_time(client: Client, phone: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    made = opened(client)
    path = link_to(client, made["id"], valid_for={"value": 2, "unit": "h"})
    form = typed_initial(phone.get(path).text)

    class Later(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
            return datetime.now(tz) + timedelta(hours=2, seconds=1)

    monkeypatch.setattr(link_tokens, "datetime", Later)
    for answer in (phone.get(path), phone.post(path, data=form)):
        assert answer.status_code == 410 and "past its time" in answer.text and "WO-1" not in answer.text
    assert client.get(f"/v1/work-orders/{made['id']}/readings").json["items"] == []


def test_a_link_ends_with_the_key_that_made_it(app: Flask, client_of: ClientMaker, phone: FlaskClient) -> None:
    client = client_of(app)
    path = link_to(client, opened(client)["id"])
    assert phone.get(path).status_code == 200
    assert client.key is not None
    revoke_key(app.extensions["capsaddle"].database, "ALDER", client.key.split("_")[1])
    assert phone.get(path).status_code == 404


def test_only_a_key_that_may_write_makes_a_link_and_no_key_stands_in_it(app: Flask, client_of: ClientMaker) -> None:
    writer = client_of(app)
    made = opened(writer)
    refused = client_of(app, scopes=("read", "approve", "admin")).post(f"/v1/work-orders/{made['id']}/card-links", {})
    assert refused.status_code == 403
    assert writer.key is not None
    secret = writer.key.split("_")[2]
    assert secret not in link_to(writer, made["id"])


@pytest.mark.parametrize("hours", [0, -1, 2161])
def test_a_link_is_good_for_ninety_days_at_most(client: Client, hours: float) -> None:
    path = f"/v1/work-orders/{opened(client)['id']}/card-links"
    assert client.post(path, {"valid_for": {"value": hours, "unit": "h"}}).status_code == 422
    usual = client.post(path, {}).json["expires_at"]
    ends = datetime.fromisoformat(usual) - datetime.now(UTC)
    assert timedelta(days=6, hours=23) < ends <= timedelta(days=7)


def test_a_dry_run_gives_a_link_that_opens_nothing(client: Client, phone: FlaskClient) -> None:
    made = client.post(f"/v1/work-orders/{opened(client)['id']}/card-links?dry_run=true", {})
    assert made.status_code == 201
    assert phone.get(made.json["url"]).status_code == 410


def test_a_closed_order_can_be_read_but_not_filled_in(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    form = typed_initial(phone.get(path).text)
    assert client.post(f"/v1/work-orders/{made['id']}/cancellation", {"reason": "opened twice"}).status_code == 200
    page = phone.get(path)
    assert page.status_code == 200 and "nothing can be entered any more" in page.text and "<form" not in page.text
    refused = phone.post(path, data=form)
    assert refused.status_code == 409 and "cancelled" in refused.text
    assert client.post(f"/v1/work-orders/{made['id']}/card-links", {}).status_code == 409


def test_a_stop_step_cannot_be_cleared_on_the_page(client: Client, phone: FlaskClient) -> None:
    machine = fan(role="locating")
    made = client.post("/v1/work-orders", order(asset=machine, positions=("tail",))).json
    stops = [step for step in made["instructions"]["steps"] if step["stop"] is not None]
    assert stops
    path = link_to(client, made["id"])
    page = phone.get(path).text
    assert "This cannot be cleared here" in page
    assert not {str(step["number"]) for step in stops} & {form["step"] for form in forms(page)}
    for kind in ("confirmation", "deviation"):
        sent_by_hand = {
            "step": str(stops[0]["number"]),
            "kind": kind,
            "done": "yes",
            "taken_by": "A. Fitter",
            "revision": "1",
        }
        assert phone.post(path, data=sent_by_hand).status_code == 422
    assert client.get(f"/v1/work-orders/{made['id']}/deviations").json["items"] == []


def test_other_media_than_a_form_are_refused(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    assert phone.post(path, json={"step": 10}).status_code == 415
    assert phone.put(path).status_code == 405


TYPED: dict[str, dict[str, str]] = {
    "try_start": {"word": "yes"},
    "initial_clearance": {"one": "0.0040", "two": "0.0040", "unit": "in"},
    "residual_clearance": {"one": "0.0025", "two": "0.0025", "unit": "in"},
    "class_read": {"word": "C3"},
    "rings_in": {"word": "drive", "taken_by": "B. Foreman"},
    "stop_limit": {"one": "194", "unit": "degF"},
    "run_in_temperature": {"series": "\r\n".join(f"{minute} {degc:g}" for minute, degc in GOOD_SERIES), "unit": "degC"},
}
"""What is typed at the holds whose limits are not those of the step."""


def typed_at(step: dict[str, Any], kind: str, position: str | None) -> dict[str, str]:
    """What a mechanic types at a step: the middle of its limits."""
    if kind in TYPED:
        return TYPED[kind]
    limits = next(each for each in step["record"]["limits"] if each["position"] in (None, position))
    between = limits["aim"] or {"value": (limits["min"]["value"] + limits["max"]["value"]) / 2}
    typed = f"{between['value']:.6f}"
    return {"one": typed, "unit": limits["min"]["unit"]} | ({"two": typed} if kind == "shaft_diameter" else {})


def test_every_hold_of_an_order_can_be_closed_on_the_page(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    for step in made["instructions"]["steps"]:
        kind = (step["record"] or {}).get("kind")
        if kind not in ("class_read", "free_gap") and step["hold"] is None:
            continue
        for position in step["positions"] or [None]:
            form = form_of(phone.get(path).text, kind, step["number"]) | {"taken_by": "A. Fitter"}
            form |= {} if position is None or "position" not in form else {"position": position}
            answer = phone.post(path, data=form | typed_at(step, kind, position))
            assert answer.status_code == 303, (step["title"], Page(answer.text).text[:300])
    assert "Every hold point is cleared" in phone.get(path).text
    done = client.post(f"/v1/work-orders/{made['id']}/completion", completion(installed={"designation": "22216 K/C3"}))
    assert done.status_code == 201, done.json


def test_a_mistyped_reading_is_taken_back_on_the_page(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    phone.post(path, data=typed_initial(phone.get(path).text, "0.0045", "0.0045"))
    (first,) = client.get(f"/v1/work-orders/{made['id']}/readings").json["items"]
    page = phone.get(path).text
    assert first["id"] in page and "Mistyped before?" in page
    again = typed_initial(page, replaces=first["id"], reason="typing_slip")
    assert phone.post(path, data=again).status_code == 303
    rows = client.get(f"/v1/work-orders/{made['id']}/readings").json["items"]
    assert [(row["counts"], row["replaces"]) for row in rows] == [(False, None), (True, first["id"])]
    assert "0.0045 in" not in Page(phone.get(path).text).text.split("Steps")[-1], "what was taken back is not shown"
    other = typed_initial(page, replaces=first["id"], reason="")
    assert "say why" in phone.post(path, data=other).text


@pytest.mark.parametrize(
    ("kind", "typed", "said"),
    [
        ("run_in_temperature", {"series": "0 20\n15", "unit": "degC"}, "line 2"),
        ("run_in_temperature", {"series": "", "unit": "degC"}, "a line for each reading"),
        ("run_in_temperature", {"series": "0 warm", "unit": "degC"}, "line 1"),
        ("run_in_temperature", {"series": "15 34\n0 20", "unit": "degC"}, "in the order of time"),
        ("try_start", {"word": "maybe"}, "choose one of the answers"),
        ("class_read", {}, "choose one of the answers"),
        ("stop_limit", {"one": "", "unit": "degF"}, "write the number"),
    ],
)
def test_what_is_typed_wrong_is_said(
    client: Client, phone: FlaskClient, kind: str, typed: dict[str, str], said: str
) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    form = form_of(phone.get(path).text, kind) | {"taken_by": "A. Fitter"}
    answer = phone.post(path, data=form | typed)
    assert answer.status_code == 422 and said in Page(answer.text).text
    assert client.get(f"/v1/work-orders/{made['id']}/readings").json["items"] == []


def test_the_page_says_what_it_may_do_and_keeps_to_itself(client: Client, phone: FlaskClient) -> None:
    answer = phone.get(link_to(client, opened(client)["id"]))
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "form-action 'self'" in policy and "unsafe" not in policy
    assert answer.headers["Cache-Control"] == "no-store" and answer.headers["Referrer-Policy"] == "no-referrer"
    page = Page(answer.text)
    assert page.faults == [] and not page.all("script")
    labelled = {each["for"] for each in page.all("label") if "for" in each}
    for control in (*page.all("input"), *page.all("select")):
        assert control.get("type") in ("hidden", "checkbox", "radio") or control["id"] in labelled


def test_the_name_is_asked_once_on_a_phone(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    answer = phone.post(path, data=typed_initial(phone.get(path).text, taken_by="Łucja Ż."))
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and f"Path={path}" in cookie
    assert {form["taken_by"] for form in forms(phone.get(path).text)} == {"Łucja Ż."}


def test_the_card_of_a_link_prints_as_pdf(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    answer = phone.get(f"{path}?as=pdf")
    assert answer.content_type == "application/pdf"
    printed = " ".join(pdf_pages(answer.data))
    assert made["external"]["number"] in printed and "revision 1" in printed and "HOLD 9" in printed


def test_an_order_that_is_ready_shows_no_open_hold_point(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert ready_to_complete(client, made["id"]) == []
    assert "Every hold point is cleared" in phone.get(path).text


def test_inches_typed_at_a_metric_unit_are_a_slip(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    form = typed_initial(phone.get(path).text, unit="mm")
    assert phone.post(path, data=form).status_code == 303
    (kept,) = client.get(f"/v1/work-orders/{made['id']}/readings").json["items"]
    assert (kept["verdict"], kept["code"]) == ("reject", "reading_scale_suspect")
