"""What was found under the cap: the form as it was filled in, nothing mandatory, and a ring that is jammed."""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import inches
from tests.api.samples.orders import FITTER, newton_metres, opened

WHOLE = {
    "position": "tail",
    "rings": [],
    "gap_in": inches(0.31),
    "gap_out": inches(0.08),
    "ring_moves": "free",
    "clearance": [{"value": inches(0.006), "row": 1}, {"value": inches(0.0055), "row": 2}],
    "load_mark": [
        {"ring": "outer", "row": 1, "from": 4, "to": 8, "pattern": "band"},
        {"ring": "inner", "pattern": "all_round"},
    ],
    "creep": ["ring_seat"],
    "grease": {"amount": "some", "state": "dark", "water": False, "metal": True},
    "lubrication": "grease",
    "break_away": [newton_metres(150), newton_metres(95)],
    "locknut_side": "minus",
    "nut": "tight",
    "tab": "whole",
    "seals": "worn",
    "seat_spacing": inches(118.0),
    "sleeve_to_shoulder": inches(1.25),
    "marks": "22216 K/C3",
    "photos": ["IMG-0114", "IMG-0115"],
    "notes": "far side\nof the ring polished",
    "taken_at": "2020-01-07T08:00:00Z",
    "taken_by": FITTER,
}


def found(client: Client, order: dict[str, Any], body: dict[str, Any]) -> Any:
    return client.post(f"/v1/work-orders/{order['id']}/as-found", body)


def test_the_whole_form_is_kept_and_answered_as_it_was_filled_in(client_on_each: Client) -> None:
    order = opened(client_on_each)
    made = found(client_on_each, order, WHOLE)
    assert (made.status_code, made.json["warnings"]) == (201, [])
    (kept,) = client_on_each.get(f"/v1/work-orders/{order['id']}/as-found").json["items"]
    for line, sent in WHOLE.items():
        if line in ("grease", "rings", "creep", "nut", "tab", "seals", "photos", "marks", "notes", "load_mark"):
            assert kept[line] == sent, line
        assert line in kept
    assert kept["clearance"][1]["value"]["text"] == "0.0055 in (0.140 mm)" and kept["clearance"][1]["row"] == 2
    assert kept["break_away"][1]["value"] == pytest.approx(95 / 1.3558179483314004)


def test_nothing_is_mandatory_and_what_nobody_looked_at_is_said(client: Client) -> None:
    order = opened(client)
    assert found(client, order, {"position": "tail"}).status_code == 201
    lines = ["rings", "clearance", "load_mark", "photos"]
    made = found(client, order, {"position": "drive", "not_looked_at": lines})
    assert (made.status_code, made.json["not_looked_at"]) == (201, lines)
    both = found(client, order, {"position": "tail", "rings": [], "not_looked_at": ["rings"]})
    assert (both.status_code, both.json["code"]) == (422, "looked_at_and_not")


@pytest.mark.parametrize(
    "seen", [{"ring_moves": "stiff"}, {"ring_moves": "stuck"}, {"gap_out": inches(0)}, {"gap_in": inches(0)}]
)
def test_a_free_ring_that_is_jammed_is_warned_of_at_once_and_its_seat_gets_more_lines(
    client: Client, seen: dict[str, Any]
) -> None:
    order = opened(client)
    made = found(client, order, {"position": "tail", **seen})
    (warning,) = made.json["warnings"]
    assert (warning["code"], warning["position"]) == ("free_ring_jammed", "tail")
    assert "Never a bar on the ring" in warning["detail"] and made.json["revision"] == 2
    steps = client.get(f"/v1/work-orders/{order['id']}/instructions").json["steps"]
    seats = next(step for step in steps if step["id"] == "seats")
    assert "three ways" in seats["text"]["standard"] + seats["text"]["brief"]


def test_the_held_ring_lies_at_its_shoulder_without_a_warning(client: Client) -> None:
    order = opened(client)
    made = found(client, order, {"position": "drive", "gap_out": inches(0), "ring_moves": "stiff"})
    assert made.json["warnings"] == []


def test_a_seat_that_stays_tight_stops_the_work(client: Client) -> None:
    order = opened(client)
    made = found(client, order, {"position": "tail", "ring_moves": "stuck", "seat_tight": True})
    assert "free_seat_tight" in [point["stop"] for point in made.json["hold_points_open"]]


@pytest.mark.parametrize(
    ("change", "code", "pointer"),
    [
        ({"ring_moves": "a bit"}, "unknown_choice", "#/ring_moves"),
        ({"load_mark": [{"ring": "outer", "from": 13, "pattern": "band"}]}, "out_of_range", "#/load_mark/0/from"),
        ({"rings": [{"side": "left"}]}, "unknown_choice", "#/rings/0/side"),
        ({"gap_in": 5}, "bare_number", "#/gap_in"),
        ({"not_looked_at": ["the weather"]}, "unknown_choice", "#/not_looked_at/0"),
        ({"position": "nose"}, "unknown_position", "#/position"),
        ({"ring_present": True}, "unknown_member", "#/ring_present"),
    ],
)
def test_a_form_that_cannot_be_read_is_refused(client: Client, change: dict[str, Any], code: str, pointer: str) -> None:
    order = opened(client)
    refused = found(client, order, {"position": "tail", **change})
    assert refused.status_code == 422
    assert (refused.json["errors"][0]["code"], refused.json["errors"][0]["pointer"]) == (code, pointer)
    assert client.get(f"/v1/work-orders/{order['id']}/as-found").json["items"] == []
