"""The drawings of steps, read back from their SVG: numbers only where given, no ring too many, no text on another.

Which side is which, how many rings a bearing has and how bolts are crossed are facts of the trade (common practice, no
source); line weights and sizes are what a copy of a copy keeps, tried with a copier.
"""

import re
from collections.abc import Callable

import pytest

from service.render.pictures.drawing import Drawing
from service.render.pictures.steps import handling, housing, mounting, seats
from service.render.pictures.steps.shaft_line import Block, shaft_line
from service.render.pictures.svg import svg
from tests.unit.render.pictures import outside, overlapping, parsed, parts, points, said

FREE = {"gap_side": "minus", "gap": "0.195", "limits": "0.105 to 0.360", "before": "0.225", "hot": "0.085"}
DRAWINGS: dict[str, Callable[[], Drawing]] = {
    "blade place": mounting.blade_place,
    "sleeve": mounting.sleeve_and_bearing,
    "sleeve, ball": lambda: mounting.sleeve_and_bearing(balls=True),
    "nut": mounting.nut_then_lock,
    "withdrawal": mounting.withdrawal_sleeve,
    "swivel": mounting.swivel,
    "heated": mounting.heated,
    "heated to": lambda: mounting.heated(heat_to="212 degF", heat_max="245 degF"),
    "blades": mounting.blade_or_stack,
    "blades, numbers": lambda: mounting.blade_or_stack(single="0.0025", stack=("0.0025", "0.0015"), reading="0.0040"),
    "held": lambda: seats.held_seat(rings=1, ring_sides=("plus",), ring="0.395", nut_side="plus"),
    "held, left": lambda: seats.held_seat(rings=1, ring_sides=("minus",), ring="10.0", nut_side="minus"),
    "held, two": lambda: seats.held_seat(rings=2, ring_sides=("minus", "plus"), ring="12.5", nut_side=None),
    "held, none": lambda: seats.held_seat(rings=0, ring_sides=(), ring=None, nut_side="plus"),
    "held, unknown": lambda: seats.held_seat(rings=1, ring_sides=(), ring="10.0", nut_side=None),
    "free": lambda: seats.free_seat(**FREE, hot_side="minus", nut_side="plus"),
    "free, right": lambda: seats.free_seat(**{**FREE, "gap_side": "plus"}, hot_side="plus", nut_side="minus"),
    "free, nothing": seats.free_seat,
    "cap": housing.cap_and_base,
    "bolts": lambda: housing.cap_bolts(count=2, stages=("55", "110", "110"), unit="lbf.ft"),
    "bolts, four": lambda: housing.cap_bolts(count=4, stages=("1240", "2480", "2480"), unit="N.m"),
    "bolts, unknown": lambda: housing.cap_bolts(count=None),
    "foot": housing.soft_foot,
    "foot, limit": lambda: housing.soft_foot(limit="0.0020"),
    "lifting": handling.lifting,
    "lifting, heights": lambda: handling.lifting(height="12.5 in", limit="1.1 in"),
    "load mark": handling.load_mark,
}


@pytest.fixture(params=DRAWINGS, ids=lambda name: name.replace(" ", "-"))
def drawing(request: pytest.FixtureRequest) -> Drawing:
    return DRAWINGS[request.param]()


def test_nothing_lies_outside_and_no_text_on_another(drawing: Drawing) -> None:
    root = parsed(svg(drawing))
    assert outside(root) == []
    assert overlapping(root) == []


def test_a_drawing_says_in_words_what_it_shows(drawing: Drawing) -> None:
    assert drawing.title and drawing.described
    described = " ".join(drawing.described)
    numbers = re.findall(r"\d+\.\d+", said(parsed(svg(drawing))))
    assert not [number for number in numbers if number not in described]


def test_words_are_large_and_lines_thick_enough_for_a_bad_copy(drawing: Drawing) -> None:
    """At 62 mm a unit is 0.4 pt: 20 units are 8 pt, numbers 24 units 9.6 pt bold; the thinnest line 0.28 mm."""
    root = parsed(svg(drawing))
    for element in root.iter():
        size = element.get("font-size")
        if size is not None:
            assert float(size) >= (24 if re.search(r"\d\.\d", element.text or "") else 20)
            assert element.get("font-weight") == "bold" or not re.search(r"\d\.\d", element.text or "")
        width = element.get("stroke-width")
        if width is not None and element.tag.endswith(("line", "rect", "circle")):
            assert float(width) >= 2.0


@pytest.mark.parametrize(
    "name", [name for name in DRAWINGS if "nothing" in name or name in ("foot", "lifting", "heated")]
)
def test_without_numbers_none_is_drawn(name: str) -> None:
    assert not re.search(r"\d\.\d", said(parsed(svg(DRAWINGS[name]()))))


@pytest.mark.parametrize(("name", "count"), [("held", 2), ("held, two", 4), ("held, none", 0), ("held, unknown", 0)])
def test_a_ring_is_drawn_for_each_ring_of_the_plan_and_never_by_default(name: str, count: int) -> None:
    """A locating ring seen from above shows beside the shaft twice."""
    assert len(parts(parsed(svg(DRAWINGS[name]())), "ring")) == count


@pytest.mark.parametrize(("side", "right"), [("plus", True), ("minus", False)])
def test_the_ring_lies_on_the_side_that_the_plan_names_minus_at_the_left(side: str, right: bool) -> None:
    root = parsed(svg(seats.held_seat(rings=1, ring_sides=(side,), ring=None, nut_side=side)))
    bearing = points(parts(root, "bearing")[0])
    ring = points(parts(root, "ring")[0])
    assert (ring[0][0] >= bearing[1][0] - 0.01) is right
    assert (ring[1][0] <= bearing[0][0] + 0.01) is not right


def test_a_free_bearing_has_no_ring_and_a_gap_on_both_sides() -> None:
    root = parsed(svg(DRAWINGS["free"]()))
    assert parts(root, "ring") == []
    assert {each.text for each in parts(root, "before")} == {"nut hand-tight: gap 0.225"}
    assert {each.text for each in parts(root, "gap")} == {"after: 0.195 (0.105 to 0.360)"}


def test_bolts_are_numbered_across_the_bore_in_turn() -> None:
    """The one after lies across the shaft from the one before: common practice, no source."""
    root = parsed(svg(DRAWINGS["bolts, four"]()))
    turns = {int(each.text or 0): float(each.attrib["y"]) for each in parts(root, "turn")}
    middle = sum(turns.values()) / 4
    assert [turns[n] > middle for n in (1, 2, 3, 4)] == [True, False, True, False]
    assert [each.text for each in parts(root, "stage")] == ["hand", "1240", "2480", "2480"]


def test_the_shaft_line_keeps_the_order_and_draws_rings_of_the_held_block_alone() -> None:
    blocks = (
        Block("tail", "FREE", "minus", hot="0.085", hot_side="minus"),
        Block("middle", "FREE", thin=True),
        Block("drive", "HELD", "plus", ("plus",)),
    )
    root = parsed(svg(shaft_line(blocks, drive_side="plus")))
    assert outside(root) == [] and overlapping(root) == []
    lefts = [points(each)[0][0] for each in parts(root, "bearing")]
    assert lefts == sorted(lefts) and len(lefts) == 3
    rings = [points(each) for each in parts(root, "ring")]
    assert len(rings) == 2 and all(ring[0][0] > lefts[2] for ring in rings)
    assert {"hot", "0.085"} <= set(said(root).split()) and "DRIVE" in said(root)


def test_growth_that_would_leave_the_sheet_is_left_out() -> None:
    root = parsed(svg(shaft_line([Block(f"b{n}", "FREE", hot="0.085", hot_side="minus") for n in range(5)])))
    assert outside(root) == []
