"""Housings and locating rings: rows re-keyed from published tables of ISO 113 and inch-dimension blocks."""

import pytest

from service.errors import CannotEvaluate, TableError
from service.reference import housing_tables, tables
from service.reference.bearings import Bearing
from service.reference.housings import housing_from_dimensions, housing_from_size


def bearing(number: str, bore_mm: float, outside_diameter_mm: float, width_mm: float) -> Bearing:
    kind = "spherical_roller" if len(number) == 5 else "self_aligning_ball"
    return Bearing(
        f"{number} K", kind, number[:-2], bore_mm, outside_diameter_mm, width_mm, "1:12", "CN", True, True, (), ()
    )


B22216 = bearing("22216", 80.0, 140.0, 33.0)

# size, design, seat width, seat bore, centre height [mm]: keyed again from published tables of ISO 113 blocks,
# agreeing in two or more of them
REKEYED = [
    ("505", "narrow_seat", 25, 52, 40),
    ("511", "narrow_seat", 33, 100, 70),
    ("516", "narrow_seat", 43, 140, 95),
    ("516", "wide_seat", 58, 140, 95),
    ("613", "wide_seat", 58, 140, 95),
    ("520", "wide_seat", 70, 180, 112),
    ("532", "narrow_seat", 114, 290, 170),
    ("216", "narrow_seat", 43, 140, 95),
    ("313", "wide_seat", 58, 140, 95),
]


@pytest.mark.parametrize(("size", "design", "width", "bore", "height"), REKEYED)
def test_a_metric_housing_has_the_published_seat(size, design, width, bore, height):
    found = housing_from_size(size=size, dimensions="metric", seat_design=design)
    assert (found.seat_width_mm, found.seat_bore_mm, found.centre_height_mm) == (width, bore, height)


def test_22216_in_the_narrow_516_has_10_mm_of_travel_and_one_ring_of_10_mm():
    # seat 43 mm, bearing 33 mm: published tables
    found = housing_from_size(size="516", dimensions="metric", seat_design="narrow_seat")
    assert found.travel_mm(B22216) == 10.0
    assert found.locating_rings(B22216) == housing_tables.RingSet(1, 10.0)


def test_22216_in_the_wide_516_has_two_rings_of_12_5_mm():
    # seat 58 mm: published tables
    found = housing_from_size(size="516", dimensions="metric", seat_design="wide_seat")
    assert found.locating_rings(B22216) == housing_tables.RingSet(2, 12.5)


def test_an_unknown_seat_design_is_asked_with_the_width_of_each():
    found = housing_from_size(size="516", dimensions="metric")
    assert found.seat_width_mm is None
    (missing,) = found.missing()
    assert missing.field == "housing/seat_design"
    widths = [part.value for part in missing.why if not isinstance(part, str)]
    assert widths == [43.0, 58.0]  # published tables


@pytest.mark.parametrize("size", ["505", "522", "524", "526", "528", "530", "532"])
def test_where_both_designs_have_one_width_the_design_is_not_asked(size):
    """Widths of both designs in published tables: equal for 505 and 522 to 532, 80 mm for 522."""
    found = housing_from_size(size=size, dimensions="metric")
    assert found.seat_width_mm is not None
    assert size != "522" or found.seat_width_mm == 80.0
    assert not found.missing()


def test_the_only_design_in_the_table_is_still_not_assumed():
    only = [n for n, seats in housing_tables.seats("metric").items() if len(seats) == 1]
    assert only
    for number in only:
        found = housing_from_size(size=number, dimensions="metric")
        assert found.seat_width_mm is None
        assert found.missing()


def test_inch_516_is_a_row_of_its_own():
    # 22216 K, shaft 2 11/16 in, seat 43 mm, centre height 3.500 in (published table)
    found = housing_from_size(size="516", dimensions="inch")
    assert found.seat_width_mm == 43.0
    assert found.shaft_diameter_mm == pytest.approx((2 + 11 / 16) * 25.4)
    assert found.centre_height_mm == pytest.approx(3.5 * 25.4)
    assert found.missing() == ()


def test_an_unknown_size_names_the_sizes_known():
    with pytest.raises(CannotEvaluate) as refused:
        housing_from_size(size="999", dimensions="metric")
    assert (refused.value.code, refused.value.field) == ("unknown_housing", "size")
    assert "516" in str(refused.value)
    with pytest.raises(CannotEvaluate):
        housing_from_size(size="618", dimensions="metric", seat_design="wide_seat")
    with pytest.raises(CannotEvaluate):
        housing_from_size(size="516", dimensions="imperial")


@pytest.mark.parametrize(("width", "bore", "rings"), [(0.0, 140.0, None), (43.0, -1.0, None), (43.0, 140.0, (3, 2.0))])
def test_dimensions_that_cannot_be_are_refused(width, bore, rings):
    with pytest.raises(CannotEvaluate):
        housing_from_dimensions(seat_width_mm=width, seat_bore_mm=bore, locating_rings=rings)


def test_seat_widths_and_bearing_widths_agree_with_iso_15_in_every_ring_row():
    # ISO 15 widths and outside diameters of the bearing table; 1224 is not a row of it
    iso_15 = {row["designation"]: row for row in tables.rows("bearings_iso15")}
    compared = 0
    for row in tables.rows("locating_rings_metric"):
        known = iso_15.get(row["bearing"])
        if known is None:
            assert row["bearing"] == "1224"
            continue
        assert float(known["width_mm"]) == float(row["bearing_width_mm"]), row
        assert float(known["outside_diameter_mm"]) == float(row["ring_outside_diameter_mm"]), row
        compared += 1
    assert compared == 375


def test_every_ring_row_belongs_to_a_housing_row_with_the_same_seat():
    seats = {
        (seat.row_size, seat.seat_design, seat.seat): seat
        for known in housing_tables.seats("metric").values()
        for seat in known
    }
    for row in tables.rows("locating_rings_metric"):
        seat = seats[row["size"], row["seat_design"], row["seat"]]
        assert seat.seat_width_mm == float(row["seat_width_mm"])
        assert seat.seat_bore_mm == float(row["ring_outside_diameter_mm"])


def test_larger_housings_of_one_series_have_larger_bores_and_centre_heights():
    for series in "56":
        sizes = [n for n in housing_tables.seats("metric") if n.startswith(series)]
        rows = [housing_tables.seats("metric")[n][0] for n in sizes]
        assert len(rows) > 10
        assert [one.seat_bore_mm for one in rows] == sorted(one.seat_bore_mm for one in rows)
        assert [one.centre_height_mm for one in rows] == sorted(one.centre_height_mm for one in rows)


def broken(monkeypatch: pytest.MonkeyPatch, table: str, **changes: str) -> None:
    """Make the first row of a table read differently."""
    true_rows = tables.rows(table)
    rows = ({**true_rows[0], **changes}, *true_rows[1:])
    monkeypatch.setattr(housing_tables, "rows", lambda name: rows if name == table else tables.rows(name))


def test_rings_wider_than_the_space_beside_the_bearing_are_refused_at_load(monkeypatch):
    broken(monkeypatch, "locating_rings_metric", ring_width_mm="5.5")
    with pytest.raises(TableError):
        housing_tables._metric_rings.__wrapped__()


def test_a_travel_that_is_not_seat_minus_bearing_is_refused_at_load(monkeypatch):
    broken(monkeypatch, "locating_rings_metric", total_travel_mm="9")
    with pytest.raises(TableError):
        housing_tables._metric_rings.__wrapped__()
    broken(monkeypatch, "housings_inch", seat_width_mm="28")
    with pytest.raises(TableError):
        housing_tables.seats.__wrapped__("inch")


def test_a_number_given_twice_is_refused_at_load(monkeypatch):
    broken(monkeypatch, "housings_metric_iso113", size="506")
    with pytest.raises(TableError):
        housing_tables.seats.__wrapped__("metric")


def test_a_seat_not_larger_than_the_bore_is_refused_at_load(monkeypatch):
    broken(monkeypatch, "housings_metric_iso113", bearing_bore_mm="60")
    with pytest.raises(TableError):
        housing_tables.seats.__wrapped__("metric")
