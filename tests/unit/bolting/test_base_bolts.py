"""Base bolts and the soft foot."""

import pytest

from service.bolting.base_bolts import base_bolt_torque
from service.bolting.book import Bolt
from service.units import MM_PER_IN, N_PER_LBF


def test_an_oiled_grade_5_base_bolt_takes_75_percent_of_proof():
    # 3/8-16 grade 5 at 75 % of proof, K 0.15: 23 lbf ft (common practice, no source)
    found = base_bolt_torque(Bolt("3/8-16", "SAE J429 5"), "oiled")
    assert found.torque_n_m / (N_PER_LBF * MM_PER_IN * 12 / 1000) == pytest.approx(23, abs=0.5)
    assert found.preload_n / N_PER_LBF == pytest.approx(4940, abs=5)


@pytest.mark.parametrize("state", ["dry", "oiled", "anti_seize", "unknown"])
@pytest.mark.parametrize("bolt", [("M12", "8.8"), ("M20", "8.8"), ("M30", "10.9"), ("3/4-10", "SAE J429 5")])
def test_no_state_in_the_band_takes_the_bolt_past_proof(bolt, state):
    found = base_bolt_torque(Bolt(*bolt), state)
    assert found.share_band[0] < found.share_band[1] <= 1 + 1e-12
    assert "base_bolts/torque" in [one.field for one in found.missing]


def test_without_a_grade_no_torque_is_computed():
    found = base_bolt_torque(Bolt("M20"))
    assert found.record()["torque"] is None
    assert found.record()["computed"] is False
    assert "base_bolts/grade" in [one.field for one in found.missing]
