"""Placement on the shaft, against hand calculations and the checks of tests/data/order_of_work_checks.csv."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.arrangement import placement
from service.arrangement.expansion import SettingGap
from service.arrangement.placement import IN, OUT

FILE = Path(__file__).parents[2] / "data" / "order_of_work_checks.csv"
CHECKS = {row["id"]: row for row in csv.DictReader(FILE.read_text(encoding="utf-8").splitlines())}
GAP = SettingGap(OUT, 2.597, 5.0, 9.151, 10.0)


def printed(check: str) -> float:
    return float(CHECKS[check]["value"])


@pytest.mark.parametrize(
    ("check", "seats", "held", "free"),
    [
        ("W01", 2987.04, {"travel_mm": 10, "ring_count": 1, "nut_side": IN}, {"travel_mm": 10, "gap_aim_mm": 5}),
        ("W02", 2000, {"travel_mm": 10, "ring_count": 1, "nut_side": OUT}, {"travel_mm": 10, "gap_aim_mm": 5}),
        ("W03", 2000, {"travel_mm": 25, "ring_count": 2, "nut_side": IN}, {"travel_mm": 25, "gap_aim_mm": 10}),
    ],
)
def test_bearing_centres_are_not_seat_centres(check: str, seats: float, held: dict, free: dict) -> None:
    spacing = placement.bearing_spacing(
        seat_spacing_mm=seats,
        held_off_centre_mm=placement.held_off_centre(**held),
        free_off_centre_mm=placement.free_off_centre(**free),
    )
    assert spacing == pytest.approx(printed(check), abs=float(CHECKS[check]["tolerance"]))


def test_nothing_but_one_or_two_rings_holds_a_bearing() -> None:
    with pytest.raises(ValueError, match="0 rings"):
        placement.held_off_centre(travel_mm=10, ring_count=0, nut_side=IN)


@pytest.mark.parametrize(("check", "length"), [("W05", 2987.04), ("W06", 6200.0)])
def test_doubt_of_a_tape_is_that_of_class_2(check: str, length: float) -> None:
    """Directive 2014/32/EU, annex X (MI-008), class II."""
    assert placement.tape_uncertainty(length) == pytest.approx(printed(check), abs=1e-9)


def test_allowed_error_of_a_spacing() -> None:
    assert placement.allowed_error(gap=GAP, tape_uncertainty_mm=1.0) == pytest.approx(printed("W07"), abs=0.0005)


@pytest.mark.parametrize(
    ("check", "length_mm", "shaft_k", "base_k", "tape_mm"), [("W08", 2000, 40, 10, 1.0), ("W09", 6000, 60, 15, 1.5)]
)
def test_allowed_error_from_temperatures(
    check: str, length_mm: float, shaft_k: float, base_k: float, tape_mm: float
) -> None:
    """Expansion of carbon steel 11.7e-6: textbook tables."""
    ahead, behind = length_mm * 11.7e-6 * shaft_k, length_mm * 11.7e-6 * base_k
    gap = SettingGap(OUT, ahead + 0.5, 5.0, 10 - behind - 0.5, 10.0)
    found = placement.allowed_error(gap=gap, tape_uncertainty_mm=tape_mm)
    assert found == pytest.approx(printed(check), abs=0.0005)


@pytest.mark.parametrize(
    ("check", "required", "read", "code"),
    [("W10", 80 * 25.4, 81.5 * 25.4, "spacing_off"), ("W11", 2982.0, 2984.0, "spacing_doubtful")],
)
def test_verdict_on_a_spacing(check: str, required: float, read: float, code: str) -> None:
    found = placement.spacing_verdict(error_mm=read - required, allowed_error_mm=1.403, tape_uncertainty_mm=1.0)
    assert found == (CHECKS[check]["value"], code)


def test_a_spacing_inside_what_is_allowed_is_accepted_and_none_where_a_tape_cannot_decide() -> None:
    assert placement.spacing_verdict(error_mm=-1.403, allowed_error_mm=1.403, tape_uncertainty_mm=1) == ("accept", None)
    assert placement.spacing_verdict(error_mm=0, allowed_error_mm=-1.2, tape_uncertainty_mm=1.5) == (
        "recheck",
        "tape_cannot_decide",
    )


@pytest.mark.parametrize(("check", "nut_side"), [("W12", OUT), ("W13", IN)])
def test_a_free_bearing_is_placed_by_its_displacement_nearer_to_its_nut(check: str, nut_side: str) -> None:
    found = placement.gap_before(gap_aim_mm=5.0, displacement_mm=0.775, nut_side=nut_side)
    assert found == pytest.approx(printed(check), abs=0.0005)


@given(
    low=st.floats(0, 4),
    width=st.floats(0.1, 20),
    share=st.floats(0, 1),
    s=st.floats(0, 2),
    nut=st.sampled_from([IN, OUT]),
)
def test_whatever_gap_is_accepted_before_ends_inside_its_limits(
    low: float, width: float, share: float, s: float, nut: str
) -> None:
    gap = SettingGap(OUT, low, low + share * width, low + width, 100.0)
    target = placement.gap_before(gap_aim_mm=gap.aim_mm, displacement_mm=s, nut_side=nut)
    least, most = placement.gap_before_limits(gap=gap, gap_before_mm=target)
    for before in (least, most):
        if least <= most:
            after = before + (gap.aim_mm - target)
            assert gap.min_mm - 1e-5 <= after <= gap.max_mm + 1e-5
            assert abs(before - target) <= placement.GAP_BEFORE_BAND_MM + 1e-5 or before == 0


@pytest.mark.parametrize(
    ("read", "verdict", "code", "move", "toward"),
    [
        (2.597, "accept", None, 0.0, None),
        (9.151, "accept", None, 0.0, None),
        (2.4, "recheck", "gap_doubtful", 2.6, OUT),
        (2.3, "reject", "gap_too_small", 2.7, OUT),
        (9.4, "reject", "gap_too_large", 4.4, IN),
    ],
)
def test_verdict_on_a_gap_says_who_moves(read: float, verdict: str, code: str, move: float, toward: str) -> None:
    """A gap that is too small needs the free base moved out (common practice, no source)."""
    found = placement.gap_verdict(read_mm=read, min_mm=2.597, aim_mm=5.0, max_mm=9.151)
    assert (found.verdict, found.code, found.move_mm, found.toward) == (verdict, code, pytest.approx(move), toward)


def test_lifting() -> None:
    assert placement.tilt(lift_mm=20, span_mm=2000) == pytest.approx(printed("W14"), abs=0.0005)
    assert placement.lift_limit(span_mm=2987) == printed("W15")
    assert placement.lift_limit(span_mm=2987, sealing="sealed") == 23
    assert placement.lift_height(140) == 80  # 70 + 10


def test_edges_of_equal_bearings_stand_as_far_apart_as_their_centres() -> None:
    assert placement.edge_spacing(bearing_spacing_mm=2982, held_width_mm=33, free_width_mm=33) == 2982
    assert placement.edge_spacing(bearing_spacing_mm=2982, held_width_mm=40, free_width_mm=30) == 2987


@pytest.mark.parametrize("side", [IN, OUT])
def test_seat_centres_from_shoulders(side: str) -> None:
    """Geometry: seats of 60 and 40 mm whose centres stand 1000 mm apart, the held one at 0."""
    inner = {IN: (-30, 1000 - 20), OUT: (30, 1000 + 20)}[side]
    found = placement.seat_spacing_from_shoulders(
        measured_mm=inner[1] - inner[0], held_seat_mm=60, free_seat_mm=40, shoulders=side
    )
    assert found == 1000


@pytest.mark.parametrize(
    ("low", "high", "step", "printed_as"),
    [(2.597, 9.151, 0.1, (2.6, 9.1)), (2.597 / 25.4, 9.151 / 25.4, 0.005, (0.105, 0.36))],
)
def test_limits_are_printed_inward(low: float, high: float, step: float, printed_as: tuple[float, float]) -> None:
    """W21 and W22."""
    assert placement.inward(low, high, step=step) == pytest.approx(printed_as)
