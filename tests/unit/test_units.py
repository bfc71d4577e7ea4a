"""Units: exact factors, and lengths that come back as they were written."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.units import UNITS, to_base, to_nm


@pytest.mark.parametrize(
    ("dimension", "unit", "value", "base"),
    [
        # NIST SP 811 (2008), appendix B.8, exact factors; from memory, recomputed from 25.4 mm and 0.45359237 kg
        ("length", "in", 1, 25.4),
        ("length", "ft", 1, 304.8),
        ("length", "thou", 1, 0.0254),
        ("force", "lbf", 1, 4.4482216152605),
        ("torque", "lbf.ft", 1, 1.3558179483314004),
        ("torque", "lbf.in", 12, 1.3558179483314004),
        ("pressure", "psi", 1, 0.006894757293168361),
        ("mass", "lb", 1, 0.45359237),
        ("mass", "oz", 16, 0.45359237),
        ("temperature", "degF", 212, 100.0),
        ("temperature", "degF", 32, 0.0),
        ("temperature", "K", 373.15, 100.0),
        ("temperature_difference", "degF_diff", 18, 10.0),
        ("velocity", "in/s", 1, 25.4),
    ],
)
def test_factors_are_the_exact_ones(dimension: str, unit: str, value: float, base: float) -> None:
    assert to_base(value, UNITS[dimension][unit]) == pytest.approx(base, rel=1e-15, abs=1e-12)


def test_a_pound_force_foot_is_exact() -> None:
    """Rule B5: 1 lbf.ft = 0.45359237 kg x 9.80665 m/s2 x 0.3048 m."""
    exact = Fraction("0.45359237") * Fraction("9.80665") * Fraction("0.3048")
    assert UNITS["torque"]["lbf.ft"].factor == exact
    assert pytest.approx(float(exact), rel=1e-15) == units.N_M_PER_LBF_FT


def test_a_ten_thousandth_of_an_inch_is_2540_nm() -> None:
    assert to_nm(0.0001, UNITS["length"]["in"]) == 2540
    assert to_nm(0.0025, UNITS["length"]["in"]) == to_nm(2.5, UNITS["length"]["thou"]) == 63_500
    assert to_nm(0.102, UNITS["length"]["mm"]) == to_nm(102, UNITS["length"]["um"]) == 102_000


@given(st.integers(min_value=0, max_value=10**10))
def test_a_length_survives_the_way_through_inches_and_back(length_nm: int) -> None:
    assert to_nm(length_nm / units.NM_PER_IN, UNITS["length"]["in"]) == length_nm
    assert to_nm(length_nm / units.NM_PER_MM, UNITS["length"]["mm"]) == length_nm


@given(st.integers(min_value=0, max_value=100_000))
def test_a_reading_is_the_same_in_every_unit_it_is_written_in(ten_thousandths: int) -> None:
    in_inches = to_nm(ten_thousandths / 10_000, UNITS["length"]["in"])
    in_thou = to_nm(ten_thousandths / 10, UNITS["length"]["thou"])
    assert in_inches == in_thou == 2540 * ten_thousandths


def test_ucum_codes_are_synonyms() -> None:
    """UCUM 2.1, case sensitive codes; from memory."""
    for dimension, code, unit in (
        ("length", "[in_i]", "in"),
        ("length", "[mil_i]", "thou"),
        ("force", "[lbf_av]", "lbf"),
        ("torque", "[ft_i].[lbf_av]", "lbf.ft"),
        ("temperature", "Cel", "degC"),
        ("temperature", "[degF]", "degF"),
        ("mass", "[lb_av]", "lb"),
        ("speed", "/min", "rpm"),
    ):
        assert UNITS[dimension][code] == UNITS[dimension][unit]


def test_what_is_finer_than_a_nanometre_is_no_table_value() -> None:
    assert units.nm_from_mm("0.0005") == 500
    with pytest.raises(ValueError, match="whole number of nanometres"):
        units.nm_from_mm("0.0000005")
