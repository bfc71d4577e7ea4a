"""Judging readings (rule C5)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.mounting.blades import INCH_SET, METRIC_SET
from service.mounting.messages import message
from service.mounting.readings import (
    Measured,
    initial_verdict,
    median,
    residual_verdict,
    scale_slips,
    seat_diameter,
    thin_ring_clearance,
)
from service.reference.clearance_classes import ClearanceRange

THOU_NM = 25_400
C3 = ClearanceRange(95_000, 120_000)  # ISO 5753-1, tapered, over 65 up to 80 mm
OTHERS = {"CN": (ClearanceRange(70_000, 95_000),), "C4": (ClearanceRange(120_000, 150_000),)}
WINDOW = {"min_nm": 2 * THOU_NM, "max_nm": 2.5 * THOU_NM, "floor_nm": 40_000, "blade_set": INCH_SET}


def initial(*row_values_nm, blade_set=INCH_SET):
    return initial_verdict(row_values_nm=row_values_nm, ranges=(C3,), other_classes=OTHERS, blade_set=blade_set)


def residual(*thou, again=True):
    return residual_verdict(row_values_nm=[one * THOU_NM for one in thou], read_again=again, **WINDOW)


def test_limits_are_inside():
    assert initial(95_000).verdict == initial(120_000).verdict == "accept"


@pytest.mark.parametrize(
    ("sent_nm", "fits_nm"),
    [
        (40 * THOU_NM, 101_600),  # 0.040 in for 0.0040 in, or 40 thou for 4
        (round(0.1016 * 25_400_000), 101_600),  # 0.1016 mm sent as 0.1016 in
        (4_000, 101_600),  # 0.004 in sent as 0.004 mm
        (100, 100_000),  # 0.1 um for 0.1 mm
        (1_000_000, 100_000),
    ],
)
def test_a_slip_of_scale_is_named_and_never_accepted(sent_nm, fits_nm):
    verdict = initial(sent_nm)
    assert (verdict.verdict, verdict.code) == ("reject", "reading_scale_suspect")
    assert fits_nm in [fit.value for fit in verdict.fits]


def test_a_slip_names_every_value_that_fits():
    slips = scale_slips(270_000, (ClearanceRange(100_000, 120_000), ClearanceRange(27_000, 28_000)))
    assert sorted(fit for fit, _ in slips) == [27_000, pytest.approx(270_000 / 2.54)]


def test_another_class_is_named_and_the_bearing_doubted_first():
    verdict = initial(140_000)
    assert (verdict.verdict, verdict.fits_class) == ("reject", "C4")
    assert str(verdict.detail[0]).startswith("Wrong bearing or wrong measurement")


def test_a_reading_just_outside_is_measured_again():
    """0.0002 in; our own convention."""
    assert initial(120_000 + 5080).verdict == "recheck"
    assert initial(120_000 + 5081).verdict == "reject"


def test_a_reading_whose_blades_cannot_tell_is_measured_again():
    """0.0035 in passes and 0.004 in does not: the clearance may be inside from 0.0037 in on."""
    verdict = initial(round(3.5 * THOU_NM))
    assert (verdict.verdict, verdict.code) == ("recheck", "between_blades")
    assert initial(3 * THOU_NM).verdict == "reject"


def test_nothing_passes_is_zero_and_no_slip():
    assert initial(0, blade_set=METRIC_SET).verdict == "reject"
    assert scale_slips(0, (C3,)) == ()


def test_the_worst_row_decides():
    assert initial(100_000, 140_000).verdict == "reject"
    assert initial(100_000, 101_000).verdict == "accept"


@given(st.floats(1, 2e6), st.sampled_from([INCH_SET, METRIC_SET]))
def test_inside_is_accepted_and_never_suspected_and_outside_is_never_accepted(value_nm, blade_set):
    verdict = initial(value_nm, blade_set=blade_set)
    inside = 95_000 <= value_nm <= 120_000
    assert (verdict.verdict == "accept") == inside
    if inside:
        assert (verdict.code, verdict.fits) == (None, ())


FACTORS = [Fraction(text) for text in ("10", "100", "1000", "25.4", "2.54", "25400")]
FACTORS.append(1000 / Fraction("25.4"))


@given(st.integers(95_000, 120_000), st.sampled_from(FACTORS + [1 / factor for factor in FACTORS]))
def test_every_slipped_reading_is_caught(value_nm, factor):
    verdict = initial(value_nm * factor)
    assert (verdict.verdict, verdict.code) == ("reject", "reading_scale_suspect")
    assert value_nm in [fit.value for fit in verdict.fits]


def test_residual_of_a_common_bearing():
    """0.0025 in left is right, 0.003 too loose, 0.0015 too tight; common practice, no source."""
    assert residual(2.5).verdict == residual(2).verdict == "accept"
    loose, tight = residual(3), residual(1.5)
    assert (loose.verdict, loose.code, loose.next) == ("reject", "too_loose", message("too_loose.next"))
    assert (tight.verdict, tight.code, tight.next) == ("reject", "too_tight", message("too_tight.next"))
    assert "slackening the nut gives nothing back" in tight.next
    assert "leave it on" in tight.next


def test_residual_recheck_never_below_the_floor():
    window = {"min_nm": 42_000, "max_nm": 60_000, "floor_nm": 40_000, "blade_set": INCH_SET}
    assert residual_verdict(row_values_nm=[40_000], **window).verdict == "recheck"
    assert residual_verdict(row_values_nm=[39_999], **window).verdict == "reject"
    assert residual_verdict(row_values_nm=[60_000 + 5080], **window).verdict == "recheck"
    assert residual_verdict(row_values_nm=[60_000 + 5081], **window).verdict == "reject"


def test_residual_floor_on_the_smaller_row_and_ceiling_on_the_larger():
    assert residual(2, 2.5).verdict == "accept"
    assert residual(1.5, 2.5).code == "too_tight"
    assert residual(2, 3).code == "too_loose"
    assert residual(1.5, 3).code == "too_tight"  # too tight cannot be undone, so it is said first


def test_residual_scale_slip():
    verdict = residual(25)
    assert (verdict.verdict, verdict.code) == ("reject", "reading_scale_suspect")
    assert 2.5 * THOU_NM in [fit.value for fit in verdict.fits]
    assert "too loose" in verdict.next
    assert message("too_tight.next") in residual(0.25).next


def test_nothing_is_judged_on_a_provisional_window():
    verdict = residual_verdict(row_values_nm=[2 * THOU_NM], provisional=True, **WINDOW)
    assert (verdict.verdict, verdict.code) == ("recheck", "initial_clearance_not_measured")


@given(st.floats(0, 3e5))
def test_residual_outside_its_window_is_never_accepted(value_nm):
    verdict = residual_verdict(row_values_nm=[value_nm], **WINDOW)
    assert (verdict.verdict == "accept") == (WINDOW["min_nm"] <= value_nm <= WINDOW["max_nm"])
    if value_nm < WINDOW["floor_nm"]:
        assert verdict.verdict == "reject"


@pytest.mark.parametrize(
    ("readings_nm", "expected"), [((5,), 5), ((3, 1, 2), 2), ((1, 4), 2.5), ((2, 4), 3), ((1, 9, 3, 5), 4)]
)
def test_repeats_by_their_median(readings_nm, expected):
    assert median(readings_nm) == expected
    assert Measured((readings_nm, readings_nm)).row_values_nm == (expected, expected)


def test_large_thin_rings():
    """(a + b + c) / 2; common practice, no source. A ring that does not sag reads half, half and all of it."""
    assert thin_ring_clearance(nine_o_clock_nm=60_000, three_o_clock_nm=60_000, vertical_nm=0) == 60_000
    assert thin_ring_clearance(nine_o_clock_nm=100_000, three_o_clock_nm=110_000, vertical_nm=90_000) == 150_000


BIG = {"min_nm": 4.5 * THOU_NM, "max_nm": 6 * THOU_NM, "floor_nm": 3.9 * THOU_NM, "blade_set": INCH_SET}
"""A 23136 K/C3 measured at 0.0090 in: window and floor of checks W28 to W31 of tests/data/order_of_work_checks.csv."""


def big(*thou, again=False, before=(9, 9)):
    rows = {"row_values_nm": [t * THOU_NM for t in thou], "initial_row_values_nm": [b * THOU_NM for b in before]}
    found = residual_verdict(**rows, read_again=again, **BIG)
    return found.verdict, found.code


def test_rows_apart_are_read_once_more_before_anything_is_stripped():
    """W28 and W29: own convention; nobody strips a bearing on a first pair."""
    assert big(4, 6) == ("recheck", "rows_differ")
    assert big(3.5, 6) == ("recheck", "rows_differ")  # also below the floor
    assert big(4, 6, again=True) == ("reject", "too_tight")
    assert big(4.5, 6) == ("accept", None)  # both inside


def test_a_clearance_that_grew_by_tightening_is_never_too_loose_go_on():
    """W30 and W31: own convention."""
    assert big(10, 10) == ("reject", "residual_over_initial")
    assert big(9, 10) == ("reject", "residual_over_initial")
    assert big(9, 9) == ("recheck", "nothing_taken")
    assert big(8.5, 8.5) == ("recheck", "nothing_taken")
    assert big(7, 7) == ("reject", "too_loose")


def test_a_reading_inside_the_window_is_accepted_though_little_was_taken():
    assert big(5.5, 5.5, before=(6, 6)) == ("accept", None)


@given(st.lists(st.sampled_from([n / 2 for n in range(3, 40)]), min_size=2, max_size=2), st.booleans())
def test_nothing_thicker_than_before_is_told_to_go_on(thou, again):
    verdict, code = big(*thou, again=again)
    if any(one > 9.5 for one in thou):
        assert (verdict, code) != ("reject", "too_loose")
        assert verdict == "reject"


@pytest.mark.parametrize(
    ("sent_nm", "fits_nm"), [(9_000_000, 228_600), (228 * THOU_NM, 228_000), (25_400, None)], ids=["W25", "W26", "W27"]
)
def test_slips_between_thousandths_and_millimetres(sent_nm, fits_nm):
    """9 mm for 9 thousandths fits by 39.370; 228 thou for 0.228 mm by 25.4; 0.0010 in is no slip at all."""
    limits = ClearanceRange(200_000, 260_000) if fits_nm else ClearanceRange(95_000, 120_000)
    found = [fit for fit, _ in scale_slips(sent_nm, (limits,))]
    assert found == ([fits_nm] if fits_nm else [])


def test_what_no_bearing_has_is_not_plausible():
    assert initial(3_500_000).code == "implausible"
    assert residual_verdict(row_values_nm=[3_100_000], **WINDOW).code == "implausible"


@pytest.mark.parametrize(
    ("readings", "stands_for_them"),
    [
        ((69_970_000, 69_980_000, 69_990_000), 69_980_000),
        ((69_926_000, 70_000_000), 69_963_000),  # the limits are inside
        ((69_925_999, 69_990_000), 69_925_999),
        ((69_920_000, 69_900_000, 70_010_000), 69_900_000),
        ((69_920_000, 70_010_000), 70_010_000),  # 6 um below, 10 um above
    ],
)
def test_a_seat_is_judged_by_the_diameter_farthest_outside_else_by_the_mean(readings, stands_for_them):
    # 70 h9 of ISO 286-2: 0 and -74 um
    assert seat_diameter(readings, least_nm=69_926_000, most_nm=70_000_000) == stands_for_them


def test_without_limits_a_seat_is_its_mean():
    assert seat_diameter((69_000_000, 71_000_001), least_nm=None, most_nm=None) == 70_000_000
