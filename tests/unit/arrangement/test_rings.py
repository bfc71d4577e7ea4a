"""Locating rings (A7). One ring on the locknut side, two one each side: common practice, no source."""

import pytest

from service.arrangement.shaft_line import Drive, arrangement
from service.reference.housings import housing_from_dimensions, housing_from_size
from tests.unit.arrangement.machines import (
    B1216,
    bearing,
    codes,
    fields,
    support,
    two_supports,
    wide_516,
)


def locating(answer):
    (found,) = [one for one in answer.record()["supports"] if one["role"] == "locating"]
    return found


def test_one_ring_lies_on_the_locknut_side_and_the_bearing_against_the_opposite_shoulder():
    # seat 43, bearing 33: one ring of 10 mm (housing tables); side: common practice, no source
    pair = (support("tail", 0.0), support("drive", 3000.0, locknut_side="plus"))
    held = locating(two_supports(supports=pair))
    assert held["setting"] == "against_shoulder_opposite_nut"
    assert (held["locating_rings"]["count"], held["locating_rings"]["width"].value) == (1, 10.0)
    assert held["ring_sides"] == ["plus"]


def test_two_rings_lie_one_each_side_and_the_bearing_between_them():
    # wide seat 58, bearing 33: two rings of 12.5 mm (housing tables); sides: common practice, no source
    pair = (support("tail", 0.0), support("drive", 3000.0, housing=wide_516(), locknut_side="plus"))
    held = locating(two_supports(supports=pair))
    assert held["setting"] == "between_rings"
    assert (held["locating_rings"]["count"], held["locating_rings"]["width"].value) == (2, 12.5)
    assert held["ring_sides"] == ["minus", "plus"]


def test_the_narrow_seat_holds_a_narrower_bearing_with_two_rings():
    # 1216: width 26 in seat 43, two rings of 8.5 mm (housing tables)
    pair = (support("tail", 0.0), support("drive", 3000.0, bearing=B1216))
    assert locating(two_supports(supports=pair))["locating_rings"]["width"].value == 8.5


def test_the_ring_side_is_not_guessed_when_the_locknut_side_is_unknown():
    assert locating(two_supports())["ring_sides"] == []


def test_an_inch_housing_has_one_ring_as_wide_as_its_travel():
    # inch 516: seat 43 mm, 22216 K 33 mm, travel and ring 10 mm (published table)
    inch = housing_from_size(size="516", dimensions="inch")
    pair = (support("tail", 0.0, housing=inch), support("drive", 3000.0, housing=inch))
    answer = two_supports(supports=pair)
    assert locating(answer)["locating_rings"]["width"].value == 10.0
    assert answer.supports[0].total_mm == 10.0


def test_rings_in_a_free_housing_of_the_parts_list_are_blocked():
    pair = (support("tail", 0.0, rings_planned=1), support("drive", 3000.0, rings_planned=1))
    assert codes(two_supports(supports=pair).blocked) == ["rings_in_free_housing", "rings_not_in_exactly_one"]


def test_no_rings_for_the_locating_housing_are_blocked():
    pair = (support("tail", 0.0, rings_planned=0), support("drive", 3000.0, rings_planned=0))
    assert codes(two_supports(supports=pair).blocked) == ["no_rings_in_locating_housing", "rings_not_in_exactly_one"]


def test_rings_in_the_locating_housing_alone_are_right():
    pair = (support("tail", 0.0, rings_planned=0), support("drive", 3000.0, rings_planned=1))
    assert two_supports(supports=pair).blocked == ()


def test_an_unknown_seat_design_is_asked_with_both_widths_and_never_assumed():
    open_ = housing_from_size(size="516", dimensions="metric")
    answer = two_supports(supports=(support("tail", 0.0, housing=open_), support("drive", 3000.0, housing=open_)))
    assert locating(answer)["locating_rings"] is None
    assert answer.supports[0].total_mm is None
    assert {"supports/0/housing/seat_design", "supports/1/housing/seat_design"} <= set(fields(answer))
    widths = [part.value for part in answer.missing[0].why if not isinstance(part, str)]
    assert widths == [43.0, 10.0, 58.0, 25.0]  # seat and travel of each design, housing tables


def test_a_bearing_of_another_outside_diameter_does_not_belong_in_the_housing():
    # 22217: outside diameter 150 mm (ISO 15); seat bore of 516: 140 mm
    other = bearing("22217", 85.0, 150.0, 36.0)
    answer = two_supports(supports=(support("tail", 0.0), support("drive", 3000.0, bearing=other)))
    assert codes(answer.blocked) == ["bearing_does_not_fit_housing"]
    assert answer.blocked[0].position == "drive"


def test_a_bearing_wider_than_the_seat_does_not_belong_in_the_housing():
    # 22313: 140 mm x 48 mm (ISO 15) in a seat 43 mm wide
    wider = bearing("22313", 65.0, 140.0, 48.0)
    answer = two_supports(supports=(support("tail", 0.0, bearing=wider), support("drive", 3000.0)))
    assert "bearing_does_not_fit_housing" in codes(answer.blocked)
    tail = answer.record()["supports"][0]
    assert (tail["travel"], tail["setting"]) == (None, None)


def test_rings_given_by_the_site_are_held_against_the_space():
    def drive_with(rings):
        house = housing_from_dimensions(seat_width_mm=43.0, seat_bore_mm=140.0, locating_rings=rings)
        return two_supports(supports=(support("tail", 0.0), support("drive", 3000.0, housing=house)))

    assert codes(drive_with((1, 10.0)).blocked) == []
    assert codes(drive_with((2, 5.1)).blocked) == ["rings_too_wide"]
    assert codes(drive_with((1, 9.0)).warnings) == ["rings_do_not_fill"]
    assert "supports/1/housing/locating_rings" in fields(drive_with(None))


@pytest.mark.parametrize(
    ("direction", "blocked", "warned"),
    [("rotating", ["rotating_load"], []), ("up", [], ["load_on_cap"]), ("down", [], []), ("horizontal", [], [])],
)
def test_a_rotating_load_makes_a_free_outer_ring_wrong_and_an_upward_load_is_on_the_cap(direction, blocked, warned):
    # practice of fits: stationary ring loose only under a load of steady direction (ISO 286 based fit tables)
    answer = two_supports(supports=(support("tail", 0.0, load_direction=direction), support("drive", 3000.0)))
    assert codes(answer.blocked) == blocked
    assert codes(answer.warnings) == warned


def test_the_ring_found_in_a_housing_that_becomes_free_is_to_be_taken_out():
    pair = (
        support("tail", 0.0, ring_present=True, replaced=True),
        support("drive", 3000.0, ring_present=False, replaced=True),
    )
    answer = arrangement(supports=pair, drives=(Drive(3400.0),))
    assert "ring_to_take_out" in codes(answer.warnings)
    assert answer.supports[1].decision.role == "locating"


def test_one_ring_where_two_are_needed_is_warned_about():
    # wide seat 58, bearing 33: two rings of 12.5 mm (housing tables)
    pair = (
        support("tail", 0.0, rings_planned=0),
        support("drive", 3000.0, housing=wide_516(), rings_planned=1),
    )
    assert codes(two_supports(supports=pair).warnings) == ["ring_count_differs"]


def test_a_rotating_load_on_two_supports_is_blocked_before_their_roles_are_decided():
    pair = tuple(support(name, at, load_direction="rotating") for name, at in (("tail", 0.0), ("drive", 3000.0)))
    undecided = two_supports(supports=pair, drives=())
    assert [one.decision.role for one in undecided.supports] == [None, None]
    assert codes(undecided.blocked) == ["rotating_load"]
    steady = (pair[0], support("drive", 3000.0))
    assert two_supports(supports=steady, drives=()).blocked == ()  # tail may still become the locating one
