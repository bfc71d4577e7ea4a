"""Masses, grease, nut force, ways and hours against tests/data/order_of_work_checks.csv (W40 to W67)."""

import csv
import re
from pathlib import Path

import pytest

from service.errors import CannotEvaluate
from service.instructions.planning import grease, hours, masses, ways
from service.mounting import heating
from service.mounting.designation import bearing_from_designation
from service.mounting.nut_force import nut_force

FILE = Path(__file__).parents[3] / "data" / "order_of_work_checks.csv"
CHECKS = {row["id"]: row for row in csv.DictReader(FILE.read_text(encoding="utf-8").splitlines())}


def designation_of(check: str) -> str:
    found = re.match(r"(\d+ ?K?)", CHECKS[check]["inputs"])
    assert found is not None
    return found.group(1).strip()


@pytest.mark.parametrize("check", [f"W{number}" for number in range(40, 59)])
def test_mass_of_a_bearing_is_that_of_the_catalogues(check: str) -> None:
    """General bearing catalogue and a second one, mass column; tolerance as the page states it."""
    row = CHECKS[check]
    found = masses.bearing_mass(bearing_from_designation(designation_of(check)))
    assert found == pytest.approx(float(row["value"]), rel=float(row["tolerance"].split()[0]) / 100)


def test_mass_and_grease_by_their_formulas() -> None:
    bearing = bearing_from_designation("22216 K")
    assert masses.bearing_mass(bearing) == pytest.approx(float(CHECKS["W59"]["value"]), abs=0.0005)
    for check in ("W60", "W61"):
        filled = grease.bearing_fill(bearing_from_designation(designation_of(check)))
        assert filled == pytest.approx(float(CHECKS[check]["value"]), abs=0.05)


@pytest.mark.parametrize("check", ["W62", "W63"])
def test_grease_is_drawn_for_a_block(check: str) -> None:
    filled = grease.bearing_fill(bearing_from_designation(designation_of(check)))
    assert filled is not None
    assert grease.drawn_from_store(filled) == int(CHECKS[check]["value"])


@pytest.mark.parametrize(("check", "reduction_mm"), [("W64", 0.050), ("W65", 0.110)])
def test_force_and_torque_on_a_nut(check: str, reduction_mm: float) -> None:
    """Lame; frictions from memory. The row prints pressure [MPa], force [kN] and torque [N m]."""
    printed = [float(part) for part in CHECKS[check]["value"].split(";")]
    found = nut_force(bearing_from_designation(designation_of(check)), reduction_nm=reduction_mm * 1e6)
    assert found is not None
    assert [found.pressure_mpa, found.force_n / 1000, found.torque_n_m] == pytest.approx(printed, rel=0.005)


def test_a_bearing_without_dimensions_has_no_mass_no_grease_no_force() -> None:
    from dataclasses import replace

    bare = replace(bearing_from_designation("22216 K"), outside_diameter_mm=None)
    assert masses.bearing_mass(bare) is None
    assert grease.bearing_fill(bare) is None
    assert nut_force(bare, reduction_nm=50_000) is None
    assert nut_force(bearing_from_designation("22216"), reduction_nm=50_000) is None


@pytest.mark.parametrize(
    ("bore", "torque", "way"),
    [
        (80, 353, ways.HOOK_SPANNER),
        (100, 783, ways.IMPACT_SPANNER),  # W66
        (120, 1500, ways.IMPACT_SPANNER),
        (120, 1501, ways.HYDRAULIC_NUT),
        (125, None, ways.HYDRAULIC_NUT),
        (180, 4549, ways.HYDRAULIC_NUT),
    ],
)
def test_way_of_tightening(bore: float, torque: float | None, way: str) -> None:
    assert ways.tightening_way(bore_mm=bore, torque_n_m=torque) == way


def test_oil_and_freeing_by_bore() -> None:
    assert [ways.oil_injection(bore) for bore in (159, 160, 199, 200)] == [None, "helps", "helps", "asked"]
    assert [ways.freeing_way(bore) for bore in (80, 85)] == [ways.DRIFT, ways.HYDRAULIC_NUT]


@pytest.mark.parametrize(
    ("mass", "printed", "handled"),
    [
        (2.134, 2.4, "by_hand"),
        (9.05, 10.0, "by_hand"),
        (13.7, 16, "two_people"),
        (22.8, 26, "hoist"),
        (27.5, 31, "hoist"),
    ],
)
def test_masses_are_printed_upwards(mass: float, printed: float, handled: str) -> None:
    shown = masses.printed_mass(mass)
    assert mass * 1.1 <= shown <= mass * 1.1 + (0.1 if shown < 10 else 1)
    assert masses.lifting(shown) == handled
    assert shown == pytest.approx(printed, abs=0.05)


def test_grease_is_printed_as_a_scale_is_read() -> None:
    assert [grease.printed_grease(g) for g in (65.0, 97.4, 147, 825.8)] == [65, 95, 150, 850]


def test_heating_of_a_cylindrical_bore() -> None:
    wanted = heating.wanted_temperature(bore_mm=80, largest_interference_mm=0.039, room_degc=20)
    assert wanted == pytest.approx(float(CHECKS["W67"]["value"]), abs=0.05)


def test_heating_stays_between_its_limits_and_says_when_it_is_not_enough() -> None:
    low = heating.heating(bore_mm=200, largest_interference_mm=0.010, room_degc=20)
    assert (low.heat_to_degc, low.never_above_degc, low.enough) == (80, 120, True)
    high = heating.heating(bore_mm=40, largest_interference_mm=0.050, room_degc=20)
    assert (high.heat_to_degc, high.enough) == (110, False)  # 12e-6 x 40 x 90 = 0.0432 mm, less than 0.050
    sealed = heating.heating(bore_mm=80, largest_interference_mm=0.039, room_degc=20, sealed=True)
    assert (sealed.heat_to_degc, sealed.never_above_degc, sealed.enough) == (80, 80, True)


def test_hours_add_up_to_the_printed_sums() -> None:
    """Sums of the assumptions: 14, 18.5 and 34 clock hours for two bearings."""
    sums = [hours.estimate(mass_kg=kg, bearings=2, supports=2).total_h for kg in (15, 50, 51)]
    assert sums == [14, 18.5, 34]


def test_hours_for_one_bearing_a_third_support_and_what_is_in_the_way() -> None:
    two = hours.estimate(mass_kg=20, bearings=2, supports=2)
    assert hours.estimate(mass_kg=20, bearings=1, supports=2).total_h == pytest.approx(two.total_h * 0.65, abs=0.1)
    assert hours.estimate(mass_kg=20, bearings=2, supports=3).total_h == pytest.approx(two.total_h * 1.3, abs=0.1)
    assert hours.estimate(mass_kg=20, bearings=2, supports=2, in_the_way=(True, False)).total_h == two.total_h + 3
    own = hours.estimate(
        mass_kg=20, bearings=2, supports=2, own_hours={"small": {"strip": 9.0}, "medium": {"strip": 4.0}}
    )
    assert own.total_h == two.total_h + 1.5  # 4.0 in place of 2.5 for a medium bearing
    assert own.own == {"strip"}
    assert (hours.estimate(mass_kg=60, bearings=2, supports=2).crew, own.crane_driver) == (3, False)


@pytest.mark.parametrize(
    "given",
    [{"tiny": {}}, {"small": {"coffee": 1.0}}, {"small": {"strip": 0.0}}, {"small": {"strip": float("nan")}}],
)
def test_hours_that_cannot_be_are_refused(given: dict[str, dict[str, float]]) -> None:
    with pytest.raises(CannotEvaluate) as caught:
        hours.checked_hours(given)
    assert caught.value.code == "bad_planning_hours"
