"""Where the bearings stand in a plan: spacing, gaps before and after, limits, lifting; by the checks W01 to W15.

Seat widths, ring counts and displacements are those of the reference tables (516 narrow: travel 10 mm, one ring; 22216
K on a sleeve 0.70 to 0.85 mm); everything else is reckoned by hand from the rules of the order of work.
"""

import pytest

from service import units
from service.render.present import site_text, text
from tests.unit.instructions.cases import CASES, changed, fan, line
from tests.unit.instructions.machines import plan_of, step

BOTH = ("tail", "drive")


def sides(tail, drive):
    return changed(fan(), {"tail": {"locknut_side": tail}, "drive": {"locknut_side": drive}})


def said(made, name, level="brief", place=None):
    return site_text(step(made, name, place)["text"][level], made["units"])


def test_the_card_of_the_demo_marks_2982_mm_and_not_the_seats():
    """Seats 2987.04 mm apart, held nut away from the free bearing, one ring of 10 mm: check W01."""
    made = plan_of(fan(), *BOTH, seats_mm={"tail": 2987.04})
    assert made["placement"]["spacing"]["bearings"].value == pytest.approx(2982.04)
    assert said(made, "lay-out") == "Mark held far edge to free near edge: 117 13/32 in."
    metric = plan_of(fan(), *BOTH, system="metric", seats_mm={"tail": 2987.04})
    assert said(metric, "lay-out") == "Mark held far edge to free near edge: 2982 mm."
    limits = step(metric, "lay-out")["record"]["limits"][0]
    assert (limits["min"].value, limits["max"].value) == pytest.approx((2982.04 - 1.403, 2982.04 + 1.403), abs=0.01)


def test_before_the_seats_are_read_the_card_gives_the_sum_and_no_number():
    made = plan_of(fan(), *BOTH)
    assert said(made, "lay-out") == "Far to near edge: seats read ____ minus 0.195 in = ____."
    assert step(made, "lay-out")["record"]["limits"] == []
    everything = said(made, "lay-out") + said(made, "lay-out", "standard")
    assert "117" not in everything
    assert "117 19/32 in" in said(made, "bases", "full")


@pytest.mark.parametrize(
    ("drive_nut", "off_mm"),
    [("plus", 5.0), ("minus", -5.0)],  # one ring: plus when the nut is on the in side, away from the free bearing
)
@pytest.mark.parametrize(
    ("tail_nut", "before_mm"),
    [("minus", 5.0 - 0.775), ("plus", 5.0 + 0.775)],  # nut out: nearer to the out shoulder by the displacement
)
def test_every_nut_side_gives_its_own_spacing_and_gap(drive_nut, off_mm, tail_nut, before_mm):
    """Checks W01, W02, W12 and W13: S_brg = S_seat - e_h + e_f; G_before = G_aim -+ s."""
    placed = plan_of(sides(tail_nut, drive_nut), *BOTH)["placement"]
    assert placed["spacing"]["bearings"].value == pytest.approx(2987.04 - off_mm)
    assert placed["free"][0]["gap_before"].value == pytest.approx(before_mm)
    limits = placed["free"][0]["gap_before_limits"]
    assert limits["min"].value == pytest.approx(before_mm - 1.0)
    assert limits["max"].value == pytest.approx(before_mm + 1.0)


def test_two_equal_rings_hold_the_bearing_in_the_middle():
    """Wide 516: seat 58 mm, two rings of 12.5 mm: e_h = 0 whatever the nut."""
    wide = {"size": "516", "dimensions": "metric", "seat_design": "wide_seat"}
    for nut in ("plus", "minus"):
        document = changed(fan(housing=wide), {"drive": {"locknut_side": nut}})
        placed = plan_of(document, *BOTH)["placement"]
        assert placed["held"]["off_centre"].value == 0
        assert placed["spacing"]["bearings"].value == pytest.approx(2987.04)
        assert "two rings" in text(step(plan_of(document, *BOTH), "check-parts")["by_position"][0]["text"], "metric")


def test_unequal_widths_move_the_edges_by_half_their_difference():
    """22216 is 33 mm wide, 2212 28 mm: S_edge = S_brg + (33 - 28) / 2."""
    spacing = CASES["ball free, roller held"]()["placement"]["spacing"]
    assert spacing["edges"].value - spacing["bearings"].value == pytest.approx(2.5)


def test_the_gap_after_is_judged_on_the_out_side_by_growth_and_reserve():
    """Check W04: travel 10, ahead 2.097, behind 0.349, reserve 0.5: 2.597 to 9.151 mm, printed 0.105 to 0.360 in."""
    made = plan_of(fan(), *BOTH)
    limits = step(made, "check-gap")["record"]["limits"]
    assert [each["position"] for each in limits] == ["tail"]
    assert (limits[0]["min"].value, limits[0]["max"].value) == pytest.approx((2.597, 9.151), abs=0.001)
    assert said(made, "check-gap") == "Gap tail side: 0.195 in, 0.105 in to 0.360 in."


def test_a_shaft_that_shrinks_is_measured_on_the_out_side_all_the_same():
    """A cold store: the shaft 60 K colder than at assembly moves in by 2.097 mm; the out gap may be 0.5 to 7.403."""
    cold = changed(fan(), {}, shaft={"material": "carbon_steel", "temperature": units.temperature(-40.0)})
    free = plan_of(cold, *BOTH)["placement"]["free"][0]
    assert (free["gap_side"], free["out"]) == ("minus", "minus")
    ahead = 2987.04 * 11.7e-6 * 10  # the base at 30 degC grows, the shaft does not: it moves in further
    assert free["gap_limits"]["min"].value == pytest.approx(0.5, abs=0.4)
    assert free["gap_limits"]["max"].value == pytest.approx(10 - 0.5 - 2987.04 * 11.7e-6 * 60 - ahead, abs=0.01)


def test_an_unknown_growth_sets_the_bearing_in_the_middle_and_says_no_growth():
    document = changed(fan(), {})
    del document["shafts"][0]["shaft"]
    made = plan_of(document, *BOTH, system="metric")
    free = made["placement"]["free"][0]
    assert free["growth_known"] is False
    assert free["gap_aim"].value == 5.0
    assert (free["gap_limits"]["min"].value, free["gap_limits"]["max"].value) == (4.0, 6.0)
    assert "When hot" not in said(made, "check-gap", "full")


def test_the_held_bearing_alone_is_placed_by_the_shaft_with_its_own_nut():
    """Tightening draws the shaft in where the held nut is on the in side: G_before = G_aim - s_held, else + s."""
    for name, before_mm in (("held only", 5.0 - 0.775), ("held only, nut inward", 5.0 + 0.775)):
        made = CASES[name]()
        assert made["placement"]["free"][0]["gap_before"].value == pytest.approx(before_mm)
        order = [each["id"] for each in made["steps"]]
        walked = ["put-on", "lower", "set-held", "place-shaft", "lift-again", "tighten", "lock", "residual"]
        walked += ["lower-again", "set-held-again", "check-gap"]
        assert [each for each in order if each in walked] == walked
        assert step(made, "place-shaft")["hold"] == 5


def test_where_the_shaft_gives_the_place_nothing_is_marked_and_hold_5_falls():
    for name in ("withdrawal sleeve", "tapered journal, pinned", "cylindrical"):
        made = CASES[name]()
        assert not [each for each in made["steps"] if each["hold"] == 5]
        assert not {"lay-out", "place-free"} & {each["id"] for each in made["steps"]}
        assert "before a bearing is opened" in said(made, "bases", "full")
        assert step(made, "check-gap")["record"]["limits"]
    assert step(CASES["tapered journal, slides"](), "move-base")["hold"] == 5


def test_the_held_one_of_three_in_the_middle_has_its_own_sense_for_each_side():
    """e_h = -5 seen from A and +5 seen from C, or the other way round: 2 m +- 5 mm."""
    placed = CASES["three, held in the middle"]()["placement"]
    found = {each["position"]: each["spacing"]["bearings"].value for each in placed["free"]}
    assert sorted(found.values()) == pytest.approx([1995.0, 2005.0])
    assert placed["spacing"] is None
    assert placed["lift"]["lift_limit"] is None


def test_a_shaft_with_its_held_bearing_between_free_ones_is_lifted_level():
    made = CASES["three, held in the middle"]()
    assert "level" in said(made, "lift-free")
    assert "held ring in" in said(made, "lower-free")
    assert "level" not in said(CASES["three, held at the end"](), "lift-free")


def test_the_free_ones_of_several_are_set_from_the_held_one_outward():
    made = CASES["four"]()
    assert step(made, "place-free")["positions"] == ["B", "C", "D"]
    assert step(made, "lay-out")["per"] == "free"
    assert {each["position"] for each in step(made, "check-gap")["record"]["limits"]} == {"B", "C", "D"}


def test_one_end_is_lifted_by_at_most_ten_millimetres_a_metre():
    """Check W15: 29 mm at 2987 mm; 8 mm a metre for sealed bearings: 23 mm; 5 with labyrinth seals: 14 mm."""
    for facts, limit_mm in (({}, 29), ({"sealed": True}, 23), ({"seals": "labyrinth"}, 14)):
        assert plan_of(fan(**facts), *BOTH)["placement"]["lift"]["lift_limit"].value == limit_mm


def test_both_ends_are_lifted_over_the_wall_of_the_base():
    """D/2 + 10 mm up to 5: 140 / 2 + 10 = 80 mm, printed up in inches."""
    made = plan_of(fan(), *BOTH)
    assert made["placement"]["lift"]["lift_height"] == units.lift_least(80.0)
    assert "3.2 in" in said(made, "lift-shaft")


def test_a_tape_that_cannot_decide_says_so():
    """Check W09 in kind: 6 m and 60 K leave less room than the tape is sure of."""
    made = CASES["long and hot, tape cannot decide"]()
    assert made["placement"]["spacing"]["tape_can_decide"] is False
    assert step(made, "lay-out")["record"]["limits"] == []
    assert "a tape cannot decide" in said(made, "lay-out", "full")


def test_unknown_rings_or_travel_give_no_number():
    unknown = plan_of(line(2, drive_at_m=-0.4, housing={"size": "516", "dimensions": "metric"}), "A", "B")
    placed = unknown["placement"]
    assert placed["spacing"]["bearings"] is None
    assert placed["free"][0]["gap_before"] is None
    assert step(unknown, "place-free")["record"]["limits"] == []
    assert "ask for a new card" in said(unknown, "place-free", "standard")


def test_no_place_is_given_while_no_bearing_is_held():
    for name in ("two held", "nothing known", "tail pulley, roles open"):
        made = CASES[name]()
        assert made["placement"] is None
        assert not {"place-free", "set-held", "lay-out"} & {each["id"] for each in made["steps"]}


def test_a_long_name_of_a_position_does_not_burst_the_line():
    document = changed(fan(), {"tail": {"name": "tail bearing of the second dryer exhaust fan"}})
    made = plan_of(document, "tail bearing of the second dryer exhaust fan", "drive")
    assert said(made, "check-gap") == "Gap away from held: 0.195 in, 0.105 in to 0.360 in."
