"""Charts of a site (rule C3): what is refused, what goes first. The rows here are invented."""

from dataclasses import replace

import pytest

from service.mounting.blades import INCH_SET, METRIC_SET
from service.mounting.charts import Chart, ChartProvenance, ChartRow, chart_faults
from service.mounting.clearance import Measured, clearance_target
from service.mounting.designation import bearing_from_designation

BOOK = ChartProvenance("Mounting book of the bearing maker", "3rd edition", "12", "R. Osei", "M. Lind")


def chart(kind, rows, *, version=1, bearing_type="spherical_roller", tapered=True):
    return Chart("mill", version, kind, bearing_type, tapered, tuple(rows), BOOK)


REDUCTION = [
    ChartRow(50, 65, 32_000, 38_000, smallest_residual_nm={"CN": 26_000, "C3": 36_000}),
    ChartRow(65, 80, 42_000, 48_000, smallest_residual_nm={"CN": 27_000, "C3": 43_000, "C5": 100_000}),
    ChartRow(80, 100, 47_000, 58_000),
]


def faults(given):
    return {(fault.row, fault.code) for fault in chart_faults(given)}


def target(designation, charts, measured_nm=None, **more):
    measured = None if measured_nm is None else Measured(((measured_nm,),))
    return clearance_target(
        bearing=bearing_from_designation(designation), measured=measured, charts=charts, blade_set=METRIC_SET, **more
    )


def test_a_sound_chart_stands():
    sound = chart("reduction", REDUCTION)
    assert faults(sound) == set()


def test_a_chart_goes_before_the_practice_and_its_version_is_named():
    found = target("22216 K/C3", [chart("reduction", REDUCTION, version=4)], 100_000)
    assert found.reduction.limits_nm == (42_000, 48_000)
    assert (found.window.min_nm, found.window.max_nm, found.window.floor_nm) == (52_000, 58_000, 43_000)
    named = found.record()["reduction"]["source"]
    assert named == "chart-mill-v4"
    title = next(source["title"] for source in found.record()["sources"] if source["id"] == named)
    assert title == "Mounting book of the bearing maker, 3rd edition, page 12, version 4"
    assert "prefer_makers_book" not in [one.code for one in found.warnings]


def test_a_chart_holds_whatever_the_blades():
    found = clearance_target(
        bearing=bearing_from_designation("22216 K/C3"), charts=[chart("reduction", REDUCTION)], blade_set=INCH_SET
    )
    assert found.reduction.limits_nm == (42_000, 48_000)


def test_where_the_chart_has_no_residual_the_practice_gives_it():
    found = target("22217 K/C3", [chart("reduction", REDUCTION)])
    assert found.reduction.limits_nm == (47_000, 58_000)
    assert (found.window.floor_nm, found.window.floor_source.id) == (50_000, "practice-srb-mm")


def test_beyond_the_chart_the_practice_stands():
    assert target("22222 K/C3", [chart("reduction", REDUCTION)]).reduction.source.id == "practice-srb-mm"


def test_a_chart_opens_a_class_that_the_practice_does_not_print():
    """C5 has an ISO row but no row in the practice."""
    assert target("22216 K/C5", []).reduction is None
    assert target("22216 K/C5", [chart("reduction", REDUCTION)]).window.floor_nm == 100_000
    assert target("22216 K/C2", [chart("reduction", REDUCTION)]).reduction is None


def test_initial_clearance_and_displacement_and_nut_turn_of_a_chart():
    charts = [
        chart("initial_clearance", [ChartRow(65, 80, 96_000, 118_000, clearance_class="C3")]),
        chart("axial_displacement", [ChartRow(65, 80, 650_000, 800_000, taper="1:12", on_sleeve=True)]),
        chart("nut_turn", [ChartRow(65, 80, 120, 140, taper="1:12", on_sleeve=True)]),
    ]
    for one in charts:
        assert faults(one) == set()
    found = target("22216 K/C3", charts, 100_000, seat="adapter_sleeve", sleeve_thread="metric")
    assert (found.initial.limits.min_nm, found.initial.limits.max_nm) == (96_000, 118_000)
    assert found.displacement.limits_nm == (650_000, 800_000)
    assert found.nut_turn.limits_deg == (120, 140)
    assert target("22216 K/C3", charts, 95_000).measured.verdict.verdict == "recheck"
    assert target("22216 K/C3", charts, seat="tapered_journal").displacement.limits_nm == (600_000, 750_000)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([REDUCTION[0], replace(REDUCTION[1], over_mm=60)], {(2, "overlap")}),
        ([REDUCTION[0], REDUCTION[2]], {(2, "gap")}),
        ([REDUCTION[0], replace(REDUCTION[1], min_value=31_000)], {(2, "falling")}),
        ([replace(REDUCTION[0], min_value=39_000)], {(1, "backwards")}),
        ([replace(REDUCTION[0], over_mm=65)], {(1, "backwards")}),
        ([replace(REDUCTION[0], max_value=float("nan"))], {(1, "not_a_number")}),
        ([replace(REDUCTION[0], max_value=81_000)], {(1, "unusual")}),
        ([replace(REDUCTION[0], min_value=14_000)], {(1, "unusual")}),
        ([replace(REDUCTION[0], smallest_residual_nm={"C3": 3_600})], {(1, "unusual")}),
        ([replace(REDUCTION[0], smallest_residual_nm={"C9": 36_000})], {(1, "wrong_member")}),
        ([replace(REDUCTION[0], clearance_class="C3")], {(1, "wrong_member")}),
        ([replace(REDUCTION[0], taper="1:12", on_sleeve=True)], {(1, "wrong_member")}),
        ([replace(REDUCTION[0], accept_unusual=True)], {(1, "no_reason")}),
    ],
)
def test_unsound_rows_are_refused_one_by_one(rows, expected):
    assert faults(chart("reduction", rows)) == expected


def test_a_row_in_inches_sent_as_mm_is_noticed():
    """0.0015 to 0.0020 entered as if it were mm: 25.4 times too small."""
    assert faults(chart("reduction", [ChartRow(65, 80, 1_500, 2_000)])) == {(1, "unusual")}


def test_unusual_rows_may_stand_with_a_reason_each_on_its_own():
    reason = {"accept_unusual": True, "reason": "thin-walled hollow journal, letter of the maker"}
    wide = replace(REDUCTION[1], max_value=101_000)
    assert faults(chart("reduction", [wide, replace(REDUCTION[2], max_value=130_000)])) == {
        (1, "unusual"),
        (2, "unusual"),
    }
    assert faults(chart("reduction", [replace(wide, **reason), replace(REDUCTION[2], max_value=130_000)])) == {
        (2, "unusual")
    }
    assert faults(chart("reduction", [replace(wide, **reason)])) == set()
    assert faults(chart("reduction", [REDUCTION[0], replace(REDUCTION[2], **reason)])) == set()


def test_no_reason_lets_an_overlap_or_a_backward_range_stand():
    reason = {"accept_unusual": True, "reason": "the book prints it so"}
    overlapping = replace(REDUCTION[1], over_mm=60, **reason)
    assert faults(chart("reduction", [REDUCTION[0], overlapping])) == {(2, "overlap")}
    assert faults(chart("reduction", [replace(REDUCTION[0], min_value=39_000, **reason)])) == {(1, "backwards")}


def test_classes_of_one_bore_do_not_overlap_each_other():
    rows = [ChartRow(65, 80, *limits, clearance_class=mark) for mark, limits in
            {"CN": (70_000, 95_000), "C3": (95_000, 120_000)}.items()]  # fmt: skip
    assert faults(chart("initial_clearance", rows)) == set()


def test_the_first_chart_that_covers_the_bore_goes_first():
    other = chart("reduction", [ChartRow(65, 80, 43_000, 49_000)], version=9)
    assert target("22216 K/C3", [other, chart("reduction", REDUCTION)]).reduction.limits_nm == (43_000, 49_000)
