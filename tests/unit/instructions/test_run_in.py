"""Series of the run-in against tests/data/order_of_work_checks.csv (W34 to W39)."""

import csv
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import CannotEvaluate
from service.instructions.readings.run_in import Pair, housings_apart, series_verdict, stop_limit_verdict

FILE = Path(__file__).parents[2] / "data" / "order_of_work_checks.csv"
CHECKS = {row["id"]: row for row in csv.DictReader(FILE.read_text(encoding="utf-8").splitlines())}


def series_of(text: str) -> list[Pair]:
    return [Pair(float(m), float(t)) for m, t in re.findall(r"(\d+):([\d.]+)", text)]


@pytest.mark.parametrize("check", ["W34", "W35", "W36", "W37", "W38"])
def test_a_series_is_judged_as_printed(check: str) -> None:
    """Thermal equilibrium: IEC 60034-1:2010, 2 K an hour; the other limits are our own conventions."""
    verdict, code = CHECKS[check]["value"].split(", ")
    found = series_verdict(series_of(CHECKS[check]["inputs"]), stop_degc=100, system="metric")
    assert (found.verdict, str(found.code)) == (verdict, code)


def test_a_series_that_never_settles_is_refused() -> None:
    minutes = [*range(0, 61, 15), *range(90, 361, 30)]
    found = series_verdict([Pair(m, 20 + 0.13 * m) for m in minutes], stop_degc=100, system="metric")
    assert f"{found.verdict}, {found.code}" == CHECKS["W39"]["value"]


GOOD = series_of(CHECKS["W34"]["inputs"])


def test_the_stop_limit_itself_stops_the_machine() -> None:
    assert series_verdict(GOOD, stop_degc=52, system="metric").code == "over_stop_limit"
    assert series_verdict(GOOD, stop_degc=52.01, system="metric").verdict == "accept"


@pytest.mark.parametrize("dropped", range(len(GOOD) - 1))
def test_no_reading_of_a_good_series_may_be_left_out_in_the_first_hour(dropped: int) -> None:
    found = series_verdict([*GOOD[:dropped], *GOOD[dropped + 1 :]], stop_degc=100, system="metric")
    if GOOD[dropped].minute < 90:
        assert found.code == "series_has_gaps"


def test_four_degrees_fahrenheit_are_steady_where_fahrenheit_is_read_and_not_elsewhere() -> None:
    minutes = (0, 15, 30, 45, 60, 90, 120)
    series = [Pair(m, t) for m, t in zip(minutes, (20, 30, 38, 42, 40, 40 + 4 * 5 / 9, 40), strict=True)]
    assert series_verdict(series, stop_degc=100, system="inch").verdict == "accept"
    assert series_verdict(series, stop_degc=100, system="metric").code == "not_steady_yet"


def test_a_high_rise_is_asked_about() -> None:
    minutes = (0, 15, 30, 45, 60, 90, 120)
    series = [Pair(m, t) for m, t in zip(minutes, (20, 50, 65, 71, 71, 71, 71), strict=True)]
    assert series_verdict(series, stop_degc=100, system="metric").code == "high_rise"


def test_times_that_run_backwards_are_refused() -> None:
    with pytest.raises(CannotEvaluate, match="order of time"):
        series_verdict([Pair(15, 20), Pair(0, 20)], stop_degc=100, system="metric")


@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 200)), max_size=20, unique_by=lambda each: each[0]))
def test_nothing_at_or_over_the_stop_limit_is_ever_accepted(readings: list[tuple[float, float]]) -> None:
    series = [Pair(*each) for each in sorted(readings)]
    found = series_verdict(series, stop_degc=100, system="metric")
    if any(pair.temperature_degc >= 100 for pair in series):
        assert (found.verdict, found.code) == ("reject", "over_stop_limit")
    if len(series) < 5:
        assert found.verdict != "accept"


@pytest.mark.parametrize(("limit", "verdict"), [(39.9, "reject"), (40, "accept"), (150, "accept"), (212, "reject")])
def test_a_stop_limit_is_plausible(limit: float, verdict: str) -> None:
    assert stop_limit_verdict(limit, site_degc=212).verdict == verdict


@pytest.mark.parametrize(
    ("site", "limit", "code"),
    [(95, 95, None), (95, 95.1, "over_site_limit"), (None, 121, None), (None, 121.1, "over_printed_limits")],
)
def test_a_stop_limit_is_at_most_the_site_s_or_the_highest_in_print(site: Any, limit: float, code: str | None) -> None:
    """Limits in print lie between 90 and 121 degC."""
    assert stop_limit_verdict(limit, site_degc=site).code == code


def test_a_housing_that_is_colder_than_its_room_was_read_in_another_unit() -> None:
    cold = [Pair(p.minute, (p.temperature_degc - 32) * 5 / 9) for p in GOOD]
    found = series_verdict(cold, stop_degc=100, system="metric", room_degc=20)
    assert (found.verdict, found.code) == ("recheck", "colder_than_room")
    assert found.fits[0].value == pytest.approx(min(p.temperature_degc for p in GOOD))
    assert series_verdict(cold, stop_degc=100, system="metric").code != "colder_than_room", "the room is not known"


def test_two_housings_far_apart_are_seen() -> None:
    assert housings_apart([45.0, 61.0])
    assert not housings_apart([45.0, 60.0])
    assert not housings_apart([45.0])
