"""Common practice for tapered bores. It has no source: the checks are between printings, and against ISO 5753-1."""

import pytest

from service.errors import TableError
from service.reference import mounting_practice, tables
from service.reference.clearance_classes import table
from service.reference.mounting_practice import (
    band_in_print,
    checked,
    checked_single_bores,
    inch_printing,
    mm_printing,
    printings,
    self_aligning_ball,
    spherical_roller_inch,
    spherical_roller_mm,
)

HALF_A_TENTH_THOU_NM = 1270  # half of 0.0001 in, the last digit of the inch printing


def test_the_row_of_a_common_size_keyed_a_second_time():
    """Common practice, no source: 65 to 80 mm, four publications."""
    row = spherical_roller_mm(80)
    assert row.reduction_nm == (40_000, 50_000)
    assert row.smallest_residual_nm == {"CN": 25_000, "C3": 40_000, "C4": 70_000}
    assert row.displacement_nm["1:12", False] == (600_000, 750_000)
    assert row.displacement_nm["1:12", True] == (700_000, 850_000)


def test_the_inch_row_of_a_common_size_keyed_a_second_time():
    """Common practice, no source: 0.0015 to 0.0020 in is taken away, C3 measures 0.0037 to 0.0047 in."""
    row = spherical_roller_inch(80)
    assert row.reduction_nm == (38_100, 50_800)
    assert (row.printed_ranges["C3"].min_nm, row.printed_ranges["C3"].max_nm) == (93_980, 119_380)


def test_every_edge_belongs_to_the_row_below_it():
    for printing, look in ((mm_printing(), spherical_roller_mm), (inch_printing(), spherical_roller_inch)):
        assert len(printing.bands) >= 25
        for band in printing.bands:
            assert look(band.incl_mm) is band.row
            assert look(band.over_mm + 1e-6) is band.row
        assert look(printing.first_over_mm) is None
        assert look(printing.last_incl_mm + 1e-6) is None


def test_the_inch_printing_is_the_iso_row_rounded_to_its_last_digit():
    """Independent keying of ISO 5753-1: every printed inch limit lies within half a digit of the ISO row."""
    tried = 0
    for band in inch_printing().bands:
        iso = table("spherical_roller", True).found(band.incl_mm)
        for mark, printed in band.row.printed_ranges.items():
            for ours, theirs in ((iso[mark].min_nm, printed.min_nm), (iso[mark].max_nm, printed.max_nm)):
                assert abs(ours - theirs) <= HALF_A_TENTH_THOU_NM, (band.incl_mm, mark)
                tried += 1
    assert tried == 250


def test_a_second_publication_by_shaft_diameter_gives_the_same_inch_reductions():
    for row in tables.rows("mounting_srb_inch_by_shaft"):
        for bore in row["bearing_bores_mm"].split(";"):
            least_nm, most_nm = spherical_roller_inch(float(bore)).reduction_nm
            assert least_nm / 25_400_000 == pytest.approx(float(row["reduction_min_in"]), abs=1e-9)
            assert most_nm / 25_400_000 == pytest.approx(float(row["reduction_max_in"]), abs=1e-9)


def test_the_mm_printing_lies_inside_the_band_of_all_printings():
    for band in mm_printing().bands:
        lowest_nm, highest_nm = band_in_print(band.incl_mm)
        assert lowest_nm <= band.row.reduction_nm[0] < band.row.reduction_nm[1] <= highest_nm
    assert band_in_print(80) == (35_000, 51_000)  # printings B, C and E, keyed a second time
    assert len(printings().bands) == 27


def test_displacement_on_a_sleeve_is_never_smaller_than_on_the_shaft():
    """The split sleeve has to close first; common practice, no source."""
    for band in mm_printing().bands:
        shaft = band.row.displacement_nm["1:12", False]
        sleeve = band.row.displacement_nm["1:12", True]
        assert sleeve[0] >= shaft[0]
        assert sleeve[1] > shaft[1]


def test_displacement_at_1_30_is_about_two_and_a_half_times_that_at_1_12():
    """30/12 from the geometry; the printings round to 0.1 mm."""
    for band in mm_printing().bands:
        if ("1:30", False) in band.row.displacement_nm:
            for steep, flat in zip(
                band.row.displacement_nm["1:12", False], band.row.displacement_nm["1:30", False], strict=True
            ):
                assert flat / steep == pytest.approx(2.5, rel=0.05)


def test_the_locknut_angle_is_the_displacement_over_the_pitch():
    """360 s / pitch within 8 degrees of the printed angle, for self-aligning ball bearings (single publication)."""
    for row in tables.rows("mounting_saball"):
        if row["locknut_angle_deg"]:
            turn_deg = 360 * float(row["axial_displacement_1_12_mm"]) / float(row["nut_pitch_mm"])
            assert turn_deg == pytest.approx(float(row["locknut_angle_deg"]), abs=8)


def test_ball_bearing_rows_stand_for_single_bores():
    assert self_aligning_ball(80).reduction_nm == (15_000, 25_000)
    assert self_aligning_ball(82) is None
    assert self_aligning_ball(130) is None


def broken(change):
    rows = [dict(row) for row in tables.rows("mounting_srb")]
    change(rows)
    return rows


@pytest.mark.parametrize(
    "change",
    [
        lambda rows: rows.pop(4),
        lambda rows: rows[4].update(reduction_max_mm="50"),
        lambda rows: rows[4].update(reduction_min_mm="0.060"),
        lambda rows: rows[4].update(residual_min_C3_mm="0.004"),
        lambda rows: rows[6].update(axial_displacement_1_30_max_mm="27"),
        lambda rows: rows[4].update(d_over_mm="60"),
    ],
)
def test_a_broken_copy_of_the_table_is_refused(change):
    with pytest.raises(TableError):
        checked("mounting_srb", broken(change), mounting_practice._mm_row)


def test_a_broken_copy_of_the_ball_bearing_table_is_refused():
    rows = [dict(row) for row in tables.rows("mounting_saball")]
    assert len(checked_single_bores(rows)) == 20
    with pytest.raises(TableError):
        checked_single_bores(rows[::-1])
    rows[3]["reduction_max_mm"] = "15"
    with pytest.raises(TableError):
        checked_single_bores(rows)


def test_ratios_of_the_printings():
    """Reduction over displacement is 1/12 (1/30) times growth, so between 0.06 and 0.09 (0.024 and 0.034)."""
    for taper, count, low, high in (("1:12", 5, 0.05, 0.09), ("1:30", 4, 0.02, 0.034)):
        ratios = mounting_practice.printed_ratios(120, taper)
        assert len(ratios) >= count - 1
        assert all(low < ratio < high for ratio in ratios)
    assert mounting_practice.printed_ratios(80, "cylindrical") == ()
    assert mounting_practice.printed_ratios(20, "1:12") == ()
