"""Torque wrench and adapter (B4) against army manuals and the FAA circular."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bolting.wrench import Wrench, wrench_answer, wrench_setting
from service.errors import CannotEvaluate


@pytest.mark.parametrize(
    ("torque", "length", "adapter", "angle", "setting", "tolerance"),
    [
        (300, 10, 4, 0, 214, 0.6),  # US Army TM 1-1500-204-23-9, p. 8
        (70, 12, 2, 0, 60, 0.1),  # US Army TM 9-254, fig. 45, read backwards: 60 on the wrench gives 70
        (30, 12, 3, 0, 24, 0.01),  # common practice, no source
        (20, 14, 3, 0, 16.5, 0.05),  # common practice, no source
        (19, 22, 3, 0, 17, 0.3),  # US Army TM 5-3805-274-13&P
        (30, 10, 1.5, 0, 26.09, 0.01),  # FAA AC 43.13-1B, fig. 7-2 (from memory)
        (30, 10, 1.5, 180, 35.29, 0.01),  # the same, adapter pointing back
    ],
)
def test_the_setting_with_an_adapter_is_the_printed_one(torque, length, adapter, angle, setting, tolerance):
    found = wrench_setting(torque_n_m=torque, length_mm=length, adapter_length_mm=adapter, adapter_angle_deg=angle)
    assert found == pytest.approx(setting, abs=tolerance)


@given(st.floats(1, 5000), st.floats(10, 2000), st.floats(0, 500), st.sampled_from([90.0, -90.0]))
def test_an_adapter_at_a_right_angle_changes_nothing(torque, length, adapter, angle):
    found = wrench_setting(torque_n_m=torque, length_mm=length, adapter_length_mm=adapter, adapter_angle_deg=angle)
    assert found == torque


@given(st.floats(1, 5000), st.floats(100, 2000), st.floats(0.1, 90), st.floats(0, 90))
def test_a_straighter_adapter_never_asks_for_a_higher_setting(torque, length, adapter, angle):
    straight, bent = (
        wrench_setting(torque_n_m=torque, length_mm=length, adapter_length_mm=adapter, adapter_angle_deg=one)
        for one in (0.0, angle)
    )
    assert straight <= bent * (1 + 1e-12) <= torque * (1 + 1e-11)


def test_an_adapter_that_reaches_back_to_the_grip_is_refused():
    with pytest.raises(CannotEvaluate) as refused:
        wrench_setting(torque_n_m=100, length_mm=300, adapter_length_mm=300, adapter_angle_deg=180)
    assert refused.value.code == "adapter_impossible"


@pytest.mark.parametrize(
    ("torque", "suitable"),
    [(40.0, True), (39.9, False), (200.0, True), (200.1, False)],
)
def test_a_wrench_suits_from_20_percent_of_its_scale_to_its_end(torque, suitable):
    # 20 % of 200 N m is 40 N m, above the lowest mark of 10 N m (common practice, no source)
    answer = wrench_answer(Wrench(10.0, 200.0), torque_n_m=torque, first_torque_n_m=torque)
    assert answer.suitable is suitable
    assert (answer.record()["needed"] is None) is suitable


def test_the_lowest_mark_counts_where_it_is_higher_than_20_percent():
    answer = wrench_answer(Wrench(60.0, 200.0), torque_n_m=50.0, first_torque_n_m=25.0)
    assert answer.suitable is False
    needed = answer.record()["needed"]
    assert (needed["min"].value, needed["max"].value) == (25.0, 50.0)


def test_a_first_stage_below_the_range_is_warned_about():
    answer = wrench_answer(Wrench(60.0, 200.0), torque_n_m=100.0, first_torque_n_m=50.0)
    assert answer.suitable is True
    assert [one.code for one in answer.warnings] == ["first_stage_below_wrench"]


def test_an_adapter_on_a_wrench_of_unknown_length_is_asked_about():
    answer = wrench_answer(Wrench(10.0, 200.0, None, 50.0), torque_n_m=100.0, first_torque_n_m=50.0)
    assert (answer.setting_n_m, answer.suitable) == (None, None)
    assert [one.field for one in answer.missing] == ["wrench/length"]


def test_a_scale_that_runs_backwards_is_refused():
    with pytest.raises(CannotEvaluate) as refused:
        wrench_answer(Wrench(200.0, 100.0), torque_n_m=100.0, first_torque_n_m=50.0)
    assert (refused.value.code, refused.value.field) == ("wrench_range", "wrench/min")


def test_the_first_stage_has_a_setting_of_its_own():
    # TM 1-1500-204-23-9, p. 8: 300 at the bolt is 214 on the wrench with L 10 and E 4; half of it is half of that
    answer = wrench_answer(Wrench(10.0, 400.0, 10.0, 4.0), torque_n_m=300.0, first_torque_n_m=150.0).record()
    assert answer["first_setting"].value == pytest.approx(107, abs=0.3)
