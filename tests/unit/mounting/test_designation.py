"""Designations (rule C1): what is read, what is kept unread, what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import CannotEvaluate, OutOfTable
from service.mounting.designation import bearing_from_designation, bearing_from_dimensions
from service.reference.bearings import sizes
from service.words import CLEARANCE_CLASSES


def read(designation):
    bearing = bearing_from_designation(designation)
    return bearing.designation, bearing.taper, bearing.clearance_class, bearing.unread_suffixes


@pytest.mark.parametrize("written", ["22216 K/C3", "22216-K-C3", "22216KC3", " 22216  k/c3 ", "22216 K – C3"])
def test_one_bearing_written_in_many_ways_is_one_bearing(written):
    assert read(written) == ("22216 K/C3", "1:12", "C3", ())


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("22216 EK/C3", ("22216 EK/C3", "1:12", "C3", ("E",))),
        ("22216 CCK/C3W33", ("22216 CCK/C3W33", "1:12", "C3", ("CC", "W33"))),
        ("22216 EAKE4C3", ("22216 EAK/C3E4", "1:12", "C3", ("EA", "E4"))),
        ("22216 K + H316", ("22216 K/+H316", "1:12", "CN", ("+H316",))),
        ("22216 K/CN", ("22216 K/CN", "1:12", "CN", ())),
        ("22216/C4", ("22216/C4", "cylindrical", "C4", ())),
        ("1216 K/C3", ("1216 K/C3", "1:12", "C3", ())),
        ("24030 K30/C4", ("24030 K30/C4", "1:30", "C4", ())),
    ],
)
def test_letters_of_no_standard_are_kept_and_not_interpreted(written, expected):
    assert read(written) == expected


def test_number_bore_and_dimensions():
    bearing = bearing_from_designation("230/500 K")
    assert (bearing.series, bearing.bore_mm, bearing.outside_diameter_mm, bearing.width_mm) == ("230", 500, 720, 167)
    assert bearing_from_designation("2216 K").type == "self_aligning_ball"
    assert bearing_from_designation("22216 K").type == "spherical_roller"


def test_no_class_mark_is_normal_clearance_assumed_and_to_be_read_on_the_ring():
    bearing = bearing_from_designation("22216 K")
    assert (bearing.clearance_class, bearing.clearance_class_assumed, bearing.class_to_confirm) == ("CN", True, True)
    assert [warned.code for warned in bearing.warnings] == ["clearance_class_assumed"]


@pytest.mark.parametrize(("mark", "clearance_class"), [("P63", "C3"), ("P52", "C2"), ("P64", "C4")])
def test_a_combined_mark_is_read_with_a_warning(mark, clearance_class):
    """P6 is the tolerance class, the digit behind it the clearance class; common practice, no source."""
    bearing = bearing_from_designation(f"22216 K/{mark}")
    assert (bearing.clearance_class, bearing.clearance_class_assumed, bearing.class_to_confirm) == (
        clearance_class,
        False,
        True,
    )
    assert [warned.code for warned in bearing.warnings] == ["combined_mark"]


@pytest.mark.parametrize("mark", ["P6", "P5", "C08", "P66", "C34", "CM", "C0"])
def test_marks_that_are_no_clearance_class_are_not_read_as_one(mark):
    bearing = bearing_from_designation(f"22216 K/{mark}")
    assert (bearing.clearance_class, bearing.clearance_class_assumed) == ("CN", True)
    assert bearing.unread_suffixes == (mark,)


def test_bare_k_on_240_and_241_is_1_30():
    """Series 240 and 241 are made with taper 1:30 (ISO 15 general plan, trade catalogues)."""
    for number in ("24030", "24130"):
        bearing = bearing_from_designation(f"{number} K/C3")
        assert bearing.taper == "1:30"
        assert [warned.code for warned in bearing.warnings] == ["taper_read_as_1_30"]
    assert bearing_from_designation("24030 K30/C3").warnings == ()
    assert [warned.code for warned in bearing_from_designation("22216 K30/C3").warnings] == ["taper_unusual"]


def test_the_width_of_sealed_bearings_is_left_open():
    """Sealed wide bearings of type 222 are wider than the ISO 15 row."""
    bearing = bearing_from_designation("22216-2CS5K/C3")
    assert (bearing.taper, bearing.width_mm, bearing.bore_mm) == ("1:12", None, 80)
    assert [warned.code for warned in bearing.warnings] == ["width_not_known"]
    assert bearing_from_designation("22216 EK/C3").width_mm == 33


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("", "1 to 60"),
        ("K", "no bearing number"),
        ("BS2-22216 K", "letters before it are not read"),
        ("22299 K", "series 222 is read"),
        ("12345678", "no series is read"),
        ("22216 K12", "whether K12 means a tapered bore"),
        ("22216 K/C3 C4", "more than one clearance class"),
        ("22216 K K", "K stands in it twice"),
        ("２２２１６ K", "no bearing number"),
        ("22216 K\x00", "printable"),
        ("2" * 61, "1 to 60"),
    ],
)
def test_what_is_not_understood_is_refused_and_said(written, words):
    with pytest.raises(CannotEvaluate, match=words) as refused:
        bearing_from_designation(written)
    assert (refused.value.code, refused.value.field) == ("unknown_designation", "designation")


@given(st.text(max_size=80) | st.from_regex(r"2221[0-9][ /-]?[A-Z0-9/ +-]{0,12}", fullmatch=True))
def test_any_text_is_read_or_refused_and_what_is_read_is_read_again_the_same(text):
    try:
        bearing = bearing_from_designation(text)
    except CannotEvaluate as refused:
        assert refused.code == "unknown_designation"
        return
    assert bearing_from_designation(bearing.designation) == bearing
    assert bearing.bore_mm > 0


@given(st.sampled_from(sorted(sizes())), st.sampled_from(CLEARANCE_CLASSES))
def test_every_size_in_every_class_is_read(number, mark):
    bearing = bearing_from_designation(f"{number} K/{mark}")
    assert (bearing.clearance_class, bearing.tapered, bearing.clearance_class_assumed) == (mark, True, False)
    assert bearing.designation == f"{number} K/{mark}"


GIVEN = {"type": "spherical_roller", "bore_mm": 80.0, "taper": "1:12", "clearance_class": "C3"}


def test_a_bearing_from_its_dimensions():
    bearing = bearing_from_dimensions(**GIVEN, outside_diameter_mm=140, width_mm=33)
    assert (bearing.designation, bearing.bore_mm, bearing.tapered, bearing.class_to_confirm) == (None, 80, True, False)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"type": "deep_groove"}, "type"),
        ({"taper": "1:10"}, "taper"),
        ({"clearance_class": "C6"}, "clearance_class"),
        ({"bore_mm": -1.0}, "bore"),
        ({"bore_mm": float("nan")}, "bore"),
        ({"bore_mm": 5000.0}, "bore"),
        ({"outside_diameter_mm": 80.0}, "outside_diameter"),
        ({"outside_diameter_mm": float("inf")}, "outside_diameter"),
        ({"width_mm": 0.0}, "width"),
    ],
)
def test_dimensions_that_cannot_be_are_refused(change, field):
    with pytest.raises((CannotEvaluate, OutOfTable)) as refused:
        bearing_from_dimensions(**{**GIVEN, **change})
    assert refused.value.field == field
