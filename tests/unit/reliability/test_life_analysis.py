"""The answer of a life analysis: members, honesty about little data, no estimate without a maximum."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import CannotEvaluate
from service.record import decoded, encoded
from service.reliability.life_analysis import GroupFacts, Options, life_analysis
from service.reliability.lives import Lives, lives, numbered
from service.units import Quantity
from tests.unit.reliability.published import published_lives


def analysed(data: Lives, options: Options | None = None, **facts):
    one = GroupFacts(**{"label": "22216 K", "stays": int(data.units[0])} | facts)
    return life_analysis(data, [one], options).record()["items"][0]


def codes(item) -> list[str]:
    return [one["code"] for one in item["warnings"]]


def test_bearing_cage_is_answered_with_counts_estimates_and_the_warning_that_it_is_extrapolated():
    # Meeker & Escobar 1998, ex. 8.16: shape 2.035, B10 3903 [2093, 22144]
    item = analysed(published_lives("bearing_cage"), Options(as_of=datetime(2026, 1, 1, tzinfo=UTC)))
    assert item["counts"] == {"stays": 1703, "failed": 6, "censored": 1697, "excluded": []}
    assert item["weibull"]["shape"]["estimate"] == pytest.approx(2.035, abs=5e-4)
    assert item["weibull"]["interval_kind"] == "likelihood_ratio"
    assert item["b10"]["estimate"] == Quantity("time", pytest.approx(3903, abs=0.5))
    assert item["b10"]["upper"] == Quantity("time", pytest.approx(22144, abs=0.5))
    assert item["mean"] is None and item["median"] is None  # the data end at 2050 h
    assert {"lower_limit_optimistic", "extrapolated_beyond_data"} <= set(codes(item))
    assert item["bound"] is None
    assert item["exposure"]["as_of"] == "2026-01-01T00:00:00.000000Z"


def test_mean_and_median_are_given_where_the_data_reach_them():
    # Lieblein & Zelen 1956: their own estimates 81.9 for the scale; median by the fit below the largest life
    item = analysed(published_lives("lieblein_zelen_ball_bearings"))
    assert item["mean"]["estimate"] == Quantity("time", pytest.approx(81.8783 * math.gamma(1 + 1 / 2.102059), rel=1e-5))
    expected = 81.8783 * math.log(2) ** (1 / 2.102059)
    assert item["median"]["estimate"] == Quantity("time", pytest.approx(expected, rel=1e-5))
    assert item["kaplan_meier"]["median"]["estimate"] == Quantity("time", 67.8)  # the 12th of 23


@pytest.mark.parametrize(
    ("time", "failed", "code"),
    [
        ([100, 200, 300], [False, False, False], "no_failures_bound_only"),
        ([100, 200, 300], [True, False, False], "few_failures"),
        ([300, 300, 200], [True, True, False], "no_estimate_exists"),
        ([300, 300], [True, True], "no_estimate_exists"),
    ],
)
def test_without_an_estimate_there_is_a_bound_that_names_its_assumed_shape(time, failed, code):
    item = analysed(lives(time, failed))
    assert (item["weibull"], item["b10"], item["mean"], item["median"]) == (None,) * 4
    assert item["bound"]["shape"] == 1.5 and "assumed" in item["bound"]["shape_origin"]
    assert [row["shape"] for row in item["bound"]["sensitivity"]] == [1.0, 1.5, 2.0, 3.0]
    assert code in codes(item)
    assert "1.5" in item["assumptions"][0]


def test_few_failures_mixed_designations_late_entry_and_condition_removals_are_said():
    data = lives([100, 200, 300, 400.0], [True, True, False, False], entry_h=[0, 50, 0, 0])
    item = analysed(data, condition_share=0.4, designations=2)
    assert [one["detail"][0] for one in item["warnings"] if one["code"] == "late_entry"] == ["1"]
    assert {
        "few_failures", "mixed_designations", "late_entry", "informative_censoring_possible", "lower_limit_optimistic",
    } <= set(codes(item))  # fmt: skip


def test_the_modified_estimate_is_an_option_and_lower():
    data = published_lives("bearing_cage")
    plain, modified = (analysed(data, Options(modified=one)) for one in (False, True))
    assert modified["weibull"]["shape"]["estimate"] < plain["weibull"]["shape"]["estimate"]
    assert modified["weibull"]["method"] == "modified_profile_likelihood"
    assert modified["weibull"]["interval_kind"] == "modified_likelihood_ratio"


def test_log_normal_limits_can_be_asked_for():
    # independent program: bearing cage, log-normal limits of the shape 1.0721 - 3.8639
    item = analysed(published_lives("bearing_cage"), Options(interval="log_normal"))
    assert item["weibull"]["shape"]["lower"] == pytest.approx(1.0721, abs=5e-5)
    assert item["weibull"]["shape"]["upper"] == pytest.approx(3.8639, abs=5e-5)


def test_a_rating_life_on_record_is_compared():
    item = analysed(published_lives("lieblein_zelen_ball_bearings"), rating_life_h=10.0)
    assert item["rated_life"]["ratio"]["estimate"] == pytest.approx(2.80694, rel=1e-5)
    assert analysed(published_lives("bearing_cage_cut200_zero_failures"), rating_life_h=10.0)["rated_life"] is None


@pytest.mark.parametrize(
    "options", [Options(interval="wald"), Options(level=1.0), Options(modified=True, interval="log_normal")]
)  # type: ignore[arg-type]
def test_what_does_not_exist_is_refused(options):
    with pytest.raises(CannotEvaluate):
        analysed(published_lives("bearing_cage"), options)


def test_labels_are_numbered_in_order_of_appearance():
    numbers, labels = numbered(["b", "a", "b", "c"])
    assert (numbers.tolist(), labels) == ([0, 1, 0, 2], ["b", "a", "c"])


life = st.tuples(st.integers(1, 2000), st.booleans(), st.integers(0, 1500)).map(
    lambda one: (one[0], one[1], min(one[2], one[0] - 1))
)


@given(st.lists(st.lists(life, min_size=1, max_size=15), min_size=1, max_size=5), st.booleans(), st.booleans())
@settings(max_examples=50, deadline=None)
def test_no_answer_ever_holds_a_number_that_is_none(groups, late, modified):
    flat = [(n, *one) for n, group in enumerate(groups) for one in group]
    number, time, failed, entry = zip(*flat, strict=True)
    data = lives(time, failed, entry_h=entry if late else None, group=number)
    facts = [GroupFacts(str(n), len(group), rating_life_h=500.0) for n, group in enumerate(groups)]
    answer = life_analysis(data, facts, Options(modified=modified))
    assert decoded(encoded(answer.record()))["items"]  # canonical JSON refuses NaN and infinity
    for item in answer.items:
        borrowed = "shape_borrowed" in {warned.code for warned in item.warnings}
        assert (item.weibull is None) != (item.bound is None) or (borrowed and item.failed < 5)
        if item.weibull:
            assert item.failed >= 2
            for one in (item.weibull.shape, item.weibull.scale_h, item.weibull.b10_h):
                assert (one.lower or 0) <= one.estimate <= (one.upper or np.inf)


def test_a_misfit_leads_with_the_survival_curve_and_marks_what_the_fit_gives():
    # a tenth of the bearings dies young: the Weibull shows it with 98 % probability at such numbers (simulated)
    rng = np.random.default_rng(4)
    life = np.where(rng.random(600) < 0.1, rng.uniform(10, 400, 600), rng.weibull(3, 600) * 20_000)
    item = analysed(lives(np.minimum(life, 25_000), life <= 25_000), rating_life_h=9000.0)
    assert item["goodness_of_fit"]["verdict"] == "misfit" and "weibull_misfit" in codes(item)
    assert item["weibull"]["not_supported"] and item["b10"]["not_supported"] and item["rated_life"]["not_supported"]
    read = item["kaplan_meier"]["b10"]["estimate"]
    assert item["detail"][0] == "10 % had failed by "
    assert item["detail"][1].value == pytest.approx(read.value, rel=0.005)  # said to three digits
    seen = sum(one["observed"] for one in item["goodness_of_fit"]["bins"])
    assert seen == item["counts"]["failed"]
    assert sum(one["expected"] for one in item["goodness_of_fit"]["bins"]) == pytest.approx(seen)  # O - E sums to zero


def test_a_fit_that_is_not_seen_to_miss_says_its_calibrated_lower_limit():
    item = analysed(published_lives("lieblein_zelen_ball_bearings"))
    assert item["goodness_of_fit"]["verdict"] == "no_evidence" and not item["b10"]["not_supported"]
    assert item["b10"]["lower_calibrated"].value < item["b10"]["lower"].value
    said = [part.value for part in item["detail"] if isinstance(part, Quantity)]
    exact = [item["b10"]["estimate"].value, item["b10"]["lower_calibrated"].value]
    assert said == pytest.approx(exact, rel=0.01)  # said to three digits
    assert said[1] <= exact[1], "a lower limit is never said higher than it is"
    assert item["b10"]["interval_kind"] == "likelihood_ratio" and item["mean"]["interval_kind"] == "log_normal"


def test_a_group_with_few_failures_borrows_the_shape_in_common_and_says_so():
    # three classes at the quantiles of one Weibull of shape 2, each with a scale of its own, censored at 1.2 of it
    life = (-np.log1p(-(np.arange(40) + 0.5) / 40)) ** 0.5
    parts = [(np.minimum(life, 1.2) * scale, life <= 1.2) for scale in (5000, 9000, 20_000)]
    parts.append((np.full(30, 700.0), np.arange(30) < 0))
    time, failed = (np.concatenate([one[n] for one in parts]) for n in (0, 1))
    group = np.repeat(range(4), [40, 40, 40, 30])
    facts = [GroupFacts(str(n), 40) for n in range(4)]
    items = life_analysis(lives(time, failed, group=group), facts).record()["items"]
    common = items[3]["shape_common"]
    assert common["may_serve_few"] and common["classes"] == 3
    assert (
        items[3]["bound"]["shape"] == common["shape"] and "in common to 3 groups" in items[3]["bound"]["shape_origin"]
    )
    assert "shape_borrowed" in codes(items[3]) and "shape_borrowed" not in codes(items[0])
    assert items[0]["bound"] is None
    given = life_analysis(lives(time, failed, group=group), facts, Options(assumed_shape=1.5)).record()["items"]
    assert given[3]["bound"]["shape"] == 1.5
