"""Limits with late entries, and calibrated lower limits of B10: a worked set, a slow profile, simulated sets."""

import math

import numpy as np
import pytest
from scipy import stats

from service.reliability.lives import Lives, lives
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import (
    calibrated_lower_quantile_h,
    likelihood_ratio_quantile_h,
    likelihood_ratio_shape,
)
from tests.unit.reliability.published import published_lives

SCALE = 1 - math.exp(-1)
# five units that all entered late, two still running; estimates and upper limits computed once with an independent
# program; limits of that program hold to 1e-4, as those of the published sets
WORKED = lives([900, 1500, 2200, 3100, 4000], [True, False, True, True, False], entry_h=[300, 700, 1400, 1000, 2500])


def profile_of_age(data: Lives, log_age: float, share: float) -> float:
    """Return the log-likelihood of an age, the largest over a dense grid of shapes: the definition."""
    shape = np.geomspace(1e-4, 60, 60_000)
    log_scale = log_age - math.log(-math.log1p(-share)) / shape
    found = np.zeros_like(shape)
    with np.errstate(over="ignore"):
        for time, failed, count, entry in zip(data.time_h, data.failed, data.count, data.entry_h, strict=True):
            found += count * float(failed) * (np.log(shape) - shape * log_scale + (shape - 1) * math.log(time))
            found -= count * np.exp(shape * (math.log(time) - log_scale))
            if entry > 0:
                found += count * np.exp(np.minimum(shape * (math.log(entry) - log_scale), 600))
    return float(np.nanmax(np.where(np.isfinite(found), found, -np.inf)))


def test_the_worked_set_with_late_entries():
    fits = weibull_fits(WORKED)
    assert fits.shape[0] == pytest.approx(1.086665, abs=5e-7)
    assert fits.scale_h[0] == pytest.approx(2075.7207, abs=5e-5)
    assert fits.quantile_h(0.1)[0] == pytest.approx(261.6924, rel=1e-6)
    assert fits.log_likelihood[0] == pytest.approx(-25.697475, abs=5e-7)
    of_b10, of_scale = (likelihood_ratio_quantile_h(fits, share) for share in (0.1, SCALE))
    assert (of_b10.lower[0], of_scale.lower[0]) == (0, 0)  # open: nothing was watched from new
    assert of_b10.upper[0] == pytest.approx(1872.27, abs=5e-3)
    assert of_scale.upper[0] == pytest.approx(8576.6, rel=1e-4)
    assert likelihood_ratio_shape(fits).lower[0] == 0
    assert likelihood_ratio_quantile_h(fits, 0.1, 0.6).upper[0] == pytest.approx(972.03, abs=5e-3)


def test_the_lower_end_is_open_exactly_when_the_vanishing_shape_is_likely_enough():
    # l0 = r ln(r / sum ln(t / a)) - r - sum ln t: the hazard k / t, computed by hand here
    ratio = sum(math.log(t / a) for t, a in zip(WORKED.time_h, WORKED.entry_h, strict=True))
    l0 = 3 * math.log(3 / ratio) - 3 - math.log(900 * 2200 * 3100)
    fits = weibull_fits(WORKED)
    edge = stats.chi2.cdf(2 * (fits.log_likelihood[0] - l0), 1)  # about 0.74
    assert likelihood_ratio_quantile_h(fits, 0.1, edge + 1e-3).lower[0] == 0
    assert likelihood_ratio_quantile_h(fits, 0.1, edge - 1e-2).lower[0] > 0
    watched = lives([*WORKED.time_h, 500], [*WORKED.failed, False], entry_h=[*WORKED.entry_h, 0])
    assert likelihood_ratio_quantile_h(weibull_fits(watched), 0.1, 0.99).lower[0] > 0  # one from new closes it


def late_sets() -> list[Lives]:
    rng = np.random.default_rng(8)
    found = []
    for number in range(12):
        n = int(rng.integers(4, 15))
        entry = rng.uniform(50, 900, n) * (rng.random(n) < (1.0 if number % 2 else 0.7))
        time = entry + 1000 * rng.weibull(1.5, n) + 1
        found.append(lives(time, rng.random(n) < 0.6, entry_h=entry))
    return [one for one in found if len(weibull_fits(one).group)]


@pytest.mark.parametrize("share", [0.1, SCALE])
@pytest.mark.parametrize("level", [0.6, 0.95])
def test_ages_at_the_limits_have_the_likelihood_of_the_limit(share, level):
    checked = 0
    for data in [WORKED, *late_sets()]:
        fits = weibull_fits(data)
        target = fits.log_likelihood[0] - stats.chi2.ppf(level, 1) / 2
        limits = likelihood_ratio_quantile_h(fits, share, level)
        for age, outwards in ((limits.lower[0], 1 / 1.02), (limits.upper[0], 1.02)):
            assert np.isfinite(age)
            if age < 1e-250:
                continue
            assert profile_of_age(data, math.log(age), share) == pytest.approx(target, abs=2e-5)
            assert profile_of_age(data, math.log(age * outwards), share) < target
            checked += 1
    assert checked > 12


def test_groups_with_and_without_late_entries_do_not_disturb_each_other():
    plain = published_lives("shock_absorber")
    both = lives(
        np.concatenate((plain.time_h, WORKED.time_h)),
        np.concatenate((plain.failed, WORKED.failed)),
        entry_h=np.concatenate((plain.entry_h, WORKED.entry_h)),
        group=[0] * len(plain.time_h) + [1] * 5,
    )
    together = likelihood_ratio_quantile_h(weibull_fits(both), 0.1)
    alone = [likelihood_ratio_quantile_h(weibull_fits(one), 0.1) for one in (plain, WORKED)]
    assert together.lower == pytest.approx([one.lower[0] for one in alone], rel=1e-8)
    assert together.upper == pytest.approx([one.upper[0] for one in alone], rel=1e-8)


@pytest.mark.parametrize("name", ["lieblein_zelen_ball_bearings", "bearing_cage", "shock_absorber"])
def test_the_calibrated_limit_has_the_wider_signed_root(name):
    data = published_lives(name)
    fits = weibull_fits(data)
    lower = calibrated_lower_quantile_h(fits, 0.1)[0]
    root = math.sqrt(2 * (fits.log_likelihood[0] - profile_of_age(data, math.log(lower), 0.1)))
    assert root == pytest.approx(1.959964 + 1.2 / math.sqrt(fits.failures[0]), abs=1e-4)
    assert lower < likelihood_ratio_quantile_h(fits, 0.1).lower[0]


@pytest.mark.parametrize(("r", "plain"), [(5, 0.130), (10, 0.088), (20, 0.074)])
def test_few_failures_no_longer_make_the_lower_limit_optimistic(r, plain):
    # one-sided 95 %, complete lives: the plain limit lies above the truth in the share given (independent simulation);
    # three errors of the simulations together are 0.015
    rng = np.random.default_rng(r)
    data = lives(rng.weibull(2.0, 4000 * r), np.ones(4000 * r, dtype=bool), group=np.repeat(np.arange(4000), r))
    fits, truth = weibull_fits(data), (-math.log(0.9)) ** 0.5
    assert np.mean(likelihood_ratio_quantile_h(fits, 0.1, 0.9).lower > truth) == pytest.approx(plain, abs=0.015)
    assert np.mean(calibrated_lower_quantile_h(fits, 0.1, 0.9) > truth) == pytest.approx(0.05, abs=0.015)
