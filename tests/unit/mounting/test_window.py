"""The residual window (rule C4), on invented ranges and by hand on a practice row."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.findings import Source
from service.mounting.window import Floor, measured_window, place_in_range, provisional_window
from service.reference.clearance_classes import ClearanceRange

SOURCE = Source("test", "invented", "practice")
C3 = ClearanceRange(95_000, 120_000)

clearances = st.integers(20_000, 2_000_000)
reductions = st.tuples(st.integers(1_000, 400_000), st.integers(0, 300_000)).map(lambda pair: (pair[0], sum(pair)))
floors = st.integers(1_000, 700_000).map(lambda value: Floor(value, SOURCE))


def window(rows_nm, reduction_nm, floor, limits=None):
    around = limits or ClearanceRange(min(rows_nm), max(rows_nm) + 10_000)
    return measured_window(rows_nm, limits=around, reduction_nm=reduction_nm, floor=floor)


def test_by_hand():
    """Common practice, mm printing, 65 to 80 mm, C3: 0.040-0.050 taken from 0.100; f = 0.2; floor 0.040."""
    found = window([100_000], (40_000, 50_000), Floor(40_000, SOURCE), C3)
    assert (found.min_nm, found.max_nm, found.aim_nm) == (50_000, 60_000, pytest.approx(58_000))
    assert found.reduction_aim_nm == pytest.approx(42_000)


def test_the_ends_of_the_range_take_the_ends_of_the_reduction():
    floor = Floor(40_000, SOURCE)
    assert window([95_000], (40_000, 50_000), floor, C3).reduction_aim_nm == 40_000
    assert window([120_000], (40_000, 50_000), floor, C3).reduction_aim_nm == 50_000
    assert place_in_range(93_980, C3) == 0  # inside the printed inch row only: held at the edge
    assert place_in_range(121_000, C3) == 1


@given(clearances, reductions, floors)
def test_the_window_never_lies_below_its_floor_and_the_aim_lies_inside(measured_nm, reduction_nm, floor):
    found = window([measured_nm], reduction_nm, floor)
    assert found.min_nm >= floor.value_nm
    if found.empty:
        assert (found.aim_nm, found.reduction_aim_nm) == (None, None)
        assert measured_nm - reduction_nm[0] < floor.value_nm
    else:
        assert found.min_nm <= found.aim_nm <= found.max_nm
        assert found.aim_nm + found.reduction_aim_nm == pytest.approx(measured_nm)


@given(clearances, reductions, floors, st.integers(0, 100_000))
def test_a_larger_reduction_never_gives_a_larger_residual(measured_nm, reduction_nm, floor, more_nm):
    larger = (reduction_nm[0] + more_nm, reduction_nm[1] + more_nm)
    before, after = window([measured_nm], reduction_nm, floor), window([measured_nm], larger, floor)
    assert after.min_nm <= before.min_nm
    assert after.max_nm <= before.max_nm
    if not after.empty:
        assert after.aim_nm <= before.aim_nm + 1e-6


@given(clearances, st.integers(0, 50_000), reductions, floors)
def test_rows_apart_give_the_narrower_window_of_both(measured_nm, apart_nm, reduction_nm, floor):
    rows = [measured_nm, measured_nm + apart_nm]
    both = window(rows, reduction_nm, floor)
    alone = [window([row], reduction_nm, floor) for row in rows]
    assert both.min_nm == max(one.min_nm for one in alone)
    assert both.max_nm == min(one.max_nm for one in alone)


def test_the_provisional_window_spans_every_measured_one():
    floor = Floor(40_000, SOURCE)
    outer = provisional_window(limits=C3, reduction_nm=(40_000, 50_000), floor=floor)
    assert outer.provisional
    assert (outer.aim_nm, outer.reduction_aim_nm) == (None, None)
    for measured_nm in range(95_000, 120_001, 1000):
        inner = window([measured_nm], (40_000, 50_000), floor, C3)
        assert outer.min_nm <= inner.min_nm
        assert inner.max_nm <= outer.max_nm
