"""The card on a phone: opened by its link alone, for its order alone; entries are judged at once, stored once."""

import json
import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

import pytest
from flask import Flask
from flask.testing import FlaskClient

from service.store.queries.keys import revoke_key
from service.use_cases.orders import links as link_tokens
from tests.api.cards.typed import INITIAL, entry, form_at, forms, link_to, readings, typed_initial
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import (
    FITTER,
    FOREMAN,
    GOOD_SERIES,
    completion,
    confirmed,
    initial,
    known_fan,
    opened,
    ready_to_complete,
    sent,
)
from tests.unit.render.card_readers import Page, pdf_pages

SCRIPT = "<script>alert('x')</script>"


def test_a_reading_is_judged_at_once_and_narrows_the_card(client_on_each: Client, phone_on_each: FlaskClient) -> None:
    made = opened(client_on_each)
    path = link_to(client_on_each, made["id"])
    answer = phone_on_each.post(path + INITIAL, data=typed_initial(phone_on_each, path))
    assert answer.status_code == 303 and answer.headers["Location"].startswith(f"{path}/reading/")
    after = phone_on_each.get(answer.headers["Location"]).text
    assert "Inside its range" in after and FITTER in after and "revision 2" in after
    (kept,) = readings(client_on_each, made)
    assert (kept["verdict"], kept["taken_by"], kept["revision"], kept["made_revision"]) == ("accept", FITTER, 1, 2)
    assert [value["row"] for value in kept["values"]] == [1, 2] and kept["method"] == "blades"


def test_a_form_sent_twice_is_one_reading(client_on_each: Client, phone_on_each: FlaskClient) -> None:
    made = opened(client_on_each)
    path = link_to(client_on_each, made["id"])
    form = typed_initial(phone_on_each, path)
    assert [phone_on_each.post(path + INITIAL, data=form).status_code for _ in range(3)] == [303, 303, 303]
    assert len(readings(client_on_each, made)) == 1
    again = typed_initial(phone_on_each, path)
    assert phone_on_each.post(path + INITIAL, data=again).status_code == 303
    assert len(readings(client_on_each, made)) == 2


def test_what_a_phone_kept_is_stored_once_whatever_link_and_whenever_it_comes(
    client_on_each: Client, phone_on_each: FlaskClient
) -> None:
    made = opened(client_on_each)
    path, other = link_to(client_on_each, made["id"]), link_to(client_on_each, made["id"])
    kept = entry(typed_initial(phone_on_each, path))
    answers = [phone_on_each.post(f"{each}/entries", json=kept) for each in (path, path, other)]
    assert [each.status_code for each in answers] == [201, 201, 201]
    assert len({each.json["page"].rpartition("/")[2] for each in answers}) == 1
    (stored,) = readings(client_on_each, made)
    assert stored["sent_as"] == kept["id"] and answers[0].json["said"]["l"] == "0.0020 to 0.0025 in"


def test_the_time_of_a_kept_reading_is_our_clock_less_its_age(client: Client, phone: FlaskClient) -> None:
    """A phone whose clock runs a year ahead, and a reading that waited for two hours."""
    made = opened(client)
    path = link_to(client, made["id"])
    ahead = int((datetime.now(UTC) + timedelta(days=365)).timestamp() * 1000)
    waited = entry(typed_initial(phone, path), taken=ahead - 7_200_000, now=ahead)
    assert phone.post(f"{path}/entries", json=waited).status_code == 201
    (stored,) = readings(client, made)
    age = datetime.now(UTC) - datetime.fromisoformat(stored["taken_at"])
    assert timedelta(hours=2) <= age < timedelta(hours=2, minutes=1)


def test_what_waited_is_judged_by_its_own_revision_and_what_is_typed_now_by_the_latest(
    client: Client, phone: FlaskClient
) -> None:
    made = client.post("/v1/work-orders", order(asset=known_fan(), positions=("drive", "tail"))).json
    path = link_to(client, made["id"])
    form = typed_initial(phone, path)
    sent(client, made["id"], initial("drive", 0.0040))
    refused = phone.post(f"{path}/entries", json=entry(form, held=False))
    assert (refused.status_code, refused.json["code"]) == (409, "stale_version")
    plain = phone.post(path + INITIAL, data=form)
    assert plain.status_code == 409 and "has changed meanwhile" in plain.text
    assert form_at(phone, path)["revision"] == "2", "and the form that comes back is of the latest"
    assert phone.post(f"{path}/entries", json=entry(form, held=True)).status_code == 201
    assert [each["revision"] for each in readings(client, made)] == [1, 1]


@pytest.mark.parametrize(
    "change",
    [
        {"id": "not a uuid"}, {"id": 1}, {"what": "completion"}, {"what": "deviation"}, {"fields": []},
        {"fields": {"one": "x"}},
        {"fields": {"one": [1]}}, {"taken": "yesterday"}, {"taken": -1}, {"now": 1.5}, {"held": "yes"}, {"more": 1},
        {"taken": 1, "now": 99_000_000_000},
    ],
)  # fmt: skip
def test_an_entry_of_another_shape_is_refused(client: Client, phone: FlaskClient, change: dict[str, Any]) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    answer = phone.post(f"{path}/entries", json=entry(typed_initial(phone, path)) | change)
    assert answer.status_code == 422 and answer.json["detail"], answer.text
    assert readings(client, made) == []


def test_other_bodies_are_no_entries(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    assert phone.post(f"{path}/entries", data="id=1").status_code == 422
    assert phone.post(f"{path}/entries", data="[", content_type="application/json").status_code in (400, 422)
    assert phone.post(f"{path}/entries", json=[1]).status_code == 422
    assert phone.post(path + INITIAL, json={"step": 10}).status_code == 415
    assert phone.put(path).status_code == 405


def test_a_slip_of_the_decimal_point_is_refused_on_the_page(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    answer = phone.post(path + INITIAL, data=typed_initial(phone, path, "4.0", "4.0"))
    page = phone.get(answer.headers["Location"]).text
    assert "Check the number" in page and "A slip of scale is suspected" in page and "Read again" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"one": "abc"}, "is not a number"),
        ({"one": "1e3"}, "is not a number"),
        ({"one": "1,000.5"}, "is not a number"),
        ({"one": ""}, "write the number"),
        ({"one": "-0.004"}, "-0.004"),
        ({"one": "nan"}, "is not a number"),
        ({"one": "1/3"}, "no fraction of a tape"),
        ({"one": "5/4"}, "no fraction of a tape"),
        ({"unit": "furlong"}, "choose the unit"),
        ({"taken_by": " "}, "write your name"),
        ({"taken_by": "x" * 81}, "80"),
        ({"kind": "run_in_temperature"}, "takes no such reading"),
        ({"step": "nowhere"}, "takes no such reading"),
        ({"revision": "7"}, "no such revision"),
        ({"revision": ""}, "no such revision"),
        ({"approved_by": FOREMAN}, "is not part of this card"),
    ],
)
def test_what_cannot_be_taken_is_said_and_what_was_typed_is_kept(
    client: Client, phone: FlaskClient, change: dict[str, str], said: str
) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    answer = phone.post(path + INITIAL, data=typed_initial(phone, path, two="0.0041") | change)
    assert answer.status_code == 422 and answer.content_type == "text/html; charset=utf-8"
    assert said in Page(answer.text).text
    assert answer.text.count('role="alert"') == 1
    assert readings(client, made) == []
    if set(change) <= {"one", "unit"}:
        assert next(each for each in forms(answer.text) if "kind" in each)["two"] == "0.0041"


@pytest.mark.parametrize(("typed", "value"), [("0,0040", 0.0040), (".004", 0.004), ("0.0040", 0.004)])
def test_numbers_are_read_as_they_are_written(client: Client, phone: FlaskClient, typed: str, value: float) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert phone.post(path + INITIAL, data=typed_initial(phone, path, typed, typed)).status_code == 303
    (kept,) = readings(client, made)
    assert kept["verdict"] == "accept" and kept["values"][0]["value"]["value"] == value


def test_a_tape_in_inches_is_read_with_its_fraction(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert phone.post(f"{path}/step/130", data=form_at(phone, path, "/step/130", one="118 3/32")).status_code == 303
    (kept,) = readings(client, made)
    assert kept["kind"] == "seat_spacing" and kept["values"][0]["value"]["value"] == pytest.approx(118.09375, abs=1e-9)


def test_words_of_callers_stay_words_on_the_page(client: Client, phone: FlaskClient) -> None:
    machine = known_fan() | {"tag": SCRIPT, "name": SCRIPT}
    made = client.post("/v1/work-orders", order(asset=machine, positions=("tail",))).json
    path = link_to(client, made["id"])
    refused = phone.post(path + INITIAL, data=typed_initial(phone, path, SCRIPT, taken_by=SCRIPT))
    phone.post(path + INITIAL, data=typed_initial(phone, path, taken_by=SCRIPT))
    kept = phone.get(f"{path}/pages").json
    for page in (
        refused.text,
        phone.get(path).text,
        phone.get(path + INITIAL).text,
        *kept["pages"].values(),
        kept["shell"],
    ):
        assert SCRIPT not in page.partition("<script>(()")[0].replace(page.partition("<script>(()")[2], "")
    assert SCRIPT in Page(refused.text).text or SCRIPT[:20] in Page(refused.text).text


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
        for below in ("", "/state", "/pages", "/steps", INITIAL):
            answer = phone.get(f"/card/{other}{below}")
            assert answer.status_code == 404 and "WO-" not in answer.text
        assert phone.post(f"/card/{other}/entries", json=entry({"step": "x"})).status_code == 404


def test_a_link_ends_with_its_time(client: Client, phone: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    made = opened(client)
    path = link_to(client, made["id"], valid_for={"value": 2, "unit": "h"})
    form = typed_initial(phone, path)

    class Later(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
            return datetime.now(tz) + timedelta(hours=2, seconds=1)

    monkeypatch.setattr(link_tokens, "datetime", Later)
    for answer in (phone.get(path), phone.post(path + INITIAL, data=form)):
        assert answer.status_code == 410 and "past its time" in answer.text and "WO-1" not in answer.text
    assert phone.post(f"{path}/entries", json=entry(form)).status_code == 410
    assert readings(client, made) == []


def test_a_link_ends_with_the_key_that_made_it(app: Flask, client_of: ClientMaker, phone: FlaskClient) -> None:
    client = client_of(app)
    path = link_to(client, opened(client)["id"])
    assert phone.get(path).status_code == 200
    assert client.key is not None
    revoke_key(app.extensions["capsaddle"].database, "ALDER", client.key.split("_")[1])
    assert {phone.get(path + each).status_code for each in ("", "/state", "/pages", INITIAL)} == {404}


def test_only_a_key_that_may_write_makes_a_link_and_no_key_stands_in_it(app: Flask, client_of: ClientMaker) -> None:
    writer = client_of(app)
    made = opened(writer)
    refused = client_of(app, scopes=("read", "approve", "admin")).post(f"/v1/work-orders/{made['id']}/card-links", {})
    assert refused.status_code == 403
    assert writer.key is not None
    secret = writer.key.split("_")[2]
    assert secret not in link_to(writer, made["id"])


def test_deviations_are_approved_only_on_a_link_that_was_made_for_it(
    app: Flask, client_of: ClientMaker, phone: FlaskClient
) -> None:
    lead, writer = client_of(app), client_of(app, scopes=("read", "write"))
    made = opened(lead)
    refused = writer.post(f"/v1/work-orders/{made['id']}/card-links", {"approves": True})
    assert (refused.status_code, refused.json["code"]) == (403, "scope_missing")
    plain, approving = link_to(lead, made["id"]), link_to(lead, made["id"], approves=True)
    fields = {"step": "shaft-size", "position": "tail", "reason": "Ground at the next stop.", "taken_by": FITTER}
    assert phone.get(f"{plain}/deviation/110/tail").status_code == 404
    assert phone.post(f"{plain}/deviation/110/tail", data=fields | {"approved_by": FOREMAN}).status_code == 404
    assert (
        phone.post(f"{plain}/entries", json=entry(fields | {"approved_by": FOREMAN}, what="deviation")).status_code
        == 422
    )
    same = phone.post(f"{approving}/deviation/110/tail", data=fields | {"approved_by": FITTER})
    assert same.status_code == 422 and "another person" in same.text
    assert client_deviations(lead, made) == []
    assert phone.post(f"{approving}/deviation/110/tail", data=fields | {"approved_by": FOREMAN}).status_code == 303
    (kept,) = client_deviations(lead, made)
    assert (kept["step"], kept["approved_by"], kept["taken_by"]) == ("shaft-size", FOREMAN, FITTER)


def client_deviations(client: Client, made: dict[str, Any]) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get(f"/v1/work-orders/{made['id']}/deviations").json["items"]
    return items


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
    form = typed_initial(phone, path)
    assert client.post(f"/v1/work-orders/{made['id']}/cancellation", {"reason": "opened twice"}).status_code == 200
    for below in ("", INITIAL, "/as-found/tail"):
        page = phone.get(path + below)
        assert page.status_code == 200 and "nothing can be entered any more" in page.text and "<form" not in page.text
    refused = phone.post(path + INITIAL, data=form)
    assert refused.status_code == 409 and "cancelled" in refused.text
    kept = phone.post(f"{path}/entries", json=entry(form))
    assert kept.status_code == 409 and "cancelled" in kept.json["detail"]
    assert client.post(f"/v1/work-orders/{made['id']}/card-links", {}).status_code == 409


def test_a_stop_step_cannot_be_cleared_on_the_page(client: Client, phone: FlaskClient) -> None:
    machine = fan(role="locating")
    made = client.post("/v1/work-orders", order(asset=machine, positions=("tail",))).json
    stops = [step for step in made["instructions"]["steps"] if step["stop"]]
    assert stops
    path = link_to(client, made["id"])
    assert "STOP: " in phone.get(path).text
    step = stops[0]
    address = f"{path}/step/{step['number']}" + (f"/{step['positions'][0]}" if step["positions"] else "")
    page = phone.get(address).text
    assert "not cleared by a reading" in page and not [each for each in forms(page) if "kind" in each]
    for kind in ("confirmation", "deviation"):
        by_hand = {"step": step["id"], "kind": kind, "done": "yes", "taken_by": FITTER, "revision": "1"}
        assert phone.post(address, data=by_hand).status_code == 422
    assert client_deviations(client, made) == [] and readings(client, made) == []


def open_holds(client: Client, made: dict[str, Any]) -> list[dict[str, Any]]:
    """What is still open; told to whoever would tick a line."""
    tick = {"readings": [confirmed("release-drive")]}
    told = client.post(f"/v1/work-orders/{made['id']}/readings?dry_run=true", tick)
    found: list[dict[str, Any]] = told.json["hold_points_open"]
    return found


def test_every_hold_of_an_order_can_be_closed_on_the_pages(client: Client, phone: FlaskClient) -> None:
    """The whole job by forms alone: each hold with the kinds it needs, by two persons."""
    made = opened(client)
    path = link_to(client, made["id"])
    word = {"try_start": "yes", "class_read": "C3", "rings_in": "drive"}
    series = "\n".join(f"{minute} {value}" for minute, value in GOOD_SERIES)
    for _ in range(40):
        still_open = open_holds(client, made)
        if not still_open:
            break
        point = still_open[0]
        plan = client.get(f"/v1/work-orders/{made['id']}/instructions").json
        for group in point["needs"]["kinds"]:
            kind = group[0]
            step = next(
                (each for each in plan["steps"] if (each["record"] or {}).get("kind") == kind
                 and (point["position"] is None or point["position"] in each["positions"] or not each["positions"])
                 and (kind != "try_start" or each["id"] == point["id"])),
                next(each for each in plan["steps"] if each["number"] == point["step"]),
            )  # fmt: skip
            place = point["position"] if point["position"] in step["positions"] else (step["positions"] or [None])[0]
            below = f"/step/{step['number']}" + (f"/{place}" if place else "")
            form = form_at(phone, path, f"{below}?kind={kind}")
            limits = next(iter(step["record"]["limits"]), None)
            if kind in word:
                form |= {"word": word[kind], "taken_by": FOREMAN if kind == "rings_in" else FITTER}
            elif kind == "run_in_temperature":
                form |= {"series": series, "unit": "degC"}
            elif kind == "stop_limit":
                form |= {"one": "90", "unit": "degC", "watcher": [FITTER, FOREMAN]}
            elif kind in ("initial_clearance", "residual_clearance"):
                form |= dict.fromkeys(("one", "two"), "0.0040" if kind == "initial_clearance" else "0.0025")
            else:
                aim = limits["aim"] or limits["min"]
                form |= {name: f"{aim['value']:.6f}" for name in ("one", "two") if name in form} | {"unit": aim["unit"]}
            assert phone.post(path + below, data=form).status_code == 303, (
                kind,
                phone.post(path + below, data=form).text,
            )
    assert open_holds(client, made) == []
    done = client.post(f"/v1/work-orders/{made['id']}/completion", completion(installed={"designation": "22216 K/C3"}))
    assert done.status_code in (201, 409), done.json


def test_the_page_says_what_it_may_do_and_keeps_to_itself(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    answer = phone.get(path + INITIAL)
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "form-action 'self'" in policy and "unsafe" not in policy
    assert "worker-src 'self'" in policy and "connect-src 'self'" in policy
    for tag, name in (("script", "script-src"), ("style", "style-src")):
        inline = re.search(rf"<{tag}>(.*?)</{tag}>", answer.text, re.DOTALL)
        assert inline is not None
        hashed = urlsafe_b64encode(sha256(inline[1].encode()).digest()).decode().replace("-", "+").replace("_", "/")
        assert f"{name} 'sha256-{hashed}'" in policy, "known by its hash alone"
    assert answer.headers["Cache-Control"] == "no-store" and answer.headers["Referrer-Policy"] == "no-referrer"
    assert re.findall(r"\s(?:src|style|on\w+)=", answer.text.partition("<script>(()")[0]) == []
    assert phone.get(f"{path}/pages").json["policy"] == policy, "and the kept pages have the same"


def test_the_worker_is_versioned_and_its_own(phone: FlaskClient) -> None:
    answer = phone.get("/card/sw.js")
    assert answer.status_code == 200 and answer.content_type.startswith("text/javascript")
    assert re.search(r"Version \d+\.\d+\.\d+\S*-[0-9a-f]{12}\.", answer.text)
    assert answer.headers["Cache-Control"] == "no-cache"


def test_a_kept_card_is_asked_for_again_only_when_it_would_be_another(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    first = phone.get(f"{path}/pages")
    tag = {"If-None-Match": first.headers["ETag"]}
    assert phone.get(f"{path}/pages", headers=tag).status_code == 304
    plan = client.get(f"/v1/work-orders/{made['id']}/instructions").json
    steps = {f"/step/{s['number']}" + (f"/{p}" if p else "") for s in plan["steps"] for p in s["positions"] or [None]}
    assert steps <= set(first.json["pages"]) and first.json["shell"].count("<!--main-->") == 1
    sent(client, made["id"], initial("tail", 0.0040))
    again = phone.get(f"{path}/pages", headers=tag)
    assert again.status_code == 200 and again.json["revision"] == 2 and json.dumps(again.json).count(SCRIPT) == 0


def test_the_name_is_asked_once_on_a_phone(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    answer = phone.post(path + INITIAL, data=typed_initial(phone, path, taken_by="Łucja Ż."))
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and f"Path={path}" in cookie
    asked = [each["taken_by"] for each in forms(phone.get(f"{path}/step/20").text)]
    assert asked == ["Łucja Ż."]


def test_what_was_found_is_sent_by_its_form_and_no_line_is_left_empty(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    (form,) = [each for each in forms(phone.get(f"{path}/as-found/tail").text) if "row_1" in each]
    form |= {
        "row_1": "0.0060", "row_2": "0.0055", "gap_out": "0", "ring_moves": "stuck", "amount": "some", "water": "no",
        "mark": "bottom", "rings": "none", "break_away_1": "95", "taken_by": FITTER, "creep": "none",
    }  # fmt: skip
    answer = phone.post(f"{path}/as-found/tail", data=form)
    assert answer.status_code == 303, answer.text
    assert "Sent " in phone.get(answer.headers["Location"]).text
    (kept,) = client.get(f"/v1/work-orders/{made['id']}/as-found").json["items"]
    assert (
        kept["rings"] == [] and kept["ring_moves"] == "stuck" and kept["grease"] == {"amount": "some", "water": False}
    )
    assert [each["value"]["value"] for each in kept["clearance"]] == [0.006, 0.0055]
    assert kept["load_mark"] == [{"ring": "outer", "from": 4, "to": 8, "pattern": "band"}] and kept["creep"] == []
    looked = {"rings", "gap_out", "ring_moves", "clearance", "load_mark", "grease", "break_away", "creep"}
    assert not looked & set(kept["not_looked_at"]) and {"nut", "tab", "seals", "gap_in"} <= set(kept["not_looked_at"])


def test_a_question_of_a_step_that_is_not_there_is_refused(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    asked = {"step": "initial", "position": "tail", "note": "No blade of 0.0035 here.", "taken_by": FITTER}
    assert phone.post(f"{path}/ask/140/tail", data=asked).status_code == 303
    for change in ({"step": "nowhere"}, {"position": "attic"}, {"note": " "}, {"note": "x" * 501}, {"taken_by": ""}):
        assert phone.post(f"{path}/ask/140/tail", data=asked | change).status_code == 422, change
    assert phone.get(f"{path}/ask/999").status_code == 404


def test_the_card_of_a_link_prints_as_pdf(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    answer = phone.get(f"{path}?as=pdf")
    assert answer.content_type == "application/pdf" and pdf_pages(answer.data)


def test_an_order_that_is_ready_shows_every_hold_as_signed(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert ready_to_complete(client, made["id"]) == []
    page = Page(phone.get(path).text).text
    said = re.search(r"signed (\d+) of (\d+)", page)
    assert said is not None and said[1] == said[2]


def test_inches_typed_at_a_metric_unit_are_a_slip(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert phone.post(path + INITIAL, data=typed_initial(phone, path, unit="mm")).status_code == 303
    (kept,) = readings(client, made)
    assert (kept["verdict"], kept["code"]) == ("reject", "reading_scale_suspect")
