"""Supports, wheels, bolts and wrenches over HTTP: taken strictly, kept with the asset, and used by the plan."""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, inches, order

LBF_FT = "lbf.ft"
FITTED = {"thread": "5/8-11", "grade": "SAE J429 5", "count": 2, "lubrication": "oiled"}
BASE = {"thread": "3/4-10 UNC", "grade": "SAE J429 5", "count": 4, "lubrication": {"nut_factor": 0.15}}
WRENCH = {"min": {"value": 20, "unit": LBF_FT}, "max": {"value": 250, "unit": LBF_FT}}
FACTS = {
    "can_move": True,
    "seal_travel": inches(0.3),
    "rings_planned": 0,
    "cap_bolts": FITTED,
    "base_bolts": BASE,
}


def machine() -> dict[str, Any]:
    """Return the fan with everything known of its supports, bolts and wheel."""
    made = fan(**FACTS)
    shaft = made["shafts"][0]
    shaft["positions"][1] |= {"rings_planned": 1, "ring_present": True}
    shaft |= {
        "wheels": [{"at": {"value": 1.5, "unit": "m"}, "name": "fan wheel", "holds_axial_position": False}],
        "setting_temperature": {"value": 86, "unit": "degF"},
        "axial_load": {"value": 500, "unit": "lbf"},
    }
    return made


def test_an_asset_keeps_its_supports_bolts_and_wheels(client_on_each: Client) -> None:
    made = client_on_each.post("/v1/assets", machine())
    assert made.status_code == 201, made.json
    shaft = client_on_each.get(made.headers["Location"]).json["shafts"][0]
    tail, drive = shaft["positions"]
    assert (tail["can_move"], tail["rings_planned"], drive["rings_planned"]) == (True, 0, 1)
    assert drive["ring_present"] is True
    assert tail["seal_travel"]["value"] == pytest.approx(0.3)
    assert (tail["cap_bolts"], tail["base_bolts"]) == (FITTED, BASE)
    assert shaft["wheels"][0]["name"] == "fan wheel"
    assert shaft["setting_temperature"]["value"] == pytest.approx(86)
    assert shaft["axial_load"]["value"] == pytest.approx(500)


def test_an_order_with_its_wrench_gets_check_and_setting(client_on_each: Client) -> None:
    client_on_each.post("/v1/assets", machine())
    made = client_on_each.post("/v1/work-orders", order(wrench=WRENCH))
    assert made.status_code == 201, made.json
    instructions = made.json["instructions"]
    bolting = {each["position"]: each for each in instructions["bolting"]}["tail"]
    assert bolting["wrench"]["suitable"] is True
    assert bolting["wrench"]["setting"]["value"] == pytest.approx(110)
    assert bolting["wrench"]["first_setting"]["value"] == pytest.approx(55)
    assert bolting["share_of_proof"] == pytest.approx(0.73, abs=0.005)
    assert {each["position"] for each in instructions["base_bolts"]} == {"tail", "drive"}
    tail = instructions["arrangement"]["supports"][0]
    assert tail["travel"]["limited_by"] == "seals"
    assert tail["expansion"]["setting_correction"]["correction"] is not None
    again = client_on_each.post("/v1/work-orders", order(wrench=WRENCH))
    assert (again.status_code, again.json["instructions"]["sha256"]) == (200, instructions["sha256"])


def test_a_full_asset_known_by_its_tag_is_compared_in_its_bolts_too(client: Client) -> None:
    client.post("/v1/assets", machine())
    assert client.post("/v1/work-orders", order(asset=machine())).status_code == 201
    other = machine()
    other["shafts"][0]["positions"][0]["cap_bolts"] = {**FITTED, "count": 4}
    differs = client.post("/v1/work-orders", order("WO-2", asset=other))
    assert (differs.status_code, differs.json["code"]) == (409, "asset_differs")
    assert differs.json["errors"][0]["pointer"] == "#/asset/shafts/0/positions/0/cap_bolts/count"


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"cap_bolts": {"thread": "M17"}}, "cap_bolts/thread", "unknown_thread"),
        ({"base_bolts": {"thread": "M16", "grade": "SAE J429 5"}}, "base_bolts/grade", "grade_not_for_thread"),
        ({"cap_bolts": {"thread": "M16", "lubrication": "wet"}}, "cap_bolts/lubrication", "unknown_choice"),
        ({"cap_bolts": {"thread": "M16", "count": 2.0}}, "cap_bolts/count", "wrong_type"),
        ({"can_move": "no"}, "can_move", "wrong_type"),
        ({"rings_planned": 3}, "rings_planned", "out_of_range"),
        ({"seal_travel": 7.5}, "seal_travel", "bare_number"),
    ],
)
def test_what_cannot_be_read_is_refused_where_it_stands(
    client: Client, change: dict[str, Any], pointer: str, code: str
) -> None:
    refused = client.post("/v1/assets", fan(**change))
    assert refused.status_code == 422
    (fault, *_) = refused.json["errors"]
    assert (fault["pointer"], fault["code"]) == (f"#/shafts/0/positions/0/{pointer}", code)


def test_an_impossible_wrench_is_refused_and_nothing_is_stored(client_on_each: Client) -> None:
    backwards = {"min": WRENCH["max"], "max": WRENCH["min"]}
    refused = client_on_each.post("/v1/work-orders", order(asset=machine(), wrench=backwards))
    assert (refused.status_code, refused.json["code"]) == (422, "wrench_range")
    assert refused.json["errors"][0]["pointer"] == "#/wrench/min"
    assert client_on_each.get("/v1/assets").json["items"] == []


SUPPORT = {
    "bearing": {"designation": "22216 K/C3"},
    "housing": {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"},
    "load_direction": "down",
}


def asked(*supports: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Return a request of /v1/bearing-arrangements for two supports 3 m apart, the coupling behind the second."""
    places = ({"name": "tail", "at": {"value": 0, "unit": "m"}}, {"name": "drive", "at": {"value": 3, "unit": "m"}})
    return {
        "supports": [{**place, **SUPPORT, **facts} for place, facts in zip(places, supports, strict=True)],
        "drives": [{"at": {"value": 3.4, "unit": "m"}, "kind": "coupling"}],
        "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
        "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
        **more,
    }


@pytest.mark.parametrize(
    ("tail", "drive", "more", "roles", "blocked"),
    [
        ({"can_move": False}, {}, {}, ["locating", "free"], []),
        ({"can_move": False}, {"can_move": False}, {}, ["locating", "locating"], ["no_free_support"]),
        ({"role": "locating"}, {"role": "free", "replaced": True}, {}, ["locating", "free"], []),
        ({"role": "locating", "replaced": True}, {"role": "free", "replaced": True}, {}, ["free", "locating"], []),
        ({"role": "free", "ring_present": True}, {}, {}, ["locating", "free"], []),
        ({"rings_planned": 1}, {"rings_planned": 0}, {}, ["free", "locating"], ["rings_in_free_housing"]),
        (
            {},
            {},
            {"wheels": [{"at": {"value": -0.3, "unit": "m"}, "holds_axial_position": True}]},
            ["locating", "free"],
            [],
        ),
        ({}, {}, {"wheels": [{"at": {"value": -0.3, "unit": "m"}}]}, [None, None], []),
        ({}, {"seat": "adapter_sleeve"}, {"axial_load": {"value": -9, "unit": "kN"}}, ["free", "locating"], ["axial"]),
    ],
)
def test_supports_are_decided_by_what_is_said_of_them(
    client: Client,
    tail: dict[str, Any],
    drive: dict[str, Any],
    more: dict[str, Any],
    roles: list[str | None],
    blocked: list[str],
) -> None:
    answer = client.post("/v1/bearing-arrangements", asked(tail, drive, **more))
    assert answer.status_code == 200, answer.json
    assert [each["role"] for each in answer.json["supports"]] == roles
    found = [each["code"] for each in answer.json["blocked"]]
    assert [code for code in blocked if not any(each.startswith(code) for each in found)] == []
    assert bool(found) is bool(blocked)


def test_the_gap_to_set_is_answered_for_the_temperature_of_the_shaft(metric_client: Client) -> None:
    # 3 m x 11.7e-6/K (Pytel & Kiusalaas) x 20 K = 0.702 mm less than half of 10 mm: hand calculation
    warm = asked({}, {}, setting_temperature={"value": 40, "unit": "degC"})
    tail = metric_client.post("/v1/bearing-arrangements", warm).json["supports"][0]
    assert tail["expansion"]["setting_gap"]["aim"]["value"] == pytest.approx(4.298, abs=1e-6)
    assert tail["expansion"]["setting_gap"]["side"] == "minus"


def test_seals_can_limit_the_travel(metric_client: Client) -> None:
    limited = asked({"seal_travel": {"value": 3, "unit": "mm"}}, {})
    answer = metric_client.post("/v1/bearing-arrangements", limited).json
    assert [each["code"] for each in answer["blocked"]] == ["travel_too_small"]  # 2.106 + 2 x 0.5 mm do not go into 3
    assert answer["supports"][0]["travel"]["limited_by"] == "seals"
