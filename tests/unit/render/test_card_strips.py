"""The strips at the head of a card say why there is no window, and nothing that the bearing is not read by.

Numbers: rules C4 and C6; ISO 898-1 for M12 8.8 (84.3 mm2 at 580 MPa), oiled threads with nut factor 0.15.
"""

from service.mounting.clearance import Measured
from service.render.card.card import card_of
from service.render.card.text import card
from service.render.pictures.window import window_picture
from service.render.present import text
from tests.unit.instructions.machines import dryer_fan, plan_of
from tests.unit.render.pictures import parsed, said


def rows_differ():
    """0.0037 and 0.0045 in: no window holds both rows."""
    return plan_of(dryer_fan(), "tail", measured={"tail": Measured(((93_980,), (114_300,)))})


def strip(plan):
    return " ".join(card(plan, units="metric", width=132).split("STEPS")[0].split())


def ball():
    return plan_of(dryer_fan(bearing={"designation": "2216 K/C3"}), "tail", system="metric")


def test_a_window_that_is_blocked_is_a_stop_and_no_question_to_a_book():
    printed = strip(rows_differ())
    assert "LEAVE (residual) STOP: no window, see above" in printed
    numbers = {each.label: each.text for each in card_of(rows_differ(), units="metric").strips[0].numbers}
    assert numbers["LEAVE (residual)"] == numbers["Blade, light drag"] == "STOP: no window, see above"


def test_a_reading_that_is_not_accepted_is_measured_again():
    """0.080 mm: outside 0.095-0.120 mm (ISO 5753-1, 22216 K/C3)."""
    printed = strip(plan_of(dryer_fan(), "tail", system="metric", measured={"tail": Measured(((80_000,),))}))
    assert "LEAVE (residual) no window: measure the initial clearance again" in printed


def test_a_ball_bearing_is_shown_without_blades():
    printed = strip(ball())
    assert "measured not by blades: the outer ring turns and swivels freely" in printed
    assert "measure first" not in printed
    numbers = {each.label: each.text for each in card_of(ball(), units="metric").strips[0].numbers}
    assert "not by blades" in numbers["Blade, light drag"]
    assert "PROVISIONAL" not in said(parsed(window_picture(ball()["targets"][0], units="metric")))


def test_a_cylindrical_bore_is_named_as_one():
    printed = strip(plan_of(dryer_fan(bearing={"designation": "22216/C3"}, seat="cylindrical"), "tail"))
    assert "cylindrical bore, class C3" in printed
    assert "taper cylindrical" not in printed


def test_a_share_of_proof_is_read_in_per_cent():
    """160 N.m: 88.9 kN over 48.9 kN of proof load, 182 %."""
    bolts = {"thread": "M12", "grade": "8.8", "count": 4, "lubrication": "oiled"}
    plan = plan_of(dryer_fan(cap_bolts=bolts), "tail", system="metric")
    rows = {row.label: text(row.text, "metric") for row in card_of(plan, units="metric").stops[0].facts}
    assert rows["share of proof"] == "182 %"
    assert "STOP: this torque overloads the bolt; hand-tight" in strip(plan)
