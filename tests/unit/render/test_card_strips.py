"""The numbers at the head of a card say why there is no window, and nothing that the bearing is not read by.

Numbers: rules C4 and C6; ISO 898-1 for M12 8.8 (84.3 mm2 at 580 MPa), oiled threads with nut factor 0.15.
"""

from service.mounting.clearance import Measured
from service.render.card.card import card_of
from service.render.card.text import card
from service.render.pictures.window import window_picture
from service.render.present import text
from tests.unit.instructions.machines import dryer_fan, plan_of
from tests.unit.render.pictures import parsed, said


def numbers(plan):
    printed = card(plan, units="metric", width=132, level="standard")
    return " ".join(printed[printed.index("\nNUMBERS") :].split("STEPS")[0].split())


def ball():
    return plan_of(dryer_fan(bearing={"designation": "2216 K/C3"}), "tail", system="metric")


def test_a_window_that_is_blocked_is_a_stop_and_no_number():
    """0.0037 and 0.0045 in: no window holds both rows."""
    printed = numbers(plan_of(dryer_fan(), "tail", measured={"tail": Measured(((93_980,), (114_300,)))}))
    assert "3 Leave: STOP, see above" in printed
    assert "Take away: STOP, see above" in printed


def test_a_reading_that_is_not_accepted_is_measured_again():
    """0.080 mm: outside 0.095-0.120 mm (ISO 5753-1, 22216 K/C3)."""
    printed = numbers(plan_of(dryer_fan(), "tail", system="metric", measured={"tail": Measured(((80_000,),))}))
    assert "measure line 1 again: not accepted" in printed


def test_a_ball_bearing_is_shown_without_blades():
    printed = numbers(ball())
    assert "1 Before mounting: Turn and swivel the new ring" in printed
    assert "Blade" not in printed and "row 1" not in printed
    assert "Travel, from firm contact" in printed
    assert "PROVISIONAL" not in said(parsed(window_picture(ball()["targets"][0], units="metric")))


def test_a_cylindrical_bore_is_heated_and_no_nut_is_counted():
    printed = numbers(plan_of(dryer_fan(bearing={"designation": "22216/C3"}, seat="cylindrical"), "tail"))
    assert "2 Heat" in printed and "Witness" not in printed


def test_a_share_of_proof_is_read_in_per_cent():
    """160 N.m: 88.9 kN over 48.9 kN of proof load, 182 %."""
    bolts = {"thread": "M12", "grade": "8.8", "count": 4, "lubrication": "oiled"}
    plan = plan_of(dryer_fan(cap_bolts=bolts), "tail", system="metric")
    stop = card_of(plan, units="metric", level="full").stops[0]
    rows = {row.label: text(row.text, "metric") for row in stop.facts}
    assert rows["share of proof"] == "182 %"
    assert "6 Cap bolts 4 x M12, 8.8: STOP, see above" in numbers(plan)
