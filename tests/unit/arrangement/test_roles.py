"""Roles: A1 to A5 and A8. That the bearing nearest the drive locates is common practice, no source."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.arrangement.shaft_line import Drive, Support, Wheel, arrangement
from service.errors import CannotEvaluate
from tests.unit.arrangement.machines import codes, fields, roles_of, support, two_supports


def test_of_two_supports_the_nearest_to_the_drive_locates_and_the_other_is_free():
    # common practice, no source
    answer = two_supports()
    assert roles_of(answer) == {"tail": "free", "drive": "locating"}
    assert [one.decision.rule for one in answer.supports] == ["A2", "A2"]
    assert answer.blocked == ()


def test_a_position_that_the_process_needs_held_locates_although_the_drive_is_at_the_other_end():
    answer = two_supports(supports=(support("fan", 0.0, holds_axial_position=True), support("drive", 3000.0)))
    assert roles_of(answer) == {"fan": "locating", "drive": "free"}
    assert answer.supports[0].decision.rule == "A3"


def test_two_positions_that_must_both_be_held_are_blocked():
    held = tuple(support(name, at, holds_axial_position=True) for name, at in (("a", 0.0), ("b", 3000.0)))
    assert codes(two_supports(supports=held).blocked) == ["cross_located"]


def test_a_support_that_cannot_move_locates_and_two_of_them_are_blocked():
    answer = two_supports(supports=(support("stiff", 0.0, can_move=False), support("drive", 3000.0)))
    assert roles_of(answer)["stiff"] == "locating"
    assert answer.supports[0].decision.rule == "A4"
    both = tuple(support(name, at, can_move=False) for name, at in (("a", 0.0), ("b", 3000.0)))
    assert codes(two_supports(supports=both).blocked) == ["no_free_support"]


def test_a_support_that_cannot_move_and_another_that_must_be_held_contradict():
    pair = (support("stiff", 0.0, can_move=False), support("fan", 3000.0, holds_axial_position=True))
    assert codes(two_supports(supports=pair).blocked) == ["cross_located"]


def test_roles_on_record_stay_when_one_of_two_bearings_is_replaced():
    pair = (support("tail", 0.0, role="locating", replaced=True), support("drive", 3000.0, role="free"))
    answer = two_supports(supports=pair)
    assert roles_of(answer) == {"tail": "locating", "drive": "free"}
    assert [one.decision.rule for one in answer.supports] == ["A5", "A5"]


def test_roles_are_decided_anew_when_both_bearings_are_replaced_and_the_change_is_said():
    pair = (
        support("tail", 0.0, role="locating", replaced=True),
        support("drive", 3000.0, role="free", replaced=True),
    )
    answer = two_supports(supports=pair)
    assert roles_of(answer) == {"tail": "free", "drive": "locating"}
    assert codes(answer.warnings) == ["role_changed", "role_changed"]


def test_one_free_support_on_record_leaves_the_other_to_locate():
    answer = two_supports(supports=(support("tail", 0.0), support("drive", 3000.0, role="free")))
    assert roles_of(answer) == {"tail": "locating", "drive": "free"}


@pytest.mark.parametrize("replaced", [False, True])
def test_two_locating_supports_on_record_are_cross_located_whatever_is_replaced(replaced: bool):
    pair = tuple(support(n, at, role="locating", replaced=replaced) for n, at in (("a", 0.0), ("b", 3000.0)))
    answer = two_supports(supports=pair)
    assert codes(answer.blocked) == ["cross_located"]
    assert answer.missing[-1].field == "shaft/diameter"


def test_all_supports_free_on_record_are_unlocated():
    pair = tuple(support(name, at, role="free") for name, at in (("a", 0.0), ("b", 3000.0)))
    assert codes(two_supports(supports=pair).blocked) == ["unlocated"]


def test_a_ring_found_under_the_cap_overrides_the_role_on_record():
    pair = (support("tail", 0.0, role="free", ring_present=True), support("drive", 3000.0, role="locating"))
    assert codes(two_supports(supports=pair).blocked) == ["cross_located"]
    swapped = (
        support("tail", 0.0, role="free", ring_present=True),
        support("drive", 3000.0, role="locating", ring_present=False),
    )
    assert roles_of(two_supports(supports=swapped)) == {"tail": "locating", "drive": "free"}


def test_a_held_position_that_is_free_on_record_is_warned_about():
    pair = (
        support("fan", 0.0, role="free", holds_axial_position=True),
        support("drive", 3000.0, role="locating"),
    )
    answer = two_supports(supports=pair)
    assert roles_of(answer) == {"fan": "free", "drive": "locating"}
    assert codes(answer.warnings) == ["held_position_is_free"]


def test_supports_equally_near_the_drive_are_left_open_with_the_question():
    answer = two_supports(drives=(Drive(1500.0, "belt"),))
    assert roles_of(answer) == {"tail": None, "drive": None}
    assert all(one.decision.question for one in answer.supports)
    assert "supports" in fields(answer)


def test_couplings_at_both_ends_are_left_open():
    answer = two_supports(drives=(Drive(-400.0), Drive(3400.0)))
    assert roles_of(answer) == {"tail": None, "drive": None}


def test_a_coupling_decides_over_a_belt_by_a_stated_rule():
    answer = two_supports(drives=(Drive(-400.0, "belt"), Drive(3400.0, "coupling")))
    assert roles_of(answer) == {"tail": "free", "drive": "locating"}
    assert answer.supports[1].decision.rule == "A8"


def test_an_overhung_wheel_asks_unless_its_support_locates_anyway():
    open_ = two_supports(wheels=(Wheel(-300.0, "fan wheel"),))
    assert roles_of(open_) == {"tail": None, "drive": None}
    held = two_supports(wheels=(Wheel(-300.0, "fan wheel", True),))
    assert roles_of(held) == {"tail": "locating", "drive": "free"}
    not_held = two_supports(wheels=(Wheel(-300.0, "fan wheel", False),))
    assert roles_of(not_held) == {"tail": "free", "drive": "locating"}
    same_end = two_supports(wheels=(Wheel(3300.0, "fan wheel"),))
    assert roles_of(same_end) == {"tail": "free", "drive": "locating"}


def test_of_three_supports_one_locates():
    three = tuple(support(name, at) for name, at in (("a", 0.0), ("b", 2000.0), ("c", 4000.0)))
    answer = arrangement(supports=three, drives=(Drive(4300.0),))
    assert roles_of(answer) == {"a": "free", "b": "free", "c": "locating"}


def test_nothing_known_never_fails_and_everything_is_asked():
    answer = arrangement(supports=(Support("a"), Support("b")), drives=())
    assert roles_of(answer) == {"a": None, "b": None}
    asked = {"drives", "supports/0/at", "supports/1/bearing", "supports/0/housing", "shaft/temperature"}
    assert asked | {"base/material", "load_direction"} <= set(fields(answer))
    assert all(one.why and one.how for one in answer.missing)


def test_a_single_support_is_answered_and_the_others_are_asked_for():
    answer = arrangement(supports=(support("only", 0.0),), drives=(Drive(300.0),))
    assert roles_of(answer) == {"only": None}
    assert "supports" in fields(answer)


def test_a_single_support_that_is_free_on_record_is_left_open_because_what_locates_is_not_known():
    answer = arrangement(supports=(support("only", 0.0, role="free"),), drives=(Drive(300.0),))
    assert roles_of(answer) == {"only": None}
    assert answer.supports[0].decision.question


def test_words_and_counts_outside_the_contract_are_refused():
    with pytest.raises(CannotEvaluate) as refused:
        arrangement(supports=(support("a", 0.0), support("a", 1.0)), drives=())
    assert (refused.value.code, refused.value.field) == ("support_named_twice", "supports/1/name")
    with pytest.raises(CannotEvaluate):
        arrangement(supports=(), drives=())
    with pytest.raises(CannotEvaluate):
        arrangement(supports=tuple(Support(str(n)) for n in range(13)), drives=())
    with pytest.raises(CannotEvaluate) as refused:
        arrangement(supports=(support("a", 0.0, role="held"),), drives=())
    assert refused.value.field == "supports/0/role"


PLACES = st.one_of(st.none(), st.integers(-20_000, 20_000).map(float))
SUPPORT_FACTS = st.fixed_dictionaries(
    {
        "at_mm": PLACES,
        "holds_axial_position": st.booleans(),
        "can_move": st.sampled_from([None, True, False]),
        "role": st.sampled_from([None, "locating", "free"]),
        "ring_present": st.sampled_from([None, None, True, False]),
        "replaced": st.booleans(),
        "load_direction": st.sampled_from([None, "down", "up", "rotating", "unknown"]),
    }
)
PLAIN_FACTS = st.fixed_dictionaries({"at_mm": st.integers(-20_000, 20_000).map(float)})
DRIVES = st.lists(
    st.builds(Drive, st.integers(-25_000, 25_000).map(float), st.sampled_from(["coupling", "belt", "chain", "gear"])),
    max_size=3,
)
WHEELS = st.lists(st.builds(Wheel, PLACES, st.just("wheel"), st.sampled_from([None, True, False])), max_size=2)


def shaft_line(facts: list[dict], shift_mm: float = 0.0, sign: float = 1.0) -> tuple[Support, ...]:
    placed = []
    for number, one in enumerate(facts):
        at_mm = None if one["at_mm"] is None else sign * one["at_mm"] + shift_mm
        placed.append(support(f"s{number}", **one | {"at_mm": at_mm}))
    return tuple(placed)


def moved(things: list, shift_mm: float = 0.0, sign: float = 1.0) -> tuple:
    return tuple(type(one)(None if one.at_mm is None else sign * one.at_mm + shift_mm, *_rest(one)) for one in things)


def _rest(one: Drive | Wheel) -> tuple:
    return (one.kind,) if isinstance(one, Drive) else (one.name, one.holds_axial_position)


@settings(max_examples=300, deadline=None)
@given(st.lists(SUPPORT_FACTS, min_size=1, max_size=12), DRIVES, WHEELS)
def test_exactly_one_support_locates_in_every_answer_not_blocked_and_without_null_role(facts, drives, wheels):
    answer = arrangement(supports=shaft_line(facts), drives=drives, wheels=wheels)
    roles = [one.decision.role for one in answer.supports]
    blocked = set(codes(answer.blocked)) & {"cross_located", "unlocated", "no_free_support"}
    if not blocked and None not in roles:
        assert roles.count("locating") == 1
        assert roles.count("free") == len(roles) - 1
    if roles.count("locating") != 1 and None not in roles:
        assert blocked
    assert all(one.decision.question for one in answer.supports if one.decision.role is None)


@settings(max_examples=200, deadline=None)
@given(st.lists(SUPPORT_FACTS, min_size=1, max_size=6), DRIVES, WHEELS, st.integers(-50_000, 50_000))
def test_moving_the_origin_never_changes_a_role(facts, drives, wheels, shift):
    here = arrangement(supports=shaft_line(facts), drives=drives, wheels=wheels)
    there = arrangement(
        supports=shaft_line(facts, float(shift)), drives=moved(drives, float(shift)), wheels=moved(wheels, float(shift))
    )
    assert roles_of(here) == roles_of(there)


def test_the_order_in_which_wheels_are_named_does_not_matter():
    supports = (Support(name="one", at_mm=0.0), Support(name="two", at_mm=1000.0))
    wheels = (Wheel(None, "lost wheel", True), Wheel(10.0, "fan wheel", True))
    one_way = roles_of(arrangement(supports=supports, drives=(), wheels=wheels))
    assert (
        one_way
        == roles_of(arrangement(supports=supports, drives=(), wheels=wheels[::-1]))
        == {"one": "locating", "two": "free"}
    )


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 3000), st.integers(3, 7), st.integers(-(10**6), 10**6))
def test_moving_the_origin_never_decides_between_distances_that_are_nearly_the_same(tenths, more, shift):
    """Supports on both sides of a belt, one 0.3 to 0.7 mm further away; places in tenths of a millimetre."""
    places = (-tenths / 10, (tenths + more) / 10)
    here = arrangement(supports=shaft_line([{"at_mm": at} for at in places]), drives=(Drive(0.0, "belt"),))
    moved_to = shaft_line([{"at_mm": at} for at in places], shift / 10)
    assert roles_of(here) == roles_of(arrangement(supports=moved_to, drives=(Drive(shift / 10, "belt"),)))


@settings(max_examples=200, deadline=None)
@given(st.lists(SUPPORT_FACTS, min_size=1, max_size=6), DRIVES, WHEELS)
def test_mirroring_the_shaft_mirrors_the_roles_or_leaves_both_open(facts, drives, wheels):
    here = arrangement(supports=shaft_line(facts), drives=drives, wheels=wheels)
    mirrored = arrangement(
        supports=shaft_line(facts, sign=-1.0)[::-1],
        drives=moved(drives, sign=-1.0)[::-1],
        wheels=moved(wheels, sign=-1.0)[::-1],
    )
    assert roles_of(here) == roles_of(mirrored)


@settings(max_examples=200, deadline=None)
@given(st.lists(PLAIN_FACTS, min_size=2, max_size=6), DRIVES)
def test_the_free_bearing_is_never_the_one_nearest_the_drive_unless_a_stated_rule_says_so(facts, drives):
    answer = arrangement(supports=shaft_line(facts), drives=drives)
    for one, fact in zip(answer.supports, facts, strict=True):
        if one.decision.role == "free" and one.decision.rule == "A2":
            (drive,) = drives
            nearest = min(abs(other["at_mm"] - drive.at_mm) for other in facts)
            assert abs(fact["at_mm"] - drive.at_mm) > nearest
