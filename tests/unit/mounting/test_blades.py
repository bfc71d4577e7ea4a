"""Feeler blades (rule C6). Sets are trade usage, from memory; the rest is arithmetic."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import CannotEvaluate
from service.mounting.blades import (
    INCH_SET,
    METRIC_SET,
    attainable,
    blade_set,
    blade_targets,
    blade_to_get,
    next_attainable,
    stack_of,
)

THOU_NM = 25_400


def test_the_usual_sets():
    assert len(INCH_SET.blades_nm) == 26
    assert (INCH_SET.system, INCH_SET.kind, INCH_SET.blades_nm[0]) == ("inch", "blade_in", 1.5 * THOU_NM)
    assert (METRIC_SET.system, METRIC_SET.kind, METRIC_SET.blades_nm[0]) == ("metric", "blade_mm", 30_000)


@given(st.lists(st.integers(10_000, 500_000), min_size=1, max_size=9, unique=True))
def test_attainable_is_every_sum_of_one_to_three_different_blades(blades_nm):
    given_set = blade_set([(blade, "mm") for blade in blades_nm])
    by_hand = {sum(stack) for count in (1, 2, 3) for stack in combinations(blades_nm, count)}
    assert attainable(given_set) == tuple(sorted(by_hand))
    for size_nm in by_hand:
        stack = stack_of(given_set, size_nm)
        assert sum(stack) == size_nm
        assert len(set(stack)) == len(stack) <= 3
        fewest = min(len(s) for count in (1, 2, 3) for s in combinations(blades_nm, count) if sum(s) == size_nm)
        assert len(stack) == fewest


def test_the_inch_target_of_a_common_bearing():
    """Measured 0.0040 in, about 0.0015 in taken away, 0.0025 in left; common practice, no source."""
    targets = blade_targets(INCH_SET, min_nm=2 * THOU_NM, max_nm=2.5 * THOU_NM, aim_nm=2.368 * THOU_NM)
    assert targets.target == (2.5 * THOU_NM,)
    assert targets.must_pass == (2 * THOU_NM,)
    assert targets.must_not_pass == (3 * THOU_NM,)
    assert targets.resolves


@given(
    st.sampled_from([INCH_SET, METRIC_SET]),
    st.integers(15_000, 800_000),
    st.integers(0, 100_000),
    st.floats(0, 1),
)
def test_targets_lie_where_they_must(given_set, min_nm, width_nm, place):
    max_nm = min_nm + width_nm
    aim_nm = min_nm + place * width_nm
    targets = blade_targets(given_set, min_nm=min_nm, max_nm=max_nm, aim_nm=aim_nm)
    inside = [size for size in attainable(given_set) if min_nm <= size <= max_nm]
    assert targets.resolves == bool(inside)
    if not inside:
        assert (targets.target, targets.must_pass, targets.must_not_pass) == (None, None, None)
        return
    assert sum(targets.must_pass) == min(inside)
    assert sum(targets.must_not_pass) == min(size for size in attainable(given_set) if size > max_nm)
    quarter_nm = width_nm / 4
    single = [b for b in given_set.blades_nm if min_nm + quarter_nm <= b <= max_nm - quarter_nm]
    assert abs(sum(targets.target) - aim_nm) == min(abs(size - aim_nm) for size in single or inside)
    assert not single or len(targets.target) == 1


def test_of_two_equally_near_the_larger_is_the_target():
    """Too loose can be corrected, too tight cannot."""
    two = blade_set([(40_000, "mm"), (60_000, "mm"), (200_000, "mm")])
    assert blade_targets(two, min_nm=40_000, max_nm=60_000, aim_nm=50_000).target == (60_000,)


def test_a_set_that_shows_nothing_above_the_window_does_not_resolve_it():
    one = blade_set([(50_000, "mm")])
    assert not blade_targets(one, min_nm=40_000, max_nm=60_000, aim_nm=50_000).resolves


def test_the_next_size_up():
    assert next_attainable(INCH_SET, 2.5 * THOU_NM) == 3 * THOU_NM
    assert next_attainable(METRIC_SET, 0) == 30_000
    assert next_attainable(METRIC_SET, 10**9) is None


def test_which_blade_to_get():
    assert blade_to_get("metric", min_nm=15_000, max_nm=25_000, aim_nm=19_000) == 20_000
    assert blade_to_get("inch", min_nm=26_000, max_nm=40_000, aim_nm=27_000) == 38_100
    assert blade_to_get("metric", min_nm=11_000, max_nm=19_000, aim_nm=15_000) is None


@pytest.mark.parametrize(
    ("blades", "code"),
    [
        ([(50_800, "in"), (50_000, "mm")], "mixed_blade_units"),
        ([(50_800, "m")], "mixed_blade_units"),
        ([], "unusable_blade_set"),
        ([(0, "mm")], "unusable_blade_set"),
        ([(i * 10_000, "mm") for i in range(1, 62)], "unusable_blade_set"),
    ],
)
def test_unusable_sets_are_refused(blades, code):
    with pytest.raises(CannotEvaluate) as refused:
        blade_set(blades)
    assert (refused.value.code, refused.value.field) == (code, "blade_set")


def test_the_record_lists_the_blades_of_a_stack():
    record = blade_targets(INCH_SET, min_nm=3.2 * THOU_NM, max_nm=3.6 * THOU_NM, aim_nm=3.5 * THOU_NM).record()
    assert [blade.value for blade in record["target"]] == [2 * THOU_NM, 1.5 * THOU_NM]
    assert {blade.kind for blade in record["target"]} == {"blade_in"}
    assert record["resolves"] is True


@pytest.mark.parametrize(
    ("given_set", "window", "aim", "leave"),
    [
        (INCH_SET, (4.5 * THOU_NM, 6 * THOU_NM), 5.29 * THOU_NM, (5 * THOU_NM,)),  # W18: 0.0055 would be a stack
        (INCH_SET, (2 * THOU_NM, 2.5 * THOU_NM), 2.368 * THOU_NM, (2.5 * THOU_NM,)),  # none in the middle half
    ],
)
def test_a_single_blade_in_the_middle_half_beats_a_stack(given_set, window, aim, leave):
    """Checks W18 and W16 of tests/data/order_of_work_checks.csv: own convention."""
    assert blade_targets(given_set, min_nm=window[0], max_nm=window[1], aim_nm=aim).target == leave
