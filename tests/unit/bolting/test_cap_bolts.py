"""Cap bolts (B1 to B5): torques from published tables, never from the bolt."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service import units
from service.bolting.cap_bolts import Bolt, ChartedTorque, Lubrication, Wrench, cap_bolt_torque
from service.errors import CannotEvaluate
from service.findings import Source
from service.record import encoded
from service.reference.bolts import bolt_grade, thread
from service.reference.housing_tables import seats
from service.reference.housings import housing_from_dimensions, housing_from_size
from service.units import N_M_PER_LBF_FT

INCH_516 = housing_from_size(size="516", dimensions="inch")
WIDE_516 = housing_from_size(size="516", dimensions="metric", seat_design="wide_seat")


def codes(found) -> list[str]:
    return [one.code for one in found]


def asked(answer) -> list[str]:
    return [one.field for one in answer.missing]


def test_one_pound_force_foot_is_exactly_1_3558179483314004_newton_metres():
    # 0.45359237 kg x 9.80665 m/s2 x 0.3048 m, exact by definition (NIST SP 811, app. B)
    exact = Fraction("0.45359237") * Fraction("9.80665") * Fraction("0.3048")
    assert exact == Fraction("1.3558179483314004")
    assert float(exact) == N_M_PER_LBF_FT  # the nearest double
    assert units.UNITS["torque"]["lbf.ft"].factor == exact


def test_inch_516_takes_110_lbf_ft_to_be_confirmed_in_the_housing_makers_book():
    # one publication: two bolts 5/8-11 grade 5, 110 lbf ft
    answer = cap_bolt_torque(housing=INCH_516)
    assert answer.torque_n_m == pytest.approx(110 * 1.3558179483314004, rel=1e-15)
    assert answer.confidence == "single_publication"
    assert answer.bolt == Bolt("5/8-11 UNC", "SAE J429 5", 2)
    (confirm,) = [one for one in answer.missing if one.field == "torque"]
    assert "housing maker's book" in confirm.how


def test_110_lbf_ft_on_half_inch_grade_5_dry_is_109_percent_of_proof_and_blocked():
    # 110 x 12/(0.20 x 0.5) = 13200 lbf; proof 85000 psi x 0.1419 in2 = 12061 lbf (SAE J429, ASME B1.1): 1.094
    answer = cap_bolt_torque(
        torque_n_m=110 * N_M_PER_LBF_FT, bolt=Bolt("1/2-13 UNC", "SAE J429 5", 2), lubrication="dry"
    )
    assert answer.record()["share_of_proof"] == pytest.approx(13_200 / 12_061.5, abs=0.001)
    assert codes(answer.blocked) == ["over_proof"]


def test_110_lbf_ft_on_five_eighths_grade_5_oiled_is_about_73_percent_of_proof():
    # 110 x 12/(0.15 x 0.625) = 14080 lbf; proof 85000 x 0.2260 = 19210 lbf: 0.733
    answer = cap_bolt_torque(housing=INCH_516, lubrication="oiled")
    assert answer.record()["share_of_proof"] == pytest.approx(14_080 / 19_210, abs=0.001)
    assert answer.blocked == ()


def test_an_unknown_state_gives_a_band_asks_and_never_refuses_a_books_torque():
    for housing_seats in seats("inch").values():
        answer = cap_bolt_torque(housing=housing_from_size(size=housing_seats[0].row_size, dimensions="inch"))
        assert answer.blocked == ()
        if answer.torque_n_m is not None:
            band = answer.record()["share_of_proof_band"]
            assert band["min"] < answer.record()["share_of_proof"] < band["max"]
            assert "lubrication" in asked(answer)


def test_published_inch_cap_torques_take_no_fixed_share_of_proof():
    # why a cap torque is never computed from the bolt: no fixed share, K 0.20 (textbooks)
    shares = [
        answer.record()["share_of_proof"]
        for number in seats("inch")
        if (
            answer := cap_bolt_torque(housing=housing_from_size(size=number, dimensions="inch"), lubrication="dry")
        ).torque_n_m
        is not None
    ]
    assert len(shares) == 38
    assert min(shares) < 0.5 < max(shares) < 1


def test_a_given_torque_that_exceeds_proof_in_any_state_is_blocked_without_knowing_the_state():
    answer = cap_bolt_torque(torque_n_m=500.0, bolt=Bolt("M12", "8.8", 2))
    assert codes(answer.blocked) == ["over_proof"]
    doubtful = cap_bolt_torque(torque_n_m=100.0, bolt=Bolt("M12", "8.8", 2))
    assert doubtful.blocked == ()
    assert codes(doubtful.warnings) == ["near_proof"]


def test_without_a_grade_there_is_no_share_and_it_is_asked():
    answer = cap_bolt_torque(torque_n_m=80.0, bolt=Bolt("M12"), lubrication="dry")
    assert answer.record()["share_of_proof"] is None
    # F = T/(K d) = 80/(0.20 x 0.012)
    assert answer.record()["preload"]["nominal"].value == pytest.approx(80 / (0.20 * 0.012))
    assert "bolt/grade" in asked(answer)


def test_an_undecided_seat_design_gives_no_torque_and_asks():
    answer = cap_bolt_torque(housing=housing_from_size(size="516", dimensions="metric"))
    assert (answer.torque_n_m, answer.confidence) == (None, "none")
    assert "housing/seat_design" in asked(answer)


def test_the_narrow_516_takes_160_n_m_from_one_publication():
    # published table: M16, 160 N m
    narrow = housing_from_size(size="516", dimensions="metric", seat_design="narrow_seat")
    answer = cap_bolt_torque(housing=narrow)
    assert (answer.torque_n_m, answer.confidence, answer.bolt.thread) == (160.0, "single_publication", "M16")


def test_the_wide_516_takes_no_torque_until_its_bolt_is_known():
    # two torque tables print M12 80 N m, two dimension tables print M16: both named, none chosen
    answer = cap_bolt_torque(housing=WIDE_516)
    assert (answer.torque_n_m, answer.confidence) == (None, "none")
    (bolt,) = [one for one in answer.missing if one.field == "bolt/thread"]
    printed = "".join(part if isinstance(part, str) else f"{part.value:g}" for part in bolt.why)
    assert "80 for M12" in printed and "M16" in printed
    with_m12 = cap_bolt_torque(housing=WIDE_516, bolt=Bolt("M12", "8.8", 2))
    assert (with_m12.torque_n_m, with_m12.confidence) == (80.0, "agreed")
    assert cap_bolt_torque(housing=WIDE_516, bolt=Bolt("M16", "8.8", 2)).torque_n_m is None


def test_two_printed_torques_for_one_bolt_are_both_named_and_none_is_chosen():
    # wide seat 507: M10, 50 and 40 N m in print
    answer = cap_bolt_torque(housing=housing_from_size(size="507", dimensions="metric", seat_design="wide_seat"))
    assert (answer.torque_n_m, answer.confidence) == (None, "none")
    (torque,) = [one for one in answer.missing if one.field == "torque"]
    assert [part.value for part in torque.why if not isinstance(part, str)] == [50.0, 40.0]


@pytest.mark.parametrize(("size", "torque"), [("511", 80.0), ("520", 200.0), ("532", 350.0)])
def test_agreed_metric_torques_need_no_second_publication(size, torque):
    # two publications agree
    answer = cap_bolt_torque(housing=housing_from_size(size=size, dimensions="metric", seat_design="wide_seat"))
    assert (answer.torque_n_m, answer.confidence) == (torque, "agreed")
    assert "torque" not in asked(answer)


def test_no_printed_torque_means_none_and_never_one_from_the_bolt():
    for dimensions in ("metric", "inch"):
        for number, known in seats(dimensions).items():
            for seat in known:
                if seat.cap_bolts.status in ("doubtful", "not_published", "torque_conflict"):
                    found = housing_from_size(size=number, dimensions=dimensions, seat_design=seat.seat_design)
                    answer = cap_bolt_torque(
                        housing=found, bolt=Bolt("M16", "8.8", 2) if dimensions == "metric" else None
                    )
                    assert answer.torque_n_m is None
                    assert answer.stages == ()


def test_a_housing_outside_the_tables_is_asked_about():
    given_house = housing_from_dimensions(seat_width_mm=43.0, seat_bore_mm=140.0)
    assert cap_bolt_torque(housing=given_house).confidence == "none"
    assert asked(cap_bolt_torque()) == ["housing"]


def test_a_chart_of_the_site_comes_before_the_table_and_is_named():
    source = Source("chart-7-v2", "housing maker's book of the site", "site_chart")
    chart = ChartedTorque(130.0, source, size="516", dimensions="inch", bolt=Bolt("5/8-11 UNC", "SAE J429 5", 2))
    answer = cap_bolt_torque(housing=INCH_516, charts=(chart,))
    assert (answer.torque_n_m, answer.confidence) == (130.0, "site_chart")
    assert answer.sources[0] == source
    other = cap_bolt_torque(housing=WIDE_516, bolt=Bolt("M12", "8.8", 2), charts=(chart,))
    assert other.confidence == "agreed"


def test_bolts_other_than_the_books_are_said():
    answer = cap_bolt_torque(housing=INCH_516, bolt=Bolt("1/2-13", "SAE J429 5", 4), lubrication="oiled")
    assert "bolt_differs_from_book" in codes(answer.warnings)
    assert "over_proof" in codes(answer.blocked)


def test_a_given_torque_far_from_the_books_is_said():
    answer = cap_bolt_torque(housing=INCH_516, torque_n_m=110.0, lubrication="dry")
    assert "differs_from_book" in codes(answer.warnings)
    same = cap_bolt_torque(housing=INCH_516, torque_n_m=110 * N_M_PER_LBF_FT, lubrication="dry")
    assert codes(same.warnings) == []


def test_stages_are_half_full_and_full_again_across_the_bore():
    # our own convention (B3)
    answer = cap_bolt_torque(torque_n_m=100.0, bolt=Bolt("M16", "8.8", 4))
    assert answer.stages == ((50, 50.0), (100, 100.0), (100, 100.0))
    assert answer.sequence == ("1", "4", "2", "3")
    assert cap_bolt_torque(torque_n_m=100.0, bolt=Bolt("M16", "8.8", 2)).sequence == ("1", "2")
    assert cap_bolt_torque(torque_n_m=100.0, bolt=Bolt("M16", "8.8")).sequence == ()


def test_the_wrench_is_judged_with_the_torque():
    answer = cap_bolt_torque(housing=INCH_516, wrench=Wrench(20.0, 100.0))
    assert answer.record()["wrench"]["suitable"] is False
    assert cap_bolt_torque(wrench=Wrench(20.0, 100.0)).record()["wrench"]["suitable"] is None


def test_known_frictions_go_through_the_long_form():
    # VDI 2230: M12x1.25, mu 0.12, D_Km 1.25 d = 15.0 mm (the table's hexagon head has 15.06): 48.0 kN at 90 N m
    answer = cap_bolt_torque(
        torque_n_m=90.0,
        bolt=Bolt("M12x1.25", "8.8", 2),
        lubrication={"thread_friction": 0.12, "head_friction": 0.12},
    )
    assert answer.check.preload_n[0] == pytest.approx(48_000, rel=0.005)
    assert "vdi-2230-1" in [one.id for one in answer.sources]


def test_a_known_nut_factor_is_used_as_it_is():
    answer = cap_bolt_torque(torque_n_m=432.0, bolt=Bolt("M20", "8.8", 2), lubrication=Lubrication(nut_factor=0.18))
    assert answer.check.preload_n[0] == pytest.approx(120_000)  # Jindal, Machine Design (2010), ex. 9-6


@pytest.mark.parametrize(
    ("given_facts", "code"),
    [
        ({"torque_n_m": -1.0}, "torque_not_positive"),
        ({"torque_n_m": 10.0, "lubrication": "greasy"}, "unknown_lubrication"),
        ({"torque_n_m": 10.0, "lubrication": {"thread_friction": 0.1}}, "unknown_lubrication"),
        ({"torque_n_m": 10.0, "lubrication": {"nut_factor": 0.0}}, "unknown_lubrication"),
        ({"torque_n_m": 10.0, "bolt": Bolt("M13")}, "unknown_thread"),
        ({"torque_n_m": 10.0, "bolt": Bolt("M12", "9.9")}, "unknown_grade"),
    ],
)
def test_what_cannot_be_evaluated_is_refused(given_facts, code):
    with pytest.raises(CannotEvaluate) as refused:
        cap_bolt_torque(**given_facts)
    assert refused.value.code == code


@settings(max_examples=150, deadline=None)
@given(
    st.floats(1, 2000),
    st.sampled_from([("M12", "8.8"), ("M20", "10.9"), ("1/2-13", "SAE J429 5"), ("3/4-10", "SAE J429 8")]),
    st.sampled_from(["dry", "oiled", "anti_seize", "unknown"]),
)
def test_share_of_proof_is_preload_over_proof_load_and_blocks_above_one(torque, bolt, state):
    answer = cap_bolt_torque(torque_n_m=torque, bolt=Bolt(*bolt, 2), lubrication=state)
    of = thread(bolt[0])
    proof_n = bolt_grade(bolt[1], of).proof_mpa * of.stress_area_mm2
    record = answer.record()
    assert record["share_of_proof"] == pytest.approx(record["preload"]["nominal"].value / proof_n)
    assert record["preload"]["min"].value <= record["preload"]["nominal"].value <= record["preload"]["max"].value
    if state != "unknown":
        assert ("over_proof" in codes(answer.blocked)) is (record["share_of_proof"] > 1)
    assert encoded(record)
    assert record["torque"] == units.torque(torque)
