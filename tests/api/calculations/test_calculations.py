"""The three calculations on the wire: worked cases, and the refusals that name what is wrong."""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import inches

BEARING = {"designation": "22216 K/C3"}
NARROW_516 = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}
WIDE_516 = {"size": "516", "dimensions": "metric", "seat_design": "wide_seat"}


def targets(client: Client, query: str = "", **request: Any) -> Any:
    return client.post(f"/v1/clearance-targets{query}", {"bearing": BEARING, "seat": "adapter_sleeve", **request})


def test_a_measured_bearing_gets_its_blades(client: Client) -> None:
    """Four thousandths of an inch: one and a half come out, the 0.0025 blade just fits (common practice, no source).

    ISO 5753-1, tapered bore over 65 up to 80 mm, C3: 0.095-0.120 mm, printed in inches 0.0037-0.0047.
    """
    answer = targets(client, measured_clearance=inches(0.0040), blade_set="inch").json
    assert answer["initial_clearance"]["min"]["text"] == "0.0037 in (0.095 mm)"
    assert answer["initial_clearance"]["max"]["text"] == "0.0047 in (0.120 mm)"
    assert answer["measured"]["verdict"] == "accept"
    assert answer["residual_clearance"]["min"]["value"] == 0.0020
    assert answer["residual_clearance"]["max"]["value"] == 0.0025
    assert [b["text"] for b in answer["blades"]["target"]] == ["0.0025 in"]
    assert [b["text"] for b in answer["blades"]["must_pass"]] == ["0.002 in"]
    assert [b["text"] for b in answer["blades"]["must_not_pass"]] == ["0.003 in"]


def test_units_of_the_answer_follow_the_query_then_the_site(client: Client, metric_client: Client) -> None:
    assert targets(client).json["initial_clearance"]["min"]["unit"] == "in"
    assert targets(client, "?units=metric").json["initial_clearance"]["min"]["unit"] == "mm"
    assert targets(metric_client).json["initial_clearance"]["min"]["value"] == 0.095


@pytest.mark.parametrize(
    ("reading", "named"),
    [
        ({"value": 0.040, "unit": "in"}, "0.0040 in"),
        ({"value": 40, "unit": "thou"}, "0.0040 in"),
        ({"value": 0.1016, "unit": "in"}, "0.102 mm"),
    ],
)
def test_a_slip_of_scale_is_refused_with_what_would_fit(client: Client, reading: dict[str, Any], named: str) -> None:
    refused = targets(client, measured_clearance=reading)
    assert (refused.status_code, refused.json["code"]) == (422, "reading_scale_suspect")
    assert refused.json["errors"][0]["pointer"] == "#/measured_clearance"
    assert named in refused.json["detail"]
    assert any(named in fit["text"] for fit in refused.json["fits"])


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"bearing": {"designation": "99999 K"}}, "unknown_designation", "#/bearing/designation"),
        ({"bearing": {"designation": "22216"}, "seat": "adapter_sleeve"}, "bore_not_tapered", "#/bearing/designation"),
        (
            {
                "bearing": {
                    "type": "spherical_roller",
                    "bore": {"value": 3000, "unit": "mm"},
                    "taper": "1:12",
                    "clearance_class": "C3",
                }
            },
            "out_of_table",
            "#/bearing/bore",
        ),
        ({"bearing": BEARING, "measured_clearance": 0.004}, "wrong_shape", "#/measured_clearance"),
        ({"bearing": BEARING, "shaft_diameter": 70}, "bare_number", "#/shaft_diameter"),
        (
            {"bearing": BEARING, "measured_clearance": {"value": 4, "unit": "N"}},
            "wrong_dimension",
            "#/measured_clearance",
        ),
        (
            {"bearing": BEARING, "measured_clearance": {"value": 4, "unit": "furlong"}},
            "unknown_unit",
            "#/measured_clearance",
        ),
        (
            {"bearing": BEARING, "measured_clearance": {"value": "0.004", "unit": "in"}},
            "wrong_type",
            "#/measured_clearance",
        ),
        (
            {"bearing": BEARING, "temperature_difference": {"value": 10, "unit": "degC"}},
            "temperature_difference_unit",
            "#/temperature_difference",
        ),
        ({"bearing": BEARING, "seat": "welded"}, "unknown_choice", "#/seat"),
        ({"bearing": BEARING, "colour": "red"}, "unknown_member", "#/colour"),
        ({"bearing": {**BEARING, "k": 1}}, "unknown_member", "#/bearing/k"),
        ({}, "required", "#/bearing"),
        ([], "wrong_type", "#"),
        ({"bearing": None}, "null", "#/bearing"),
        (
            {"bearing": BEARING, "blade_set": [inches(0.002), {"value": 0.1, "unit": "mm"}]},
            "mixed_blade_units",
            "#/blade_set",
        ),
    ],
)
def test_bad_input_is_refused_with_its_place(client: Client, body: Any, code: str, pointer: str) -> None:
    refused = client.post("/v1/clearance-targets", body)
    assert refused.status_code == 422
    assert (refused.json["errors"][0]["code"], refused.json["errors"][0]["pointer"]) == (code, pointer)
    assert len(refused.json["detail"]) > 10


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"bearing": {"designation": "22216 K"}, "measured_clearance": {"value": NaN, "unit": "mm"}}', "NaN"),
        (b'{"bearing": {"designation": "22216 K"}, "bearing": 1}', "twice"),
        (b"[" * 10_000, "deeper"),
        (b"[" * 100_000, "more than 20000"),
        (b"{", "line 1"),
        (b'{"bearing": "\xff"}', "UTF-8"),
        (b'{"a": ' + b"9" * 5000 + b"}", "more digits"),
    ],
)
def test_what_is_not_strict_json_is_400(client: Client, data: bytes, said: str) -> None:
    refused = client.post("/v1/clearance-targets", data=data)
    assert (refused.status_code, refused.json["code"]) == (400, "bad_json")
    assert said in refused.json["detail"]


def test_infinity_and_control_characters_do_not_pass(client: Client) -> None:
    huge = client.post(
        "/v1/clearance-targets",
        data=b'{"bearing": {"designation": "22216 K"}, "measured_clearance": {"value": 1e999, "unit": "mm"}}',
    )
    assert (huge.status_code, huge.json["errors"][0]["code"]) == (422, "not_finite")
    body = b'{"bearing": {"designation": "22216 K\\u0000"}}'
    assert client.post("/v1/clearance-targets", data=body).json["errors"][0]["code"] == "bad_character"


def test_a_shaft_60_k_warmer_lengthens_by_2_1_mm(metric_client: Client) -> None:
    """3.0 m x 11.7e-6/K x 60 K = 2.106 mm (expansion of carbon steel: textbook tables); fits centred in +-5 mm."""
    answer = metric_client.post("/v1/bearing-arrangements", shaft_line(3.0, NARROW_516)).json
    tail, drive = answer["supports"]
    assert (tail["role"], tail["setting"], drive["role"]) == ("free", "centred", "locating")
    assert tail["growth"]["value"] == pytest.approx(2.106, abs=1e-9)
    assert (tail["direction"], tail["travel"]["total"]["value"]) == ("minus", 10)
    assert drive["setting"] == "against_shoulder_opposite_nut"
    assert (drive["locating_rings"]["count"], drive["locating_rings"]["width"]["value"]) == (1, 10)
    assert tail["locating_rings"] == {"count": 0, "width": None}
    assert answer["blocked"] == []


def test_twelve_metres_need_an_offset_and_fifteen_do_not_fit(metric_client: Client) -> None:
    offset = metric_client.post("/v1/bearing-arrangements", shaft_line(12.0, NARROW_516)).json["supports"][0]
    assert offset["setting"] == "offset"
    assert offset["offset"]["min"]["value"] == pytest.approx(8.424 + 0.5 - 5)
    assert offset["offset"]["max"]["value"] == pytest.approx(4.5)
    blocked = metric_client.post("/v1/bearing-arrangements", shaft_line(15.0, NARROW_516)).json["blocked"]
    assert [b["code"] for b in blocked] == ["travel_too_small"]


def test_a_wide_seat_has_two_rings(metric_client: Client) -> None:
    drive = metric_client.post("/v1/bearing-arrangements", shaft_line(3.0, WIDE_516)).json["supports"][1]
    assert (drive["locating_rings"]["count"], drive["locating_rings"]["width"]["value"]) == (2, 12.5)
    assert drive["setting"] == "between_rings"


def test_an_unknown_seat_design_is_asked_for(metric_client: Client) -> None:
    line = shaft_line(3.0, {"size": "516", "dimensions": "metric"})
    answer = metric_client.post("/v1/bearing-arrangements", line)
    assert answer.status_code == 200
    asked = [m for m in answer.json["missing"] if "seat_design" in m["field"]]
    assert asked and "43" in asked[0]["how"] + asked[0]["why"] and "58" in asked[0]["how"] + asked[0]["why"]
    assert answer.json["supports"][0]["travel"] is None


def shaft_line(metres: float, housing: dict[str, Any]) -> dict[str, Any]:
    support = {"bearing": BEARING, "housing": housing}
    return {
        "supports": [
            {"name": "tail", "at": {"value": 0, "unit": "m"}, **support},
            {"name": "drive", "at": {"value": metres, "unit": "m"}, **support},
        ],
        "drives": [{"at": {"value": metres + 0.4, "unit": "m"}, "kind": "coupling"}],
        "shaft": {"material": "carbon_steel", "temperature": {"value": 80, "unit": "degC"}},
        "base": {"material": "concrete", "temperature": {"value": 20, "unit": "degC"}},
    }


def test_the_cap_torque_of_an_inch_block_is_one_publication_s(client: Client) -> None:
    answer = client.post("/v1/cap-bolt-torques", {"housing": {"size": "516", "dimensions": "inch"}}).json
    assert (answer["torque"]["text"], answer["confidence"]) == ("110 lbf.ft (150 N.m)", "single_publication")
    assert [s["percent"] for s in answer["stages"]] == [50, 100, 100]


def test_a_torque_beyond_the_proof_load_is_blocked(client: Client) -> None:
    """110 lbf.ft on a dry 1/2-13 grade 5 bolt: F = 110 x 12 / (0.20 x 0.5) = 13 200 lbf; proof 85 ksi x 0.1419 in2."""
    bolt = {"thread": "1/2-13 UNC", "grade": "SAE J429 5", "count": 2}
    body = {"torque": {"value": 110, "unit": "lbf.ft"}, "bolt": bolt, "lubrication": {"nut_factor": 0.20}}
    answer = client.post("/v1/cap-bolt-torques", body).json
    assert answer["share_of_proof"] == pytest.approx(13_200 / (85_000 * 0.1419), abs=0.005)
    assert [b["code"] for b in answer["blocked"]] == ["over_proof"]


def test_an_unknown_housing_names_those_that_are_known(client: Client) -> None:
    refused = client.post("/v1/cap-bolt-torques", {"housing": {"size": "999", "dimensions": "inch"}})
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_housing")
    assert "516" in refused.json["detail"]
