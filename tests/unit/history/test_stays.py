"""What is wrong in stays, and how old a bearing was."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import CannotEvaluate
from service.history.ages import MeterReading, age, meter
from service.history.stays import Stay, faults

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def day(number: float) -> datetime:
    return datetime(2024, 1, 1, tzinfo=UTC) + timedelta(days=number)


def stay(begin: float, end: float | None, **members) -> Stay:
    ended = "removed_preventive" if end is not None else "running"
    members = {"asset": "FAN-1", "position": "north", "designation": "22216 K", "end_type": ended} | members
    return Stay(installed_at=day(begin), removed_at=None if end is None else day(end), **members)


def codes(*stays: Stay) -> list[tuple[int, str]]:
    return [(one.stay, one.code) for one in faults(stays, now=NOW)]


def test_sound_stays_have_no_faults():
    assert codes(stay(0, 100), stay(100, 300), stay(300, None)) == []


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        (stay(100, 50), "removed_before_installed"),
        (stay(100, 100), "removed_before_installed"),
        (stay(5000, None), "in_the_future"),
        (stay(0, 10, end_type="running"), "end_type_differs"),
        (stay(0, None, end_type="failed"), "end_type_differs"),
        (stay(0, 10, end_type="burst"), "unknown_end_type"),
        (stay(0, 10, damage="rust?"), "unknown_damage"),
        (stay(0, 10, operating_hours=-1), "hours_out_of_range"),
        (stay(0, 10, operating_hours=float("nan")), "hours_out_of_range"),
        (stay(0, 10, operating_hours=20 * 24), "more_hours_than_calendar"),
        (stay(0, 10, operating_hours=50, age_at_install_h=60), "younger_than_at_install"),
        (stay(0, 10, observed_from=day(10)), "observed_after_end"),
        (stay(0, 10, window_min_nm=2, window_max_nm=1), "window_reversed"),
    ],
)
def test_a_fault_is_named(wrong, code):
    assert codes(wrong) == [(0, code)]


def test_a_time_without_offset_is_refused_and_others_compare_as_instants():
    naive = Stay(position="n", designation="22216 K", end_type="running", installed_at=datetime(2024, 1, 1))  # noqa: DTZ001
    assert codes(naive) == [(0, "offset_missing")]
    east = timezone(timedelta(hours=10))
    first = stay(0, 100)
    second = Stay(
        asset="FAN-1", position="north", designation="22216 K", end_type="running",
        installed_at=(day(100)).astimezone(east),
    )  # fmt: skip
    assert codes(first, second) == []


def test_stays_of_one_position_do_not_overlap_and_a_gap_is_noted():
    assert codes(stay(0, 100), stay(99, None)) == [(1, "stays_overlap")]
    assert codes(stay(0, None), stay(99, None)) == [(1, "stays_overlap")]
    assert codes(stay(0, 100), stay(99, None, position="south")) == []
    found = faults([stay(0, 100), stay(130, None)], now=NOW)
    assert [(one.code, one.severity) for one in found] == [("gap_before", "note")]
    assert "30 days" in found[0].detail


def test_a_serial_number_is_in_one_position_at_a_time():
    there, here = stay(0, 100, serial="A1"), stay(50, None, serial="A1", position="south")
    assert codes(there, here) == [(1, "serial_in_two_positions")]
    later = stay(100, None, serial="A1", position="south")
    assert codes(there, later) == []


def test_age_is_taken_from_hours_else_meter_else_calendar_and_says_which():
    series = meter([MeterReading(day(0), 500.0), MeterReading(day(100), 1700.0)])
    by_hours = age(stay(0, 100, operating_hours=1000.0), now=NOW, of_asset=series)
    by_meter = age(stay(0, 100), now=NOW, of_asset=series)
    by_calendar = age(stay(0, 100), now=NOW, duty=0.5)
    assert [(one.age_h, one.basis) for one in (by_hours, by_meter, by_calendar)] == [
        (1000.0, "operating_hours"), (1200.0, "meter"), (1200.0, "calendar"),
    ]  # fmt: skip


def test_an_exchanged_meter_goes_on_counting():
    series = meter(
        [MeterReading(day(0), 9000.0), MeterReading(day(10), 9100.0, restarts_at_h=0.0), MeterReading(day(20), 150.0)]
    )
    assert series.hours_between(day(0), day(20)) == 250.0
    assert series.hours_between(day(5), day(15)) == pytest.approx(125.0)


def test_a_meter_that_runs_back_without_exchange_is_refused():
    with pytest.raises(CannotEvaluate) as refused:
        meter([MeterReading(day(0), 100.0), MeterReading(day(1), 90.0)])
    assert "lower than the one before" in str(refused.value)


def test_a_meter_is_not_extrapolated():
    series = meter([MeterReading(day(10), 0.0), MeterReading(day(20), 100.0)])
    assert series.hours_at(day(9)) is None and series.hours_at(day(20.1)) is None
    assert age(stay(5, 20), now=NOW, of_asset=series).basis == "calendar"
    running = age(stay(10, None), now=NOW, of_asset=series)
    assert (running.age_h, running.basis, running.as_of) == (100.0, "meter", day(20))


def test_late_entry_and_age_at_install_shift_the_beginning():
    late = age(stay(0, 100, observed_from=day(25), age_at_install_h=400.0), now=NOW)
    assert (late.entry_h, late.age_h) == (400 + 600, 400 + 2400)
    stated = age(stay(0, 100, observed_from=day(25), age_at_install_h=400.0, operating_hours=1400.0), now=NOW)
    assert (stated.entry_h, stated.age_h) == (400 + 250, 1400)
    assert age(stay(0, 100, observed_from=day(-50)), now=NOW).entry_h == 0


@given(st.lists(st.floats(0, 100), min_size=2, max_size=10), st.integers(0, 8))
def test_where_the_meter_was_exchanged_does_not_matter(increments, place):
    place = min(place, len(increments) - 1)
    plain, exchanged, value, new = [], [], 0.0, 0.0
    for number, run in enumerate(increments):
        value, new = value + run, new + run
        plain.append(MeterReading(day(number), value))
        exchanged.append(MeterReading(day(number), new, restarts_at_h=7.0 if number == place else None))
        new = 7.0 if number == place else new
    end = day(len(increments) - 1)
    assert meter(exchanged).hours_between(day(0), end) == pytest.approx(meter(plain).hours_between(day(0), end))
