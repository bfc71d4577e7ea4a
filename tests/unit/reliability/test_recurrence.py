"""Mean cumulative number and trend, against published ones, a slow definition and invariants."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.reliability.recurrence import Watched, mean_cumulative_number
from service.reliability.trend import event_trend, laplace, lewis_robinson, mil_hdbk_189, power_law, reversals
from tests.unit.reliability.published import published_systems


def watched(name: str) -> list[Watched]:
    return [Watched(tuple(events), end) for events, end in published_systems(name)]


def test_three_systems_match_meeker_and_escobar():
    # Meeker & Escobar 1998, ch. 16: hand-checkable
    found = mean_cumulative_number(watched("mcf_three_systems"))
    assert found.time_h.tolist() == [1, 5, 8, 16]
    assert found.mean == pytest.approx([1 / 3, 2 / 3, 4 / 3, 11 / 6], rel=1e-12)
    assert found.robust_variance == pytest.approx([2 / 27, 2 / 27, 8 / 27, 163 / 216], rel=1e-12)


def test_valve_seats_match_an_independent_program():
    # data of Nelson & Doganaksoy 1989; figures of an independent program
    found = mean_cumulative_number(watched("valve_seat_recurrence"))
    for age, mean, error in ((326, 0.5122, 0.1097), (586, 1.0143, 0.1738), (653, 1.5427, 0.3117)):
        at = found.time_h.tolist().index(age)
        assert found.mean[at] == pytest.approx(mean, abs=5e-5)
        assert math.sqrt(found.robust_variance[at]) == pytest.approx(error, abs=5e-5)
    assert math.sqrt(found.poisson_variance[at]) == pytest.approx(0.2628, abs=5e-5)


def test_crow_three_systems_match_the_report():
    # Crow 1975, AMSAA TR-138: shape 0.615, intensity factor 0.461 (from memory)
    found = power_law(watched("crow_three_systems"))
    assert found.shape == pytest.approx(0.615, abs=5e-4)
    assert found.intensity_factor == pytest.approx(0.461, abs=5e-4)
    assert found.exact


def test_halfbeak_matches_ascher_and_feingold():
    # Ascher & Feingold 1984: shape 2.76, scale 5.45 kh (from memory); U 7.60 and Lewis-Robinson 4.70: independent
    systems = watched("halfbeak_recurrence")
    found = power_law(systems)
    assert (found.shape, found.scale_h) == pytest.approx((2.76, 5.45), abs=5e-3)
    assert laplace(systems).statistic == pytest.approx(7.60, abs=5e-3)
    assert lewis_robinson(systems).statistic == pytest.approx(4.70, abs=5e-3)


def test_ten_repairs_match_nist():
    # NIST/SEMATECH e-Handbook 8.2.3.4: 33 of 45 reversals, chi2 37.23 on 20 degrees of freedom (from memory);
    # U -1.327 and shape 0.5372: independent program
    systems = watched("nist_trend_10_repairs")
    gaps = np.diff((0.0, *systems[0].events_h)).tolist()
    assert reversals(gaps) == (33, 45)
    assert mil_hdbk_189(systems).statistic == pytest.approx(37.23, abs=5e-3)
    assert laplace(systems).statistic == pytest.approx(-1.327, abs=5e-4)
    assert power_law(systems).shape == pytest.approx(0.5372, abs=5e-5)


def test_an_event_that_ended_the_watching_is_not_counted():
    found = event_trend([Watched((10.0, 30.0, 70.0, 100.0), 100.0)])
    assert (found.events, found.laplace) == (3, None)


def test_equal_intervals_have_no_renewal_test():
    found = event_trend([Watched((10.0, 20.0, 30.0, 40.0, 50.0), 55.0)])
    assert found.lewis_robinson is None and found.laplace is not None


def slow_mean_and_variance(systems, age):
    """The definition, one event age and one position at a time."""
    times = sorted({t for one in systems for t in one.events_h if t <= age})
    mean, excess = 0.0, [0.0] * len(systems)
    for t in times:
        there = [one.from_h < t <= one.until_h for one in systems]
        n, d = sum(there), [one.events_h.count(t) for one in systems]
        mean += sum(d) / n
        for number, seen in enumerate(there):
            if seen:
                excess[number] += (d[number] - sum(d) / n) / n
    return mean, sum(one * one for one in excess)


@st.composite
def some_systems(draw):
    systems = []
    for _ in range(draw(st.integers(1, 6))):
        begin = draw(st.integers(0, 10))
        end = begin + draw(st.integers(1, 20))
        events = draw(st.lists(st.integers(begin + 1, end), max_size=6))
        systems.append(Watched(tuple(float(one) for one in sorted(events)), float(end), float(begin)))
    return systems


@given(some_systems())
@settings(max_examples=200, deadline=None)
def test_mean_and_variance_match_the_definition(systems):
    found = mean_cumulative_number(systems)
    for number, age in enumerate(found.time_h):
        mean, variance = slow_mean_and_variance(systems, age)
        assert found.mean[number] == pytest.approx(mean, rel=1e-12)
        assert found.robust_variance[number] == pytest.approx(variance, abs=1e-12)
    assert np.all(found.lower <= found.mean) and np.all(found.mean <= found.upper)
    assert np.all(np.isfinite(found.upper))


@given(some_systems(), st.sampled_from([0.001, 24.0, 1e6]))
@settings(max_examples=100, deadline=None)
def test_another_unit_of_time_leaves_the_trend(systems, factor):
    other = [Watched(tuple(t * factor for t in s.events_h), s.until_h * factor, s.from_h * factor) for s in systems]
    first, second = event_trend(systems), event_trend(other)
    assert (first.events, first.lewis_robinson is None) == (second.events, second.lewis_robinson is None)
    if first.power_law is not None:
        assert second.power_law.shape == pytest.approx(first.power_law.shape, rel=1e-6)
        assert second.power_law.scale_h == pytest.approx(first.power_law.scale_h * factor, rel=1e-6)


def test_unequal_times_of_observation_meet_the_closed_form_as_they_become_equal():
    systems = watched("crow_three_systems")
    almost = [Watched(one.events_h, one.until_h + 1e-7 * number) for number, one in enumerate(systems)]
    assert power_law(almost).shape == pytest.approx(power_law(systems).shape, rel=1e-8)
    assert not power_law(almost).exact


def test_events_outside_the_time_of_observation_are_refused():
    for events, until, begin in (((5.0,), 4.0, 0.0), ((5.0,), 9.0, 5.0), ((), 3.0, 3.0)):
        with pytest.raises(ValueError, match="observation"):
            Watched(events, until, begin)


@pytest.mark.parametrize(("events", "described"), [(3, False), (4, True)])
def test_fewer_than_4_events_are_not_described(events, described):
    rng = np.random.default_rng(events)
    found = event_trend([Watched(tuple(np.sort(rng.uniform(1, 999, events)).tolist()), 1000.0)]).record()
    assert [one is not None for one in found.values()] == [described] * 4


def test_a_thinned_curve_keeps_exact_steps_and_every_event():
    rng = np.random.default_rng(3)
    systems = [Watched(tuple(np.sort(rng.uniform(1, 999, 30)).tolist()), 1000.0) for _ in range(40)]
    whole = mean_cumulative_number(systems)
    thin = whole.thinned()
    assert len(thin.time_h) == 200 and len(whole.time_h) == 1200
    at = np.searchsorted(whole.time_h, thin.time_h)
    for name in ("time_h", "at_risk", "mean", "robust_variance", "lower", "upper"):
        assert getattr(thin, name) == pytest.approx(getattr(whole, name)[at])
    assert thin.events.sum() == whole.events.sum() == 1200
    assert thin.mean[-1] == whole.mean[-1]
    assert len(thin.thinned().time_h) == 200
