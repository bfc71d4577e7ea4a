"""Adjustment of observations, against statistics.NormalDist, simulation by hand and closed forms."""

import random
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.mounting.adjustment import State, below, chance, chi_square, combined, distance, probability, state

estimates = st.lists(st.tuples(st.floats(-1e5, 1e5), st.floats(1, 1e8)), min_size=2, max_size=3)


def test_inverse_variance_of_two():
    """Weights 4 and 1 by hand."""
    middle, variance = combined([(10.0, 1.0), (20.0, 4.0)])
    assert (middle, variance) == pytest.approx((12.0, 0.8))


@given(estimates)
def test_the_combination_minimises_the_weighted_squares(given_estimates):
    middle, variance = combined(given_estimates)
    least = chi_square(given_estimates)
    for off in (-1.0, 1.0):
        moved = middle + off * variance**0.5
        assert sum((value - moved) ** 2 / v for value, v in given_estimates) == pytest.approx(
            least + 1, rel=1e-6, abs=1e-6
        )


@pytest.mark.parametrize(
    ("of", "freedom", "tail"),  # chi-square tables: 5 % at 3.841 and 5.991, 1 % at 6.635 and 9.210
    [(3.841, 1, 0.05), (6.635, 1, 0.01), (5.991, 2, 0.05), (9.210, 2, 0.01)],
)
def test_upper_tails_of_chi_square(of, freedom, tail):
    assert chance(of, freedom) == pytest.approx(tail, abs=5e-5)


def test_one_witness_cannot_disagree():
    assert chance(0.0, 0) is None


@given(st.floats(-6, 6))
def test_the_normal_distribution(z):
    assert below(z) == pytest.approx(NormalDist().cdf(z), abs=1e-12)


def test_distance_from_the_others():
    """(10 - 4) / sqrt(3 + 1): the two others together are 4 with variance 1."""
    assert distance("a", {"a": (10.0, 3.0), "b": (4.0, 2.0), "c": (4.0, 2.0)}) == pytest.approx(3.0)


def test_two_unknowns_by_hand():
    """Initial 100 (4) and residual 60 (4) say a reduction of 40 (8); the travel says 46 (8): 43 (4) together."""
    found = state((100.0, 4.0), (60.0, 4.0), (46.0, 8.0))
    assert found.reduction_nm == pytest.approx(43)
    assert found.reduction_variance == pytest.approx(4)
    assert found.initial_nm - found.reduction_nm == pytest.approx(58.5)


def test_blades_alone_leave_the_residual_as_read():
    found = state((100.0, 4.0), (60.0, 9.0), None)
    assert found.initial_nm - found.reduction_nm == pytest.approx(60)
    assert found.residual_variance == pytest.approx(9)
    assert found.reduction_variance == pytest.approx(13)


def test_the_chance_inside_agrees_with_drawing_lots():
    """A plain simulation of 200,000 pairs is the oracle."""
    found = state((100_000.0, 4e6), (60_000.0, 9e6), (42_000.0, 16e6))
    draw = random.Random(7)
    hits = 0
    for _ in range(200_000):
        reduction = draw.gauss(found.reduction_nm, found.reduction_variance**0.5)
        slope = found.covariance / found.reduction_variance
        spread = (found.initial_variance - found.covariance * slope) ** 0.5
        initial = draw.gauss(found.initial_nm + slope * (reduction - found.reduction_nm), spread)
        hits += 39_000 <= reduction <= 44_000 and initial - reduction >= 58_000
    expected = probability(found, least_nm=39_000, most_nm=44_000, floor_nm=58_000)
    assert 0.3 < expected < 0.9
    assert hits / 200_000 == pytest.approx(expected, abs=0.005)


def test_the_chance_is_none_or_all_at_the_ends():
    found = State(100.0, 40.0, 1.0, 1.0, 0.0)
    assert probability(found, least_nm=0, most_nm=100, floor_nm=0) == pytest.approx(1, abs=1e-9)
    assert probability(found, least_nm=90, most_nm=100, floor_nm=0) == 0
    assert probability(found, least_nm=50, most_nm=40, floor_nm=0) == 0
    assert probability(found, least_nm=0, most_nm=40, floor_nm=0) == pytest.approx(0.5, abs=1e-3)
