"""Parts, tools, hours and what is lifted, as the plan of a job carries them."""

from collections.abc import Mapping
from typing import Any

import pytest

from service import units
from service.instructions.planning.hours import CLOCK_HOURS
from service.render.present import text
from tests.unit.instructions.cases import BIG, BIG_HOUSING, BOTH, CASES, NARROW_516, changed, fan, line
from tests.unit.instructions.machines import plan_of


def planning(case: str) -> dict[str, Any]:
    made: dict[str, Any] = CASES[case]()["planning"]
    return made


def of_kind(record: Mapping[str, Any], kind: str) -> list[dict[str, Any]]:
    return [each for each in record["parts"] if each["kind"] == kind]


def tool(record: Mapping[str, Any], begins: str) -> dict[str, Any]:
    found = [each for each in record["tools"] if text(each["said"], "metric").startswith(begins)]
    assert len(found) == 1, [text(each["said"], "metric") for each in record["tools"]]
    return found[0]


def test_two_equal_bearings_are_one_part_with_their_size_and_mass() -> None:
    """d x D x B of 222 16: ISO 15, dimension series 22: 80 x 140 x 33 mm; 2.15 kg in a general bearing catalogue."""
    [bearing] = of_kind(planning("both, nothing measured"), "bearing")
    assert (bearing["count"], bearing["positions"]) == (2, ["drive", "tail"])
    assert [bearing["size"][name].value for name in ("bore", "outside_diameter", "width")] == [80, 140, 33]
    assert 2.15 * 1.0 <= bearing["mass"].value <= 2.15 * 1.2  # printed ten per cent over a formula within 8 %


def test_one_lock_more_than_bearings_is_drawn() -> None:
    """A tab bent twice breaks: common practice, no source."""
    [lock] = of_kind(planning("both, nothing measured"), "lock")
    assert lock["count"] == 3
    assert [each["count"] for each in of_kind(planning("free only"), "lock")] == [2]
    [clip] = of_kind(planning("big bore, clip"), "lock")
    assert "clip" in text(clip["said"], "metric")
    assert not of_kind(planning("cylindrical"), "lock")


def test_rings_are_for_the_held_block_alone_and_as_wide_as_its_seat_asks() -> None:
    """Seat of an inch block 516 less the bearing: one ring fills it (A7); outside diameter is that of the bearing."""
    [ring] = of_kind(planning("both, nothing measured"), "locating_ring")
    assert (ring["positions"], ring["count"]) == (["drive"], 1)
    assert ring["size"]["outside_diameter"].value == 140
    assert not of_kind(planning("free only"), "locating_ring")
    assert not of_kind(planning("two held"), "locating_ring")


def test_while_the_seat_design_is_open_both_rings_are_named() -> None:
    """Housing 516 as the ring tables print it for either seat design."""
    open_design = {"size": "516", "dimensions": "metric"}
    made = plan_of(line(2, drive_at_m=-0.4, housing=open_design), "A", "B", system="metric")
    [ring] = of_kind(made["planning"], "locating_ring")
    narrow = plan_of(line(2, drive_at_m=-0.4), "A", "B", system="metric")
    wide = plan_of(
        line(2, drive_at_m=-0.4, housing={**NARROW_516, "seat_design": "wide_seat"}), "A", "B", system="metric"
    )
    said = text(ring["said"], "metric")
    for one in (narrow, wide):
        [settled] = of_kind(one["planning"], "locating_ring")
        assert text((f"{settled['count']} x ", settled["size"]["width"]), "metric") in said


def test_a_refitted_bearing_is_no_part_but_its_lock_and_seals_are() -> None:
    record = planning("refit")
    assert not of_kind(record, "bearing")
    assert not of_kind(record, "sleeve")
    assert of_kind(record, "lock")
    assert of_kind(record, "seal")


def test_an_end_cover_stands_where_the_shaft_may_end() -> None:
    """The coupling of the fan stands beyond its drive end, nothing beyond the tail end."""
    record = planning("both, nothing measured")
    assert [each["positions"] for each in of_kind(record, "end_cover")] == [["tail"]]
    assert sum(each["count"] for each in of_kind(record, "seal")) == 3
    overhung = planning("overhung wheel")  # the wheel stands beyond the tail end
    assert not of_kind(overhung, "end_cover")


def test_grease_by_the_book_of_the_block_else_by_four_fills() -> None:
    """22216: fill 65 g (check W60), drawn 300 g a block; a book's 180 g with the bearing's 65 g is 245, up to 250."""
    [grease] = of_kind(planning("both, nothing measured"), "grease")
    assert grease["amount"].value == pytest.approx(0.600)
    booked = plan_of(fan(grease_fill=units.mass(0.180)), *BOTH)["planning"]
    [grease] = of_kind(booked, "grease")
    assert grease["amount"].value == pytest.approx(0.500)
    assert [each["by_book"] for each in booked["grease"]] == [True, True]
    assert not of_kind(planning("sealed"), "grease")
    assert of_kind(planning("in oil"), "oil") and not of_kind(planning("in oil"), "grease")


def test_every_tool_stands_once_with_what_it_must_reach() -> None:
    record = planning("both, measured")
    said = [text(each["said"], "metric") for each in record["tools"]]
    assert len(said) == len(set(said))
    wrench = tool(record, "torque wrench")["reach"]
    assert [round(each.value, 1) for each in wrench if not isinstance(each, str)] == [
        74.6,
        150.0,
    ]  # half 110 lbf.ft; base
    [shaft] = tool(record, "micrometer")["reach"]
    assert shaft.value == 68.2625
    assert "AN-16" in text(tool(record, "hook spanner")["said"], "inch")
    assert "0.003 in" in text(tool(record, "feeler blades")["reach"], "inch")
    parts = [text(each["said"], "metric") for each in record["parts"]]
    assert not set(said) & set(parts)


def test_a_large_nut_asks_for_a_hydraulic_nut_and_a_hand_spanner_after_it() -> None:
    record = planning("big")
    assert "M180x3" in text(tool(record, "hydraulic nut")["said"], "metric")
    assert "M180x3" in text(tool(record, "hand spanner")["said"], "metric")
    assert [each["way"] for each in record["tightening"]] == ["hydraulic_nut", "hydraulic_nut"]
    assert {each["oil"] for each in record["tightening"]} == {"helps"}


def test_what_is_lifted_says_hands_or_hoist() -> None:
    """25 kg is the reference mass of ISO 11228-1 (from memory); a rotor is always hoisted."""
    small, big = planning("both, nothing measured")["masses"], planning("big")["masses"]
    assert [each["handling"] for each in small] == ["by_hand", "by_hand", "hoist"]
    assert [each["handling"] for each in big] == ["hoist", "hoist", "hoist"]
    assert small[-1]["mass"].value == 540
    assert planning("three, held at the end")["masses"][-1]["mass"] is None


def test_lift_heights_are_those_of_the_placement() -> None:
    made = CASES["both, nothing measured"]()
    assert made["planning"]["lifting"]["lift_height"] == made["placement"]["lift"]["lift_height"]
    assert made["planning"]["lifting"]["lift_limit"] == made["placement"]["lift"]["lift_limit"]


def test_hours_say_that_they_are_assumed_until_the_site_has_its_own() -> None:
    assumed = planning("both, nothing measured")["hours"]
    assert assumed["total"].value == 14 + 2  # two small bearings; a keyed coupling half is in the way
    assert "assumed" in text(assumed["said"], "metric")
    own = plan_of(fan(), *BOTH, planning_hours={"small": {"strip": 3.0}})["planning"]["hours"]
    assert own["total"].value == assumed["total"].value + 1.5
    assert {each["phase"] for each in own["phases"] if each["own"]} == {"strip"}
    assert "strip" in text(own["said"], "metric")
    whole = plan_of(fan(), *BOTH, planning_hours={"small": dict.fromkeys(CLOCK_HOURS, 1.0)})["planning"]["hours"]
    assert "assumed" not in text(whole["said"], "metric")


def test_an_inspection_strips_and_mounts_nothing() -> None:
    record = planning("inspection")
    phases = {each["phase"] for each in record["hours"]["phases"]}
    assert not phases & {"strip", "check_and_lay_out", "held_end", "free_end"}
    assert not of_kind(record, "bearing")
    assert record["tightening"] == record["freeing"] == []


def test_a_bearing_of_unknown_size_has_no_hours_and_no_crew() -> None:
    record = planning("nothing known")
    assert record["hours"]["total"] is None
    assert record["crew"] is None


def test_a_big_job_has_a_third_hand_and_a_crane_driver_over_50_kg() -> None:
    """23136: 28 kg by its catalogue, medium; a 23248 weighs well over 50 kg there."""
    assert planning("big")["crew"] == {"fitters": 2, "crane_driver": False}
    assert planning("big bore, clip")["crew"] == {"fitters": 3, "crane_driver": True}


@pytest.mark.parametrize("case", list(CASES))
def test_no_part_is_named_by_an_empty_text(case: str) -> None:
    record = CASES[case]()["planning"]
    for each in (*record["parts"], *record["tools"]):
        assert text(each["said"], "inch").strip()


def test_a_part_that_differs_between_ends_stands_for_each() -> None:
    mixed = changed(
        fan(), {"drive": {"bearing": BIG, "housing": BIG_HOUSING, "shaft_diameter": units.dimension(160.0)}}
    )
    record = plan_of(mixed, *BOTH)["planning"]
    assert [each["count"] for each in of_kind(record, "bearing")] == [1, 1]
