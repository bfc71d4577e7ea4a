"""Elastic theory of a ring on its taper (rules C7, C9), against textbooks and against the practice."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import CannotEvaluate
from service.mounting.taper_fit import (
    displacement_for_reduction,
    fit_of_reduction,
    growth_ratio,
    interference_for_pressure,
    interference_needed,
    press_fit,
    raceway_diameter,
    reduction_for_displacement,
)
from service.reference.bearings import sizes
from service.reference.materials import material
from service.reference.mounting_practice import mm_printing, self_aligning_ball, spherical_roller_mm


def test_hollow_on_hollow():
    """UGURAL & FENSTER, Advanced Strength and Applied Elasticity, 2nd ed., example 8.3, p. 243; BHAVIKATTI 8.17."""
    fit = press_fit(interference_mm=0.2, inner_bore_mm=300, joint_mm=400, outer_mm=500, modulus_mpa=200_000)
    assert fit.pressure_mpa == pytest.approx(12.3, abs=0.05)
    assert fit.outer_bore_mpa == pytest.approx(56.0, abs=0.1)
    assert fit.outer_rim_mpa == pytest.approx(43.7, abs=0.1)
    assert fit.inner_bore_mpa == pytest.approx(-56.2, abs=0.1)
    assert fit.inner_rim_mpa == pytest.approx(-43.9, abs=0.1)


def test_interference_from_pressure():
    """BHAVIKATTI, Strength of Materials, example 8.16, p. 348: 0.189 mm radial."""
    interference_mm = interference_for_pressure(
        pressure_mpa=30, inner_bore_mm=200, joint_mm=250, outer_mm=300, modulus_mpa=200_000
    )
    assert interference_mm / 2 == pytest.approx(0.189, abs=0.001)


def test_solid_shaft_and_disk():
    """UGURAL & FENSTER, example 8.4, p. 246: 100.8 MPa, 109.2 MPa at the bore."""
    fit = press_fit(interference_mm=0.105, inner_bore_mm=0, joint_mm=100, outer_mm=500, modulus_mpa=200_000)
    assert fit.pressure_mpa == pytest.approx(100.8, abs=0.1)
    assert fit.outer_bore_mpa == pytest.approx(109.2, abs=0.1)
    assert fit.inner_bore_mpa is None


def test_growth_of_a_ring_on_a_solid_shaft():
    """Check R1: with Di = (4 d + D)/5 and D = 1.8 d the ratio is 0.862069; common practice, no source."""
    raceway_mm = raceway_diameter(bearing_type="self_aligning_ball", bore_mm=100, outside_diameter_mm=180)
    assert raceway_mm == 116
    assert growth_ratio(bore_mm=100, raceway_mm=116) == pytest.approx(0.862069, abs=1e-6)


@given(st.floats(20, 900), st.floats(1.1, 1.4), st.floats(0, 0.9))
def test_growth_ratio_is_what_lame_gives(bore_mm, ratio, hollow):
    """Growth of the outer surface is 2 p d^2 F / (E (F^2 - d^2)), any textbook on thick-walled cylinders."""
    raceway_mm, shaft_bore_mm, modulus_mpa = bore_mm * ratio, bore_mm * hollow, 206_000.0
    fit = press_fit(
        interference_mm=0.05,
        inner_bore_mm=shaft_bore_mm,
        joint_mm=bore_mm,
        outer_mm=raceway_mm,
        modulus_mpa=modulus_mpa,
    )
    growth_mm = 2 * fit.pressure_mpa * bore_mm**2 * raceway_mm / (modulus_mpa * (raceway_mm**2 - bore_mm**2))
    ours = growth_ratio(bore_mm=bore_mm, raceway_mm=raceway_mm, shaft_bore_mm=shaft_bore_mm)
    assert growth_mm / 0.05 == pytest.approx(ours, rel=1e-9)


@given(st.floats(1e3, 1e6), st.floats(0.3, 1), st.sampled_from(["1:12", "1:30"]))
def test_reduction_and_displacement_are_inverse(reduction_nm, growth, taper):
    moved_nm = displacement_for_reduction(reduction_nm, growth=growth, taper=taper)
    assert reduction_for_displacement(moved_nm, growth=growth, taper=taper) == pytest.approx(reduction_nm)
    assert moved_nm > reduction_nm


def test_a_hollow_shaft_needs_more_displacement():
    solid = growth_ratio(bore_mm=80, raceway_mm=95)
    assert growth_ratio(bore_mm=80, raceway_mm=95, shaft_bore_mm=40) < solid
    assert growth_ratio(bore_mm=80, raceway_mm=95, shaft_bore_mm=60) < solid * 0.9


PRACTICE = {"spherical_roller": spherical_roller_mm, "self_aligning_ball": self_aligning_ball}


def ratios_at_both_ends(bearing_type, taper):
    """Return elastic over printed displacement on the shaft, smallest and largest, by number."""
    found = {}
    for number, size in sizes().items():
        row = PRACTICE[size.type](size.bore_mm)
        if size.type != bearing_type or size.tapered_as != taper or row is None:
            continue
        if (taper, False) not in row.displacement_nm:
            continue
        raceway_mm = raceway_diameter(
            bearing_type=size.type, bore_mm=size.bore_mm, outside_diameter_mm=size.outside_diameter_mm
        )
        growth = growth_ratio(bore_mm=size.bore_mm, raceway_mm=raceway_mm)
        elastic_nm = [displacement_for_reduction(one_nm, growth=growth, taper=taper) for one_nm in row.reduction_nm]
        printed_nm = row.displacement_nm[taper, False]
        found[number] = [ours / theirs for ours, theirs in zip(elastic_nm, printed_nm, strict=True)]
    return found


@pytest.mark.parametrize(("taper", "count"), [("1:12", 214), ("1:30", 54)])
def test_elastic_displacement_agrees_with_the_shaft_column_within_a_quarter(taper, count):
    """Common practice, no source; every spherical roller bearing of the ISO 15 rows, both ends of the range."""
    ratios = ratios_at_both_ends("spherical_roller", taper)
    assert len(ratios) == count
    assert {number for number, ends in ratios.items() if any(abs(one - 1) > 0.25 for one in ends)} == set()


def test_elastic_displacement_of_self_aligning_ball_bearings_stays_far_below_the_practice():
    """All 72 rows lie outside a quarter, and all on the same side, 0.2 to 0.8 of what is printed.

    The reduction of this table stands in one publication and the displacement in two others, so they need not
    belong together; and the reductions are so small (0.003 to 0.035 mm) that smoothing of the seats, which elastic
    theory leaves out, takes a large share of the travel. The answer says that the two disagree.
    """
    ratios = ratios_at_both_ends("self_aligning_ball", "1:12")
    assert len(ratios) == 72
    assert all(0.2 < one < 0.8 for ends in ratios.values() for one in ends)


def test_interference_needed_under_load():
    """0.08 sqrt(d F/B) and 0.02 F/B um, the larger, plus 0.0015 d dT; common practice, no source. By hand."""
    light_nm = interference_needed(bore_mm=80, width_mm=33, radial_load_n=10_000)
    assert light_nm == pytest.approx(0.08 * (80 * 10_000 / 33) ** 0.5 * 1000)
    heavy_nm = interference_needed(bore_mm=80, width_mm=33, radial_load_n=100_000)
    assert heavy_nm == pytest.approx(0.02 * 100_000 / 33 * 1000)
    warm_nm = interference_needed(bore_mm=80, width_mm=33, radial_load_n=10_000, temperature_difference_k=20)
    assert warm_nm - light_nm == pytest.approx(0.0015 * 80 * 20 * 1000)


def test_the_fit_of_a_reduction_is_the_pressure_formula_for_a_bearing_ring():
    """Check R1: p = (E/2)(I/d)[1 - (d/F)^2], hoop = p [1 + (d/F)^2]/[1 - (d/F)^2]; common practice, no source."""
    fit = fit_of_reduction((40_000, 50_000), bore_mm=80, raceway_mm=95, shaft_bore_mm=0, needed_nm=12_000)
    interference_mm = 0.040 * 95 / 80
    assert fit.interference_nm[0] == pytest.approx(interference_mm * 1e6)
    square = (80 / 95) ** 2
    modulus_mpa = material("bearing_steel").youngs_modulus_mpa
    assert fit.pressure_mpa[0] == pytest.approx(modulus_mpa / 2 * interference_mm / 80 * (1 - square))
    assert fit.bore_hoop_stress_mpa[0] == pytest.approx(fit.pressure_mpa[0] * (1 + square) / (1 - square))
    assert fit.sufficient is True


def test_without_the_raceway_the_interference_is_the_practice():
    fit = fit_of_reduction((35_000, 70_000), bore_mm=80, raceway_mm=None, shaft_bore_mm=0, needed_nm=60_000)
    assert fit.interference_nm == pytest.approx((50_000, 100_000))
    assert (fit.pressure_mpa, fit.sufficient) == (None, False)


def test_the_smallest_fit_of_the_practice_holds_moderate_loads():
    """Bore stresses of the practice stay where bearing steel lives: hoop stress below 200 MPa in every row."""
    for band in mm_printing().bands:
        if band.incl_mm > 500:
            continue
        raceway_mm = band.incl_mm * 1.2
        fit = fit_of_reduction(
            band.row.reduction_nm, bore_mm=band.incl_mm, raceway_mm=raceway_mm, shaft_bore_mm=0, needed_nm=None
        )
        assert 0 < fit.bore_hoop_stress_mpa[1] < 200


@pytest.mark.parametrize("diameters", [(100, 80, 120), (0, 80, 80), (-1, 80, 120), (80, 80, 120)])
def test_diameters_must_rise(diameters):
    bore, joint, outer = diameters
    with pytest.raises(CannotEvaluate):
        press_fit(interference_mm=0.1, inner_bore_mm=bore, joint_mm=joint, outer_mm=outer, modulus_mpa=2e5)
