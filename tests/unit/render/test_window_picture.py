"""The clearance window as a picture: its numbers are those of the record, its heights are in proportion."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.mounting.blades import INCH_SET, METRIC_SET
from service.mounting.clearance import Measured, clearance_target
from service.mounting.designation import bearing_from_designation
from service.render.pictures.window import window_picture
from service.render.present import quantity_text
from service.units import Quantity
from service.words import UNIT_SYSTEMS, UnitSystem
from tests.unit.render.pictures import numbers, outside, overlapping, parsed, parts, points, said, texts


def target(designation: str = "22216 K/C3", measured_nm: int | None = 101_600, **more: Any) -> dict[str, Any]:
    """Return the record of a clearance target; 0.0040 in measured, inch blades."""
    measured = None if measured_nm is None else Measured(((measured_nm,),))
    given = {"blade_set": INCH_SET, **more}
    return clearance_target(bearing=bearing_from_designation(designation), measured=measured, **given).record()


def quantities(node: Any) -> list[Quantity]:
    """Return every quantity below a node."""
    if isinstance(node, Quantity):
        return [node]
    if isinstance(node, dict):
        node = list(node.values())
    return [found for each in node for found in quantities(each)] if isinstance(node, list | tuple) else []


def height_nm(root: Any, y: float, per_unit_nm: int) -> float:
    """Return the value at a height, [nm], read off the printed scale: its lowest and highest tick."""
    ticks = sorted(points(each)[0][1] for each in parts(root, "tick"))
    printed = sorted(float(each.text) for each in texts(root) if each.part == "tick-number")
    share = (ticks[-1] - y) / (ticks[-1] - ticks[0])
    return (printed[0] + share * (printed[-1] - printed[0])) * per_unit_nm


@pytest.mark.parametrize(("system", "per_unit_nm"), [("inch", 25_400_000), ("metric", 1_000_000)])
def test_heights_read_off_the_printed_scale_are_the_values_of_the_record(system: UnitSystem, per_unit_nm: int) -> None:
    record = target()
    root = parsed(window_picture(record, units=system))
    tolerance_nm = 150  # a hundredth of a unit of the picture on a scale of about 400 units for 0.13 mm
    residual, initial, blades = record["residual_clearance"], record["initial_clearance"], record["blades"]
    (window,), (range_,) = parts(root, "window"), parts(root, "initial")
    expected = [
        (points(window)[0][1], residual["max"].value),
        (points(window)[1][1], residual["min"].value),
        (points(range_)[0][1], initial["max"].value),
        (points(range_)[1][1], initial["min"].value),
        (points(parts(root, "aim")[0])[0][1], residual["aim"].value),
        (points(parts(root, "floor")[0])[0][1], residual["floor"].value),
        (points(parts(root, "measured")[0])[0][1], record["measured"]["value"].value),
        (points(parts(root, "reduction")[-1])[0][1], residual["aim"].value),
        (sum(y for _, y in points(parts(root, "blade-target")[0])) / 2, sum(b.value for b in blades["target"])),
        (sum(y for _, y in points(parts(root, "blade-must_pass")[0])) / 2, sum(b.value for b in blades["must_pass"])),
        (
            sum(y for _, y in points(parts(root, "blade-must_not_pass")[0])) / 2,
            sum(b.value for b in blades["must_not_pass"]),
        ),
    ]
    for y, value_nm in expected:
        assert height_nm(root, y, per_unit_nm) == pytest.approx(value_nm, abs=tolerance_nm)


def test_ticks_are_evenly_apart() -> None:
    root = parsed(window_picture(target(), units="metric"))
    heights = sorted(points(each)[0][1] for each in parts(root, "tick"))
    gaps = [after - before for before, after in pairwise(heights)]
    assert len(gaps) >= 3
    assert max(gaps) - min(gaps) <= 0.02


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
@pytest.mark.parametrize(
    "record",
    [
        target(),
        target(measured_nm=None),
        target("22216 K", 85_000, temperature_difference_k=40.0),
        target("22316 K/C3", 100_000, blade_set=METRIC_SET),
        target("22216 K/C5", None),
        target("1216 K/C3", 60_000),
        target("22216/C3", None),
        target(measured_nm=140_000),
    ],
)
def test_every_number_of_the_picture_is_one_of_the_record_and_none_is_left_out(
    record: dict[str, Any], system: UnitSystem
) -> None:
    root = parsed(window_picture(record, units=system))
    known = numbers(" ".join(quantity_text(each, system) for each in quantities(record)))
    drawn = numbers(said(root)) - numbers(record["bearing"]["designation"])  # "22216 K" is no temperature
    assert drawn <= known
    shown = [record[name] for name in ("initial_clearance", "measured", "residual_clearance", "blades")]
    reduction = record["reduction"] and {**record["reduction"], "band_in_print": None}
    arrow = reduction if parts(root, "reduction") else None
    assert numbers(" ".join(quantity_text(each, system) for each in quantities([*shown, arrow]))) <= drawn


def test_blades_are_named_by_their_stamps() -> None:
    """0.0040 in measured: the 0.0025 blade fits, 0.002 passes, 0.003 does not (common practice, no source)."""
    lines = [each.text for each in texts(parsed(window_picture(target(), units="metric")))]
    for name, stamp in (
        ("Blade passes with light drag", "0.0025 in"),
        ("Blade must pass", "0.002 in"),
        ("Blade must NOT pass", "0.003 in"),
    ):
        assert lines[lines.index(name) + 1] == stamp


def test_a_bearing_not_yet_measured_gets_outer_limits_said_to_be_provisional() -> None:
    root = parsed(window_picture(target(measured_nm=None), units="inch"))
    assert "PROVISIONAL" in said(root)
    assert parts(root, "measured") == parts(root, "aim") == parts(root, "blade-target") == []
    assert parts(root, "window")[0].get("stroke-dasharray")


def test_a_window_that_is_empty_is_a_stop_with_its_ways_out() -> None:
    record = target("22216 K", 85_000, temperature_difference_k=40.0)
    assert record["blocked"][0]["code"] == "class_too_tight"
    root = parsed(window_picture(record, units="inch"))
    assert "STOP: " in said(root) and "Way out: " in said(root)
    assert parts(root, "window") == []
    assert len([each for each in parts(root, "reduction") if each.tag.endswith("polygon")]) == 2


def test_a_reading_outside_its_range_is_drawn_and_refused() -> None:
    root = parsed(window_picture(target(measured_nm=140_000), units="metric"))
    assert "NOT ACCEPTED" in said(root) and "class C4" in said(root)
    assert len(parts(root, "measured")) == 1
    assert parts(root, "window") == parts(root, "reduction") == []


@pytest.mark.parametrize(
    ("record", "sentence"),
    [
        (target("22216 K/C5", None), "not known. Open the bearing maker's book"),
        (target("22216/C3", None), "A cylindrical bore has no taper"),
        (target("1216 K/C3", 60_000), "judged by axial displacement or nut turn"),
        (target(measured_nm=None), "Measure the initial clearance first"),
    ],
)
def test_what_is_not_known_is_said_and_not_drawn(record: dict[str, Any], sentence: str) -> None:
    root = parsed(window_picture(record, units="metric"))
    assert sentence in said(root)
    assert parts(root, "blade-target") == []


def test_a_position_without_a_bearing_on_record_is_said() -> None:
    record = dict.fromkeys(target()) | {"position": "tail", "missing": [], "blocked": [], "warnings": [], "sources": []}
    root = parsed(window_picture(record, units="metric"))
    assert "the bearing is not on record" in said(root)
    assert root[0].text == "Clearance window, tail"


def test_the_text_alternative_says_every_number() -> None:
    root = parsed(window_picture(target(), units="inch"))
    description = (root[1].text or "").replace("\u00a0", " ")
    assert (root.get("role"), root[1].tag.rpartition("}")[2]) == ("img", "desc")
    assert numbers(said(root)) == numbers(description)


def test_a_name_cannot_become_markup() -> None:
    record = {**target(), "position": "<script>alert(1)</script> & \"'\x07"}
    svg = window_picture(record, units="inch")
    assert "<script" not in svg
    assert {element.tag.rpartition("}")[2] for element in parsed(svg).iter()} <= {
        "svg", "title", "desc", "rect", "line", "polygon", "circle", "text",
    }  # fmt: skip
    assert "<script>alert(1)</script> & \"'\\x07" in (parsed(svg)[0].text or "")


def test_nothing_is_loaded_or_coloured() -> None:
    svg = window_picture(target(), units="inch")
    assert "href" not in svg and "url(" not in svg and "style" not in svg
    colours = {each.get(name) for each in parsed(svg).iter() for name in ("fill", "stroke")}
    assert colours <= {None, "black", "white", "none"}


def test_the_same_record_gives_the_same_bytes() -> None:
    assert window_picture(target(), units="inch") == window_picture(target(), units="inch")


NM = st.integers(0, 2_000_000)
BLADE = st.builds(Quantity, st.sampled_from(["blade_in", "blade_mm"]), st.integers(127, 9_999).map(lambda n: n * 100))
STACK = st.lists(BLADE, min_size=1, max_size=3)


@st.composite
def invented_targets(draw: st.DrawFn) -> dict[str, Any]:
    """Return a record as it could be: any part null, values as close together or as far apart as can be."""

    def bounds(*more: str) -> dict[str, Any]:
        low, high = sorted((draw(NM), draw(NM)))
        return {"min": units.clearance(low), "max": units.clearance(high)} | {
            name: draw(st.none() | st.builds(units.clearance, NM)) for name in more
        }

    measured = st.fixed_dictionaries(
        {"value": st.builds(units.clearance, NM), "verdict": st.sampled_from(["accept", "recheck", "reject"])}
    )
    blades = st.fixed_dictionaries({name: STACK for name in ("target", "must_pass", "must_not_pass")})
    sentence = st.text(max_size=200)
    blocked = st.fixed_dictionaries({"detail": sentence, "ways_out": st.lists(sentence, max_size=3)})
    return {
        **target(),
        "position": draw(st.text(max_size=80)),
        "initial_clearance": draw(st.sampled_from([None, bounds()])),
        "measured": draw(st.none() | measured),
        "reduction": draw(st.sampled_from([None, bounds("aim")])),
        "residual_clearance": draw(
            st.sampled_from([None, bounds("aim", "floor") | {"provisional": draw(st.booleans())}])
        ),
        "blades": draw(st.none() | blades.map(lambda each: each | {"resolves": True})),
        "blocked": draw(st.lists(blocked, max_size=2)),
    }


@given(invented_targets(), st.sampled_from(UNIT_SYSTEMS))
def test_whatever_is_answered_no_text_stands_on_another_or_outside(record: dict[str, Any], system: UnitSystem) -> None:
    root = parsed(window_picture(record, units=system))
    assert overlapping(root) == []
    assert outside(root) == []


@pytest.mark.parametrize("system", UNIT_SYSTEMS)
def test_a_number_is_never_broken_from_its_unit_or_its_bracket(system: UnitSystem) -> None:
    values = [each.text for each in texts(parsed(window_picture(target(), units=system))) if each.part == "label-value"]
    assert len(values) == 13  # 2 of the range, measured, 3 of the reduction, 4 of the window, 3 blades
    assert all(value.count("(") == value.count(")") and numbers(value) for value in values)
