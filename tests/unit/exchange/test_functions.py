"""quantity and date of the field maps: exact, and never a guess."""

import pytest

from service.exchange.functions import MappingFault, date, quantity

INCH_MM = 25.4  # exact since 1959 (NIST SP 811, appendix B.6)


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (("120 mm",), {"value": 120, "unit": "mm"}),
        (("0.0040in",), {"value": 0.004, "unit": "in"}),
        (("2 11/16 in",), {"value": 2.6875, "unit": "in"}),
        (("2-11/16 in",), {"value": 2.6875, "unit": "in"}),
        (("11/16", "in"), {"value": 0.6875, "unit": "in"}),
        ((3, "m"), {"value": 3, "unit": "m"}),
        (("1450,5", "mm", ","), {"value": 1450.5, "unit": "mm"}),
        (("-4 degC",), {"value": -4, "unit": "degC"}),
        (("80 mm", "mm"), {"value": 80, "unit": "mm"}),
        ((None, "mm"), None),
    ],
)
def test_a_quantity_is_read_as_it_is_written(given: tuple[object, ...], expected: object) -> None:
    assert quantity(*given) == expected


def test_a_fraction_of_an_inch_is_the_length_of_the_trade_s_tables() -> None:
    """2 11/16 in is 68.2625 mm: exact arithmetic on the definition of the inch."""
    read = quantity("2 11/16 in")
    assert read is not None
    assert read["value"] * INCH_MM == pytest.approx(68.2625, abs=1e-12)


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (("120",), "no_unit"),
        ((120,), "no_unit"),
        (("0,5 mm",), "bad_number"),
        (("1.450,5", "mm", ","), "bad_number"),
        (("1,450.5 mm",), "bad_number"),
        (("12 cubits",), "unknown_unit"),
        (("80 in", "mm"), "unit_differs"),
        (("about 80 mm",), "bad_number"),
        (("3/0 in",), "bad_number"),
        (("5/4 in",), "bad_number"),
        (("nan mm",), "bad_number"),
        ((True, "mm"), "bad_number"),
        (([80], "mm"), "bad_number"),
        (("80 mm", None, ";"), "bad_argument"),
    ],
)
def test_nothing_is_guessed_of_a_quantity(given: tuple[object, ...], code: str) -> None:
    with pytest.raises(MappingFault) as told:
        quantity(*given)
    assert told.value.code == code


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (("2026-01-07T06:30:00Z",), "2026-01-07T06:30:00+00:00"),
        (("2026-01-07T06:30:00+02:00",), "2026-01-07T06:30:00+02:00"),
        (("2026-01-07 06:30:00", "Europe/Berlin"), "2026-01-07T05:30:00+00:00"),  # UTC+1 in winter, IANA database
        (("2026-07-07 06:30:00", "Europe/Berlin"), "2026-07-07T04:30:00+00:00"),  # UTC+2 in summer
        (("20260107T063000", "-06:00"), "2026-01-07T12:30:00+00:00"),
        (("07.01.2026 06:30", "Europe/Berlin", "%d.%m.%Y %H:%M"), "2026-01-07T05:30:00+00:00"),
        # the clocks go back from 3 to 2 on 2026-10-25 (EU summer time): shown first with +02:00, then with +01:00
        (("2026-10-25 02:30", "Europe/Berlin", None, "first"), "2026-10-25T00:30:00+00:00"),
        (("2026-10-25 02:30", "Europe/Berlin", None, "second"), "2026-10-25T01:30:00+00:00"),
        (("2026-07-07 06:30", "Europe/Berlin", None, "second"), "2026-07-07T04:30:00+00:00"),
        ((None, "Europe/Berlin"), None),
    ],
)
def test_a_time_is_placed_by_its_offset_or_its_zone(given: tuple[object, ...], expected: object) -> None:
    assert date(*given) == expected


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (("2026-01-07 06:30",), "time_without_offset"),
        (("7/1/2026", "Europe/Berlin"), "bad_time"),
        (("2026-03-29 02:30", "Europe/Berlin"), "bad_time"),  # the clocks go from 2 to 3
        (("2026-10-25 02:30", "Europe/Berlin"), "ambiguous_time"),
        (("2026-10-25 02:30", "Europe/Berlin", None, "third"), "bad_argument"),
        (("2026-01-07 06:30", "Atlantis/Capital"), "unknown_zone"),
        (("2026-01-07 06:30", "../../etc/passwd"), "unknown_zone"),
        (("2026-01-07 06:30", 1), "unknown_zone"),
        (("2026-01-07", "Europe/Berlin", "%c"), "bad_argument"),
        ((20260107, "Europe/Berlin"), "bad_time"),
        (("0001-01-01 00:00", "Europe/Berlin"), "bad_time"),
    ],
)
def test_nothing_is_guessed_of_a_time(given: tuple[object, ...], code: str) -> None:
    with pytest.raises(MappingFault) as told:
        date(*given)
    assert told.value.code == code
