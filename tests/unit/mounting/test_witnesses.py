"""Three witnesses of one mounting. The method is ours; the numbers are worked by hand from the practice rows."""

import pytest

from service.errors import CannotEvaluate
from service.mounting.blades import INCH_SET, METRIC_SET
from service.mounting.clearance import Measured, clearance_target
from service.mounting.designation import bearing_from_designation
from service.mounting.witnesses import agreement

THOU_NM = 25_400
PITCH_MM = 25.4 / 12


def target(designation="22216 K/C3", measured_nm=4 * THOU_NM, blade_set=INCH_SET, seat="adapter_sleeve"):
    measured = None if measured_nm is None else Measured(((measured_nm,),))
    return clearance_target(
        bearing=bearing_from_designation(designation), seat=seat, measured=measured, blade_set=blade_set
    )


def test_a_witness_is_the_interval_of_its_blades():
    """0.004 in passes, 0.0045 does not; 0.002 passes, 0.0025 does not: 0.002 in taken away, +-0.0005/sqrt(6)."""
    found = agreement(target=target(), residual_nm=2 * THOU_NM)
    assert found.reduction_nm == pytest.approx(2 * THOU_NM)
    assert found.reduction_deviation_nm == pytest.approx(0.5 * THOU_NM / 6**0.5)
    assert (found.agree, found.probability_of_agreement, found.contradicts) == (None, None, None)


def test_travel_by_the_on_sleeve_column():
    """0.0015-0.0020 in for 0.70-0.85 mm on the sleeve: 0.775 mm stands for 0.00175 in."""
    found = agreement(target=target(), displacement_nm=775_000, nut_turn_deg=360 * 0.775 / PITCH_MM, pitch_mm=PITCH_MM)
    assert [one.reduction_nm for one in found.witnesses] == pytest.approx([1.75 * THOU_NM] * 2)
    assert found.agree is True
    assert found.chi_square == pytest.approx(0, abs=1e-9)


def test_witnesses_that_agree_raise_the_chance():
    alone = agreement(target=target(), residual_nm=2.5 * THOU_NM)
    together = agreement(target=target(), residual_nm=2.5 * THOU_NM, displacement_nm=775_000)
    assert together.agree is True
    assert together.reduction_deviation_nm < alone.reduction_deviation_nm
    assert together.probability_inside > alone.probability_inside


@pytest.mark.parametrize(
    ("residual_thou", "displacement_nm", "turn_deg", "liar"),
    [(2.5, 750_000, 60, "nut_turn"), (1, 750_000, 128, "blades"), (2.5, 300_000, 128, "axial_displacement")],
)
def test_the_one_that_contradicts_is_named_and_to_be_repeated(residual_thou, displacement_nm, turn_deg, liar):
    found = agreement(
        target=target(),
        residual_nm=residual_thou * THOU_NM,
        displacement_nm=displacement_nm,
        nut_turn_deg=turn_deg,
        pitch_mm=PITCH_MM,
    )
    assert (found.agree, found.contradicts, found.worth_measuring) == (False, liar, liar)
    assert found.probability_inside is None


def test_of_two_that_disagree_neither_is_blamed():
    found = agreement(target=target(), residual_nm=2.5 * THOU_NM, displacement_nm=1_500_000)
    assert (found.agree, found.contradicts, found.probability_inside) == (False, None, None)
    assert found.worth_measuring == "blades"


def test_the_further_measurement_is_the_one_that_narrows_most():
    assert agreement(target=target(), residual_nm=2.5 * THOU_NM).worth_measuring == "axial_displacement"
    settled = agreement(
        target=target(), residual_nm=2.5 * THOU_NM, displacement_nm=760_000, nut_turn_deg=129, pitch_mm=PITCH_MM
    )
    assert settled.worth_measuring is None


def test_a_tight_bearing_has_no_chance():
    found = agreement(target=target(), residual_nm=1 * THOU_NM)
    assert found.probability_inside < 0.01


def test_a_fit_that_needs_more_than_the_reduction_has_no_chance():
    found = agreement(target=target(), residual_nm=2.5 * THOU_NM, needed_interference_nm=100_000)
    assert found.probability_inside == 0


def test_self_aligning_ball_bearings_by_travel_alone():
    ball = target("1216 K/C3", 60_000, METRIC_SET)
    found = agreement(target=ball, displacement_nm=475_000, nut_turn_deg=85, pitch_mm=2)
    assert found.agree is True
    assert found.reduction_nm == pytest.approx(20_000, rel=0.02)


@pytest.mark.parametrize(
    ("given_target", "readings"),
    [
        (target(measured_nm=None), {"residual_nm": 2 * THOU_NM}),
        (target(), {}),
        (target("22216 K/C5", 160_000, METRIC_SET), {"residual_nm": 100_000}),
        (target(), {"nut_turn_deg": 90}),
    ],
)
def test_without_readings_nothing_is_said(given_target, readings):
    with pytest.raises(CannotEvaluate) as refused:
        agreement(target=given_target, **readings)
    assert refused.value.code == "witnesses_missing"


def test_the_record_is_complete():
    record = agreement(target=target(), residual_nm=2.5 * THOU_NM, displacement_nm=775_000).record()
    assert [one["method"] for one in record["estimates"]] == ["blades", "axial_displacement"]
    assert record["agree"] is True
    assert 0 < record["probability_inside"] <= 1
    assert record["source"] == "three-witnesses"
