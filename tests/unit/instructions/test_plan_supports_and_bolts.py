"""The plan where supports, cap bolts, base bolts and the wrench are known: settings, checks and STOP steps.

Numbers by hand: a carbon steel shaft (11.7e-6/K, Pytel & Kiusalaas), narrow 516 seat 43 mm for a 33 mm bearing
(housing tables), inch 516: 110 lbf.ft in one publication. Steps and their order are our rules, written out again.
"""

import pytest

from service import units
from service.errors import CannotEvaluate
from service.instructions.plan.plan import plan
from service.render.present import text
from tests.unit.instructions.machines import INCH_516, complete_fan, dryer_fan, job, plan_of, step

LBF_FT = units.N_M_PER_LBF_FT
FITTED = {"thread": "5/8-11 UNC", "grade": "SAE J429 5", "count": 2, "lubrication": "oiled"}
WRENCH = {"min": units.torque(20 * LBF_FT), "max": units.torque(250 * LBF_FT)}


def said(made, name, place=None):
    return text(step(made, name, place)["text"], "inch")


def moved(change, *, span_m=3.0):
    """The fan with members of its shaft changed, and its supports this far apart."""
    document = dryer_fan()
    shaft = document["shafts"][0] | change
    shaft["positions"][1]["at"] = units.distance(span_m * 1000)
    shaft["drives"] = [{"at": units.distance(span_m * 1000 + 400), "kind": "coupling"}]
    return {**document, "shafts": [shaft]}


def test_known_bolts_and_wrench_give_check_order_and_setting():
    made = plan_of(dryer_fan(INCH_516, cap_bolts=FITTED), "tail", wrench=WRENCH)
    torque = said(made, "cap-torque", "tail")
    assert "Set the wrench to 55 lbf.ft" in torque
    assert "then to 110 lbf.ft" in torque
    assert "Order of the bolts: 1, 2" in torque
    assert "oiled, as on record" in torque
    assert "about 73 %" in torque  # 110 lbf.ft x 12 / (0.15 x 0.625 x 0.226 in2 x 85 ksi): published check
    asked = [each["field"] for each in made["missing"]]
    assert not [field for field in asked if field in ("cap_bolts/bolt", "cap_bolts/lubrication", "cap_bolts/wrench")]


def test_an_adapter_changes_the_setting_of_the_wrench():
    """T L/(L + E): 110 x 14/(14 + 3) = 90.6 lbf.ft (US Army TM 1-1500-204-23-9, p. 8)."""
    adapter = {"length": units.dimension(14 * 25.4), "adapter_length": units.dimension(3 * 25.4)}
    made = plan_of(dryer_fan(INCH_516, cap_bolts=FITTED), "tail", wrench=WRENCH | adapter)
    assert "then to 90.59 lbf.ft" in said(made, "cap-torque", "tail")


def test_a_wrench_that_does_not_reach_is_refused_with_what_is_needed():
    small = {"min": units.torque(10 * LBF_FT), "max": units.torque(80 * LBF_FT)}
    made = plan_of(dryer_fan(INCH_516, cap_bolts=FITTED), "tail", wrench=small)
    torque = said(made, "cap-torque", "tail")
    assert "does NOT suit" in torque
    assert "usable from 55 lbf.ft (74.57 N.m) to 110 lbf.ft (149.1 N.m)" in torque
    assert "Set the wrench" not in torque


def test_an_impossible_wrench_is_named_where_it_stands_in_the_order():
    backwards = {"min": units.torque(200.0), "max": units.torque(100.0)}
    with pytest.raises(CannotEvaluate) as refused:
        plan_of(dryer_fan(INCH_516), "tail", wrench=backwards)
    assert (refused.value.code, refused.value.field) == ("wrench_range", "wrench/min")


def test_smaller_bolts_than_the_book_names_are_a_stop():
    """110 lbf.ft on 1/2-13 grade 5, dry, K 0.20: 109 % of proof (published check)."""
    smaller = {"thread": "1/2-13 UNC", "grade": "SAE J429 5", "count": 2, "lubrication": "dry"}
    made = plan_of(dryer_fan(INCH_516, cap_bolts=smaller), "tail")
    assert {each["code"] for each in made["blocked"]} == {"over_proof"}
    stop = step(made, "stop-over_proof", "tail")
    assert stop["hold_point"]
    assert "109 %" in text(stop["text"], "inch")
    assert "STOP: this torque overloads the bolt" in said(made, "cap-torque", "tail")
    assert "Compare the bolt: 2 x 5/8-11 UNC" in said(made, "confirm-cap-torque", "tail")


def test_base_bolts_on_record_get_a_computed_torque_that_says_so():
    """3/8-16 grade 5 oiled at 75 % of proof: 23 lbf.ft (common practice, no source)."""
    base = {"thread": "3/8-16 UNC", "grade": "SAE J429 5", "count": 4, "lubrication": "oiled"}
    made = plan_of(dryer_fan(base_bolts=base), "tail")
    (record,) = made["base_bolts"]
    assert record["position"] == "tail"
    assert record["torque"].value / LBF_FT == pytest.approx(23, abs=0.5)
    tight = step(made, "base-bolts")
    assert tight["hold_point"]
    words = text(tight["text"], "inch")
    assert "4 x 3/8-16 UNC" in words
    assert "Computed as for an ordinary joint" in words
    assert "housing maker's book" in words
    assert "base-bolt-preload" in [each["id"] for each in made["sources"]]


def test_unknown_base_bolts_are_written_down_and_no_torque_is_invented():
    made = plan_of(dryer_fan(), "tail")
    assert made["base_bolts"] == []
    tight = step(made, "base-bolts")
    assert not tight["hold_point"]
    assert tight["text"] == text(tight["text"], "inch")  # words alone, no quantity
    half_known = plan_of(dryer_fan(base_bolts={"thread": "M20"}), "tail")
    assert half_known["base_bolts"][0]["torque"] is None
    asked = {each["field"] for each in half_known["missing"]}
    assert {"base_bolts/grade", "base_bolts/lubrication", "base_bolts/torque"} <= asked
    assert [each["id"] for each in half_known["steps"] if each["id"] == "ask-base_bolts-grade"]


def test_every_foot_is_read_before_the_base_bolts_are_tightened():
    """0.05 mm: common practice, no source."""
    made = plan_of(dryer_fan(), "tail", system="metric")
    foot = step(made, "soft-foot")
    assert "0.050 mm (0.0020 in)" in text(foot["text"], "metric")
    assert foot["number"] < step(made, "base-bolts")["number"] < step(made, "cap-torque", "tail")["number"]


def test_bolts_are_checked_again_after_the_run_and_never_slackened_for_it():
    again = step(plan_of(dryer_fan(), "tail"), "recheck-bolts")
    assert again["phase"] == "hand_back"
    assert "never slacken it first" in again["text"]


def test_the_free_setting_is_judged_by_growth_and_reserve():
    """3 m x 11.7e-6 x 60 K = 2.106 mm and 0.5 mm reserve; at most 10 - 0.5 mm."""
    limits = step(plan_of(dryer_fan(), "tail"), "free-setting")["record"]["limits"]
    assert limits == {"min": units.dimension(2.606), "max": units.dimension(9.5)}


def test_an_offset_setting_says_how_far_which_way_and_what_gap_that_leaves():
    """12 m: growth 8.424 mm; window [3.924, 4.5], aim 4.212 towards the held bearing; gap 5 + 4.212 mm."""
    made = plan_of(moved({}, span_m=12.0), "tail", system="metric")
    setting = text(step(made, "free-setting")["text"], "metric")
    assert "Set it 4.212 mm" in setting
    assert "off the middle, towards drive" in setting
    assert "shoulder facing away from drive: aim 9.212 mm" in setting
    limits = step(made, "free-setting")["record"]["limits"]
    assert (limits["min"].value, limits["max"].value) == pytest.approx((8.924, 9.5))


def test_the_setting_allows_for_a_shaft_that_is_still_warm():
    """3 m x 11.7e-6 x 20 K = 0.702 mm; 5 - 0.702 = 4.298 mm."""
    warm = moved({"setting_temperature": units.temperature(40.0)})
    setting = text(step(plan_of(warm, "tail", system="metric"), "free-setting")["text"], "metric")
    assert "The shaft is at 40 degC" in setting
    assert "0.702 mm (0.0276 in) further away from drive" in setting
    assert "aim 4.298 mm" in setting
    cold = text(step(plan_of(dryer_fan(), "tail", system="metric"), "free-setting")["text"], "metric")
    assert "for each 10 K (18 degF) warmer set the bearing 0.351 mm" in cold


def test_too_little_travel_is_a_stop_with_facts_and_ways_out():
    """15 m: growth 10.53 mm in a seat with 10 mm."""
    made = plan_of(moved({}, span_m=15.0), "tail", system="metric")
    stop = text(step(made, "stop-travel_too_small", "tail")["text"], "metric")
    for words in ("11.030 mm", "9.500 mm", "growth 10.530 mm", "Ways out: ", "wider seat"):
        assert words in stop
    assert "STOP step" in text(step(made, "free-setting")["text"], "metric")


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"role": "locating"}, "cross_located"),
        ({"role": "free"}, "unlocated"),
        ({"can_move": False}, "no_free_support"),
        ({"ring_present": True}, "cross_located"),
        ({"load_direction": "rotating"}, "rotating_load"),
        ({"rings_planned": 1}, "rings_in_free_housing"),
        ({"rings_planned": 0}, "no_rings_in_locating_housing"),
        ({"housing": {"size": "517", "dimensions": "metric"}}, "bearing_does_not_fit_housing"),
    ],
)
def test_what_must_not_be_done_is_a_stop_before_anything_is_taken_apart(facts, code):
    made = plan_of(dryer_fan(**facts), "tail")
    assert code in [each["code"] for each in made["blocked"]]
    stops = [each for each in made["steps"] if each["id"] == f"stop-{code}"]
    assert stops
    assert all(each["hold_point"] and each["title"].startswith("STOP: ") for each in stops)
    assert all("Ways out: " in text(each["text"], "inch") for each in stops)
    removal = min(each["number"] for each in made["steps"] if each["phase"] == "removal")
    assert all(each["number"] < removal for each in stops)


def test_an_axial_load_beyond_the_grip_of_the_sleeve_is_a_stop():
    """3 x 33 mm x 80 mm = 7.92 kN (common practice, no source)."""
    made = plan_of(moved({"axial_load": units.force(9000.0)}), "tail", system="metric")
    stop = text(step(made, "stop-axial_load_over_grip")["text"], "metric")
    assert "9 kN" in stop
    assert "7.92 kN" in stop


def test_an_overhung_wheel_leaves_the_roles_open_and_asks():
    overhung = {"wheels": [{"at": units.distance(-300.0), "name": "fan wheel"}]}
    made = plan_of(moved(overhung), "tail")
    assert {each["role"] for each in made["arrangement"]["supports"]} == {None}
    assert step(made, "roles-open")["hold_point"]
    assert "fan wheel" in " ".join(text(each["text"], "inch") for each in made["steps"] if each["id"] == "ask-supports")


def test_an_upward_pull_is_warned_about_and_said_at_the_cap():
    made = plan_of(dryer_fan(load_direction="up"), "tail")
    assert "load_on_cap" in [each["code"] for each in made["warnings"]]
    assert "UPWARD" in said(made, "close-cap", "tail")


def test_everything_known_about_bolts_and_supports_asks_nothing_about_them():
    document = complete_fan()
    for position in document["shafts"][0]["positions"]:
        position |= {"cap_bolts": FITTED, "ring_present": position["name"] == "drive"}
    made = plan(job(document, "tail", "drive", wrench=WRENCH))
    assert {each["field"] for each in made["missing"]} == {"measured_clearance", "cap_bolts/torque"}


@pytest.mark.parametrize("facts", [{"role": "locating"}, {"can_move": False}])
def test_while_roles_contradict_no_ring_is_set_and_none_is_on_the_parts_list(facts):
    made = plan_of(dryer_fan(**facts), "tail", "drive")
    for place in ("tail", "drive"):
        assert said(made, "set-locating", place).startswith("Set no ring here before the STOP step")
        assert "not before the STOP step" in said(made, "mounting-parts", place)
    assert not [each for each in made["parts"] if "locating ring" in text(each["name"], "inch")]
    settled = plan_of(dryer_fan(), "tail", "drive")
    assert [each["count"] for each in settled["parts"] if "locating ring" in text(each["name"], "inch")] == [1]
