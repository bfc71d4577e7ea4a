"""Weibull maximum likelihood and its limits, against published sets, slow oracles and invariants."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from service.reliability.lives import Lives, lives
from service.reliability.weibull import WeibullFits, weibull_fits
from service.reliability.weibull_limits import (
    covariance,
    likelihood_ratio_quantile_h,
    likelihood_ratio_shape,
    log_normal_mean_h,
    log_normal_quantile_h,
    log_normal_shape,
    mean_h,
)
from tests.unit.reliability.published import published_lives

SCALE = 1 - math.exp(-1)  # the share that has failed at the scale

# Lieblein & Zelen 1956, J. Res. NBS 57(5): shape 2.102 printed, scale 81.9 from memory. Bearing cage: Abernethy et al.
# 1983, AFWAL-TR-83-2079; Meeker & Escobar 1998, ex. 8.16 print shape 2.035, B10 3903 [2093, 22144]. Shock absorber:
# O'Connor 1985; Meeker & Escobar 1998 (mu 10.23, sigma 0.3164, from memory). Further digits, and the cut at 350 h:
# computed once with an independent program, agreeing with the printed ones.
PUBLISHED = {  # shape, scale, log-likelihood, B10
    "lieblein_zelen_ball_bearings": (2.102059, 81.8783, -113.691291, 28.0694),
    "bearing_cage": (2.035319, 11792.18, -76.436896, 3903.13),
    "shock_absorber": (3.160470, 27718.72, -123.995361, 13600.0),
    "bearing_cage_cut350_two_failures": (4.486195, 1449.135, -25.088549, 877.522),
}
PUBLISHED_LIMITS = {  # likelihood ratio of shape and B10, log-normal of shape, two-sided 95 %
    "lieblein_zelen_ball_bearings": ((1.5041, 2.7915), (16.288, 40.765), (1.5472, 2.8559)),
    "bearing_cage": ((0.97093, 3.5795), (2094.3, 22144), (1.0721, 3.8639)),
    "shock_absorber": ((1.8985, 4.7714), (9371.2, 17291), (2.0087, 4.9726)),
    "bearing_cage_cut350_two_failures": ((0.85466, 13.404), (467.02, 58984), (1.1934, 16.865)),
}


def half_digit(printed: float, digits: int) -> float:
    """Half the last of the printed significant digits."""
    return 0.5 * 10.0 ** (math.floor(math.log10(abs(printed))) - digits + 1)


@pytest.mark.parametrize("name", PUBLISHED)
def test_estimates_match_the_published_ones(name):
    fits = weibull_fits(published_lives(name))
    shape, scale, log_likelihood, b10 = PUBLISHED[name]
    assert fits.shape[0] == pytest.approx(shape, rel=1e-6)
    assert fits.scale_h[0] == pytest.approx(scale, rel=1e-6)
    assert fits.log_likelihood[0] == pytest.approx(log_likelihood, rel=1e-6)
    assert fits.quantile_h(0.1)[0] == pytest.approx(b10, abs=max(half_digit(b10, 6), b10 * 3e-6))


def test_bearing_cage_is_what_meeker_and_escobar_print():
    fits = weibull_fits(published_lives("bearing_cage"))
    limits = likelihood_ratio_quantile_h(fits, 0.1)
    assert fits.shape[0] == pytest.approx(2.035, abs=5e-4)
    assert fits.quantile_h(0.1)[0] == pytest.approx(3903, abs=0.5)
    assert limits.lower[0] == pytest.approx(2093, rel=1e-3)  # 2094.28 here and in the independent program
    assert limits.upper[0] == pytest.approx(22144, abs=0.5)


@pytest.mark.parametrize("name", PUBLISHED_LIMITS)
def test_limits_match_the_published_ones(name):
    fits = weibull_fits(published_lives(name))
    of_shape, of_b10, log_normal = PUBLISHED_LIMITS[name]
    for found, expected in (
        (likelihood_ratio_shape(fits), of_shape),
        (likelihood_ratio_quantile_h(fits, 0.1), of_b10),
        (log_normal_shape(fits), log_normal),
    ):
        assert (found.lower[0], found.upper[0]) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("mode", "shape", "scale"), [("mode_1", 3.3839, 31205.8), ("mode_2", 2.8222, 40865.9)])
def test_other_failure_modes_are_censored(mode, shape, scale):
    # O'Connor 1985, shock absorbers by failure mode; digits computed with an independent program
    fits = weibull_fits(published_lives("shock_absorber", mode))
    assert fits.shape[0] == pytest.approx(shape, abs=5e-5)
    assert fits.scale_h[0] == pytest.approx(scale, abs=0.05)


def test_a_set_without_failures_has_no_estimate():
    assert len(weibull_fits(published_lives("bearing_cage_cut200_zero_failures")).group) == 0


def test_scipy_finds_the_same_complete_and_censored_estimates():
    # scipy.stats.weibull_min.fit, a general library
    rng = np.random.default_rng(20)
    life, stop = 900 * rng.weibull(1.7, 60), 700 * rng.weibull(3.0, 60)
    time, failed = np.minimum(life, stop), life <= stop
    censored = stats.CensoredData(uncensored=time[failed], right=time[~failed])
    shape, _, scale = stats.weibull_min.fit(censored, floc=0)
    fits = weibull_fits(lives(time, failed))
    assert fits.shape[0] == pytest.approx(shape, rel=1e-4)
    assert fits.scale_h[0] == pytest.approx(scale, rel=1e-4)


def log_likelihood(data: Lives, shape: float, scale_h: float) -> float:
    """The definition, one row at a time."""
    total = 0.0
    for time, failed, count, entry in zip(data.time_h, data.failed, data.count, data.entry_h, strict=True):
        z = time / scale_h
        total += count * (float(failed) * (math.log(shape / scale_h) + (shape - 1) * math.log(z)) - z**shape)
        total += count * (entry / scale_h) ** shape
    return total


def slow_limits_of_quantile(data: Lives, fits: WeibullFits, share: float) -> list[float]:
    """Likelihood-ratio limits by a profile computed with a general optimiser, group 0."""
    target = fits.log_likelihood[0] - stats.chi2.ppf(0.95, 1) / 2
    log_c = math.log(-math.log1p(-share))
    middle = float(fits.quantile_h(share)[0])

    def depth(log_age: float) -> float:
        def negative(log_shape: float) -> float:
            shape = math.exp(log_shape)
            return -log_likelihood(data, shape, math.exp(log_age - log_c / shape))

        around = math.log(fits.shape[0])
        best = min(
            (optimize.minimize_scalar(negative, bounds=(a, a + 1), method="bounded", options={"xatol": 1e-11})
             for a in np.arange(around - 3, around + 3)),
            key=lambda found: found.fun,
        )  # fmt: skip
        return -best.fun - target

    found = []
    for direction in (-1, 1):
        far = math.log(middle) + direction * 0.2
        while depth(far) > 0:
            far += direction * 0.5
        found.append(math.exp(optimize.brentq(depth, *sorted((math.log(middle), far)), xtol=1e-10)))
    return found


LATE_SET = {
    "time_h": [510, 900, 1200, 1500, 2100, 2600, 3000, 3300, 3900, 4500],
    "failed": [True, False, True, True, False, True, True, False, True, False],
    "entry_h": [0, 0, 300, 0, 700, 1200, 0, 900, 1500, 0],
}


@pytest.mark.parametrize("share", [0.1, 0.5, SCALE])
@pytest.mark.parametrize("entered_late", [False, True])
def test_likelihood_ratio_limits_match_a_slow_profile(share, entered_late):
    data = lives(**(LATE_SET if entered_late else {**LATE_SET, "entry_h": None}))
    fits = weibull_fits(data)
    limits = likelihood_ratio_quantile_h(fits, share)
    assert [limits.lower[0], limits.upper[0]] == pytest.approx(slow_limits_of_quantile(data, fits, share), rel=1e-5)


def test_late_entry_matches_a_general_optimiser_and_lowers_life():
    data = lives(**LATE_SET)
    fits = weibull_fits(data)
    best = optimize.minimize(
        lambda p: -log_likelihood(data, math.exp(p[0]), math.exp(p[1])),
        [0.5, 8.0],
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000},
    )
    assert fits.shape[0] == pytest.approx(math.exp(best.x[0]), rel=1e-6)
    assert fits.scale_h[0] == pytest.approx(math.exp(best.x[1]), rel=1e-6)
    assert fits.log_likelihood[0] == pytest.approx(-best.fun, rel=1e-9)
    ignored = weibull_fits(lives(**{**LATE_SET, "entry_h": None}))
    assert fits.quantile_h(0.1)[0] < ignored.quantile_h(0.1)[0]  # ignoring it biases life upwards


def test_late_entry_whose_likelihood_does_not_turn_has_no_estimate():
    # each unit is watched for so short a while that the hazard looks steeper than any power near zero age
    data = lives([100, 101, 1000, 5000], [True, True, True, False], entry_h=[99, 99.5, 0.5, 0.5])
    fits = weibull_fits(data)
    profile = [
        max(log_likelihood(data, shape, scale) for scale in np.geomspace(1e-3, 1e12, 400))
        for shape in np.geomspace(1e-3, 30, 60)
    ]
    assert (len(fits.group) == 0) == (int(np.argmax(profile)) == 0)


def test_fisher_information_matches_second_differences():
    data = published_lives("shock_absorber")
    fits = weibull_fits(data)
    centre, h = np.log([fits.scale_h[0], fits.shape[0]]), 1e-4

    def at(a: float, b: float) -> float:
        return log_likelihood(data, math.exp(centre[1] + b), math.exp(centre[0] + a))

    mixed = (at(h, h) - at(h, -h) - at(-h, h) + at(-h, -h)) / (4 * h * h)
    by_scale = (at(h, 0) - 2 * at(0, 0) + at(-h, 0)) / h**2
    by_shape = (at(0, h) - 2 * at(0, 0) + at(0, -h)) / h**2
    inverse = np.linalg.inv(-np.array([[by_scale, mixed], [mixed, by_shape]]))
    found = covariance(fits)
    assert [found.log_scale[0], found.log_shape[0], found.both[0]] == pytest.approx(
        [inverse[0, 0], inverse[1, 1], inverse[0, 1]], rel=1e-4
    )


def test_mean_life_of_the_ball_bearings_and_its_limits_enclose_it():
    fits = weibull_fits(published_lives("lieblein_zelen_ball_bearings"))
    # scipy's mean of the fitted distribution; standard error by numerical derivatives of it
    expected = stats.weibull_min.mean(fits.shape[0], scale=fits.scale_h[0])
    found, h = covariance(fits), 1e-6
    slope = [
        math.log(stats.weibull_min.mean(fits.shape[0] * math.exp(b), scale=fits.scale_h[0] * math.exp(a)) / expected)
        / h
        for a, b in ((h, 0), (0, h))
    ]
    cov = np.array([[found.log_scale[0], found.both[0]], [found.both[0], found.log_shape[0]]])
    spread = math.exp(1.959964 * math.sqrt(np.array(slope) @ cov @ np.array(slope)))
    limits = log_normal_mean_h(fits)
    assert mean_h(fits)[0] == pytest.approx(expected, rel=1e-9)
    assert (limits.lower[0], limits.upper[0]) == pytest.approx((expected / spread, expected * spread), rel=1e-4)


def test_modified_likelihood_is_nearly_unbiased_for_five_complete_lives():
    # Yang & Xie 2003 (formula from memory); mean of shape/true 1.04 against 1.44 unmodified: independent simulation
    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(4000), 5)
    data = lives(rng.weibull(2.0, 20_000), np.ones(20_000, dtype=bool), group=group)
    assert weibull_fits(data, modified=True).shape.mean() / 2 == pytest.approx(1.04, abs=0.03)
    assert weibull_fits(data).shape.mean() / 2 == pytest.approx(1.44, abs=0.04)


def test_modified_limits_cover_at_three_failures():
    # independent simulation of 4000 samples: 0.946 (modified) against 0.828 (plain) for n = r = 3, nominal 0.95;
    # tolerance: three standard errors of the two simulations together
    rng = np.random.default_rng(4)
    data = lives(rng.weibull(2.0, 60_000), np.ones(60_000, dtype=bool), group=np.repeat(np.arange(20_000), 3))
    for modified, expected in ((True, 0.946), (False, 0.828)):
        limits = likelihood_ratio_shape(weibull_fits(data, modified=modified))
        assert np.mean((limits.lower <= 2) & (limits.upper >= 2)) == pytest.approx(expected, abs=0.02)


rows = st.lists(st.tuples(st.integers(1, 400), st.booleans(), st.integers(1, 3)), min_size=1, max_size=25)


@given(st.lists(rows, min_size=1, max_size=6))
@settings(max_examples=150, deadline=None)
def test_an_estimate_exists_exactly_when_a_failure_is_earlier_than_the_largest_time(groups):
    data = lives(
        [t for one in groups for t, _, _ in one],
        [d for one in groups for _, d, _ in one],
        count=[w for one in groups for _, _, w in one],
        group=[number for number, one in enumerate(groups) for _ in one],
    )
    fits = weibull_fits(data)
    expected = [n for n, one in enumerate(groups) if any(d and t < max(row[0] for row in one) for t, d, _ in one)]
    assert fits.group.tolist() == expected
    if not expected:
        return
    of_shape, of_b10 = likelihood_ratio_shape(fits), likelihood_ratio_quantile_h(fits, 0.1)
    normal = log_normal_quantile_h(fits, 0.1)
    for values in (fits.shape, fits.scale_h, of_shape.lower, of_shape.upper, of_b10.lower, of_b10.upper, normal.lower):
        assert np.all(np.isfinite(values)) and np.all(values > 0)
    assert np.all(of_shape.lower < fits.shape) and np.all(fits.shape < of_shape.upper)
    assert np.all(of_b10.lower < fits.quantile_h(0.1)) and np.all(fits.quantile_h(0.1) < of_b10.upper)
    # Cauchy-Schwarz: the standard error of ln shape is at most 1/sqrt(r)
    assert np.all(covariance(fits).log_shape <= 1 / fits.failures * (1 + 1e-9))


@given(rows, st.sampled_from([1e-9, 1e-3, 24.0, 1e6, 1e12]))
@settings(max_examples=80, deadline=None)
def test_another_unit_of_time_scales_lives_and_leaves_the_shape(one, factor):
    time, failed, count = (np.array(part) for part in zip(*one, strict=True))
    first, second = (weibull_fits(lives(time * unit, failed, count=count)) for unit in (1.0, factor))
    assert first.group.tolist() == second.group.tolist()
    if len(first.group):
        assert second.shape == pytest.approx(first.shape, rel=1e-8)
        assert second.scale_h / factor == pytest.approx(first.scale_h, rel=1e-8)
        shift = first.failures * math.log(factor)
        assert second.log_likelihood + shift == pytest.approx(first.log_likelihood, rel=1e-6, abs=1e-6)


@given(st.lists(rows, min_size=2, max_size=5))
@settings(max_examples=60, deadline=None)
def test_counts_and_neighbours_do_not_change_an_estimate(groups):
    together = weibull_fits(
        lives(
            [t for one in groups for t, _, w in one for _ in range(w)],
            [d for one in groups for _, d, w in one for _ in range(w)],
            group=[n for n, one in enumerate(groups) for _, _, w in one for _ in range(w)],
        )
    )
    alone = {}
    for number, one in enumerate(groups):
        time, failed, count = zip(*one, strict=True)
        fit = weibull_fits(lives(time, failed, count=count))
        if len(fit.group):
            alone[number] = (fit.shape[0], fit.scale_h[0])
    assert together.group.tolist() == list(alone)
    for number, shape, scale in zip(together.group, together.shape, together.scale_h, strict=True):
        assert (shape, scale) == pytest.approx(alone[number], rel=1e-8)


def test_one_failure_before_a_censoring_has_an_estimate_of_the_likelihood():
    # hand-checkable: t_max 2, one failure at 1: beta solves S1/S0 - 1/beta + ln 2 = 0
    fits = weibull_fits(lives([1.0, 2.0], [True, False]))
    beta = fits.shape[0]
    x = math.log(0.5)
    assert x * 0.5**beta / (0.5**beta + 1) - 1 / beta - x == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"time_h": [], "failed": []}, "at least one row"),
        ({"time_h": [0.0], "failed": [True]}, "above zero"),
        ({"time_h": [float("nan")], "failed": [True]}, "above zero"),
        ({"time_h": [5.0], "failed": [True], "entry_h": [5.0]}, "below the time"),
        ({"time_h": [5.0], "failed": [True], "count": [0]}, "count"),
        ({"time_h": [5.0, 6.0], "failed": [True, True], "group": [0, 2]}, "no rows"),
    ],
)
def test_lives_that_make_no_sense_are_refused(columns, said):
    with pytest.raises(ValueError, match=said):
        lives(**columns)
