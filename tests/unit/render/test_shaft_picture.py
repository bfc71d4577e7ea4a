"""The shaft line as a picture: places in proportion, rings on their side, movement to scale, nothing overlapping."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.arrangement.shaft_line import arrangement
from service.instructions.plan.job import body_of, drives_of, support_of
from service.render.pictures.shaft import shaft_picture
from service.render.present import quantity_text
from service.units import Quantity
from service.words import UNIT_SYSTEMS, UnitSystem
from tests.unit.render.pictures import numbers, outside, overlapping, parsed, parts, points, said, texts

NARROW = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}
WIDE = {**NARROW, "seat_design": "wide_seat"}
WARM = {"material": "carbon_steel", "temperature": units.temperature(80.0)}
COOL = {"material": "concrete", "temperature": units.temperature(20.0)}


def support(name: str, at_mm: float | None, housing: dict[str, Any] | None = NARROW, **facts: Any) -> dict[str, Any]:
    """Return a support as it is sent; what is None is left out."""
    place = {} if at_mm is None else {"at": units.distance(at_mm)}
    seat = {} if housing is None else {"housing": housing}
    return {"name": name, "bearing": {"designation": "22216 K/C3"}, **place, **seat, **facts}


def drive(at_mm: float, kind: str = "coupling") -> dict[str, Any]:
    return {"at": units.distance(at_mm), "kind": kind}


def answered(supports: list[dict[str, Any]], drives: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    """Return the record of the arrangement; the shaft 60 K warmer than its base."""
    return arrangement(
        supports=tuple(support_of(each, f"supports/{n}") for n, each in enumerate(supports)),
        drives=drives_of(drives),
        **{"shaft": body_of(WARM), "base": body_of(COOL), **more},
    ).record()


def picture(
    supports: list[dict[str, Any]], drives: list[dict[str, Any]], system: UnitSystem = "metric", **more: Any
) -> Any:
    record = answered(supports, drives, **more)
    return parsed(shaft_picture(record, supports=supports, drives=drives, units=system))


def quantities(node: Any) -> list[Quantity]:
    if isinstance(node, Quantity):
        return [node]
    if isinstance(node, dict):
        node = list(node.values())
    return [found for each in node for found in quantities(each)] if isinstance(node, list | tuple) else []


def place(root: Any, of: int | str) -> float:
    """Return where the leader of a support (number) or drive (letter) meets the shaft."""
    ends = points(parts(root, f"place-{of}")[0])
    shaft_y = sum(y for _, y in points(parts(root, "shaft")[0])) / 2
    return min(ends, key=lambda end: abs(end[1] - shaft_y))[0]


def test_places_along_the_shaft_are_in_proportion_whatever_the_order_sent() -> None:
    supports = [support("c", 4000.0), support("a", 1000.0), support("b", 1500.0)]
    root = picture(supports, [drive(5000.0, "belt")])
    headings = ["1 a", "2 b", "3 c"]
    assert [each.text for each in texts(root) if each.text in headings] == headings
    xs = [place(root, of) for of in (1, 2, 3, "A")]
    assert [(x - xs[0]) / (xs[3] - xs[0]) for x in xs] == pytest.approx([0, 500 / 4000, 3000 / 4000, 1], abs=1e-3)
    assert "to scale" in said(root) and "NOT TO SCALE" not in said(root)


def test_a_place_that_is_not_known_makes_it_not_to_scale_and_says_so() -> None:
    root = picture([support("one", None), support("other", 300.0, holds_axial_position=True)], [drive(900.0)])
    assert "NOT TO SCALE along the shaft. Place not known: one." in said(root)
    assert "the process needs the shaft held here" in said(root)
    assert [each.get("stroke-dasharray") is not None for each in parts(root, "shaft")] == [False, True]


def test_the_free_bearing_moves_as_far_as_it_is_drawn() -> None:
    """3.0 m x 11.7e-6/K x 60 K = 2.106 mm; seat 43 mm, width 33 mm (ISO 15): 5 mm at each side."""
    root = picture([support("tail", 0.0), support("drive", 3000.0)], [drive(3400.0)])
    (shoulder, right), bearing = parts(root, "shoulder")[:2], parts(root, "bearing")[0]
    left_gap = points(bearing)[0][0] - points(shoulder)[0][0]
    right_gap = points(right)[0][0] - points(bearing)[1][0]
    tip = min(x for mark in parts(root, "growth") for x, _ in points(mark))
    assert left_gap == pytest.approx(right_gap, abs=0.02)
    assert (points(bearing)[0][0] - tip) / left_gap == pytest.approx(2.106 / 5.0, abs=0.01)


def test_a_movement_larger_than_the_seat_is_drawn_through_its_shoulder() -> None:
    root = picture([support("tail", 0.0), support("drive", 15_000.0)], [drive(15_400.0)])
    shoulder = points(parts(root, "shoulder")[0])[0][0]
    assert min(x for mark in parts(root, "growth") for x, _ in points(mark)) < shoulder
    assert "STOP: " in said(root) and "Way out: " in said(root)


def test_an_offset_bearing_is_drawn_off_centre_and_its_offset_is_said() -> None:
    """12 m x 11.7e-6/K x 60 K = 8.424 mm + 0.5 mm reserve does not go into 5 mm: set off, toward the locating end."""
    root = picture([support("tail", 0.0), support("drive", 12_000.0)], [drive(12_400.0)])
    (left, right), bearing = parts(root, "shoulder")[:2], parts(root, "bearing")[0]
    assert points(bearing)[0][0] - points(left)[0][0] > 5 * (points(right)[0][0] - points(bearing)[1][0])
    assert "offset 4.212 mm (0.1658 in) to plus" in said(root)


@pytest.mark.parametrize(("side", "sign"), [("plus", 1), ("minus", -1)])
def test_one_ring_lies_on_the_locknut_side(side: str, sign: int) -> None:
    root = picture([support("tail", 0.0), support("drive", 3000.0, locknut_side=side)], [drive(3400.0)])
    (ring,) = [each for name in ("plus", "minus") for each in parts(root, f"ring-{name}")]
    bearing = parts(root, "bearing")[1]
    assert ring.get("fill") == "black"
    assert (points(ring)[0][0] - points(bearing)[0][0]) * sign > 0
    assert f"one locating ring, on the {side} side" in said(root)


def test_two_rings_lie_on_both_sides_and_an_unknown_side_is_asked() -> None:
    two = picture([support("tail", 0.0, WIDE), support("drive", 3000.0, WIDE)], [drive(3400.0)])
    assert len(parts(two, "ring-plus")) == len(parts(two, "ring-minus")) == 1
    unknown = picture([support("tail", 0.0), support("drive", 3000.0)], [drive(3400.0)])
    assert parts(unknown, "ring-plus") == parts(unknown, "ring-minus") == []
    assert len(parts(unknown, "ring-unknown")) == 2
    assert "which side: not known" in said(unknown)


def test_roles_are_words_and_not_only_shades() -> None:
    root = picture([support("tail", 0.0), support("drive", 3000.0)], [drive(3400.0)])
    lines = [each.text for each in texts(root)]
    assert lines[lines.index("1 tail") + 1] == "FREE (must be able to move)"
    assert lines[lines.index("2 drive") + 1] == "LOCATING (held)"
    assert (len(parts(root, "free")), len(parts(root, "locating"))) == (1, 1)
    assert {each.get(name) for each in root.iter() for name in ("fill", "stroke")} <= {None, "black", "white", "none"}


def test_an_open_role_is_a_question() -> None:
    supports = [support("one", None), support("other", None)]
    root = picture(supports, [])
    assert said(root).count("ROLE OPEN: not decided") == 2 == len(parts(root, "open"))
    assert "to decide: where along the shaft is the drive" in said(root)
    assert len(parts(root, "question")) == 4


@pytest.mark.parametrize("kind", ["coupling", "belt", "chain", "gear"])
def test_every_kind_of_drive_has_a_symbol_and_its_word(kind: str) -> None:
    root = picture([support("tail", 0.0), support("drive", 3000.0)], [drive(3400.0, kind)])
    assert len(parts(root, kind)) >= 1
    assert f"A {kind} at 3400 mm (133.86 in)" in said(root)


def test_no_arrangement_is_said() -> None:
    root = parsed(shaft_picture(None, supports=[], drives=[], units="metric"))
    assert "no arrangement was decided" in said(root)


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
@pytest.mark.parametrize("metres", [3.0, 12.0, 15.0])
def test_every_number_of_the_picture_is_one_of_the_record_or_a_place(metres: float, system: UnitSystem) -> None:
    supports, drives = [support("tail", 0.0), support("drive", metres * 1000)], [drive(metres * 1000 + 400)]
    record = answered(supports, drives)
    root = picture(supports, drives, system)
    known = numbers(" ".join(quantity_text(each, system) for each in quantities([record, supports, drives])))
    assert numbers(said(root)) <= known
    needed = [each[name] for each in record["supports"] for name in ("travel", "offset", "locating_rings")]
    shown = quantities([needed, record["supports"][0]["growth"], [each["at"] for each in (*supports, *drives)]])
    assert numbers(" ".join(quantity_text(each, system) for each in shown)) <= numbers(said(root))
    assert numbers(said(root)) == numbers((root[1].text or "").replace("\u00a0", " "))


def test_a_name_cannot_become_markup_and_the_bytes_are_the_same() -> None:
    supports = [support("<script>alert(1)</script>", 0.0), support('&"\x00\u202e', 3000.0)]
    record = answered(supports, [])
    svg = shaft_picture(record, supports=supports, drives=[], units="inch", shaft="<b>")
    assert "<script" not in svg and "<b>" not in svg
    assert svg == shaft_picture(record, supports=supports, drives=[], units="inch", shaft="<b>")
    assert parsed(svg)[0].text == "Shaft line, <b>"


AT_MM = st.none() | st.sampled_from([0.0, 1.0, 2.0]) | st.floats(-1e6, 1e6)
SUPPORT = st.fixed_dictionaries(
    {
        "name": st.text(min_size=1, max_size=80),
        "at": AT_MM,
        "housing": st.sampled_from([None, NARROW, WIDE]),
        "role": st.sampled_from([None, None, "locating", "free"]),
        "locknut_side": st.sampled_from([None, "plus", "minus"]),
        "holds_axial_position": st.booleans(),
    }
)
KIND = st.sampled_from(["coupling", "belt", "chain", "gear"])


@given(
    st.lists(SUPPORT, min_size=1, max_size=12, unique_by=lambda each: each["name"]),
    st.lists(st.tuples(st.floats(-1e6, 1e6), KIND), max_size=12),
    st.lists(st.tuples(AT_MM, st.text(max_size=80)), max_size=12),
    st.sampled_from([(WARM, COOL), (COOL, WARM), (None, None)]),
    st.sampled_from(UNIT_SYSTEMS),
)
def test_whatever_stands_on_the_shaft_no_text_stands_on_another_or_outside(
    given_supports: list[dict[str, Any]],
    given_drives: list[tuple[float, str]],
    given_wheels: list[tuple[float | None, str]],
    bodies: tuple[Any, Any],
    system: UnitSystem,
) -> None:
    supports = [support(each.pop("name"), each.pop("at"), **each) for each in map(dict, given_supports)]
    drives = [drive(at_mm, kind) for at_mm, kind in given_drives]
    wheels = [{"name": name, "at": None if at_mm is None else units.distance(at_mm)} for at_mm, name in given_wheels]
    record = answered(supports, drives, shaft=body_of(bodies[0]), base=body_of(bodies[1]))
    root = parsed(shaft_picture(record, supports=supports, drives=drives, wheels=wheels, units=system))
    assert overlapping(root) == []
    assert outside(root) == []
    assert len(parts(root, "locating")) + len(parts(root, "free")) + len(parts(root, "open")) == len(supports)


def test_twelve_supports_close_together_keep_their_symbols_apart() -> None:
    supports = [support(f"support {n}", 1000.0 + n) for n in range(11)] + [support("far", 99_000.0)]
    root = picture(supports, [drive(99_400.0)], "inch")
    spans = sorted(
        (min(x for x, _ in points(mark)), max(x for x, _ in points(mark)))
        for part in ("locating", "free", "open")
        for mark in parts(root, part)
    )
    assert len(spans) == 12
    assert all(before[1] <= after[0] for before, after in pairwise(spans))
