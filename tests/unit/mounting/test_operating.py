"""Operating clearance (rule C8)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.mounting.designation import bearing_from_designation
from service.mounting.operating import least_residual, thermal_loss
from service.mounting.smallest_class import smallest_class


def test_loss_by_temperature():
    """Check R3: 12.5e-6/K, 10 K, outer raceway 164 mm: 0.0205 mm; common practice, no source."""
    loss_nm = thermal_loss(bore_mm=100, outside_diameter_mm=180, temperature_difference_k=10)
    assert loss_nm == pytest.approx(20_500, abs=100)


def test_a_colder_inner_ring_gains_clearance():
    assert thermal_loss(bore_mm=100, outside_diameter_mm=180, temperature_difference_k=-10) < 0


@given(st.floats(-1e5, 1e6))
def test_the_least_residual_keeps_it_above_zero_and_is_the_smallest_that_does(loss_nm):
    assert least_residual(loss_nm) - loss_nm > 0
    assert least_residual(loss_nm) - 1 - loss_nm <= 0


def test_the_smallest_class_grows_with_the_loss():
    """By hand for 80 mm, mm printing: CN keeps 70-40, C3 95-40, C4 120-40 um at its lower end."""
    bearing = bearing_from_designation("22216 K/C3")
    expected = {0: "CN", 29_999: "CN", 30_000: "C3", 54_999: "C3", 55_000: "C4", 79_999: "C4", 80_000: None}
    for loss_nm, mark in expected.items():
        assert smallest_class(bearing, loss_nm=loss_nm, system="metric") == mark, loss_nm
