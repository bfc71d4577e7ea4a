"""Growth, travel and setting (A6). Formulas against Pytel & Kiusalaas, Mechanics of Materials."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service import units
from service.arrangement.expansion import (
    free_setting,
    growth,
    setting_correction_mm,
    sleeve_slip_force,
    strains,
    upper_bound_force,
)
from service.arrangement.shaft_line import Body
from service.errors import CannotEvaluate
from service.reference.materials import Material, material
from tests.unit.arrangement.machines import codes, fields, support, two_supports, wide_516

STILL = Material("still", 0.0, 0.0, 0.0, 1.0, 0.3)


def of_material(expansion_per_k: float) -> Material:
    return Material("bar", expansion_per_k, expansion_per_k, expansion_per_k, 200_000.0, 0.3)


def test_free_growth_of_a_shaft_400_in_long_and_200_degf_warmer_is_0_48_in():
    # alpha = 6e-6 per degF, L = 400 in, dT = 200 degF: 0.48 in (common practice, no source)
    shaft = of_material(6e-6 * 9 / 5)
    of = strains(shaft=shaft, shaft_rise_k=200 * 5 / 9, base=STILL, base_rise_k=0.0)
    moves = growth(at_mm=400 * units.MM_PER_IN, locating_at_mm=0.0, of=of)
    assert moves.magnitude_mm / units.MM_PER_IN == pytest.approx(0.48, abs=0.0005)
    assert moves.direction == "plus"


def test_force_in_a_fully_restrained_bar_matches_pytel_and_kiusalaas_example_2_10():
    # E = 200 GPa, alpha = 11.7e-6/K, dT = 40 K: 93.6 MPa (printed, p. 62); A = 1200 mm2 gives 112.32 kN (computed)
    diameter_mm = (1200 / 0.7853981633974483) ** 0.5
    force_n = upper_bound_force(strain=11.7e-6 * 40, youngs_modulus_mpa=200_000, diameter_mm=diameter_mm)
    assert force_n / 1200 == pytest.approx(93.6, abs=0.05)
    assert force_n == pytest.approx(112_320, abs=100)


def test_unequal_expansion_is_the_difference_of_both_as_in_hibbeler_example_4_12():
    # (alpha2 - alpha1) dT of Hibbeler, Mechanics of Materials 8e, ex. 4.12, p. 154: 23e-6 and 12e-6 over 65 K;
    # the printed 20.3 kN follows from that strain over both stiffnesses
    of = strains(shaft=of_material(23e-6), shaft_rise_k=65, base=of_material(12e-6), base_rise_k=65)
    flexibility = 1 / (400 * 200_000) + 1 / (600 * 73_100)
    assert of.service / flexibility == pytest.approx(20_300, abs=50)


def test_three_metres_of_steel_60_k_warmer_fit_centred_in_5_mm_each_way():
    # L alpha dT = 3000 x 11.7e-6 x 60 = 2.106 mm, reserve 0.5 mm, seat 43 - bearing 33 = 10 mm: hand calculation
    tail = two_supports(3000.0).record()["supports"][0]
    assert tail["growth"].value == pytest.approx(2.106, abs=1e-6)
    assert tail["direction"] == "minus"
    travel = {name: tail["travel"][name].value for name in ("total", "needed", "available")}
    assert travel == pytest.approx({"total": 10.0, "needed": 2.606, "available": 5.0})
    assert tail["travel"]["limited_by"] == "seat"
    assert (tail["setting"], tail["offset"]) == ("centred", None)
    assert tail["locating_rings"] == {"count": 0, "width": None}


def test_twelve_metres_need_an_offset_between_3_93_and_4_5_mm():
    # 12000 x 11.7e-6 x 60 = 8.424: window [8.424 + 0.5 - 5, 5 - 0.5] = [3.924, 4.5], hand calculation
    tail = two_supports(12_000.0).record()["supports"][0]
    assert tail["setting"] == "offset"
    assert tail["offset"]["min"].value == pytest.approx(3.924, abs=1e-6)
    assert tail["offset"]["max"].value == pytest.approx(4.5, abs=1e-6)
    assert tail["offset"]["direction"] == "plus"
    assert tail["travel"]["available"].value >= tail["travel"]["needed"].value


def test_fifteen_metres_are_too_much_for_this_travel():
    # 15000 x 11.7e-6 x 60 = 10.53 mm and the reserve do not go into 10 mm, hand calculation
    answer = two_supports(15_000.0)
    assert codes(answer.blocked) == ["travel_too_small"]
    tail = answer.record()["supports"][0]
    assert tail["setting"] is None
    assert tail["travel"]["available"].value == pytest.approx(9.5)


def test_growth_and_reserve_that_just_fill_half_the_travel_stay_centred():
    # 4.5 mm growth + 0.5 mm = 5 mm: limits are inclusive
    span_mm = 4.5 / (11.7e-6 * 60)
    assert two_supports(span_mm).supports[0].free.setting == "centred"


def test_a_base_that_warms_too_takes_its_share_of_the_growth_and_heating_up_is_allowed_for():
    # grey iron base 30 K warmer: 3000 x (11.7e-6 x 60 - 11.0e-6 x 30) = 1.116 mm; base still cold: 2.106 mm
    answer = two_supports(base=Body("grey_cast_iron", 50.0))
    tail = answer.supports[0]
    assert tail.moves.magnitude_mm == pytest.approx(1.116, abs=1e-6)
    assert tail.moves.heat_up_mm == pytest.approx(2.106, abs=1e-6)
    assert tail.moves.cool_down_mm == pytest.approx(-0.99, abs=1e-6)
    assert codes(answer.warnings) == ["heat_up_governs"]


def test_a_shaft_colder_than_at_assembly_moves_toward_the_locating_support():
    tail = two_supports(shaft=Body("carbon_steel", -10.0)).supports[0]
    assert tail.moves.direction == "plus"
    assert tail.moves.magnitude_mm == pytest.approx(3000 * 11.7e-6 * 30, abs=1e-6)


def test_cold_and_hot_gaps_to_the_shoulders_add_up_to_the_travel():
    # centred in 10 mm: 5 and 5 cold; 2.106 mm growth toward minus leaves 2.894 and 7.106
    gaps = two_supports().supports[0].free.gaps_mm
    assert gaps["cold"] == {"minus": 5.0, "plus": 5.0}
    assert gaps["service"] == {"minus": 2.894, "plus": 7.106}


def test_steel_that_is_warm_when_setting_has_grown_already():
    # 3000 x 11.7e-6 x 15 K = 0.5265 mm
    of = strains(shaft=material("carbon_steel"), shaft_rise_k=60, base=material("concrete"), base_rise_k=0)
    moves = growth(at_mm=0.0, locating_at_mm=3000.0, of=of)
    shift_mm = setting_correction_mm(moves, setting_temperature_degc=35.0, assembly_temperature_degc=20.0)
    assert shift_mm == pytest.approx(0.5265, abs=1e-6)
    assert two_supports(setting_temperature_degc=35.0).supports[0].correction_mm == shift_mm


def test_seals_that_allow_less_than_the_seat_limit_the_travel():
    pair = (support("tail", 0.0, seal_travel_mm=4.0), support("drive", 3000.0))
    tail = two_supports(supports=pair).supports[0]
    assert tail.total_mm == 4.0
    assert tail.free.setting == "offset"


def test_the_wide_seat_leaves_25_mm_of_travel():
    pair = (support("tail", 0.0, housing=wide_516()), support("drive", 3000.0))
    assert two_supports(supports=pair).supports[0].total_mm == 25.0


@pytest.mark.parametrize(
    ("facts", "asked"),
    [
        ({"shaft": None}, {"shaft/material", "shaft/temperature"}),
        ({"shaft": Body("carbon_steel")}, {"shaft/temperature"}),
        ({"base": None}, {"base/material", "base/temperature"}),
        ({"shaft": Body(None, 80.0)}, {"shaft/material"}),
    ],
)
def test_unknown_material_or_temperature_gives_no_growth_and_is_asked(facts, asked):
    answer = two_supports(**facts)
    tail = answer.record()["supports"][0]
    assert tail["growth"] is None
    assert tail["travel"]["total"].value == 10.0
    assert tail["travel"]["needed"] is None
    assert asked <= set(fields(answer))


def test_a_material_not_in_the_table_is_refused_with_those_known():
    with pytest.raises(CannotEvaluate) as refused:
        two_supports(shaft=Body("unobtainium", 80.0))
    assert (refused.value.code, refused.value.field) == ("unknown_material", "shaft/material")
    assert "carbon_steel" in str(refused.value)


def test_two_locating_supports_are_told_the_force_and_where_a_sleeve_slips():
    # carbon steel, E = 203 GPa, 70 mm shaft, 60 K: 203000 x pi/4 x 70^2 x 11.7e-6 x 60 = 548.4 kN, hand calculation;
    # 3 B d = 3 x 33 x 80 = 7920 N (common practice, no source)
    pair = tuple(support(name, at, role="locating") for name, at in (("a", 0.0), ("b", 3000.0)))
    answer = two_supports(supports=pair, shaft_diameter_mm=70.0)
    assert answer.held_force_n == pytest.approx(548_400, abs=100)
    assert answer.slip_force_n == sleeve_slip_force(width_mm=33.0, bore_mm=80.0) == 7920.0
    assert answer.blocked[0].facts["held_force"].value == answer.held_force_n


def test_an_axial_load_above_the_grip_of_the_sleeve_is_blocked_and_below_it_is_not():
    # grip 3 x 33 x 80 = 7920 N (common practice, no source)
    assert codes(two_supports(axial_load_n=-8000.0).blocked) == ["axial_load_over_grip"]
    assert codes(two_supports(axial_load_n=7920.0).blocked) == []


@settings(max_examples=300, deadline=None)
@given(
    st.integers(0, 40_000),
    st.integers(-60, 160),
    st.integers(-40, 120),
    st.integers(0, 40).map(lambda tenths: tenths / 2),
    st.integers(0, 8).map(lambda quarters: quarters / 4),
)
def test_every_setting_keeps_the_reserve_at_both_ends_in_every_state(at, shaft_rise, base_rise, total_mm, reserve_mm):
    of = strains(
        shaft=material("carbon_steel"), shaft_rise_k=shaft_rise, base=material("grey_cast_iron"), base_rise_k=base_rise
    )
    moves = growth(at_mm=float(at), locating_at_mm=0.0, of=of)
    setting = free_setting(moves=moves, total_mm=total_mm, reserve_mm=reserve_mm)
    swing = max(0, moves.service_mm, moves.heat_up_mm, moves.cool_down_mm) - min(
        0, moves.service_mm, moves.heat_up_mm, moves.cool_down_mm
    )
    if setting.setting is None:
        assert swing + 2 * reserve_mm > total_mm - 1e-5
    else:
        assert all(gap >= reserve_mm - 1e-5 for sides in setting.gaps_mm.values() for gap in sides.values())
        assert all(sum(sides.values()) == pytest.approx(total_mm, abs=1e-5) for sides in setting.gaps_mm.values())


def test_nothing_grows_at_assembly_temperature():
    tail = two_supports(shaft=Body("carbon_steel", 20.0)).supports[0]
    assert (tail.moves.magnitude_mm, tail.moves.direction) == (0.0, "none")


def test_the_gap_to_set_leaves_growth_and_reserve_on_one_side_and_the_reserve_on_the_other():
    # centred in 10 mm: 5 mm; growth 2.106 mm + reserve 0.5 mm, at most 10 - 0.5 mm: hand calculation
    gap = two_supports(3000.0).record()["supports"][0]["expansion"]["setting_gap"]
    assert gap["side"] == "minus"
    assert [gap[name].value for name in ("min", "aim", "max")] == pytest.approx([2.606, 5.0, 9.5], abs=1e-6)


def test_the_gap_to_set_allows_for_heating_up_before_the_base_is_warm():
    # steel base at 50 degC: service 3000 x 11.7e-6 x (60 - 30) = 1.053 mm, heating up 2.106 mm, cooling down
    # 1.053 mm the other way: gap from 2.106 + 0.5 to 10 - 1.053 - 0.5 mm, hand calculation
    tail = two_supports(3000.0, base=Body("carbon_steel", 50.0)).record()["supports"][0]
    gap = tail["expansion"]["setting_gap"]
    assert tail["travel"]["needed"].value == pytest.approx(1.553, abs=1e-6)
    assert [gap[name].value for name in ("min", "aim", "max")] == pytest.approx([2.606, 5.0, 8.447], abs=1e-6)


def test_on_a_warmer_shaft_the_gap_on_the_far_side_is_smaller_by_what_has_grown_already():
    # 3000 x 11.7e-6 x (40 - 20) = 0.702 mm nearer the far shoulder, hand calculation
    tail = two_supports(3000.0, setting_temperature_degc=40.0).record()["supports"][0]
    gap = tail["expansion"]["setting_gap"]
    assert tail["expansion"]["setting_correction"]["correction"].value == pytest.approx(0.702, abs=1e-6)
    assert [gap[name].value for name in ("min", "aim", "max")] == pytest.approx([1.904, 4.298, 8.798], abs=1e-6)


def test_a_shaft_too_hot_to_be_set_is_warned_about_and_gets_no_gap():
    # 3000 x 11.7e-6 x (200 - 20) = 6.318 mm, more than the 5 mm to the shoulder: hand calculation
    answer = two_supports(3000.0, setting_temperature_degc=200.0)
    assert codes(answer.warnings) == ["cannot_be_set_at_this_temperature"]
    assert answer.record()["supports"][0]["expansion"]["setting_gap"] is None


def test_seals_that_allow_less_than_the_seat_limit_the_travel_and_say_so():
    pair = (support("tail", 0.0, seal_travel_mm=6.0), support("drive", 3000.0))
    travel = two_supports(supports=pair).record()["supports"][0]["travel"]
    assert (travel["total"].value, travel["limited_by"]) == (6.0, "seals")


def test_restraint_that_yields_matches_pytel_and_kiusalaas_example_2_10_part_2():
    # the supports give 0.5 mm over 2.5 m: 53.6 MPa (printed, Mechanics of Materials, ex. 2.10); as 1200 mm2 above
    diameter_mm = (1200 / 0.7853981633974483) ** 0.5
    force_n = upper_bound_force(strain=11.7e-6 * 40 - 0.5 / 2500, youngs_modulus_mpa=200_000, diameter_mm=diameter_mm)
    assert force_n / 1200 == pytest.approx(53.6, abs=0.05)


def test_a_bolt_heated_by_370_degf_grows_by_its_stretch_as_in_wentzell_example_6_3():
    # Wentzell, Machine Design (2007), ex. 6.3, p. 122: alpha 6.5e-6 per degF, 5 in, 370.46 degF: 0.01204 in
    of = strains(shaft=of_material(6.5e-6 * 9 / 5), shaft_rise_k=370.46 * 5 / 9, base=STILL, base_rise_k=0.0)
    moves = growth(at_mm=5 * units.MM_PER_IN, locating_at_mm=0.0, of=of)
    assert moves.magnitude_mm / units.MM_PER_IN == pytest.approx(0.01204, abs=0.000002)


@settings(max_examples=200, deadline=None)
@given(st.floats(500, 14_000), st.floats(-20, 120), st.floats(-20, 120), st.floats(0, 3))
def test_every_gap_inside_its_limits_leaves_the_reserve_in_every_state(span_mm, shaft, base, reserve_mm):
    answer = two_supports(
        span_mm, shaft=Body("carbon_steel", shaft), base=Body("carbon_steel", base), reserve_mm=reserve_mm
    )
    tail = answer.supports[0]
    if tail.free is None or tail.free.gap is None:
        return
    gap, moves = tail.free.gap, tail.moves
    sign = 1 if gap.side == moves.outward else -1
    for left_mm in (gap.min_mm, gap.aim_mm, gap.max_mm):
        for moved_mm in (0.0, moves.service_mm, moves.heat_up_mm, moves.cool_down_mm):
            ahead_mm = left_mm - sign * moved_mm
            assert reserve_mm - 1e-5 <= ahead_mm <= gap.total_mm - reserve_mm + 1e-5
