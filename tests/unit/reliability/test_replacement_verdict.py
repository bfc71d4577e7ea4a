"""Whether to replace at an age: published lives, a dense region, what must be refused, invariants."""

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from service.errors import CannotEvaluate
from service.reliability.lives import lives
from service.reliability.replacement_verdict import best_ages, claim_level, relative_costs, replacement_verdict
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import likelihood_ratio_shape
from tests.unit.reliability.published import published_lives
from tests.verdicts import replacement_age

BEARINGS = weibull_fits(published_lives("lieblein_zelen_ball_bearings"))


def relative_cost(age, shape, ratio):
    """The definition, integrated numerically: Barlow & Proschan 1965."""
    survival = stats.weibull_min(shape).sf(age)
    spent = integrate.quad(stats.weibull_min(shape).sf, 0, age)[0]
    return (survival + ratio * (1 - survival)) / spent / (ratio / stats.weibull_min(shape).mean())


def optimal_age(shape, ratio):
    """The age with the least cost, found by a general optimiser; None: none costs less than running to failure."""
    if shape <= 1 or ratio <= 1:
        return None
    # beyond the fourth power of the mean life nothing survives to be replaced
    found = optimize.minimize_scalar(lambda log_age: relative_cost(np.exp(log_age), shape, ratio), bounds=(-6, 1.5),
                                     method="bounded", options={"xatol": 1e-9})  # fmt: skip
    return float(np.exp(found.x))


def asked(ratio, **options):
    return replacement_verdict(BEARINGS, 0, preventive_cost=1.0, failure_cost=ratio, **options)


# Lieblein & Zelen 1956 (lives); ages in 1e6 revolutions and relative costs at 90 % computed once with an independent
# program, whose limits come from a grid of fits and hold to 0.2 %
@pytest.mark.parametrize(
    ("ratio", "age", "ages", "cost", "costs"),
    [(5, 41.15, (35.2, 50.8), 0.698, (0.586, 0.859)), (20, 19.34, (15.1, 24.8), 0.360, (0.268, 0.556))],
)
def test_ball_bearings_match_an_independent_program(ratio, age, ages, cost, costs):
    found = asked(ratio)
    assert found.verdict == "worth_it"
    assert found.age_h.estimate == pytest.approx(age, rel=3e-4)
    assert (found.age_h.lower, found.age_h.upper) == pytest.approx(ages, rel=3.5e-3)
    assert found.relative_cost.estimate == pytest.approx(cost, abs=5.1e-4)
    assert (found.relative_cost.lower, found.relative_cost.upper) == pytest.approx(costs, abs=6e-4)


@pytest.mark.parametrize("ratio", [2.0, 20.0])
def test_the_ranges_are_those_of_a_dense_grid_of_likely_fits(ratio):
    time = published_lives("lieblein_zelen_ball_bearings").time_h
    edge = BEARINGS.log_likelihood[0] - stats.chi2.ppf(0.9, 1) / 2
    age = best_ages(BEARINGS.shape, ratio)[0] * BEARINGS.scale_h[0]
    ages, costs = [], []
    scales = np.linspace(60, 110, 401)[:, None]
    for shape in np.linspace(1.5, 2.8, 66):
        height = stats.weibull_min.logpdf(time, shape, scale=scales).sum(axis=1)
        for scale in scales[height >= edge, 0][[0, -1]] if np.any(height >= edge) else ():
            ages.append(best_ages(np.array([shape]), ratio)[0] * scale)
            costs.append(relative_cost(age / scale, shape, ratio))
    found = asked(ratio)
    assert (found.age_h.lower, found.age_h.upper) == pytest.approx((min(ages), max(ages)), rel=5e-3)
    assert (found.relative_cost.lower, found.relative_cost.upper) == pytest.approx((min(costs), max(costs)), abs=4e-3)


def test_ages_and_costs_in_columns_are_those_of_a_general_optimiser():
    shapes = np.array([0.8, 1.0, 1.4, 1.5, 2.0, 7.0])
    for ratio in (0.5, 1.0, 4.0, 30.0):
        one = [optimal_age(float(shape), ratio) for shape in shapes]
        assert [None if np.isinf(age) else age for age in best_ages(shapes, ratio)] == [
            None if age is None else pytest.approx(age, rel=1e-4) for age in one
        ]
    found = relative_costs(np.full(3, 0.7), shapes[3:], 5.0)
    assert found == pytest.approx([relative_cost(0.7, float(shape), 5.0) for shape in shapes[3:]])


def test_a_failure_that_costs_no_more_is_never_worth_preventing():
    assert (asked(1.0).verdict, asked(0.5).reason) == ("not_worth_it", "failure_costs_no_more")


def test_a_fit_that_does_not_describe_the_lives_recommends_nothing():
    found = asked(5.0, misfit=True)
    assert (found.verdict, found.reason) == ("no_evidence", "misfit")
    assert "Replace at" not in str(found.detail)


def test_few_failures_are_too_few():
    data = published_lives("bearing_cage_cut350_two_failures")
    found = replacement_verdict(weibull_fits(data), 0, preventive_cost=1, failure_cost=20)
    assert found.verdict == "too_few" and "Replace at" not in str(found.detail)


def test_a_region_that_reaches_a_shape_of_1_leaves_the_age_open_above():
    # bearing cage: likelihood-ratio interval of the shape 0.97 to 3.58 (Meeker & Escobar 1998, recomputed)
    found = replacement_verdict(
        weibull_fits(published_lives("bearing_cage")), 0, preventive_cost=1, failure_cost=20, level=0.95
    )
    assert found.verdict == "no_evidence" and found.age_h.upper is None and found.age_h.lower is not None
    assert found.record()["age"]["upper"] is None


def test_lives_without_wear_have_no_age():
    rng = np.random.default_rng(2)
    fits = weibull_fits(lives(rng.weibull(0.7, 300), np.ones(300, dtype=bool)))
    found = replacement_verdict(fits, 0, preventive_cost=1, failure_cost=5)
    assert (found.verdict, found.reason) == ("not_worth_it", "shape_too_low")
    assert (found.age_h.estimate, found.least_cost) == (None, 1.0)


def test_the_level_of_the_limits_does_not_make_a_claim():
    # 20 lives of shape 1.8: at 50 % a narrow region would be worth it
    rng = np.random.default_rng(8)
    fits = weibull_fits(lives(rng.weibull(1.3, 40), np.ones(40, dtype=bool)))
    narrow, usual, wide = (
        replacement_verdict(fits, 0, preventive_cost=1, failure_cost=5, level=level) for level in (0.5, 0.9, 0.99)
    )
    assert narrow.verdict == usual.verdict == wide.verdict
    assert narrow.relative_cost.upper < usual.relative_cost.upper < wide.relative_cost.upper


def test_a_claim_is_harder_among_many_groups():
    # 400 groups of 25 lives that do not wear out, so that replacing only costs: as 8 answers of 50 groups each
    time = np.random.default_rng(1).weibull(1.0, 400 * 25)
    fits = weibull_fits(lives(time, np.ones(len(time), dtype=bool), group=np.repeat(np.arange(400), 25)))
    shapes = {one: likelihood_ratio_shape(fits, one) for one in (0.9, claim_level(50))}
    alone, among = (
        [
            replacement_verdict(fits, at, preventive_cost=1, failure_cost=5, of_shape=shapes[0.9], family=family,
                                of_shape_claimed=shapes[claim_level(50)]).verdict == "worth_it"
            for at in range(400)
        ]
        for family in (1, 50)
    )  # fmt: skip
    answers = np.array(among).reshape(8, 50).any(axis=1)
    assert answers.sum() <= 3, "4 of 8 have a probability of 0.0004 at 5 %"
    assert sum(alone) > sum(among)


def test_another_unit_of_time_changes_ages_only():
    data = published_lives("lieblein_zelen_ball_bearings")
    other = replacement_verdict(
        weibull_fits(lives(24 * data.time_h, data.failed)), 0, preventive_cost=10, failure_cost=50
    )
    found = asked(5.0)
    assert other.age_h.upper == pytest.approx(24 * found.age_h.upper, rel=1e-7)
    assert other.relative_cost.record() == pytest.approx(found.relative_cost.record(), rel=1e-7)


def test_costs_and_level_must_make_sense():
    with pytest.raises(CannotEvaluate):
        asked(-1.0)
    with pytest.raises(CannotEvaluate):
        asked(5.0, level=1.0)


def test_claims_hold_on_invented_plants():
    # in short; 3.5 errors of the share, so that 12 rows raise one false alarm in some hundred seeds
    for row in replacement_age.claims(plants=60, seed=1):
        slack = [
            3.5 * max((p * (1 - p) / row["plants"]) ** 0.5, 0.5 / row["plants"]) for p in (row["least"], row["most"])
        ]
        assert row["least"] - slack[0] <= row["share"] <= row["most"] + slack[1], row
