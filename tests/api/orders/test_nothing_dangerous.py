"""Nothing dangerous closes a hold: sent to the API as a program does, and typed on the phone as a mechanic does.

What is dangerous here is common practice, no source, unless a line says otherwise. 22216 K/C3: ISO 5753-1:2009, group
3, bore 80: 0.095 to 0.120 mm before mounting; measured 0.0040 in, 0.0020 to 0.0025 in are left (common practice).
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from flask import Flask

from tests.api.cards.typed import forms, link_to
from tests.api.samples.checked import Client
from tests.api.samples.machines import inches
from tests.api.samples.orders import (
    FITTER,
    FOREMAN,
    closing_readings,
    completion,
    confirmed,
    degc,
    initial,
    isolated,
    known_fan,
    limit_written,
    opened,
    reading,
    residual,
    sent,
    series,
)

FLAT = (0, 15, 30, 45, 60, 90, 120, 150, 180)


@dataclass(frozen=True)
class Danger:
    """What must close nothing: as it is sent, as it is typed, the hold it was meant for, and what it is told."""

    sent: dict[str, Any]
    typed: dict[str, str]
    hold: int
    codes: tuple[str, ...]
    stop_limit: bool = True


def fahrenheit(value: float) -> dict[str, Any]:
    return series("tail", *((minute, value) for minute in FLAT), unit="degF")


def lines(value: float) -> str:
    return "\r\n".join(f"{minute} {value:g}" for minute in FLAT)


def row_of(kind: str, value: float, unit: str) -> dict[str, Any]:
    return reading(kind, "tail") | {"values": [{"value": {"value": value, "unit": unit}, "row": row} for row in (1, 2)]}


DANGERS = {
    "run-in at 250 degF": Danger(
        fahrenheit(250), {"position": "tail", "series": lines(250), "unit": "degF"}, 9, ("over_stop_limit",)
    ),
    "run-in that never warmed: 70 degF": Danger(
        fahrenheit(70), {"position": "tail", "series": lines(70), "unit": "degF"}, 9, ("no_rise",)
    ),
    "one temperature and no stop limit": Danger(
        series("tail", (0, 45)), {"position": "tail", "series": "0 45", "unit": "degC"}, 9, ("series_missing",), False
    ),
    "residual thicker than the new bearing": Danger(
        residual("tail", 0.0050), {"one": "0.0050", "two": "0.0050", "unit": "in"}, 4, ("residual_over_initial",)
    ),
    "rows two thousandths apart": Danger(
        residual("tail", 0.0024, 0.0044), {"one": "0.0024", "two": "0.0044", "unit": "in"}, 4, ("rows_differ",)
    ),
    "residual of 9 mm for 9 thousandths": Danger(
        row_of("residual_clearance", 9, "mm"),
        {"one": "9", "two": "9", "unit": "mm"},
        4,
        ("implausible", "reading_scale_suspect"),
    ),
    "initial of 9 mm for 9 thousandths": Danger(
        row_of("initial_clearance", 9, "mm"),
        {"one": "9", "two": "9", "unit": "mm"},
        3,
        ("implausible", "reading_scale_suspect"),
    ),
    "a gap before the nut of 9 mm where 4.2 is asked": Danger(
        reading("free_gap_before", "tail", {"value": 9, "unit": "mm"}),
        {"one": "9", "unit": "mm"},
        5,
        ("gap_too_large",),
    ),
    "a ring marked C4 where C3 is asked": Danger(
        reading("class_read", "tail", "C4"), {"word": "C4"}, 3, ("class_differs",)
    ),
    "a shaft thinner by 0.1 mm": Danger(
        reading("shaft_diameter", "tail", {"value": 68.06, "unit": "mm"}, {"value": 68.2, "unit": "mm"}),
        {"one": "68.06", "two": "68.2", "unit": "mm"},
        2,
        ("shaft_too_small",),
    ),
    "a cap torque of 200 lbf.ft where 110 are asked": Danger(
        reading("cap_bolt_torque", "tail", {"value": 200, "unit": "lbf.ft"}),
        {"position": "tail", "one": "200", "unit": "lbf.ft"},
        7,
        ("torque_too_high",),
    ),
    "it turned when it was tried": Danger(
        reading("try_start", None, False, step="recheck"), {"word": "no"}, 1, ("not_isolated",)
    ),
    "rings in both blocks": Danger(
        reading("rings_in", None, "tail", "drive", taken_by=FOREMAN), {"word": "tail"}, 6, ("rings_wrong",)
    ),
    "a stop limit of 300 degC": Danger(
        reading("stop_limit", None, degc(300)), {"one": "300", "unit": "degC"}, 8, ("implausible",), False
    ),
}


def begun(client: Client, danger: Danger) -> dict[str, Any]:
    """An order whose tail bearing is measured as new, and whose stop limit is written where it is meant to be."""
    order = opened(client)
    first = [isolated()]
    if danger.hold != 3:
        first += [initial("tail", 0.0040), reading("class_read", "tail", "C3")]
    if danger.stop_limit:
        first += [limit_written(90)]
    sent(client, order["id"], *first)
    return order


def open_holds(client: Client, order: dict[str, Any]) -> set[tuple[int | None, str | None]]:
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert (refused.status_code, refused.json["code"]) == (409, "hold_points_open")
    return {(point["hold"], point["position"]) for point in refused.json["hold_points_open"]}


def holds_meant(danger: Danger) -> set[tuple[int | None, str | None]]:
    once = danger.hold in (1, 6, 8)
    return {(danger.hold, None if once else "tail")}


@pytest.mark.parametrize("name", DANGERS)
def test_nothing_dangerous_that_a_program_sends_closes_a_hold(client: Client, name: str) -> None:
    danger = DANGERS[name]
    order = begun(client, danger)
    before = open_holds(client, order)
    item = sent(client, order["id"], danger.sent)["items"][0]
    assert item["verdict"] in ("recheck", "reject") and item["code"] in danger.codes, item
    assert open_holds(client, order) == before
    assert holds_meant(danger) <= before


@pytest.mark.parametrize("name", DANGERS)
def test_nothing_dangerous_that_a_mechanic_types_closes_a_hold(app: Flask, client: Client, name: str) -> None:
    danger = DANGERS[name]
    order = begun(client, danger)
    before = open_holds(client, order)
    item = typed(app, client, order, danger.sent["kind"], danger.hold, **danger.typed)
    assert item["verdict"] in ("recheck", "reject") and item["code"] in danger.codes, item
    assert open_holds(client, order) == before


def typed(app: Flask, client: Client, order: dict[str, Any], kind: str, hold: int, **fields: str) -> dict[str, Any]:
    """What became of a form that was filled in on the phone."""
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    steps = [s for s in plan["steps"] if (s["record"] or {}).get("kind") == kind and (s["hold"] in (hold, None))]
    number = steps[-1]["number"]
    position = fields.pop("position", "tail") if steps[-1]["positions"] else None
    place = f"/step/{number}" if position is None else f"/step/{number}/{position}"
    phone, link = app.test_client(), link_to(client, order["id"])
    person = FOREMAN if kind == "rings_in" else FITTER
    asked = [each for each in forms(phone.get(f"{link}{place}?kind={kind}").text) if each.get("kind") == kind]
    assert len(asked) == 1, "the page of the step has one form for it"
    answer = phone.post(link + place, data=asked[0] | {"taken_by": person, **fields})
    assert answer.status_code == 303, answer.text
    items: list[dict[str, Any]] = client.get(f"/v1/work-orders/{order['id']}/readings").json["items"]
    return items[-1]


def test_rows_apart_are_read_once_more_and_then_judged(client: Client) -> None:
    order = begun(client, DANGERS["rows two thousandths apart"])
    sent(client, order["id"], initial("tail", 0.0045))
    apart = residual("tail", 0.0015, 0.0035)
    found = [sent(client, order["id"], apart)["items"][0] for _ in range(2)]
    assert [(item["verdict"], item["code"]) for item in found] == [("recheck", "rows_differ"), ("reject", "too_tight")]
    assert (4, "tail") in open_holds(client, order)


@pytest.mark.parametrize("kind", ["initial_clearance", "residual_clearance"])
def test_one_row_of_two_closes_nothing(client: Client, kind: str) -> None:
    order = begun(client, DANGERS["residual thicker than the new bearing"])
    sent(client, order["id"], residual("tail", 0.0030))
    value = inches(0.0040 if kind == "initial_clearance" else 0.0025)
    alone = reading(kind, "tail") | {"values": [{"value": value, "row": 1}]}
    before = open_holds(client, order)
    item = sent(client, order["id"], alone)["items"][0]
    assert (item["verdict"], item["code"]) == ("recheck", "row_missing")
    assert open_holds(client, order) >= before


def test_a_phone_asks_for_both_rows(app: Flask, client: Client) -> None:
    order = begun(client, DANGERS["residual thicker than the new bearing"])
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    step = next(s["id"] for s in plan["steps"] if (s["record"] or {}).get("kind") == "residual_clearance")
    link = client.post(f"/v1/work-orders/{order['id']}/card-links", {}).json["url"]
    from service.api.cards.forms import NotTyped, reading_document

    sent_by_phone = {
        "step": step,
        "position": "drive",
        "kind": "residual_clearance",
        "taken_by": FITTER,
        "one": "0.0025",
        "unit": "in",
    }
    with pytest.raises(NotTyped, match="row 2"):
        reading_document(sent_by_phone, plan, revision=plan["revision"], taken_at=datetime(2026, 1, 7, 9, tzinfo=UTC))
    assert link.startswith("/card/")


SEAT_320 = {"seat_width": {"value": 96, "unit": "mm"}, "seat_bore": {"value": 320, "unit": "mm"}}
"""A block of the test's own, wide enough for 22236: outside diameter 320, width 86 mm (ISO 15)."""


def eighty_inches() -> dict[str, Any]:
    """The fan with its bearings 80 in apart."""
    machine = known_fan()
    machine["shafts"][0]["positions"][1]["at"] = inches(80)
    machine["shafts"][0]["drives"] = [{"at": inches(90), "kind": "coupling"}]
    return machine


@pytest.mark.parametrize("by_phone", [False, True])
def test_a_spacing_of_81_and_a_half_inches_where_80_are_on_record_is_not_accepted(
    app: Flask, client: Client, by_phone: bool
) -> None:
    """One and a half inches are 38 mm: no free bearing of this size has so much room (its seat leaves 10 mm)."""
    order = opened(client, asset=eighty_inches())
    before = open_holds(client, order)
    if by_phone:
        item = typed(app, client, order, "bearing_spacing", 0, one="81.5", unit="in")
    else:
        item = sent(client, order["id"], reading("bearing_spacing", None, inches(81.5)))["items"][0]
    assert item["verdict"] != "accept" and item["code"] is not None
    assert open_holds(client, order) == before and (5, "tail") in before


def test_the_seats_as_read_make_a_card_with_other_marks_and_close_nothing(client: Client) -> None:
    order = opened(client, asset=eighty_inches())
    before = open_holds(client, order)
    read = sent(client, order["id"], reading("seat_spacing", None, inches(80.25)))
    assert (read["items"][0]["verdict"], read["revision"]) == ("accept", 2)
    assert open_holds(client, order) == before
    spacing = client.get(f"/v1/work-orders/{order['id']}/instructions").json["placement"]["spacing"]
    was = order["instructions"]["placement"]["spacing"]
    assert spacing["seats_read"] is True and spacing["seats"]["value"] == pytest.approx(80.25)
    assert spacing["bearings"]["value"] - was["bearings"]["value"] == pytest.approx(0.25, abs=1e-6)


@pytest.mark.parametrize("by_phone", [False, True])
def test_a_shaft_of_190_mm_with_a_sleeve_for_a_bore_of_180_is_stopped(
    app: Flask, client: Client, by_phone: bool
) -> None:
    """ISO 2982-1: the adapter sleeve of bore 180 (H 3136, H 2336) is made for a shaft of 160 mm; 7 1/2 in is 190.5."""
    shaft = {"value": 190.5, "unit": "mm"}
    machine = known_fan(bearing={"designation": "22236 K/C3"}, housing=SEAT_320)
    for place in machine["shafts"][0]["positions"]:
        place["shaft_diameter"] = shaft
    order = opened(client, asset=machine)
    assert "sleeve_does_not_fit" in [each["code"] for each in order["instructions"]["blocked"]]
    stops = [s for s in order["instructions"]["steps"] if s["stop"] == "sleeve_does_not_fit"]
    assert stops
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert "sleeve_does_not_fit" in [point["stop"] for point in refused.json["hold_points_open"]]
    if by_phone:
        link = client.post(f"/v1/work-orders/{order['id']}/card-links", {}).json["url"]
        from service.api.cards.forms import forms_of

        assert not forms_of(order["instructions"], metric=True).get(stops[0]["number"]), "a phone has no form for it"
        assert link
    else:
        tick = sent(client, order["id"], confirmed(stops[0]["id"], (stops[0]["positions"] or [None])[0]))["items"][0]
        assert (tick["verdict"], tick["code"]) == ("reject", "deviation_needed")
    still = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert "sleeve_does_not_fit" in [point["stop"] for point in still.json["hold_points_open"]]


def test_a_bare_nine_is_refused(client: Client) -> None:
    order = begun(client, DANGERS["residual thicker than the new bearing"])
    bare = reading("residual_clearance", "tail") | {"values": [{"value": 9, "row": row} for row in (1, 2)]}
    refused = client.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [bare]})
    assert (refused.status_code, refused.json["errors"][0]["code"]) == (422, "bare_number")


def test_a_tick_gives_no_answer(client: Client) -> None:
    order = opened(client)
    refused = client.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [confirmed("check-parts", "tail")]})
    assert (refused.status_code, refused.json["code"]) == (422, "answer_missing")
    item = sent(client, order["id"], confirmed("before-start"))["items"][0]
    assert (item["verdict"], item["code"]) == ("reject", "reading_needed")
    assert (8, None) in open_holds(client, order)


def test_no_tick_on_any_line_closes_a_hold(client: Client) -> None:
    order = opened(client)
    before = open_holds(client, order)
    for step in order["instructions"]["steps"]:
        for position in step["positions"] or [None]:
            client.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [confirmed(step["id"], position)]})
    assert open_holds(client, order) == before


def test_the_last_look_is_another_person_than_the_one_who_read_the_gap(client: Client) -> None:
    order = begun(client, DANGERS["rings in both blocks"])
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    points = [{"step": s["number"], "position": None, "needs": {"kinds": [["free_gap"]]}}
              for s in plan["steps"] if s["hold"] == 6]  # fmt: skip
    sent(client, order["id"], *closing_readings(points, plan))
    own = sent(client, order["id"], reading("rings_in", None, "drive", taken_by="fitter, a."))["items"][0]
    assert (own["verdict"], own["code"]) == ("recheck", "same_person")
    assert (6, None) in open_holds(client, order)
    answer = sent(client, order["id"], reading("rings_in", None, "drive", taken_by=FOREMAN))
    assert answer["items"][0]["verdict"] == "accept" and (6, None) not in open_holds(client, order)
