"""Readings judged by the targets of a plan.

22216 K/C3, inch blades, 0.0040 in measured: a residual of 0.0025 in is accepted, 0.003 is too loose, 0.0015 too
tight (common practice, no source). ISO 5753-1: initial clearance 0.095-0.120 mm, printed 0.0037-0.0047 in.
"""

import pytest

from service import units
from service.errors import CannotEvaluate
from service.instructions.readings.judging import judge
from service.mounting.blades import INCH_SET
from service.mounting.clearance import Measured
from tests.unit.instructions.machines import dryer_fan, plan_of, unknown_machine


def reading(*inches):
    return Measured(tuple((units.nm_from_in(each),) for each in inches))


@pytest.fixture(scope="module")
def measured_target():
    return plan_of(dryer_fan(), "tail", measured={"tail": reading("0.0040")})["targets"][0]


@pytest.mark.parametrize(
    ("inches", "verdict", "code"),
    [("0.0025", "accept", None), ("0.003", "reject", "too_loose"), ("0.0015", "reject", "too_tight")],
)
def test_a_residual_is_judged_by_the_window(measured_target, inches, verdict, code):
    found = judge("residual_clearance", reading(inches), measured_target, blade_set=INCH_SET)
    assert (found.verdict, found.code) == (verdict, code)


def test_the_way_back_from_too_tight_starts_at_the_nut(measured_target):
    found = judge("residual_clearance", reading("0.0015"), measured_target, blade_set=INCH_SET)
    assert "leave it on" in found.next


def test_one_row_too_tight_is_too_tight(measured_target):
    found = judge("residual_clearance", reading("0.0025", "0.0015"), measured_target, blade_set=INCH_SET)
    assert found.code == "too_tight"


@pytest.mark.parametrize("inches", ["0.0037", "0.0040", "0.0047"])
def test_an_initial_reading_inside_its_printed_row_is_accepted(measured_target, inches):
    assert judge("initial_clearance", reading(inches), measured_target, blade_set=INCH_SET).verdict == "accept"


def test_an_initial_reading_with_a_slip_of_scale_is_kept_as_rejected(measured_target):
    found = judge("initial_clearance", reading("0.040"), measured_target, blade_set=INCH_SET)
    assert (found.verdict, found.code) == ("reject", "reading_scale_suspect")
    assert units.clearance(101_600) in found.fits


def test_no_residual_is_judged_before_the_initial_clearance():
    target = plan_of(dryer_fan(), "tail")["targets"][0]
    found = judge("residual_clearance", reading("0.0025"), target, blade_set=INCH_SET)
    assert (found.verdict, found.code) == ("recheck", "initial_clearance_not_measured")


@pytest.mark.parametrize("kind", ["initial_clearance", "residual_clearance"])
def test_nothing_is_accepted_for_a_bearing_that_is_not_on_record(kind):
    target = plan_of(unknown_machine(), "north")["targets"][0]
    assert judge(kind, reading("0.0040"), target, blade_set=INCH_SET).verdict == "recheck"


def test_a_kind_that_is_not_judged_is_refused(measured_target):
    with pytest.raises(CannotEvaluate, match="not judged"):
        judge("nut_turn", reading("0.0040"), measured_target, blade_set=INCH_SET)
