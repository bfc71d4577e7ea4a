"""Torque and preload against printed examples, the source beside each."""

from math import atan, cos, degrees, pi, radians, tan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.bolting.tightening import (
    assembly_preload,
    long_form_nut_factor,
    long_form_torque,
    minimum_preload,
    preload_from_torque,
    scattered_preload,
    torque_from_preload,
)
from service.reference.bolts import bolt_grade, thread
from service.units import MM_PER_IN, N_PER_LBF
from tests.unit.bolting.power_screw import power_screw_torque

LBF_IN = N_PER_LBF * MM_PER_IN / 1000  # N m


def test_preload_and_torque_match_wentzell_example_6_1():
    # Wentzell, Machine Design (2007), ex. 6.1, p. 120: F = 0.85 x 85000 psi x 0.334 in2, K 0.20, d 0.75 in:
    # 3619.73 lbf in
    preload_n = 0.85 * 85_000 * 0.334 * N_PER_LBF
    torque_n_m = torque_from_preload(preload_n=preload_n, diameter_mm=0.75 * MM_PER_IN, nut_factor=0.20)
    assert torque_n_m / LBF_IN == pytest.approx(3619.73, abs=0.05)


def test_lubricated_stud_matches_wentzell_example_6_4():
    # ex. 6.4, p. 124: 0.9 x 120000 psi x 1.073 in2, K 0.15, d 1.25 in: 21728.25 lbf in
    preload_n = 0.9 * 120_000 * 1.073 * N_PER_LBF
    torque_n_m = torque_from_preload(preload_n=preload_n, diameter_mm=1.25 * MM_PER_IN, nut_factor=0.15)
    assert torque_n_m / LBF_IN == pytest.approx(21_728.25, abs=0.05)


def test_metric_torque_and_stress_match_jindal_example_9_6():
    # Jindal, Machine Design (2010), ex. 9-6, p. 269: 120 kN, d 20, K 0.18: 432 N m; with 0.35 of 30 kN on 245 mm2:
    # 532.65 MPa, 0.888 of proof 600 MPa
    assert torque_from_preload(preload_n=120_000, diameter_mm=20, nut_factor=0.18) == pytest.approx(432, abs=0.5)
    stress_mpa = (120_000 + 0.35 * 30_000) / 245
    assert stress_mpa == pytest.approx(532.65, abs=0.05)
    assert stress_mpa / bolt_grade("8.8", thread("M20")).proof_mpa == pytest.approx(0.888, abs=0.001)
    assert thread("M20").stress_area_mm2 == pytest.approx(245, abs=0.5)


def test_nut_factor_from_both_frictions_matches_jindal_example_9_3():
    # ex. 9-3, p. 267: d 18, P 2.5, dm = (d + dr)/2, dr = d - 1.2268 P, mu 0.15, collar 0.13 at 1.25 d: K = 0.18343
    mean_mm = 18 - 1.2268 * 2.5 / 2
    torque_n_m = power_screw_torque(
        load_n=1000,
        lead_mm=2.5,
        mean_diameter_mm=mean_mm,
        thread_friction=0.15,
        half_flank_angle_deg=30,
        collar_friction=0.13,
        mean_collar_diameter_mm=1.25 * 18,
    )
    assert torque_n_m / 18 == pytest.approx(0.18343, abs=0.0001)


def test_full_form_against_short_form_matches_shigley_example_8_3():
    # Shigley, Mechanical Engineering Design, bolted joints, ex. 8-3 (from memory): 3/4-16 UNF, 25000 lbf,
    # mu = mu_c = 0.15: 3551 lbf in, and 3750 lbf in with K = 0.20
    of = thread("3/4-16 UNF")
    preload_n = 25_000 * N_PER_LBF
    full_n_m = power_screw_torque(
        load_n=preload_n,
        lead_mm=of.pitch_mm,
        mean_diameter_mm=of.pitch_diameter_mm,
        thread_friction=0.15,
        half_flank_angle_deg=30,
        collar_friction=0.15,
        mean_collar_diameter_mm=1.25 * of.diameter_mm,
    )
    assert full_n_m / LBF_IN == pytest.approx(3551, abs=1)
    short_n_m = torque_from_preload(preload_n=preload_n, diameter_mm=of.diameter_mm, nut_factor=0.20)
    assert short_n_m / LBF_IN == pytest.approx(3750, abs=0.5)


def test_a_cap_screw_table_point_is_met():
    # 3/8-16 grade 5 at 75 % of proof: 4940 lbf, 30 and 23 lbf ft (common practice, no source)
    of = thread("3/8-16")
    preload_n = 0.75 * 85_000 * 0.0775 * N_PER_LBF
    assert preload_n / N_PER_LBF == pytest.approx(4940, abs=5)
    dry, oiled = (
        torque_from_preload(preload_n=preload_n, diameter_mm=of.diameter_mm, nut_factor=k) / LBF_IN / 12
        for k in (0.20, 0.15)
    )
    assert dry == pytest.approx(30, abs=1)
    assert oiled == pytest.approx(23, abs=0.5)


def test_preload_band_matches_the_sandia_report():
    # SAND2008-0371, app. C, p. 43: 1800 lbf in, d 0.625 in, K 0.20: 14400 lbf; scatter 0.35, loss 5 %: 8892 to 19440
    nominal_n = preload_from_torque(torque_n_m=1800 * LBF_IN, diameter_mm=0.625 * MM_PER_IN, nut_factor=0.20)
    assert nominal_n / N_PER_LBF == pytest.approx(14_400, abs=1)
    least_n, most_n = scattered_preload(nominal_n=nominal_n, scatter=0.35, loss=0.05)
    assert (least_n / N_PER_LBF, most_n / N_PER_LBF) == pytest.approx((8892, 19_440), abs=1)


@pytest.mark.parametrize(
    ("name", "yield_mpa", "friction", "head_mm", "hole_mm", "preload_kn", "torque_n_m"),
    [
        ("M12x1.25", 640, 0.12, 16.63, 13.5, 48.0, 90),
        ("M16x1.5", 640, 0.14, 22.49, 17.5, 85.5, 244),
        ("M20x1.5", 660, 0.12, 28.19, 22.0, 148, 454),
        ("M16x1.5", 940, 0.12, 22.49, 17.5, 128.7, 320),
        ("M24x2", 940, 0.12, 33.61, 26.0, 297, 1095),
    ],
)
def test_vdi_2230_fine_thread_table_is_met(name, yield_mpa, friction, head_mm, hole_mm, preload_kn, torque_n_m):
    # VDI 2230-1, assembly preload and tightening torque of fine threads, 90 % of yield; within 0.3 % and 0.8 %
    of = thread(name)
    preload_n = assembly_preload(of, yield_mpa=yield_mpa, thread_friction=friction)
    assert preload_n == pytest.approx(preload_kn * 1000, rel=0.003)
    tightening_n_m = long_form_torque(
        preload_n=preload_n,
        pitch_mm=of.pitch_mm,
        pitch_diameter_mm=of.pitch_diameter_mm,
        head_friction_diameter_mm=(head_mm + hole_mm) / 2,
        thread_friction=friction,
        head_friction=friction,
    )
    assert tightening_n_m == pytest.approx(torque_n_m, rel=0.008)


def test_tightening_factor_gives_the_least_preload():
    # M12 8.8, mu 0.14: 41.9 kN; alpha_A 1.8: 23.3 kN (common practice, no source)
    greatest_n = assembly_preload(thread("M12"), yield_mpa=640, thread_friction=0.14)
    assert greatest_n == pytest.approx(41_900, abs=100)
    assert minimum_preload(greatest_n=41_900, tightening_factor=1.8) == pytest.approx(23_300, abs=50)


def test_power_screw_with_collar_matches_jindal_example_16_1():
    # ex. 16-1, p. 450: d 30, P 6, square thread, 20 kN, mu 0.20, collar 0.15 at radii 8 and 16 mm: 110.148 N m
    torque_n_m = power_screw_torque(
        load_n=20_000,
        lead_mm=6,
        mean_diameter_mm=27,
        thread_friction=0.20,
        half_flank_angle_deg=0,
        collar_friction=0.15,
        mean_collar_diameter_mm=24,
    )
    assert torque_n_m == pytest.approx(110.148, abs=0.01)


def test_acme_lead_screw_matches_wentzell_example_18_3():
    # ex. 18.3, p. 402: two screws share 5800 lbf, Dp 1.375 in, lead 0.25 in, f 0.15, 14.5 deg: 428.13 lbf in each,
    # lead angle 3.31 deg
    torque_n_m = power_screw_torque(
        load_n=2900 * N_PER_LBF,
        lead_mm=0.25 * MM_PER_IN,
        mean_diameter_mm=1.375 * MM_PER_IN,
        thread_friction=0.15,
        half_flank_angle_deg=14.5,
    )
    assert torque_n_m / LBF_IN == pytest.approx(428.13, abs=0.05)
    assert degrees(atan(0.25 / (pi * 1.375))) == pytest.approx(3.31, abs=0.01)


@given(st.sampled_from(["M8", "M12", "M20", "M36", "1/2-13", "3/4-10", "1-8"]), st.floats(0.08, 0.2))
def test_the_long_form_is_the_power_screw_form_for_small_lead_angles(name, friction):
    # the exact power-screw form (Shigley, ch. 8) without its product of small terms
    of = thread(name)
    exact_n_m = power_screw_torque(
        load_n=1000,
        lead_mm=of.pitch_mm,
        mean_diameter_mm=of.pitch_diameter_mm,
        thread_friction=friction,
        half_flank_angle_deg=30,
        collar_friction=friction,
        mean_collar_diameter_mm=1.25 * of.diameter_mm,
    )
    factor = long_form_nut_factor(of, thread_friction=friction, head_friction=friction)
    lost = friction / cos(radians(30)) * tan(of.pitch_mm / (pi * of.pitch_diameter_mm))
    assert factor * of.diameter_mm == pytest.approx(exact_n_m, rel=lost + 1e-6)


@given(st.floats(1, 5000), st.floats(5, 60), st.floats(0.08, 0.35))
def test_torque_and_preload_are_each_others_inverse(torque_n_m, diameter_mm, factor):
    preload_n = preload_from_torque(torque_n_m=torque_n_m, diameter_mm=diameter_mm, nut_factor=factor)
    back = torque_from_preload(preload_n=preload_n, diameter_mm=diameter_mm, nut_factor=factor)
    assert back == pytest.approx(torque_n_m, rel=1e-12)


def test_stretch_and_turn_of_nut_match_wentzell_example_6_2():
    # ex. 6.2, p. 121: the bolt of ex. 6.1 over 5 in, 30e6 psi, 10 threads per inch: 43.35 degrees of nut turn for the
    # stretch F L/(A E). No torque of ours rests on it: the grip of a base bolt is not asked, and closing the joint
    # takes further turn. Checked here: preload of the short form, stretch, and 360 x travel / pitch.
    preload_lbf = 0.85 * 85_000 * 0.334
    torque_n_m = torque_from_preload(preload_n=preload_lbf * N_PER_LBF, diameter_mm=0.75 * MM_PER_IN, nut_factor=0.2)
    back_n = preload_from_torque(torque_n_m=torque_n_m, diameter_mm=0.75 * MM_PER_IN, nut_factor=0.2)
    stretch_in = back_n / N_PER_LBF * 5 / (0.334 * 30e6)
    pitch_in = thread("3/4-10").pitch_mm / MM_PER_IN
    assert 360 * stretch_in / pitch_in == pytest.approx(43.35, abs=0.05)
