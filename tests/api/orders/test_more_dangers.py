"""Readings that could hurt somebody and look harmless: none closes a hold, or the lead is told.

What is dangerous here is common practice, no source, unless a line says otherwise. The fan of the samples: 22216 K/C3
on an inch sleeve, shaft 2 11/16 in, the tail bearing free, 0.095 to 0.120 mm before mounting (ISO 5753-1:2009).
"""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import inches
from tests.api.samples.orders import (
    FITTER,
    FOREMAN,
    GOOD_SERIES,
    closing_readings,
    completion,
    degc,
    initial,
    isolated,
    known_fan,
    limit_written,
    newton_metres,
    opened,
    reading,
    ready_to_complete,
    residual,
    sent,
    series,
)

METRIC_516 = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}


def mm(value: float) -> dict[str, Any]:
    """A length in millimetres."""
    return {"value": value, "unit": "mm"}


def measured(client: Client, **more: Any) -> dict[str, Any]:
    """An order whose tail bearing was measured as new, 0.0040 in both rows."""
    order = opened(client, **more)
    sent(client, order["id"], isolated(), initial("tail", 0.0040), reading("class_read", "tail", "C3"))
    return order


def told(client: Client, order: dict[str, Any], *given: dict[str, Any]) -> list[tuple[str, str | None]]:
    """Verdict and code of each reading."""
    return [(item["verdict"], item["code"]) for item in sent(client, order["id"], *given)["items"]]


def open_holds(client: Client, order: dict[str, Any]) -> set[tuple[int | None, str | None]]:
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert (refused.status_code, refused.json["code"]) == (409, "hold_points_open"), refused.json
    return {(point["hold"], point["position"]) for point in refused.json["hold_points_open"]}


def plan_of(client: Client, order: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    return found


def with_limit(value: float | None) -> dict[str, Any]:
    """The fan with the stop limit that its site has on record, [degC]."""
    machine = known_fan()
    machine["shafts"][0] |= {} if value is None else {"stop_limit": degc(value)}
    return machine


# People first: isolation, the limit written before the start, the run-in.


@pytest.mark.parametrize(
    ("on_record", "written", "code"),
    [(95, 96, "over_site_limit"), (95, 121, "over_site_limit"), (None, 122, "over_printed_limits")],
)
def test_a_stop_limit_above_the_site_s_or_above_all_in_print_is_not_taken(
    client: Client, on_record: float | None, written: float, code: str
) -> None:
    """Limits in print lie between 90 and 121 degC (a fan maker, two catalogues)."""
    order = measured(client, asset=with_limit(on_record))
    assert told(client, order, limit_written(written)) == [("reject", code)]
    assert (8, None) in open_holds(client, order)
    assert told(client, order, limit_written(on_record or 121)) == [("accept", None)]


def test_a_stop_limit_without_somebody_to_read_each_housing_closes_nothing(client: Client) -> None:
    order = measured(client)
    for watched in ((), ("tail",)):
        alone = limit_written(90, *watched) if watched else reading("stop_limit", None, degc(90))
        assert told(client, order, alone) == [("recheck", "watchers_missing")]
        assert (8, None) in open_holds(client, order)
    assert told(client, order, limit_written(90, "drive", "tail")) == [("accept", None)]
    assert (8, None) not in open_holds(client, order)


def test_a_run_in_is_judged_by_the_site_s_limit_before_any_is_written(client: Client) -> None:
    order = measured(client, asset=with_limit(80))
    hot = series("tail", *((minute, 20 if minute == 0 else 85) for minute, _ in GOOD_SERIES))
    assert told(client, order, hot) == [("reject", "over_stop_limit")]


def test_degrees_celsius_sent_as_fahrenheit_are_colder_than_the_room(client: Client) -> None:
    """20 to 52 degC sent as degF are -7 to 11 degC, steady after a rise of 18 K: no housing starts below its room."""
    order = measured(client, asset=with_limit(95))
    cold = series("tail", *GOOD_SERIES, unit="degF")
    ((verdict, code),) = told(client, order, cold)
    assert (verdict, code) == ("recheck", "colder_than_room")
    assert (9, "tail") in open_holds(client, order)
    own = told(client, order, {**cold, "explanation": "It stands in the yard, in winter."})
    assert own == [("recheck", "colder_than_room")], "the one who read it is no second person"
    second = {**cold, "taken_by": FOREMAN, "explanation": "It stands in the yard, in winter."}
    assert told(client, order, second) == [("accept", "colder_than_room")]


@pytest.mark.parametrize(
    ("pairs", "code"),
    [
        (((0, 20), (15, 30), (60, 45), (90, 45), (120, 45)), "series_has_gaps"),
        (((0, 20), (15, 28), (30, 36), (45, 44), (60, 52), (90, 66)), "not_steady_yet"),
        (((30, 40), (45, 41), (60, 41), (90, 41), (120, 41)), "series_has_gaps"),
        (((0, 20), (15, 60), (30, 90), (45, 60), (60, 45), (90, 45), (120, 45), (150, 45)), "over_stop_limit"),
        (((0, 20), (1, 45), (2, 45), (3, 45), (4, 45)), "not_steady_yet"),
        (((0, 20), (15, 60), (30, 74), (45, 74), (60, 74), (90, 74), (120, 74)), "high_rise"),
    ],
    ids=["nothing read for an hour", "still rising", "begun after half an hour", "at the limit for a moment", "in four "
         "minutes", "54 K warmer than at the start"],
)  # fmt: skip
def test_a_run_in_that_proves_nothing_leaves_hold_9_open(client: Client, pairs: Any, code: str) -> None:
    order = measured(client)
    sent(client, order["id"], limit_written(90))
    ((verdict, found),) = told(client, order, series("tail", *pairs))
    assert verdict != "accept" and found == code
    assert (9, "tail") in open_holds(client, order)


def test_the_first_isolation_does_not_stand_for_the_second(client: Client) -> None:
    order = measured(client)
    twice = [each for each in plan_of(client, order)["steps"] if each["hold"] == 1]
    assert len(twice) == 2
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert [point["id"] for point in refused.json["hold_points_open"] if point["hold"] == 1] == ["recheck"]


def test_two_housings_far_apart_are_flagged_for_the_lead(client: Client) -> None:
    """More than 15 K at the end of the run-in: own convention."""
    order = opened(client)
    ready_to_complete(client, order["id"])
    assert "housings_apart" not in [f["code"] for f in client.get(f"/v1/work-orders/{order['id']}").json["flags"]]
    hot = series("drive", *((minute, value if minute == 0 else value + 16) for minute, value in GOOD_SERIES))
    assert told(client, order, hot)[0][0] == "accept"
    flagged = client.get(f"/v1/work-orders/{order['id']}").json["flags"]
    assert [(f["code"], f["position"]) for f in flagged if f["code"] == "housings_apart"] == [
        ("housings_apart", "drive")
    ]


# The shaft.


def test_one_diameter_alone_closes_nothing(client: Client) -> None:
    order = measured(client)
    assert told(client, order, reading("shaft_diameter", "tail", inches(2.6860))) == [("recheck", "shaft_read_once")]
    assert (2, "tail") in open_holds(client, order)
    assert told(client, order, reading("shaft_diameter", "tail", inches(2.6850), inches(2.6860))) == [("accept", None)]


def test_a_shaft_worn_on_one_side_lies_in_its_limits_and_is_refused(client: Client) -> None:
    """Shaft 70 h9 under a sleeve, cylindricity IT5/2 = 6.5 um (ISO 286-1): two diameters differ by 13 um at most."""
    machine = known_fan(shaft_diameter=mm(70), sleeve_thread="metric", housing=METRIC_516)
    order = measured(client, asset=machine)
    worn = reading("shaft_diameter", "tail", mm(69.940), mm(69.970))
    assert told(client, order, worn) == [("reject", "shaft_out_of_round")]
    assert (2, "tail") in open_holds(client, order)
    assert told(client, order, reading("shaft_diameter", "tail", mm(69.950), mm(69.960))) == [("accept", None)]


# Places along the shaft.


def eighty_inches() -> dict[str, Any]:
    machine = known_fan()
    machine["shafts"][0]["positions"][1]["at"] = inches(80)
    machine["shafts"][0]["drives"] = [{"at": inches(90), "kind": "coupling"}]
    return machine


def test_seats_of_81_and_a_half_inches_where_80_are_on_record_are_read_once_more(client: Client) -> None:
    """38 mm: the free bearing of this block has 10 mm of travel, so that it cannot have run there."""
    order = measured(client, asset=eighty_inches())
    seats = [reading("seat_spacing", None, inches(value)) for value in (81.5, 80.1, 81.5, 81.5)]
    before = plan_of(client, order)["revision"]
    assert told(client, order, seats[0]) == [("recheck", "seats_off_record")]
    assert plan_of(client, order)["revision"] == before, "no card is made with it"
    assert told(client, order, seats[1]) == [("accept", None)]
    assert told(client, order, seats[2]) == [("recheck", "seats_off_record")]
    assert told(client, order, seats[3]) == [("accept", None)], "read twice alike: the record is wrong"


def test_a_distance_without_its_free_bearing_is_asked_for_where_there_are_several(client: Client) -> None:
    machine = known_fan(housing=METRIC_516)
    third = {**machine["shafts"][0]["positions"][0], "name": "outer", "at": {"value": -3.0, "unit": "m"}}
    machine["shafts"][0]["positions"].append(third)
    order = opened(client, asset=machine)
    for kind in ("seat_spacing", "bearing_spacing"):
        refused = client.post(
            f"/v1/work-orders/{order['id']}/readings", {"readings": [reading(kind, None, inches(118.1))]}
        )
        assert (refused.status_code, refused.json["code"]) == (422, "position_required"), refused.json
        assert "tail" in refused.json["detail"] and "outer" in refused.json["detail"]


@pytest.mark.parametrize(
    ("gap", "codes"),
    [
        (mm(0), ("gap_too_small",)),
        (mm(0.165), ("reading_scale_suspect", "gap_too_small")),
        (inches(4.2), ("reading_scale_suspect", "gap_too_large")),
        (mm(10), ("gap_too_large",)),
    ],
    ids=["at the shoulder", "inches sent as mm", "mm sent as inches", "at the other shoulder"],
)
def test_a_gap_that_leaves_no_room_closes_neither_hold_5_nor_hold_6(
    client: Client, gap: dict[str, Any], codes: tuple[str, ...]
) -> None:
    order = measured(client)
    for kind in ("free_gap_before", "free_gap"):
        ((verdict, code),) = told(client, order, reading(kind, "tail", gap))
        assert verdict == "reject" and code in codes
    assert {(5, "tail"), (6, None)} <= open_holds(client, order)


# The taper.


def test_a_residual_before_the_bearing_was_measured_as_new_closes_nothing(client: Client) -> None:
    order = opened(client)
    ((verdict, _),) = told(client, order, residual("tail", 0.0025))
    assert verdict != "accept"
    assert (4, "tail") in open_holds(client, order)


def test_nothing_passes_is_too_tight(client: Client) -> None:
    order = measured(client)
    assert told(client, order, residual("tail", 0.0, 0.0)) == [("reject", "too_tight")]
    assert (4, "tail") in open_holds(client, order)


def test_displacement_or_nut_turn_do_not_stand_for_blades_that_can_show_the_window(client: Client) -> None:
    order = measured(client)
    target = plan_of(client, order)["targets"][0]
    for kind in ("axial_displacement", "nut_turn"):
        middle = {name: target[kind]["max"][name] for name in ("value", "unit")}
        told(client, order, reading(kind, "tail", middle))
    assert (4, "tail") in open_holds(client, order)


def test_one_row_read_twice_is_not_two_rows(client: Client) -> None:
    order = measured(client)
    twice = reading("residual_clearance", "tail") | {"values": [{"value": inches(0.0025), "row": 1}] * 2}
    assert told(client, order, twice) == [("recheck", "row_missing")]
    assert (4, "tail") in open_holds(client, order)


def test_a_new_bearing_of_another_class_is_not_taken_by_its_clearance(client: Client) -> None:
    """22216 K/C4 has 0.120 to 0.150 mm (ISO 5753-1:2009, group 4): 0.0055 in is one of those."""
    order = opened(client)
    ((verdict, code),) = told(client, order, initial("tail", 0.0055))
    assert verdict == "reject" and code == "wrong_bearing_or_measurement"
    assert (3, "tail") in open_holds(client, order)


def test_a_new_bearing_sent_as_a_used_one_for_its_wider_range_is_refused_at_the_end(client: Client) -> None:
    order = opened(client)
    sent(client, order["id"], isolated(), initial("tail", 0.0040, refitted=True))
    still = sent(client, order["id"], reading("class_read", "tail", "C3"))["hold_points_open"]
    sent(client, order["id"], *closing_readings(still, plan_of(client, order)))
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    assert (refused.status_code, refused.json["code"]) == (409, "measured_as_refitted")


def test_what_was_done_before_a_bearing_was_freed_again_is_done_again(client: Client) -> None:
    """Caps off, nut slackened, bearing freed: gap, cap torque, last look and run-in are those of another mounting."""
    order = opened(client)
    assert not ready_to_complete(client, order["id"])
    again = sent(client, order["id"], residual("tail", 0.0005), residual("tail", 0.0005), initial("tail", 0.0040))
    reopened = {(point["hold"], point["position"]) for point in again["hold_points_open"]}
    assert {(4, "tail"), (5, "tail"), (6, None), (7, "tail"), (7, "drive"), (8, None), (9, "tail")} <= reopened
    assert (2, "tail") not in reopened, "the shaft is the same"


def test_a_ball_bearing_that_bound_is_started_again_with_all_that_came_after_it(client: Client) -> None:
    order = opened(client, asset=known_fan(bearing={"designation": "1216 K/C3"}))
    target = order["instructions"]["targets"][0]["axial_displacement"]
    good = reading("axial_displacement", "tail", {name: target["max"][name] for name in ("value", "unit")})
    mounted = [reading("class_read", "tail", "C3"), good, reading("swivel", "tail", "free")]
    still = sent(client, order["id"], isolated(), *mounted)["hold_points_open"]
    assert not sent(client, order["id"], *closing_readings(still, plan_of(client, order)))["hold_points_open"]
    bound = sent(client, order["id"], reading("swivel", "tail", "binds"), *mounted)
    reopened = {(point["hold"], point["position"]) for point in bound["hold_points_open"]}
    assert {(7, "tail"), (9, "tail")} <= reopened and (4, "tail") not in reopened


# Bolts.


def test_with_an_adapter_on_the_wrench_its_setting_counts_and_not_the_torque_at_the_bolt(client: Client) -> None:
    """T_w = T L/(L + E) (TM 1-1500-204-23-9): 150 N.m with L 500 and E 50 mm is 136.4 on the wrench; 150 pulls 165."""
    machine = known_fan(
        housing=METRIC_516,
        cap_torque=newton_metres(150),
        cap_bolts={"thread": "M16", "grade": "8.8", "count": 2, "lubrication": "oiled"},
    )
    wrench = {"min": newton_metres(40), "max": newton_metres(200), "length": mm(500), "adapter_length": mm(50)}
    order = measured(client, asset=machine, wrench=wrench)
    ((verdict, code),) = told(client, order, reading("cap_bolt_torque", "tail", newton_metres(150)))
    assert verdict == "reject" and code == "torque_too_high"
    assert (7, "tail") in open_holds(client, order)
    assert told(client, order, reading("cap_bolt_torque", "tail", newton_metres(136))) == [("accept", None)]


def test_a_torque_in_pound_feet_sent_as_newton_metres_is_asked_about(client: Client) -> None:
    order = measured(client)
    ((verdict, code),) = told(client, order, reading("cap_bolt_torque", "tail", newton_metres(110)))
    assert verdict == "reject" and code == "reading_scale_suspect"
    assert (7, "tail") in open_holds(client, order)


# One hand, and paper that is typed in later.


def test_the_same_person_by_another_spelling_is_no_second_person(client: Client) -> None:
    order = measured(client)
    plan = plan_of(client, order)
    gap = next(s for s in plan["steps"] if (s["record"] or {}).get("kind") == "free_gap")["record"]["limits"][0]
    value = {name: gap["aim"][name] for name in ("value", "unit")}
    for name in ("FITTER, A", "a  fitter", "Fitter A."):
        given = [reading("free_gap", "tail", value), reading("rings_in", None, "drive", taken_by=name)]
        assert told(client, order, *given)[1] == ("recheck", "same_person")
    assert (6, None) in open_holds(client, order)


def test_who_read_it_does_not_approve_the_deviation(client: Client) -> None:
    order = measured(client)
    sent(client, order["id"], reading("shaft_diameter", "tail", mm(68.06), mm(68.2)))
    own = {"step": "shaft-size", "position": "tail", "reason": "worn", "approved_by": "Fitter, A."}
    refused = client.post(f"/v1/work-orders/{order['id']}/deviations", own)
    assert (refused.status_code, refused.json["code"]) == (422, "same_person")
    assert (2, "tail") in open_holds(client, order)


def test_a_reading_from_the_future_is_refused(client: Client) -> None:
    order = opened(client)
    late = {**initial("tail", 0.0040), "taken_at": "2999-01-01T00:00:00Z"}
    refused = client.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [late]})
    assert refused.status_code == 422


def completed_with(client: Client, order: dict[str, Any], **more: Any) -> dict[str, Any]:
    done = client.post(f"/v1/work-orders/{order['id']}/completion", completion(**more))
    assert done.status_code == 201, done.json
    found: dict[str, Any] = done.json
    return found


def test_a_run_in_before_the_caps_were_tight_is_flagged_and_not_forbidden(client: Client) -> None:
    order = opened(client)
    still = sent(client, order["id"], isolated(), initial("tail", 0.0040))["hold_points_open"]
    given = closing_readings(still, plan_of(client, order))
    times = {"run_in_temperature": "2020-01-07T10:00:00Z", "cap_bolt_torque": "2020-01-07T12:00:00Z"}
    left = sent(
        client, order["id"], *({**each, "taken_at": times.get(each["kind"], each["taken_at"])} for each in given)
    )
    assert not left["hold_points_open"]
    flagged = completed_with(client, order)["flags"]
    assert ("time_before_predecessor", "run-in") in [(each["code"], each["step"]) for each in flagged]


def test_a_bearing_that_was_driven_up_and_is_said_not_to_be_replaced_is_flagged(client: Client) -> None:
    """Else an order with a bearing on its taper and no hold signed would close without a word."""
    order = measured(client)
    sent(client, order["id"], residual("tail", 0.0030))
    still = open_holds_as(client, order, "inspected_only")
    sent(client, order["id"], *closing_readings(still, plan_of(client, order)))
    done = client.post(f"/v1/work-orders/{order['id']}/completion", completion(outcome="inspected_only"))
    assert done.status_code == 201, done.json
    assert ("mounted_but_not_replaced", "tail", [FITTER]) in [
        (each["code"], each["position"], each["persons"]) for each in done.json["flags"]
    ]


def open_holds_as(client: Client, order: dict[str, Any], outcome: str) -> list[dict[str, Any]]:
    refused = client.post(f"/v1/work-orders/{order['id']}/completion", completion(outcome=outcome))
    found: list[dict[str, Any]] = refused.json["hold_points_open"]
    return found


def test_a_measured_clearance_is_kept_row_by_row(client: Client) -> None:
    """Two rows that mean the middle of the range may lie at its two ends: the mean hides it."""
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0040, 0.0045))
    found = plan_of(client, order)["targets"][0]["measured"]
    assert [each["value"] for each in found["rows"]] == pytest.approx([0.0040, 0.0045])
    assert found["value"]["value"] == pytest.approx(0.00425)
