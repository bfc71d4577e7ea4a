"""Many bearings in one request, and three witnesses of one mounting."""

import json
from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import inches

BEARING = {"designation": "22216 K/C3"}


def batch(client: Client, lines: list[Any]) -> list[dict[str, Any]]:
    sent = b"".join(line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n" for line in lines)
    answer = client.post("/v1/clearance-targets/batch", data=sent, content_type="application/x-ndjson")
    assert answer.status_code == 200
    return [json.loads(line) for line in answer.data.splitlines()]


def test_each_line_is_answered_as_if_it_came_alone(client: Client) -> None:
    requests = [{"bearing": {"designation": f"222{n} K/C3"}, "seat": "adapter_sleeve"} for n in (16, 18, 20, 22)]
    lines = batch(client, requests)
    assert lines[-1] == {"end": True, "count": 4}
    for n, (request, line) in enumerate(zip(requests, lines[:-1], strict=True)):
        alone = client.post("/v1/clearance-targets", request)
        assert line == {"index": n, "status": 200, "result": alone.json}


def test_a_bad_line_does_not_fail_the_others(client: Client) -> None:
    good: Any = {"bearing": BEARING, "seat": "adapter_sleeve"}
    slip = {**good, "measured_clearance": inches(0.04)}
    lines = batch(
        client, [good, b"{nonsense\n", slip, {"bearing": {"designation": "?"}}, b"\n", {**good, "x": 1}, good]
    )
    assert [line.get("status") for line in lines] == [200, 400, 422, 422, 400, 422, 200, None]
    assert [line["problem"]["code"] for line in lines if "problem" in line] == [
        "bad_json", "reading_scale_suspect", "unknown_designation", "bad_json", "invalid",
    ]  # fmt: skip
    assert lines[2]["problem"]["fits"][0]["unit"] == "in"
    assert lines[0]["result"] == lines[6]["result"]


def test_the_batch_is_bounded(client: Client) -> None:
    path, media = "/v1/clearance-targets/batch", "application/x-ndjson"
    assert client.post(path, data=b"1\n" * 10_001, content_type=media).json["code"] == "too_many_lines"
    assert client.post(path, data=b" " * (8 * 1024 * 1024 + 1), content_type=media).status_code == 413
    assert client.post(path, data=b"1\n").json["code"] == "unsupported_media_type"


def mounted(client: Client, **read: Any) -> dict[str, Any]:
    body = {
        "bearing": BEARING,
        "seat": "adapter_sleeve",
        "sleeve_thread": "metric",
        "measured_clearance": inches(0.0040),
        "blade_set": "inch",
        "witnesses": read,
    }
    answer = client.post("/v1/clearance-targets?units=metric", body)
    assert answer.status_code == 200, answer.text
    return dict(answer.json["witnesses"])


def test_witnesses_that_agree_say_so(client: Client) -> None:
    """0.040 mm on 1:12 moves the ring about 0.7 mm (the on-sleeve column of the practice table, 65-80 mm)."""
    found = mounted(
        client,
        residual_clearance=inches(0.0025),
        axial_displacement={"value": 0.72, "unit": "mm"},
        nut_turn={"value": 130, "unit": "deg"},
    )
    assert [e["method"] for e in found["estimates"]] == ["blades", "axial_displacement", "nut_turn"]
    assert (found["agree"], found["contradicts"]) == (True, None)
    assert found["probability_inside"] > 0.5


def test_the_witness_that_contradicts_is_named(client: Client) -> None:
    found = mounted(
        client,
        residual_clearance=inches(0.0025),
        axial_displacement={"value": 2.4, "unit": "mm"},
        nut_turn={"value": 130, "unit": "deg"},
    )
    assert (found["agree"], found["contradicts"]) == (False, "axial_displacement")
    assert found["probability_inside"] is None


def test_witnesses_need_the_initial_clearance(client: Client) -> None:
    body = {"bearing": BEARING, "seat": "adapter_sleeve", "witnesses": {"residual_clearance": inches(0.0025)}}
    refused = client.post("/v1/clearance-targets", body)
    assert (refused.status_code, refused.json["code"]) == (422, "witnesses_missing")
    assert refused.json["errors"][0]["pointer"] == "#/measured_clearance"


def test_a_warm_inner_ring_asks_for_a_larger_class(client: Client) -> None:
    """alpha dT (d + 4 D)/5 = 12.5e-6 x 60 x (80 + 4 x 140)/5 = 0.096 mm: more than C3 leaves (0.040 to 0.080 mm)."""
    warm = {"bearing": BEARING, "seat": "adapter_sleeve", "temperature_difference": {"value": 60, "unit": "K"}}
    answer = client.post("/v1/clearance-targets?units=metric", warm).json
    assert "operating_preload" in [b["code"] for b in answer["blocked"]]
    cool = client.post(
        "/v1/clearance-targets?units=metric", {**warm, "temperature_difference": {"value": 10, "unit": "K"}}
    ).json
    assert cool["blocked"] == []
    assert cool["operating_clearance"]["loss"]["value"] == pytest.approx(12.5e-6 * 10 * (80 + 4 * 140) / 5, rel=0.05)
    assert cool["operating_clearance"]["min"]["value"] > 0


def test_a_large_thin_ring_is_measured_at_three_places(client: Client) -> None:
    """(a + b + c) / 2 with a at 9, b at 3 o'clock and c vertical: common practice, no source."""
    big = {"bearing": {"designation": "230/500 K/C3"}, "seat": "tapered_journal", "blade_set": "metric"}

    def mm(value: float) -> dict[str, Any]:
        return {"value": value, "unit": "mm"}

    ring = {"nine_o_clock": mm(0.38), "three_o_clock": mm(0.36), "vertical": mm(0.38)}
    answer = client.post("/v1/clearance-targets?units=metric", {**big, "measured_clearance": {"thin_ring": ring}})
    assert answer.json["measured"]["value"]["value"] == pytest.approx(0.56)
    assert answer.json["measured"]["verdict"] == "accept"
