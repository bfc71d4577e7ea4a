"""The table of readings that a blade set can give inside a class, against sums done by hand.

Class: ISO 5753-1, 22216 K/C3: 0.095 to 0.120 mm, in the inch printing of common practice 0.0037 to 0.0047 in. Taken off
(common practice, no source): 0.0015 to 0.0020 in, in mm 0.040 to 0.050. Rule C4: the larger row less the most is the
least that is left, the smaller row less the least is the most.
"""

import pytest

from service import units
from service.mounting.blade_table import blade_table
from service.mounting.blades import INCH_SET, METRIC_SET, BladeSet, blade_set
from service.mounting.clearance import ClearanceTarget, Measured, clearance_target
from service.mounting.designation import bearing_from_designation

IN = 25_400_000
MM = 1_000_000


def table(given: BladeSet, designation: str = "22216 K/C3", measured: Measured | None = None) -> dict | None:
    """The table of a bearing on an adapter sleeve."""

    def target(readings: Measured | None) -> ClearanceTarget:
        bearing = bearing_from_designation(designation)
        return clearance_target(bearing=bearing, seat="adapter_sleeve", measured=readings, blade_set=given)

    return blade_table(target(measured), target)


def sizes(row: dict, name: str, unit: int) -> float:
    """The size of a stack."""
    return sum(each.value for each in row[name]) / unit


def test_inch_blades_give_three_pairs_inside_the_class() -> None:
    found = table(INCH_SET)
    assert found is not None and found["every_pair"]
    rows = [
        (*(each.value / IN for each in row["rows"]), row["min"].value / IN, row["max"].value / IN)
        for row in found["rows"]
    ]
    assert rows == [  # by hand: 40 - 20 and 40 - 15; 45 - 20 and 40 - 15; 45 - 20 and 45 - 15
        pytest.approx((0.0040, 0.0040, 0.0020, 0.0025)),
        pytest.approx((0.0040, 0.0045, 0.0025, 0.0025)),
        pytest.approx((0.0045, 0.0045, 0.0025, 0.0030)),
    ]
    for row in found["rows"]:
        assert row["min"].value - 1 <= sizes(row, "target", 1) <= row["max"].value + 1
        assert sizes(row, "must_not_pass", 1) > row["max"].value


def test_sizes_beside_the_class_are_named_with_what_to_do() -> None:
    found = table(INCH_SET)
    assert found is not None
    assert found["below"] == {"size": units.clearance(round(0.0035 * IN)), "verdict": "recheck"}  # 0.0040 may be inside
    assert found["above"] == {"size": units.clearance(round(0.0050 * IN)), "verdict": "reject"}


def test_metric_blades_give_six_pairs_of_which_one_cannot_be_bridged() -> None:
    found = table(METRIC_SET)
    assert found is not None and len(found["rows"]) == 6
    by_hand = {(0.10, 0.10): (0.050, 0.060), (0.11, 0.11): (0.060, 0.070), (0.12, 0.12): (0.070, 0.080)}
    for row in found["rows"]:
        read = tuple(each.value / MM for each in row["rows"])
        if read == (0.10, 0.12):  # 0.12 - 0.05 = 0.07 is over 0.10 - 0.04 = 0.06
            assert row["blocked"] == "rows_differ" and row["min"] is row["target"] is None
        elif read in by_hand:
            assert (row["min"].value / MM, row["max"].value / MM) == pytest.approx(by_hand[read])


def test_many_sizes_leave_only_rows_alike_and_very_many_none() -> None:
    alike = table(INCH_SET, "23136 K/C3")  # 0.200 to 0.260 mm: 0.0080 to 0.0100 in, five sizes, fifteen pairs
    assert alike is not None and not alike["every_pair"]
    assert [row["rows"][0] == row["rows"][1] for row in alike["rows"]] == [True] * 5
    fine = blade_set([(n * 1_000, "mm") for n in range(30, 90)])
    many = table(fine, "23136 K/C3")
    assert many is not None and many["rows"] == [] and not many["every_pair"]


def test_a_measured_bearing_and_one_not_judged_by_blades_have_no_table() -> None:
    assert table(INCH_SET, measured=Measured(((101_600,), (101_600,)))) is None
    assert table(INCH_SET, "2216 K/C3") is None
