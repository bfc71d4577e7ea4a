"""What the verdicts say over HTTP in plants in which something is planted, or nothing; and what filters leave alone.

Expected values are those of the plants (what was planted is named, what was not is not), counts by hand, or published.
"""

import random
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest

from tests.api.lives.test_reliability import lives, value
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay

BEGIN = datetime(2010, 1, 1, tzinfo=UTC)
END = datetime(2020, 1, 1, tzinfo=UTC)
OUTCOMES = {"worse", "better", "differ", "misfit", "no_evidence", "too_few", "not_separable"}


def at(hours: float) -> str:
    return (BEGIN + timedelta(hours=hours)).isoformat()


def plant(positions: int = 40, seed: int = 1, *, life_of: Any = None) -> list[dict[str, Any]]:
    """Bearings of shape 2 and scale 15,000 h, one after the other for ten years; makers and crews by chance.

    ``life_of`` makes of a bearing's facts the factor of its life.
    """
    chance, stays = random.Random(seed), []
    for n in range(positions):
        fitted = chance.random() * 8000
        for k in range(100):
            facts = {
                "installed_by": f"crew {chance.randrange(4)}",
                "manufacturer": f"Maker {'ABC'[chance.randrange(3)]}",
                "fitted": BEGIN + timedelta(hours=fitted),
                "position": n,
            }
            factor = 1.0 if life_of is None else life_of(facts)
            end = fitted + max(chance.weibullvariate(15_000, 2) * factor, 24)
            name = {"asset": f"A-{n // 2:03d}", "position": f"p{n % 2}", "external_id": f"S-{n}-{k}"}
            fixed = {**name, "installed_by": facts["installed_by"], "manufacturer": facts["manufacturer"]}
            if BEGIN + timedelta(hours=end) >= END:
                stays.append(running(**fixed, installed_at=at(fitted), as_of=END.isoformat()))
                break
            stays.append(stay(**fixed, installed_at=at(fitted), removed_at=at(end), inspected=True))
            fitted = end + 1
    return stays


def answered(client: Client, path: str) -> dict[str, Any]:
    answer = client.get(f"/v1/{path}")
    assert answer.status_code == 200, answer.json
    found: dict[str, Any] = answer.json
    return found


@pytest.fixture
def quiet(client: Client) -> Client:
    """A plant in which nothing is the matter."""
    imported(client, *plant())
    return client


QUESTIONS = ("replacement-ranking", "replacement-ranking?by=asset", "early-failures?within_h=5000&group_by=installer",
             "life-comparison?group_by=installer", "life-comparison?group_by=manufacturer,fitted_quarter",
             "life-comparison?group_by=work_order", "life-comparison?group_by=fitted_year",
             "life-comparison?group_by=designation", "recurrence", "life-change?at=2015-01-01T00:00:00Z",
             "life-regression?covariates=installer,manufacturer", "mounting-quality")  # fmt: skip


def sentences(node: Any) -> list[str]:
    """Every detail of an answer."""
    if isinstance(node, dict):
        return [node["detail"] for _ in range("detail" in node)] + [
            each for one in node.values() for each in sentences(one)
        ]
    return [each for one in node for each in sentences(one)] if isinstance(node, list) else []


def verdicts(node: Any) -> list[dict[str, Any]]:
    """Every member that carries a verdict."""
    if isinstance(node, dict):
        return [node] * ("adjusted_p" in node) + [each for one in node.values() for each in verdicts(one)]
    return [each for one in node for each in verdicts(one)] if isinstance(node, list) else []


def test_a_quiet_plant_is_claimed_nothing_of_and_is_told_what_would_have_shown(quiet: Client) -> None:
    for question in QUESTIONS:
        answer = answered(quiet, question)
        for one in verdicts(answer):
            assert one["verdict"] in OUTCOMES - {"worse", "better", "differ", "misfit"}, (question, one)
            assert one["p_value"] is None or 1e-12 <= one["p_value"] <= one["adjusted_p"] <= 1
        for said in sentences(answer):
            for never in ("because", "do not differ", "risk factor", "the machine ", "p = 0 "):
                assert never not in said, (question, said)


def test_a_flag_does_not_change_with_a_filter(client: Client) -> None:
    """P3: what is asked of is the whole site; filters choose what is shown of it."""
    imported(client, *plant(60, life_of=lambda facts: 0.2 if facts["position"] == 7 else 1.0))
    kept = ("observed", "expected", "flagged", "p_value", "adjusted_p", "detail")
    for question in ("replacement-ranking", "early-failures?group_by=installer&within_h=4000",
                     "life-comparison?group_by=asset"):  # fmt: skip
        joined = "&" if "?" in question else "?"
        whole = answered(client, f"{question}{joined}top=1000")
        by_group = {item["group"]: {name: item[name] for name in kept} for item in whole["items"]}
        assert len(by_group) == whole["groups"]
        for narrow in ("asset=A-003", "position=p1", "manufacturer=Maker A", "from=2015-01-01T00:00:00Z", "top=3"):
            some = answered(client, f"{question}{joined}{narrow}")
            assert 0 < len(some["items"]) <= len(by_group)
            assert {name: some[name] for name in ("verdict", "family", "p_value")} == {
                name: whole[name] for name in ("verdict", "family", "p_value")
            }
            for item in some["items"]:
                assert {name: item[name] for name in kept} == by_group[item["group"]]
    shown = answered(client, "replacement-ranking?asset=A-003")["items"]
    assert [item["asset"] for item in shown] == ["A-003", "A-003"]
    assert [item["flagged"] for item in shown if item["position"] == "p1"] == [True]
    (machine, *_) = answered(client, "replacement-ranking?by=asset")["items"]
    assert (machine["group"], machine["position"], machine["flagged"]) == ("A-003", None, True)


def test_what_a_class_expects_sums_to_what_was_seen(quiet: Client) -> None:
    for question in ("replacement-ranking?top=1000", "life-comparison?group_by=installer",
                     "early-failures?group_by=manufacturer&within_h=9000"):  # fmt: skip
        items = answered(quiet, question)["items"]
        assert sum(item["expected"] for item in items) == pytest.approx(sum(item["observed"] for item in items))


def test_a_bad_crew_is_named_alone(client_on_each: Client) -> None:
    """Six of ten fittings of one crew last a third as long, as in the powers promised for one crew."""
    chance = random.Random(3)

    def life_of(facts: dict[str, Any]) -> float:
        return 0.35 if facts["installed_by"] == "crew 2" and chance.random() < 0.6 else 1.0

    imported(client_on_each, *plant(60, life_of=life_of))
    answer = answered(client_on_each, "life-comparison?group_by=installer")
    assert (answer["verdict"], answer["named"]) == ("worse", ["crew 2"])
    assert answer["detail"] == ("More failures than others of the same designation fitted in the same period: crew 2.")
    makers = answered(client_on_each, "life-comparison?group_by=manufacturer")
    assert makers["named"] == []
    item = next(
        one for one in answered(client_on_each, "life-regression?covariates=installer,manufacturer")["items"]
        if one["name"] == "installer"
    )  # fmt: skip
    assert item["verdict"] == "differ" and "ratio of failure rates" in item["detail"]
    of_crew = {ratio["label"]: ratio["lower"] for ratio in item["ratios"]}
    if item["reference"] != "crew 2":
        assert of_crew["crew 2"] > 1


def test_a_bad_batch_is_named_with_its_months(client: Client) -> None:
    """Bearings of Maker C fitted from March to August 2013 last a fifth as long."""

    def life_of(facts: dict[str, Any]) -> float:
        bad = facts["manufacturer"] == "Maker C" and datetime(2013, 3, 1, tzinfo=UTC) <= facts["fitted"]
        return 0.2 if bad and facts["fitted"] < datetime(2013, 9, 1, tzinfo=UTC) else 1.0

    imported(client, *plant(160, life_of=life_of))
    answer = answered(client, "life-comparison?group_by=manufacturer,fitted_month")
    (item, *_) = answer["items"]
    assert item["flagged"] and item["keys"]["manufacturer"] == "Maker C" and answer["named"][0] == item["group"]
    months = item["keys"]["fitted_month"]
    assert item["group"] == f"Maker C / {months['from']}..{months['to']}"
    assert "2012-12" <= months["from"] <= "2013-08" and "2013-03" <= months["to"] <= "2013-12"
    year = answered(client, "life-comparison?group_by=manufacturer,fitted_year")
    assert year["named"] == ["Maker C / 2013"] and year["items"][0]["keys"]["fitted_year"] == "2013"


def test_lives_that_fall_are_a_trend_and_the_reverse_is_none(client: Client) -> None:
    """Life falls to a third over the ten years."""

    def life_of(facts: dict[str, Any]) -> float:
        return float(3 ** (-(facts["fitted"] - BEGIN).days / 3652))

    imported(client, *plant(120, life_of=life_of))
    trend = answered(client, "recurrence")["trend"]
    assert (trend["verdict"], trend["test"]) == ("worse", "order_within_positions")
    assert trend["detail"].startswith("Later bearings in the same positions last less long than earlier ones")
    change = trend["life_change_per_year"]
    assert change["lower"] < 3**-0.1 - 1 < change["upper"], "a third in ten years"
    after = answered(client, "life-change?at=2015-01-01T00:00:00Z")
    assert after["verdict"] == "worse" and "failed at a higher rate than before" in after["detail"]
    assert after["ageing_after"] is None and "times" not in after["detail"]


def test_how_fast_bearings_age_after_a_date_is_told_when_asked(client: Client) -> None:
    """From 2015 on bearings last half as long: they age twice as fast."""

    def life_of(facts: dict[str, Any]) -> float:
        return 0.5 if facts["fitted"] >= datetime(2015, 1, 1, tzinfo=UTC) else 1.0

    imported(client, *plant(60, life_of=life_of))
    answer = answered(client, "life-change?at=2015-01-01T00:00:00Z&ageing=true")
    ageing = answer["ageing_after"]
    assert answer["verdict"] == "worse" and ageing["lower"] < 2 < ageing["upper"]
    assert "times as fast" in answer["detail"]


@pytest.mark.parametrize("word", ["fitted_year", "date", "order", "installed_at"])
def test_dates_are_refused_as_covariates_with_the_reason(client: Client, word: str) -> None:
    refused = client.get(f"/v1/life-regression?covariates=manufacturer,{word}")
    assert (refused.status_code, refused.json["code"]) == (422, "cannot_evaluate")
    assert "no covariate" in refused.json["detail"] and "trend" in refused.json["detail"]


@pytest.mark.parametrize(
    ("path", "parameter"),
    [
        ("early-failures?by=position", "by"),
        ("replacement-ranking?group_by=position", "group_by"),
        ("replacement-ranking?by=crew", "by"),
        ("mounting-quality?level=0.9", "level"),
        ("mounting-quality?stratify_by=role", "stratify_by"),
        ("life-comparison?group_by=fitted_month,fitted_year", "group_by"),
        ("life-comparison?group_by=colour", "group_by"),
        ("life-comparison?within_h=100", "within_h"),
        ("life-analysis?count=degraded", "count"),
        ("life-analysis?from=yesterday", "from"),
        ("life-regression?covariates=colour", "covariates"),
        ("life-change", "at"),
        ("life-change?at=2015-01-01", "at"),
        ("replacement-forecast?damage=wear", "damage"),
        ("replacement-forecast?months=0", "months"),
    ],
)
def test_what_does_nothing_or_does_not_exist_is_refused_by_its_name(client: Client, path: str, parameter: str) -> None:
    refused = client.get(f"/v1/{path}")
    assert refused.status_code == 400 and refused.json["code"] in ("bad_parameter", "unknown_parameter")
    assert [fault["parameter"] for fault in refused.json["errors"]] == [parameter]


def test_the_level_acts_on_the_limits_that_are_given(quiet: Client) -> None:
    for path, limits in (
        ("replacement-ranking", lambda answer: answer["items"][0]["ratio"]),
        ("replacement-ranking", lambda answer: answer["items"][0]["shrunk_ratio"]),
        ("life-comparison?group_by=installer", lambda answer: answer["items"][0]["ratio"]),
        ("recurrence", lambda answer: answer["trend"]["life_change_per_year"]),
        ("life-regression?covariates=manufacturer", lambda answer: answer["items"][0]["ratios"][0]),
        ("replacement-forecast", lambda answer: answer["total"]["failures"]),
    ):
        joined = "&" if "?" in path else "?"
        narrow, wide = (limits(answered(quiet, f"{path}{joined}level={level}")) for level in (0.6, 0.99))
        assert narrow["upper"] - narrow["lower"] < wide["upper"] - wide["lower"], path


def test_the_curve_of_events_is_whole_when_asked_for(quiet: Client) -> None:
    thin, whole = (answered(quiet, f"recurrence?points={points}") for points in ("thinned", "all"))
    assert sum(one["events"] for one in thin["mean_cumulative_number"]) == thin["events"] == whole["events"]
    assert len(thin["mean_cumulative_number"]) <= 200
    assert thin["mean_cumulative_number"][-1]["mean_cumulative_number"] == pytest.approx(
        whole["mean_cumulative_number"][-1]["mean_cumulative_number"]
    )


def test_the_share_that_fails_by_a_mode_is_that_of_aalen_and_johansen(client_on_each: Client) -> None:
    """Shock absorbers at 20,000 km: mode 1 0.149747, mode 2 0.066500 (0.0115 to 0.1931), an independent program; 1 -
    Kaplan-Meier of mode 1 alone is 0.157389 and no share that fails."""
    imported(client_on_each, *lives("shock_absorber"))
    items = answered(client_on_each, "life-analysis?group_by=damage&steps=true")["items"]
    found = {}
    for item in items:
        shares = [one for one in item["cumulative_incidence"]["steps"] if value(one["age"]) <= 20_000]
        found[item["group"]] = (shares[-1]["share"], shares[-1]["lower"], shares[-1]["upper"])
        assert item["b10"]["condition"] == "if the other modes did not exist" and "did not exist" in item["detail"]
    assert found["wear"] == pytest.approx((0.149747, 0.0455, 0.3114), abs=6e-5)
    assert found["corrosion"] == pytest.approx((0.066500, 0.0115, 0.1931), abs=6e-5)
    (whole,) = answered(client_on_each, "life-analysis")["items"]
    assert whole["cumulative_incidence"] is None and whole["b10"]["condition"] is None


def test_failures_without_recorded_damage_are_shared_out_and_bounded(client: Client) -> None:
    """Ten failures, two of each fifth of ages: the first has one of the mode and one without record, which gets all of
    it; the second one of another mode and one without, which gets nothing; the third none recorded: 1 of 2."""
    damage = ["wear", None, "corrosion", None, None, None, "corrosion", "corrosion", "corrosion", "corrosion"]
    stays = [
        stay(f"S-{n}", asset=f"A-{n}", installed_at=at(0), removed_at=at(11_000), operating_hours=1000 * (n + 1),
             damage=damage[n], inspected=True)
        for n in range(10)
    ]  # fmt: skip
    imported(client, *stays)
    (item,) = answered(client, "life-analysis?damage=wear")["items"]
    assert item["counts"]["failed"] == round(1 + 1 + 0 + 2 / 6)
    hung = item["unrecorded_damage"]
    assert hung["unrecorded"] == 4
    assert (value(hung["worst"]["b10"]), value(hung["best"]["b10"])) == (1000, 1000)
    assert value(hung["worst"]["median"]) == 6000 and hung["best"]["median"] is None, "5 of 10, and 1 of 10 failed"
    assert "do not hold the doubt" in " ".join(answered(client, "life-analysis?damage=wear")["assumptions"])


def test_what_hangs_on_removals_that_nobody_looked_at_is_said(client: Client) -> None:
    """Ages 1 to 10 thousand hours, the one at 2 removed by plan and not looked at: the median is 5 or 6 (by hand)."""
    stays = []
    for n in range(10):
        ended = {"end_type": "removed_preventive"} if n == 1 else {"inspected": True}
        life = {"installed_at": at(0), "removed_at": at(11_000), "operating_hours": 1000 * (n + 1)}
        stays.append(stay(f"S-{n}", asset=f"A-{n}", **life, **ended))
    imported(client, *stays)
    (item,) = answered(client, "life-analysis")["items"]
    bounds = item["bounds"]
    assert (bounds["uninspected"], value(bounds["worst"]["median"]), value(bounds["best"]["median"])) == (1, 5000, 6000)
    assert value(item["kaplan_meier"]["median"]["estimate"]) == 6000, "by plan: counted as sound"
    warned = {one["code"]: one["detail"] for one in item["warnings"]}
    assert "nearer to the longer life" in warned["depends_on_uninspected"]
    (item,) = answered(client, "life-analysis?count=failed")["items"]
    assert value(item["kaplan_meier"]["median"]["estimate"]) == 5000


def test_a_forecast_of_a_steady_plant_holds_what_it_replaced_before(client_on_each: Client) -> None:
    """Forty positions that are renewed every 13,293 h on average (15,000 h times the gamma function of 1.5)."""
    imported(client_on_each, *plant(40))
    answer = answered(client_on_each, "replacement-forecast?months=24")
    total = answer["total"]["replacements"]
    steady = 40 * 2 * 8766 / 13_293
    assert total["lower"] <= steady <= total["upper"]
    assert answer["as_of"].startswith("2020-01-01") and answer["total"]["running"] == 40
    assert "40" not in answer["items"][0]["detail"] and answer["items"][0]["detail"].count("24 months") == 2
    assert answer["items"][0]["goodness_of_fit"]["verdict"] == "no_evidence"


def test_a_forecast_of_a_misfit_leads_with_what_was_seen(client: Client) -> None:
    """A fifth of all bearings lasts a twentieth as long."""
    chance = random.Random(8)
    imported(client, *plant(80, life_of=lambda _: 0.05 if chance.random() < 0.2 else 1.0))
    answer = answered(client, "replacement-forecast")
    (item,), total = answer["items"], answer["total"]
    assert total["not_supported"] and total["detail"] == item["detail"]
    assert item["not_supported"] and item["goodness_of_fit"]["verdict"] == "misfit"
    assert item["detail"].startswith(f"{item['seen_before']['replacements']} were replaced in the 12 months before.")
    (age,) = answered(client, "replacement-age?preventive_cost=1&failure_cost=9")["items"]
    assert age["replacement_age"]["verdict"] == "no_evidence" and age["replacement_age"]["not_supported"]
    assert age["replacement_age"]["detail"].startswith("10 % had failed by ")


def test_two_bearings_of_one_day_of_work_are_too_few_and_said_to_be(client: Client) -> None:
    stays = plant(40)
    for one, other in pairwise(stays[::2]):
        one["work_order"] = other["work_order"] = f"WO-{one['external_id']}"
    imported(client, *stays)
    answer = answered(client, "early-failures?group_by=work_order&within_h=2000")
    assert answer["verdict"] == "too_few" and answer["named"] == []
    small = [item for item in answer["items"] if item["stays"] <= 2]
    assert small and all("one day of work can hardly show" in item["detail"] for item in small)


def test_filters_show_their_part_of_each_bin_and_leave_the_verdict(client: Client) -> None:
    stays = plant(40)
    for n, one in enumerate(stays):
        one |= {"residual_clearance_mm": round(0.05 + n % 40 / 1000, 3), "window_min_mm": 0.056, "window_max_mm": 0.08}
    imported(client, *stays)
    whole, some = (answered(client, f"mounting-quality{query}")["items"][0] for query in ("", "?asset=A-004"))
    assert {**whole, "bins": None} == {**some, "bins": None}
    assert all(one["shown"] is None for one in whole["bins"])
    mine = sum(one["asset"] == "A-004" for one in stays)
    assert sum(one["shown"]["stays"] for one in some["bins"]) == mine
    every = answered(client, "mounting-quality?designation=22216 K/C3")["items"][0]["bins"]
    for one in every:
        assert one["shown"]["expected"] == pytest.approx(one["expected"]) and one["shown"]["stays"] == one["stays"]
