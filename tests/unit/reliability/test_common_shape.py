"""The common shape of several classes: a slow oracle, level, power, invariants."""

import numpy as np
import pytest
from scipy import optimize, stats

from service.reliability.common_shape import shape_in_common
from service.reliability.lives import Lives, lives
from tests.unit.reliability.published import published_lives


def classes(rng: np.random.Generator, shapes: list[float], n: int) -> Lives:
    """Lives of classes, about half censored."""
    time, stop = (np.concatenate([rng.weibull(shape, n) for shape in shapes]) for _ in range(2))
    return lives(np.minimum(time, stop), time <= stop, group=np.repeat(np.arange(len(shapes)), n))


def test_the_statistic_matches_a_general_optimiser():
    data = classes(np.random.default_rng(5), [1.0, 1.6, 2.2], 25)

    def negative(log_shape: float, number: int) -> float:
        one = data.of_group(number)
        shape, r = np.exp(log_shape), one.failed.sum()
        scale = (np.sum(one.time_h**shape) / r) ** (1 / shape)
        return -float(np.sum(stats.weibull_min.logpdf(one.time_h[one.failed], shape, scale=scale))
                      + np.sum(stats.weibull_min.logsf(one.time_h[~one.failed], shape, scale=scale)))  # fmt: skip

    own = sum(optimize.minimize_scalar(negative, bounds=(-2, 3), args=(k,), method="bounded").fun for k in range(3))
    both = optimize.minimize_scalar(lambda b: sum(negative(b, k) for k in range(3)), bounds=(-2, 3), method="bounded")
    r = data.failures
    expected = 2 * (both.fun - own) / (1 + np.mean(1 / r) * 3 / 2)
    found = shape_in_common(data)
    assert found.shape == pytest.approx(np.exp(both.x), rel=1e-4)
    assert found.statistic == pytest.approx(expected, rel=1e-5)
    assert found.p_value == pytest.approx(stats.chi2.sf(expected, 2), rel=1e-4)


def test_a_class_and_its_copy_in_another_unit_share_their_shape():
    # Lieblein & Zelen 1956: shape 2.102059
    one = published_lives("lieblein_zelen_ball_bearings")
    both = lives(np.concatenate((one.time_h, 37 * one.time_h)), [True] * 46, group=[0] * 23 + [1] * 23)
    found = shape_in_common(both)
    assert found.shape == pytest.approx(2.102059, rel=1e-6)
    assert found.statistic == pytest.approx(0, abs=1e-9)
    assert found.p_value == pytest.approx(1) and found.may_serve_few


def test_one_class_has_nothing_to_compare_and_classes_without_failures_take_no_part():
    alone = shape_in_common(published_lives("lieblein_zelen_ball_bearings"))
    assert (alone.classes, alone.p_value, alone.may_serve_few) == (1, None, False)
    nothing = shape_in_common(published_lives("bearing_cage_cut200_zero_failures"))
    assert (nothing.shape, nothing.classes) == (None, 0)


def test_like_classes_are_rarely_told_apart_and_unlike_ones_often():
    # nominal 0.05; an independent simulation found 0.020-0.054 with the correction
    rng = np.random.default_rng(6)
    level = np.mean([shape_in_common(classes(rng, [1.5] * 8, 24)).p_value <= 0.05 for _ in range(400)])
    assert level <= 0.08  # 0.054 and three errors of 400
    assert np.mean([shape_in_common(classes(rng, [0.8, 3.0], 40)).p_value <= 0.05 for _ in range(50)]) > 0.9
