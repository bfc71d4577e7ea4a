"""ISO 15 boundary dimensions."""

import pytest

from service.errors import TableError
from service.reference import bearings
from service.reference.bearings import boundary_dimensions, sizes

# ISO 15 general plan, keyed a second time, from memory: number, d, D, B in mm.
REKEYED = [
    ("22216", 80, 140, 33),
    ("22215", 75, 130, 31),
    ("22316", 80, 170, 58),
    ("23022", 110, 170, 45),
    ("23218", 90, 160, 52.4),
    ("24030", 150, 225, 75),
    ("230/500", 500, 720, 167),
    ("1216", 80, 140, 26),
    ("2316", 80, 170, 58),
]


@pytest.mark.parametrize(("number", "bore_mm", "outside_mm", "width_mm"), REKEYED)
def test_rows_keyed_a_second_time_agree(number, bore_mm, outside_mm, width_mm):
    size = boundary_dimensions(number)
    assert (size.bore_mm, size.outside_diameter_mm, size.width_mm) == (bore_mm, outside_mm, width_mm)


def test_the_last_two_digits_are_a_fifth_of_the_bore():
    """DIN 623-1, bore codes 04 to 96; above 480 mm the bore stands behind a stroke."""
    tried = 0
    for number, size in sizes().items():
        if "/" in number:
            assert float(number.split("/")[1]) == size.bore_mm
        elif int(number[-2:]) >= 4:
            assert int(number[-2:]) * 5 == size.bore_mm, number
            tried += 1
    assert tried > 300


def test_within_a_series_everything_grows_with_the_bore():
    by_series = {}
    for size in sizes().values():
        by_series.setdefault(size.series, []).append(size)
    assert len(by_series) == 14
    for rows in by_series.values():
        rows.sort(key=lambda size: size.bore_mm)
        assert [size.outside_diameter_mm for size in rows] == sorted(size.outside_diameter_mm for size in rows)
        assert [size.width_mm for size in rows] == sorted(size.width_mm for size in rows)


def test_roller_and_ball_bearings_of_one_dimension_series_share_their_dimensions():
    """ISO 15: 222 and 22 are both dimension series 22, 213 and 13 both 03."""
    pairs = [("222", "22"), ("213", "13"), ("223", "23")]
    tried = 0
    for roller, ball in pairs:
        for number, size in sizes().items():
            twin = boundary_dimensions(roller + number[len(ball) :]) if size.series == ball else None
            if twin is not None:
                assert (twin.outside_diameter_mm, twin.width_mm) == (size.outside_diameter_mm, size.width_mm), number
                tried += 1
    assert tried > 40


def test_an_unknown_number_is_not_invented():
    assert boundary_dimensions("22299") is None


def test_impossible_rows_are_refused():
    row = boundary_dimensions("22216")
    with pytest.raises(TableError, match="twice"):
        bearings._checked((row, row))
    swapped = bearings.BoundaryDimensions("1", row.type, "1", 140, 80, 33, "1:12", 1, "A")
    with pytest.raises(TableError, match="impossible"):
        bearings._checked((swapped,))
