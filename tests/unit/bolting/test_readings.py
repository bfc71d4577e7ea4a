"""Torque readings: verdicts and slips of unit (C5)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bolting.readings import torque_verdict

TARGET_N_M = 160.0


@pytest.mark.parametrize(
    ("reading", "verdict", "code"),
    [
        (160.0, "accept", None),
        (153.6, "accept", None),  # 4 % below: ISO 6789-1, from memory
        (153.5, "recheck", None),
        (147.2, "recheck", None),
        (147.1, "reject", "torque_too_low"),
        (31.0, "reject", "implausible"),
        (160.0 * 8.850745791327185, "reject", "reading_scale_suspect"),  # lbf in sent as N m
        (1600.0, "reject", "reading_scale_suspect"),
        (100.0, "reject", "torque_too_low"),
        (190.0, "reject", "torque_too_high"),
        (160.0 / 1.3558179483314004, "reject", "reading_scale_suspect"),  # lbf ft sent as N m, exact factor
        (160.0 * 1.3558179483314004, "reject", "reading_scale_suspect"),
        (160.0 * 12, "reject", "reading_scale_suspect"),  # lbf in sent as lbf ft, 12 in to the foot
        (160.0 / 9.80665, "reject", "reading_scale_suspect"),  # kgf m sent as N m, standard gravity
    ],
)
def test_a_torque_reading_is_judged_and_a_slip_of_unit_named(reading, verdict, code):
    found = torque_verdict(reading_n_m=reading, target_n_m=TARGET_N_M)
    assert (found.verdict, found.code) == (verdict, code)
    if code == "reading_scale_suspect":
        assert any(one.value == pytest.approx(TARGET_N_M) for one in found.fits)


@given(st.floats(1, 3000), st.floats(0.01, 20))
def test_no_reading_off_its_target_is_ever_accepted_and_none_on_it_suspected(target, ratio):
    found = torque_verdict(reading_n_m=target * ratio, target_n_m=target)
    if abs(ratio - 1) > 0.0401:
        assert found.verdict != "accept"
    if abs(ratio - 1) < 0.0399:
        assert (found.verdict, found.fits) == ("accept", ())
