"""What a millwright would stop at: words that do not belong to this seat, steps in the wrong order, orders that clash.

Common practice, no source, unless a test names one.
"""

import pytest

from service import units
from service.mounting.clearance import Measured
from service.render.present import text
from tests.unit.instructions.machines import INCH_516, complete_fan, dryer_fan, plan_of, step, two_locating

SEATS = {
    "adapter_sleeve": {"seat": "adapter_sleeve"},
    "withdrawal_sleeve": {"seat": "withdrawal_sleeve"},
    "tapered_journal": {"seat": "tapered_journal"},
    "cylindrical": {"seat": "cylindrical", "bearing": {"designation": "22216/C3"}},
}


def made_on(seat, **facts):
    return plan_of(dryer_fan(**SEATS[seat], **facts), "tail", system="metric")


def said(made, name, place=None):
    return text(step(made, name, place)["text"], "metric")


def everything(made):
    return " ".join(text(each["text"], "metric") for each in made["steps"] if each["position"] in ("tail", None))


def parts(made):
    return " | ".join(text(each["name"], "metric") for each in made["parts"])


def measured(*rows_nm):
    return {"tail": Measured(tuple((nm,) for nm in rows_nm))}


def test_the_bases_carry_the_shaft_while_the_clearance_as_found_is_read():
    made = plan_of(dryer_fan(), "tail")
    assert "Leave its weight on the bases" in said(made, "support-shaft")
    assert "Take the weight up" in said(made, "lift-shaft")
    order = [each["id"] for each in made["steps"]]
    assert order.index("support-shaft") < order.index("as-found-cap")
    assert order.index("as-found-clearance") < order.index("lift-shaft")


def test_a_cap_is_never_opened_on_an_unsupported_shaft():
    """With the cap off, an overhung wheel lifts the far end: an inspection needs slings too."""
    made = plan_of(dryer_fan(), "tail", kind="inspection")
    order = [each["id"] for each in made["steps"]]
    assert order.index("support-shaft") < order.index("as-found-cap")


@pytest.mark.parametrize("seat", ["tapered_journal", "cylindrical"])
def test_without_a_sleeve_no_step_speaks_of_one(seat):
    made = made_on(seat, shaft_diameter=units.dimension(80.0))
    assert "leeve" not in everything(made)
    assert "leeve" not in parts(made)


def test_a_withdrawal_sleeve_is_a_part_and_is_drawn_out_when_too_tight():
    made = made_on("withdrawal_sleeve", shaft_diameter=units.dimension(75.0))
    assert "withdrawal sleeve for bore 80.000 mm" in parts(made)
    assert "adapter" not in parts(made)
    assert "draw the sleeve out with the withdrawal nut" in said(made, "residual-clearance")


def test_a_tapered_journal_is_not_stopped_for_being_tapered():
    shaft = said(made_on("tapered_journal"), "shaft-size")
    assert "ring gauge" in shaft
    assert "bent or tapered" not in shaft
    assert "bent or tapered" in said(made_on("adapter_sleeve"), "shaft-size")


def test_a_cylindrical_bore_is_not_called_a_taper():
    marks = said(made_on("cylindrical"), "bearing-marks")
    assert "cylindrical bore" in marks
    assert "taper" not in marks
    assert "cooled" in said(made_on("cylindrical"), "residual-clearance")


@pytest.mark.parametrize("seat", ["adapter_sleeve", "withdrawal_sleeve", "tapered_journal"])
def test_the_lock_is_undone_before_the_nut_is_turned_again(seat):
    residual = said(made_on(seat), "residual-clearance")
    assert any(words in residual for words in ("straighten the tab, go on", "undo the lock, go on"))


def test_oil_is_drained_first_and_filled_when_the_cap_is_tight():
    made = plan_of(dryer_fan(lubrication="oil"), "tail")
    order = [each["id"] for each in made["steps"]]
    fill = step(made, "oil-fill")
    assert said(made, "as-found-cap", "tail").startswith("Oil: drain it")
    assert fill["hold_point"]
    assert not step(made, "oil")["hold_point"]
    assert order.index("oil") < order.index("close-cap")
    last_torque = max(n for n, name in enumerate(order) if name == "cap-torque")
    assert last_torque < order.index("oil-fill") < order.index("turn-by-hand")


def test_rows_that_differ_too_much_are_not_tightened():
    """0.094 and 0.114 mm: less 0.038-0.051 mm no window holds both rows (rule C4, inch printing)."""
    made = plan_of(dryer_fan(), "tail", measured=measured(93_980, 114_300))
    assert "rows_differ" in [each["code"] for each in made["blocked"]]
    assert said(made, "reduce") == "Do not tighten: the STOP step of this bearing must be settled first."
    residual = said(made, "residual-clearance")
    assert "There is no window to read by" in residual
    assert "maker's book" not in residual
    assert "Too loose" not in residual


def test_a_class_that_is_too_tight_is_shown_with_the_range_of_the_class():
    """ISO 5753-1: 22216 K/C3 has 0.095-0.120 mm; 60 K take 0.096 mm, more than any reduction leaves."""
    hot = dryer_fan(temperature_difference=units.temperature_difference(60.0))
    blocked = next(
        each for each in plan_of(hot, "tail", system="metric")["blocked"] if each["code"] == "class_too_tight"
    )
    assert blocked["facts"]["initial_min"] == units.clearance(95_000)
    assert blocked["facts"]["initial_max"] == units.clearance(120_000)


def test_a_ball_bearing_is_driven_up_by_displacement_and_asked_for_no_blade():
    """Common practice for 2216 K on a sleeve: 0.45-0.50 mm."""
    made = plan_of(dryer_fan(bearing={"designation": "2216 K/C3"}), "tail", system="metric")
    reduce = step(made, "reduce")
    assert "Stop at an axial displacement of 0.45 mm" in said(made, "reduce")
    assert "initial clearance is in" not in said(made, "reduce")
    assert not any("feeler" in text(tool, "metric") for tool in reduce["tools"])
    assert "measured_clearance" not in [each["field"] for each in made["missing"]]


def test_a_combined_mark_is_not_compared_with_a_mark_that_the_ring_does_not_carry():
    """P63: tolerance class 6 with C3 (common practice): the ring carries P63, not C3."""
    marks = said(plan_of(dryer_fan(bearing={"designation": "22216 K/P63"}), "tail"), "bearing-marks")
    assert "joins tolerance class and clearance class and is read as C3" in marks
    assert "No mark is CN" not in marks


def test_a_bolt_that_would_be_overloaded_is_not_tightened():
    """160 N.m on M12 8.8, oiled: 160/(0.15 x 0.012) N over 84.3 mm2 x 580 MPa = 1.82 of proof (ISO 898-1)."""
    bolts = {"thread": "M12", "grade": "8.8", "count": 4, "lubrication": "oiled"}
    made = plan_of(dryer_fan(cap_bolts=bolts), "tail", system="metric")
    torque = said(made, "cap-torque", "tail")
    assert torque.startswith("STOP: this torque overloads the bolt. Tighten nothing")
    assert "Stages" not in torque


def test_where_roles_clash_no_reason_is_given_to_set_one():
    made = plan_of(two_locating(), "tail")
    assert "Why this one" not in said(made, "set-locating", "tail")


def test_an_inspection_looks_and_does_not_set():
    made = plan_of(dryer_fan(), "tail", kind="inspection")
    assert "it is not moved" in said(made, "set-locating")
    assert "ask for an order to set it" in said(made, "free-setting")


def test_a_gap_that_is_not_known_is_not_corrected():
    made = plan_of(dryer_fan({"size": "516", "dimensions": "metric"}), "tail", system="metric")
    assert "That is for a shaft at" not in said(made, "free-setting")


@pytest.mark.parametrize(
    ("diameter_mm", "smallest_mm"),
    [
        (68.2625, 68.2625 - 0.1016),  # 2 11/16 in: 0.004 in under nominal, over 2 to 4 in (common practice)
        (70.0, 70.0 - 0.074),  # ISO 286-2, h9 over 50 to 80 mm
        (25.4, 25.4 - 0.0508),  # 1 in: 0.002 in, over 1/2 to 1 in
    ],
)
@pytest.mark.parametrize("housing", [INCH_516, None])
def test_an_inch_shaft_has_inch_limits_in_any_housing(diameter_mm, smallest_mm, housing):
    fan = dryer_fan(*([housing] if housing else []), shaft_diameter=units.dimension(diameter_mm))
    limits = step(plan_of(fan, "tail"), "shaft-size")["record"]["limits"]
    assert limits["min"].value == pytest.approx(smallest_mm, abs=1e-6)
    assert limits["max"].value == pytest.approx(diameter_mm, abs=1e-6)


def test_a_complete_fan_still_names_its_sleeve_and_seals():
    named = parts(plan_of(complete_fan(), "tail", system="metric"))
    for words in ("adapter sleeve for bore 80.000 mm", "shaft seal for shaft 68.263 mm", "lock washer with tabs"):
        assert words in named
