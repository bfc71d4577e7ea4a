"""Cox regression against published data, slow definitions and what must be refused or held back."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from service.errors import CannotEvaluate
from service.reliability.covariates import kind, month_of_year, number, place_in_window
from service.reliability.life_regression import life_regression, middle_ranks, proportionality_p
from service.reliability.proportional_hazards import cox_fit, risk_sets
from tests.unit.reliability.published import table
from tests.verdicts import regression
from tests.verdicts.invented_renewals import renewals

# Rossi, Berk & Lenihan 1980, Money, Work and Crime: 432 lives; the data come with lifelines (MIT licence). Coefficients
# with errors, log-likelihoods and tests of proportional hazards as lifelines 0.30 prints them
NAMES = ("fin", "age", "race", "wexp", "mar", "paro", "prio")
ROSSI = table("rossi_recidivism")
WEEK = np.array([float(row["week"]) for row in ROSSI])
ARREST = np.array([row["arrest"] == "1" for row in ROSSI])
X = np.array([[float(row[name]) for name in NAMES] for row in ROSSI])
ZERO, NONE = np.zeros(len(WEEK)), np.zeros(len(WEEK), dtype=int)
EACH = np.arange(len(WEEK))


def test_recidivism_matches_a_general_library():
    fit = cox_fit(risk_sets(WEEK, ARREST, ZERO, NONE), X, EACH)
    found = dict(zip(NAMES, zip(fit.coefficient, np.sqrt(np.diag(fit.covariance)), strict=True), strict=True))
    for name, expected in (
        ("fin", (-0.379422, 0.191379)),
        ("age", (-0.057438, 0.021999)),
        ("prio", (0.091497, 0.028649)),
    ):
        assert found[name] == pytest.approx(expected, abs=5.1e-7)
    assert fit.log_likelihood == pytest.approx(-658.7476594, abs=5e-7)
    assert fit.converged and fit.failures == 114


def test_recidivism_in_strata_matches_a_general_library():
    rest = [n for n, name in enumerate(NAMES) if name != "wexp"]
    fit = cox_fit(risk_sets(WEEK, ARREST, ZERO, X[:, 3].astype(int)), X[:, rest], EACH)
    assert fit.coefficient[0] == pytest.approx(-0.380154, abs=5.1e-7)
    assert fit.log_likelihood == pytest.approx(-580.885747, abs=5.1e-7)


def test_proportional_hazards_match_a_general_library():
    # the library breaks ties of age by the order of the rows; here they are given its ranks. Ours stand in the middle
    # of their ties, so that the order of the rows does not matter
    fit = cox_fit(risk_sets(WEEK, ARREST, ZERO, NONE), X, EACH)
    in_order = np.empty(fit.failures)
    in_order[np.argsort(WEEK[ARREST], kind="stable")] = np.arange(fit.failures)
    for name, expected in (("age", 11.4535), ("wexp", 7.3149)):
        place = NAMES.index(name)
        assert proportionality_p(fit, slice(place, place + 1), in_order)[0] == pytest.approx(expected, abs=5.1e-5)
        ours = proportionality_p(fit, slice(place, place + 1), middle_ranks(fit.failure_age))
        assert ours[1] == pytest.approx(stats.chi2.sf(ours[0], 1)) and ours[1] < 0.01
    assert middle_ranks(fit.failure_age) == pytest.approx(stats.rankdata(WEEK[ARREST]))


def test_leukaemia_matches_a_general_library():
    # Freireich et al. 1963 / Gehan 1965; Efron 1.572125 (0.412397), as general packages print (from memory, recomputed)
    treated = [
        (float(row["time"]), row["status"] == "failed") for row in table("gehan_6mp") for _ in range(int(row["count"]))
    ]
    placebo = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
    time = np.array([t for t, _ in treated] + placebo, dtype=float)
    failed = np.array([d for _, d in treated] + [True] * 21)
    x = np.array([0.0] * 21 + [1.0] * 21)[:, None]
    fit = cox_fit(risk_sets(time, failed, np.zeros(42), np.zeros(42, dtype=int)), x, np.arange(42))
    assert fit.coefficient[0] == pytest.approx(1.572125, abs=5.1e-7)
    assert math.sqrt(fit.covariance[0, 0]) == pytest.approx(0.412397, abs=5.1e-7)


def log_likelihood(beta, time, failed, entry, stratum, x):
    """The partial likelihood as Efron prints it, one failure age at a time."""
    total = 0.0
    for s, t in sorted({(s, t) for s, t, d in zip(stratum, time, failed, strict=True) if d}):
        at = (stratum == s) & (entry < t) & (time >= t)
        ties = (stratum == s) & (time == t) & failed
        d = int(ties.sum())
        total += float((x[ties] @ beta).sum())
        for k in range(d):
            total -= math.log(np.exp(x[at] @ beta).sum() - k / d * np.exp(x[ties] @ beta).sum())
    return total


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_strata_late_entry_and_ties_match_the_printed_likelihood(seed):
    rng = np.random.default_rng(seed)
    n = 60
    time, stratum = rng.integers(3, 15, n).astype(float), rng.integers(0, 3, n)
    entry = np.floor(time * rng.uniform(0, 0.9, n)) * (rng.random(n) < 0.5)
    failed, x = rng.random(n) < 0.6, rng.standard_normal((n, 2))
    fit = cox_fit(risk_sets(time, failed, entry, stratum), x, np.arange(n))
    best = optimize.minimize(
        lambda b: -log_likelihood(b, time, failed, entry, stratum, x),
        np.zeros(2),
        method="BFGS",
        options={"gtol": 1e-7},
    )
    assert fit.log_likelihood == pytest.approx(-best.fun, rel=1e-8)
    assert fit.coefficient == pytest.approx(best.x, abs=2e-4)
    h = 1e-4
    for j in range(2):
        step = h * np.eye(2)[j]
        at = [log_likelihood(fit.coefficient + k * step, time, failed, entry, stratum, x) for k in (-1, 0, 1)]
        information = -(at[0] - 2 * at[1] + at[2]) / h**2
        assert np.linalg.inv(fit.covariance)[j, j] == pytest.approx(information, rel=1e-3)


def test_twins_in_one_cluster_widen_the_error_by_clusters_only():
    # every life twice: the information doubles, the sandwich by twins stays that of the single lives (exactly, without
    # ties: the twins' ages are set apart by less than any other gap)
    rng = np.random.default_rng(4)
    n = 80
    time, failed, x = rng.weibull(1.5, n), rng.random(n) < 0.7, rng.standard_normal((n, 1))
    one = cox_fit(risk_sets(time, failed, np.zeros(n), np.zeros(n, dtype=int)), x, np.arange(n))
    twice = cox_fit(
        risk_sets(np.tile(time, 2), np.tile(failed, 2), np.zeros(2 * n), np.repeat([0, 1], n)),
        np.tile(x, (2, 1)), np.tile(np.arange(n), 2),
    )  # fmt: skip
    assert twice.covariance[0, 0] == pytest.approx(one.covariance[0, 0] / 2, rel=1e-6)
    assert twice.robust[0, 0] == pytest.approx(one.robust[0, 0], rel=1e-6)


def asked(plant, covariates, **more):
    n = len(plant.age)
    columns = {"entry_h": np.zeros(n), "stratum": plant.period, "asset": plant.position, "position": plant.position}
    return life_regression(time_h=plant.age, failed=plant.failed, covariates=covariates, **{**columns, **more})


PLANT = renewals(np.random.default_rng(1), positions=150, shape=1.5, watch=3.0)
N = len(PLANT.age)


@pytest.mark.parametrize("name", ["date", "year", "fitted_at", "fitted_month", "order"])
def test_dates_years_and_orders_are_refused(name):
    with pytest.raises(CannotEvaluate, match="no covariate") as refused:
        number(name, np.zeros(3))
    assert refused.value.field == "covariates"


def test_two_names_for_one_thing_cannot_be_told_apart():
    rng = np.random.default_rng(2)
    crew = rng.integers(0, 3, N)
    both = [kind(name, crew, ["A", "B", "C"], PLANT.failed) for name in ("installer", "manufacturer")]
    found = asked(PLANT, [*both, number("speed", rng.standard_normal(N))])
    assert [one.held for one in found.items] == ["not_separable", "not_separable", None]
    assert found.items[0].verdict(None) == "not_separable"
    within = asked(PLANT, [number("speed", PLANT.period.astype(float))])
    assert within.items[0].held == "not_separable"  # it is the stratum


def test_a_covariate_of_few_positions_is_too_few():
    few = renewals(np.random.default_rng(3), positions=60, shape=1.5, watch=4.0)
    load = np.random.default_rng(4).standard_normal(60)[few.position]
    found = asked(few, [number("radial_load", load)]).items[0]
    assert (found.held, found.of_position) == ("too_few", True)
    assert asked(few, [number("fit", np.random.default_rng(5).standard_normal(len(few.age)))]).items[0].held is None


def test_ten_failures_are_needed_for_each_number():
    few = renewals(np.random.default_rng(3), positions=4, shape=1.5, watch=2.0)
    columns = np.random.default_rng(5).standard_normal((len(few.age), 2))
    found = asked(few, [number("fit", columns[:, 0]), number("speed", columns[:, 1])])
    assert found.failures < 20
    assert [(one.held, one.needed_failures) for one in found.items] == [("too_few", 20)] * 2


def test_a_covariate_with_all_failures_on_one_side_has_no_ratio_and_the_others_keep_theirs():
    rng = np.random.default_rng(6)
    mark = np.where(PLANT.failed, 0.0, (rng.random(N) < 0.5).astype(float))
    found = asked(PLANT, [number("mark", mark), number("speed", rng.standard_normal(N))])
    assert [one.held for one in found.items] == ["too_few", None]
    assert all(np.isfinite([one.lower, one.upper]).all() for one in found.items[1].ratios)


def test_a_true_ratio_is_found_and_its_limits_hold_it():
    # rates doubled by a mark: life x 2^(-1/shape)
    plant = renewals(
        np.random.default_rng(7), positions=300, shape=1.5, watch=3.0,
        factor=lambda _, __, begin: np.where((begin * 1000) % 1 > 0.5, 2 ** (-1 / 1.5), 1.0),
    )  # fmt: skip
    mark = ((plant.begin * 1000) % 1 > 0.5).astype(int)
    found = asked(plant, [kind("lubricant", mark, ["old", "new"], plant.failed)]).items[0]
    assert found.reference == "new"  # it has the more stays: its lives are shorter
    ratio = found.ratios[0]
    assert ratio.lower < 0.5 < ratio.upper and ratio.upper < 1
    assert found.verdict(found.p_value) == "differ" and found.power_for_doubling > 0.99


def test_a_ratio_that_changes_with_age_is_given_below_and_above_the_median():
    rng = np.random.default_rng(8)
    n = 1500
    mark = rng.integers(0, 2, n)
    life = np.where(mark == 1, rng.weibull(0.7, n), rng.weibull(3.0, n))  # early failures against wear-out
    zero = np.zeros(n, dtype=int)
    found = life_regression(
        time_h=life, failed=np.ones(n, dtype=bool), entry_h=np.zeros(n), stratum=zero, asset=np.arange(n) % 200,
        position=np.arange(n) % 200, covariates=[number("mark", mark.astype(float))],
    ).items[0]  # fmt: skip
    assert found.proportional.misfit
    assert found.proportional.below[0].lower > 1 > found.proportional.above[0].upper


def test_no_power_and_no_finding_is_too_few_not_no_difference():
    few = renewals(np.random.default_rng(9), positions=12, shape=1.5, watch=2.0)
    rare = np.zeros(len(few.age))
    rare[np.flatnonzero(few.failed)[:1]] = 1.0
    found = asked(few, [number("mark", rare)]).items[0]
    assert found.power_for_doubling < 0.2 and found.needed_failures > found.known
    assert (found.verdict(0.8), found.verdict(0.01)) == ("too_few", "differ")


def test_lives_with_an_unknown_covariate_are_left_out_and_counted():
    values = np.random.default_rng(10).standard_normal(N)
    values[:30] = np.nan
    found = asked(PLANT, [number("speed", values)])
    assert (found.left_out, found.lives, found.items[0].known) == (30, N - 30, N - 30)


def test_rare_kinds_are_taken_together():
    failed = np.ones(30, dtype=bool)
    code = np.array([0] * 10 + [1] * 12 + [2, 2, 3, 3, 4, 4] + [5, 5])
    found = kind("manufacturer", code, ["A", "B", "C", "D", "E", None], failed)
    assert (found.reference, found.labels) == ("B", ("A", "others"))
    assert found.columns.sum(axis=0)[1] != found.columns.sum(axis=0)[1]  # the two of unknown make are NaN
    assert np.isnan(found.columns[-2:]).all() and np.nansum(found.columns, axis=0).tolist() == [10, 6]


def test_a_window_has_a_place_inside_and_two_sides_outside():
    inside, outside = place_in_window("clearance_place", np.array([-0.2, 0.0, 0.4, 1.3, np.nan]))
    assert inside.columns[:4, 0].tolist() == [0, 0, 0.4, 1]
    assert outside.columns[:4].tolist() == [[1, 0], [0, 0], [0, 0], [0, 1]]
    assert np.isnan(outside.columns[4]).all() and np.isnan(inside.columns[4]).all()
    assert month_of_year(np.array([1, 7])).columns[:, 0] == pytest.approx([1, -1])


def test_the_order_of_rows_and_the_unit_of_time_change_nothing():
    rng = np.random.default_rng(12)
    speed, order = rng.standard_normal(N), rng.permutation(N)
    first = asked(PLANT, [number("speed", speed)]).items[0]
    second = life_regression(
        time_h=24 * PLANT.age[order], failed=PLANT.failed[order], entry_h=np.zeros(N), stratum=PLANT.period[order],
        asset=PLANT.position[order], position=PLANT.position[order], covariates=[number("speed", speed[order])],
    ).items[0]  # fmt: skip
    assert second.p_value == pytest.approx(first.p_value, rel=1e-9)
    assert second.proportional.p_value == pytest.approx(first.proportional.p_value, rel=1e-9)


def test_claims_hold_on_invented_plants():
    # in short; 4 errors of a share, so that 19 rows hardly ever raise a false alarm
    for row in regression.claims(plants=25, seed=2):
        below, above = (4 * max((p * (1 - p) / 25) ** 0.5, 0.5 / 25) for p in (row["least"], row["most"]))
        assert row["least"] - below <= row["share"] <= row["most"] + above, row


def test_a_covariate_on_record_of_no_life_leaves_the_others_theirs():
    rng = np.random.default_rng(4)
    n = 300
    x = rng.standard_normal(n)
    asked = [number("clearance", x), number("load", np.full(n, np.nan))]
    found = life_regression(
        time_h=rng.weibull(2, n) * np.exp(-0.5 * x), failed=np.ones(n, dtype=bool), entry_h=np.zeros(n),
        stratum=np.zeros(n, dtype=int), asset=np.arange(n), position=np.arange(n), covariates=asked,
    )  # fmt: skip
    assert (found.lives, found.left_out) == (n, 0)
    assert found.items[0].p_value is not None and found.items[0].ratios[0].lower > 1
    assert (found.items[1].held, found.items[1].reason) == ("too_few", "load is on record of no life")
