"""ISO 5753-1, radial internal clearance: every edge, and rows re-keyed by hand."""

from itertools import pairwise

import pytest

from service.errors import OutOfTable, TableError
from service.reference import clearance_classes, tables
from service.reference.bearings import TYPES
from service.reference.clearance_classes import ClearanceRange, checked, initial_ranges, table
from service.words import CLEARANCE_CLASSES

FORMS = [(bearing_type, tapered) for bearing_type in TYPES for tapered in (True, False)]
EXTENT_MM = {  # first over and last incl of ISO 5753-1
    ("spherical_roller", True): (18, 1000),
    ("spherical_roller", False): (14, 1000),
    ("self_aligning_ball", True): (18, 160),
    ("self_aligning_ball", False): (2.5, 160),
}


def microns(bearing_type, tapered, bore_mm, mark):
    limits = initial_ranges(bearing_type=bearing_type, tapered=tapered, bore_mm=bore_mm)[mark]
    return limits.min_nm / 1000, limits.max_nm / 1000


# ISO 5753-1, keyed a second time, from memory; the first row and the C4 twin below it are also printed by the trade.
REKEYED = [
    ("spherical_roller", True, 80, "C3", (95, 120)),
    ("spherical_roller", True, 75, "C3", (95, 120)),
    ("spherical_roller", True, 85, "C3", (110, 140)),
    ("spherical_roller", True, 65, "C4", (95, 120)),  # the same band one class looser, one bore row down
    ("spherical_roller", True, 40, "CN", (35, 50)),
    ("spherical_roller", True, 100, "C4", (140, 180)),
    ("spherical_roller", False, 80, "CN", (50, 80)),
    ("spherical_roller", False, 100, "C3", (100, 135)),
    ("self_aligning_ball", True, 50, "C3", (33, 52)),
    ("self_aligning_ball", False, 50, "CN", (14, 31)),
]


@pytest.mark.parametrize(("bearing_type", "tapered", "bore_mm", "mark", "expected"), REKEYED)
def test_rows_keyed_a_second_time_agree(bearing_type, tapered, bore_mm, mark, expected):
    assert microns(bearing_type, tapered, bore_mm, mark) == expected


@pytest.mark.parametrize(("bearing_type", "tapered"), FORMS)
def test_every_edge_belongs_to_the_row_below_it(bearing_type, tapered):
    bands = table(bearing_type, tapered).bands
    assert len(bands) >= 10
    for band in bands:
        look = {"bearing_type": bearing_type, "tapered": tapered}
        assert initial_ranges(**look, bore_mm=band.incl_mm) is band.row
        assert initial_ranges(**look, bore_mm=band.over_mm + 1e-6) is band.row
    for below, above in pairwise(bands):
        assert initial_ranges(**look, bore_mm=below.incl_mm + 1e-6) is above.row


@pytest.mark.parametrize(("bearing_type", "tapered"), FORMS)
def test_the_tables_end_where_the_standard_ends(bearing_type, tapered):
    rows = table(bearing_type, tapered)
    first_mm, last_mm = EXTENT_MM[bearing_type, tapered]
    assert (rows.first_over_mm, rows.last_incl_mm) == (first_mm, last_mm)
    for outside_mm in (first_mm, last_mm + 0.001):
        with pytest.raises(OutOfTable):
            initial_ranges(bearing_type=bearing_type, tapered=tapered, bore_mm=outside_mm)


@pytest.mark.parametrize(("bearing_type", "tapered"), FORMS)
def test_classes_of_roller_bearings_adjoin_and_those_of_ball_bearings_overlap(bearing_type, tapered):
    """In ISO 5753-1 each class of a spherical roller bearing begins where the one below ends."""
    for band in table(bearing_type, tapered).bands:
        for smaller, larger in pairwise(CLEARANCE_CLASSES):
            gap_nm = band.row[larger].min_nm - band.row[smaller].max_nm
            assert gap_nm == 0 if bearing_type == "spherical_roller" else gap_nm <= 0


def test_a_tapered_bore_has_more_clearance_than_a_cylindrical_one():
    """ISO 5753-1: some of it is lost on the taper, so the tapered ranges lie higher at the same bore and class."""
    for band in table("spherical_roller", True).bands:
        cylindrical = initial_ranges(bearing_type="spherical_roller", tapered=False, bore_mm=band.incl_mm)
        for mark in ("CN", "C3"):
            assert band.row[mark].min_nm >= cylindrical[mark].min_nm


NAME = "iso5753_srb_tapered"


def test_a_broken_copy_of_the_table_is_refused():
    rows = [dict(row) for row in tables.rows(NAME)]
    assert len(checked(NAME, rows).bands) == 26
    thousandfold = [dict(row) for row in rows]
    thousandfold[7]["max_um"] = "45000"
    swapped = [dict(row) for row in rows]
    swapped[7]["min_um"], swapped[7]["max_um"] = swapped[7]["max_um"], swapped[7]["min_um"]
    for broken in (rows[:5] + rows[10:], rows[:4] + rows[5:], rows + rows[-5:], thousandfold, swapped, rows[::-1], []):
        with pytest.raises(TableError):
            checked(NAME, broken)


def test_limits_are_inside():
    limits = ClearanceRange(95_000, 120_000)
    assert [limits.holds(value) for value in (94_999, 95_000, 120_000, 120_001)] == [False, True, True, False]


def test_the_standard_is_named_as_source():
    assert clearance_classes.iso_5753_1().id == "iso-5753-1"
