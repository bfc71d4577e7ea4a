"""The questions of the reliability engineer over HTTP: published lives go in as stays and come out as published.

Published values: Lieblein & Zelen 1956 (23 ball bearings), O'Connor 1985 with Meeker & Escobar 1998 (shock
absorbers, by mode), Meeker & Escobar 1998 ch. 16 (three systems), NIST/SEMATECH 8.2.3.4 (repairs), Kaplan-Meier of
Gehan 1965. Their units of use are taken for hours.
"""

import csv
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, sent, stay
from tests.api.samples.machines import fan
from tests.api.samples.orders import completion, opened, ready_to_complete

DATA = Path(__file__).parents[2] / "data" / "lives"
BEGIN = datetime(2000, 1, 1, tzinfo=UTC)


def table(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def moment(hours: float) -> str:
    return (BEGIN + timedelta(hours=hours)).isoformat()


def lives(name: str, **members: Any) -> list[dict[str, Any]]:
    """Each unit of a published set as a stay in a position of its own."""
    found = []
    for row in table(name):
        for copy in range(int(row["count"])):
            number = f"{len(found)}"
            failed = row["status"] == "failed"
            damage = {"mode_1": "wear", "mode_2": "corrosion"}.get(row.get("mode") or "")
            found.append(
                stay(
                    f"{name}-{number}",
                    asset=f"{name}-{number}",
                    installed_at=moment(0),
                    removed_at=moment(float(row["time"]) + 200_000 if failed else 100_000 + copy),
                    operating_hours=float(row["time"]),
                    end_type="failed" if failed else "removed_preventive",
                    inspected=True,
                    damage=damage if failed else None,
                    **members,
                )
            )
    return found


def items(client: Client, path: str) -> list[dict[str, Any]]:
    answer = client.get(path)
    assert answer.status_code == 200, answer.json
    found: list[dict[str, Any]] = answer.json["items"]
    return found


def value(quantity: dict[str, Any]) -> float:
    return float(quantity["value"])


def test_the_23_ball_bearings_come_out_as_published(client_on_each: Client) -> None:
    imported(client_on_each, *lives("lieblein_zelen_ball_bearings"))
    (item,) = items(client_on_each, "/v1/life-analysis")
    assert item["counts"] == {"stays": 23, "failed": 23, "censored": 0, "excluded": []}
    assert item["goodness_of_fit"]["verdict"] == "no_evidence" and len(item["goodness_of_fit"]["bins"]) == 3
    assert item["goodness_of_fit"]["p_value"] == pytest.approx(0.543, abs=5e-4)  # X2 1.2227 on 2 df, independent
    assert value(item["kaplan_meier"]["median"]["estimate"]) == 67.8  # the 12th of 23
    assert item["weibull"]["shape"]["estimate"] == pytest.approx(2.102, abs=5e-4)
    assert value(item["weibull"]["scale"]["estimate"]) == pytest.approx(81.9, abs=0.05)
    assert item["weibull"]["interval_kind"] == "likelihood_ratio"
    assert item["kaplan_meier"]["steps"] is None and item["bound"] is None
    (item,) = items(client_on_each, "/v1/life-analysis?steps=true&interval=log_normal&level=0.9")
    assert len(item["kaplan_meier"]["steps"]) == len({row["time"] for row in table("lieblein_zelen_ball_bearings")})
    assert (item["weibull"]["interval_kind"], item["weibull"]["level"]) == ("log_normal", 0.9)


def test_modes_of_damage_censor_each_other(client: Client) -> None:
    """Shock absorbers by mode: shape 3.3839 and scale 31205.8 of mode 1, 2.8222 and 40865.9 of mode 2 (computed)."""
    imported(client, *lives("shock_absorber"))
    by_mode = items(client, "/v1/life-analysis?group_by=damage")
    assert [item["group"] for item in by_mode] == ["corrosion", "wear"]
    fits = [(i["weibull"]["shape"]["estimate"], value(i["weibull"]["scale"]["estimate"])) for i in by_mode]
    assert fits[1] == pytest.approx((3.3839, 31205.8), rel=1e-4)
    assert fits[0] == pytest.approx((2.8222, 40865.9), rel=1e-4)
    (wear,) = items(client, "/v1/life-analysis?damage=wear")
    assert wear["weibull"] == by_mode[1]["weibull"]
    (both,) = items(client, "/v1/life-analysis")
    assert both["weibull"]["shape"]["estimate"] == pytest.approx(3.160470, rel=1e-5)


def test_survival_steps_are_those_of_the_6_mp_trial(client: Client) -> None:
    """S(6) 0.857, S(7) 0.807, S(10) 0.753, S(13) 0.690, S(16) 0.627, S(22) 0.538, S(23) 0.448."""
    imported(client, *lives("gehan_6mp"))
    (item,) = items(client, "/v1/life-analysis?steps=true")
    steps = [(value(one["age"]), one["survival"]) for one in item["kaplan_meier"]["steps"]]
    printed = [(6, 0.857), (7, 0.807), (10, 0.753), (13, 0.690), (16, 0.627), (22, 0.538), (23, 0.448)]
    assert steps == [(age, pytest.approx(survival, abs=5e-4)) for age, survival in printed]


def test_where_nothing_has_failed_there_is_a_bound_and_no_estimate(client: Client) -> None:
    """25 units x 1000 h, shape 1, 95 %: 8345 h."""
    sound = [
        stay(f"S-{n}", asset=f"A-{n}", operating_hours=1000, end_type="removed_preventive", inspected=True)
        for n in range(25)
    ]
    imported(client, *sound)
    (item,) = items(client, "/v1/life-analysis?assumed_shape=1")
    assert (item["weibull"], item["b10"]) == (None, None)
    assert value(item["bound"]["scale_lower"]) == pytest.approx(8345, abs=0.5)
    assert item["bound"]["shape_origin"] == "given in the query"
    assert [warning["code"] for warning in item["warnings"]] == ["no_failures_bound_only"]


def test_removals_that_nobody_looked_at_are_left_out_and_counted_or_counted_as_asked(client: Client) -> None:
    unseen = stay("S-2", position="drive", end_type="removed_other")
    imported(client, stay("S-1"), unseen, stay("S-3", asset="B", end_type="unknown"))

    def counts(query: str) -> tuple[int, int, dict[str, int]]:
        (item,) = items(client, f"/v1/life-analysis{query}")
        counted = item["counts"]
        return counted["failed"], counted["censored"], {e["reason"]: e["count"] for e in counted["excluded"]}

    assert counts("") == (1, 1, {"end_unknown": 1})
    assert counts("?count=excluded") == (1, 0, {"not_inspected": 1, "end_unknown": 1})
    assert counts("?count=failed") == (2, 0, {"end_unknown": 1})
    assert counts("?count=censored") == (1, 1, {"end_unknown": 1})


def test_a_group_of_which_nothing_is_left_is_listed_all_the_same(client: Client) -> None:
    imported(client, stay("S-1", end_type="unknown"))
    (item,) = items(client, "/v1/life-analysis?group_by=position")
    assert (item["group"], item["weibull"], item["kaplan_meier"]) == ("DRY-2-FAN / tail", None, None)
    assert [warning["code"] for warning in item["warnings"]] == ["no_lives"]
    assert items(client, "/v1/life-analysis?asset=NOBODY") == []


@pytest.mark.parametrize(
    ("keys", "labels"),
    [
        ("designation", ["22216 K/C3", "22216 K/C4"]),
        ("asset", ["DRY-2-FAN"]),
        ("position", ["DRY-2-FAN / drive", "DRY-2-FAN / tail"]),
        ("housing", ["516 inch"]),
        ("role", ["free"]),
        ("manufacturer", ["Maker A", "not stated"]),
        ("position,designation", ["DRY-2-FAN / drive / 22216 K/C4", "DRY-2-FAN / tail / 22216 K/C3"]),
    ],
)
def test_lives_are_grouped_by_what_is_asked(client: Client, keys: str, labels: list[str]) -> None:
    client.post("/v1/assets", fan(role="free"))
    imported(client, stay("S-1"), stay("S-2", position="drive", designation="22216 K/C4", manufacturer="Maker A"))
    assert [item["group"] for item in items(client, f"/v1/life-analysis?group_by={keys}")] == labels


def test_lives_are_held_against_the_rated_life_on_record(client: Client) -> None:
    client.post("/v1/assets", fan(tag="lieblein_zelen_ball_bearings-0", rated_life={"value": 20, "unit": "h"}))
    machines = [fan(tag=f"lieblein_zelen_ball_bearings-{n}", rated_life={"value": 20, "unit": "h"}) for n in range(23)]
    for machine in machines[1:]:
        client.post("/v1/assets", machine)
    imported(client, *lives("lieblein_zelen_ball_bearings"))
    (item,) = items(client, "/v1/life-analysis")
    assert value(item["rated_life"]["rating_life"]) == 20
    assert item["rated_life"]["ratio"]["estimate"] == pytest.approx(28.0694 / 20, rel=1e-4)


@pytest.mark.parametrize(
    "query",
    ["group_by=colour", "group_by=asset,asset", "level=0.2", "level=NaN", "count=all", "interval=exact",
     "assumed_shape=-1", "steps=yes", "damage=bad luck"],
)  # fmt: skip
def test_a_question_that_cannot_be_read_is_400(client: Client, query: str) -> None:
    refused = client.get(f"/v1/life-analysis?{query}")
    assert (refused.status_code, refused.json["code"]) == (400, "bad_parameter"), refused.json


def test_limits_that_do_not_exist_are_refused(client: Client) -> None:
    imported(client, *lives("lieblein_zelen_ball_bearings"))
    refused = client.get("/v1/life-analysis?method=modified&interval=log_normal")
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_interval")
    (item,) = items(client, "/v1/life-analysis?method=modified")
    assert item["weibull"]["shape"]["estimate"] < 2.1020


def recurring(ages: list[float], until: float, asset: str, *, scale: float = 1.0) -> list[dict[str, Any]]:
    """A position whose bearings failed at these ages, in hours from the beginning, and that ended at ``until``."""
    edges = [0.0, *ages]
    found = [
        stay(f"{asset}-{n}", asset=asset, installed_at=moment(a * scale), removed_at=moment(b * scale))
        for n, (a, b) in enumerate(pairwise(edges))
    ]
    last = {"installed_at": moment(edges[-1] * scale), "removed_at": moment(until * scale)}
    return [*found, stay(f"{asset}-last", asset=asset, **last, end_type="lost_to_follow_up")]


def test_the_three_systems_recur_as_published(client_on_each: Client) -> None:
    """Mean cumulative number 1/3, 2/3, 4/3, 11/6 at 1, 5, 8, 16; robust variance 2/27, 2/27, 8/27, 163/216."""
    systems: dict[str, list[float]] = {}
    ends: dict[str, float] = {}
    for row in table("mcf_three_systems"):
        if row["event"] == "end":
            ends[row["system"]] = float(row["time"])
        else:
            systems.setdefault(row["system"], []).append(float(row["time"]))
    for name, until in ends.items():
        imported(client_on_each, *recurring(systems.get(name, []), until, f"SYS-{name}"))
    answer = client_on_each.get("/v1/recurrence?event=failure").json
    assert answer["trend"]["verdict"] == "too_few" and answer["points"] == "thinned"
    steps = [(value(one["age"]), one["mean_cumulative_number"]) for one in answer["mean_cumulative_number"]]
    expected = [(1, 1 / 3), (5, 2 / 3), (8, 4 / 3), (16, 11 / 6)]
    assert steps == [(pytest.approx(age), pytest.approx(mean)) for age, mean in expected]
    assert (answer["positions"], answer["events"]) == (3, sum(map(len, systems.values())))
    same = client_on_each.get("/v1/recurrence?event=replacement").json
    assert same["mean_cumulative_number"] == answer["mean_cumulative_number"]


def test_the_repairs_of_nist_get_better(client: Client) -> None:
    """NIST/SEMATECH 8.2.3.4: 10 repairs, MIL-HDBK-189 chi-square 37.23; from memory."""
    ages = [float(row["time"]) for row in table("nist_trend_10_repairs") if row["event"] != "end"]
    until = max(float(row["time"]) for row in table("nist_trend_10_repairs"))
    imported(client, *recurring(ages, until, "NIST"))
    position = client.get("/v1/assets").json["items"][0]["shafts"][0]["positions"][0]["id"]
    answer = client.get(f"/v1/positions/{position}/recurrence?event=failure").json
    assert (answer["group"], answer["events"]) == ("NIST / tail", 10)
    assert answer["trend"]["mil_hdbk_189"]["statistic"] == pytest.approx(37.23, abs=0.005)
    assert "One position alone" in " ".join(answer["assumptions"])
    picture = client.get(f"/v1/positions/{position}/recurrence", headers={"Accept": "image/svg+xml"})
    assert "NIST / tail" in picture.text


def test_no_trend_is_told_from_three_events(client: Client) -> None:
    imported(client, *recurring([10, 20, 40], 100, "FEW"))
    answer = client.get("/v1/recurrence?event=failure").json
    assert (answer["trend"]["laplace"], answer["trend"]["verdict"]) == (None, "too_few")
    assert answer["trend"]["p_value"] is None, "three lives come in six orders: p cannot be below a third"


def test_a_position_that_was_never_replaced_has_an_empty_curve(client: Client) -> None:
    imported(client, running("S-1"))
    answer = client.get("/v1/recurrence").json
    assert (answer["events"], answer["mean_cumulative_number"], answer["trend"]["verdict"]) == (0, [], "too_few")
    picture = client.get("/v1/recurrence", headers={"Accept": "image/svg+xml"})
    assert "No replacements on record." in picture.text


def test_a_ranking_of_alike_positions_says_that_there_is_no_evidence(client: Client) -> None:
    for number in range(6):
        imported(client, *recurring([1000 + number, 2000, 3100 - number], 4000, f"A-{number}"))
    answer = client.get("/v1/replacement-ranking?top=2").json
    assert (answer["spread"]["verdict"], answer["groups"], len(answer["items"])) == ("too_few", 6, 2)
    assert "failures in all would show half of the positions failing twice as often" in answer["spread"]["detail"]
    assert answer["verdict"] == "too_few" and "failures in all would show" in answer["detail"]
    assert "because" not in str(answer) and "do not differ" not in str(answer)
    assert sum(i["observed"] for i in client.get("/v1/replacement-ranking").json["items"]) == 18


@pytest.mark.parametrize(
    "path",
    ["replacement-ranking", "early-failures", "life-comparison", "life-comparison?group_by=fitted_month",
     "mounting-quality", "life-regression", "life-change?at=2020-01-01T00:00:00Z", "replacement-forecast"],
)  # fmt: skip
def test_without_a_life_there_is_nothing_to_rank(client: Client, path: str) -> None:
    refused = client.get(f"/v1/{path}")
    assert (refused.status_code, refused.json["code"]) == (422, "no_lives")


@pytest.mark.parametrize("by", ["position", "shaft", "asset", "designation", "manufacturer", "installer", "work_order",
                                "window"])  # fmt: skip
def test_early_failures_are_those_within_the_window(client: Client, by: str) -> None:
    for number in range(3):
        imported(client, *recurring([100, 5000], 9000, f"A-{number}"))
    answer = client.get(f"/v1/early-failures?group_by={by}&within_h=100").json
    assert sum(item["observed"] for item in answer["items"]) == 3
    assert sum(item["expected"] for item in answer["items"]) == pytest.approx(3)


def test_a_replacement_age_needs_both_costs_and_a_shape_above_one(client: Client) -> None:
    """Optimum over the scale at shape 2 and a cost ratio of 5: 0.5107 (Barlow & Proschan 1965, computed)."""
    imported(client, *lives("lieblein_zelen_ball_bearings"))
    assert client.get("/v1/replacement-age?failure_cost=5").json["code"] == "bad_parameter"
    (item,) = items(client, "/v1/replacement-age?preventive_cost=1&failure_cost=5")
    age = item["replacement_age"]
    assert (age["verdict"], age["cost_ratio"], age["level"]) == ("worth_it", 5, 0.9)
    # 90 %: age 41.15 (35.2 to 50.8), relative cost 0.698 (0.586 to 0.859): an independent program
    assert value(age["age"]["estimate"]) == pytest.approx(41.15, rel=3e-4)
    assert value(age["age"]["upper"]) == pytest.approx(50.8, rel=3.5e-3)
    assert age["relative_cost"]["upper"] == pytest.approx(0.859, abs=6e-4)
    assert 0.45 < value(age["age"]["estimate"]) / value(item["weibull"]["scale"]["estimate"]) < 0.55
    (item,) = items(client, "/v1/replacement-age?preventive_cost=5&failure_cost=5")
    assert item["replacement_age"]["verdict"] == "not_worth_it"


def test_a_bearing_fitted_by_an_order_is_in_the_history_with_its_window_and_its_fitter(client: Client) -> None:
    order = opened(client)
    assert ready_to_complete(client, order["id"]) == []
    removed = {"end_type": "failed", "damage": [{"code": "wear"}]}
    done = client.post(f"/v1/work-orders/{order['id']}/completion", completion(removed=removed))
    assert done.status_code == 201, done.json
    answer = client.get("/v1/early-failures?group_by=installer")
    assert [item["group"] for item in answer.json["items"]] == ["A. Fitter"]
    window = client.get("/v1/mounting-quality").json["items"][0]
    assert sum(one["stays"] for one in window["bins"]) == 1
    readings = client.get("/v1/reading-quality").json
    assert readings["readings"] == 2 and readings["digit_preference"]["verdict"] == "not_enough_data"


def test_life_is_compared_by_the_fit_of_the_shaft_within_each_designation(client_on_each: Client) -> None:
    """Loose shafts fail at 100 ... 1000 h, tight ones from 5000 h on; another bearing lives otherwise and counts apart.

    By hand, of one designation: at the k-th failure 10 - k of the 20 - k under observation are loose.
    """
    limits = {"shaft_min_mm": 68.1609, "shaft_max_mm": 68.2625}
    stays = []
    for designation, scale in (("22216 K/C3", 1), ("22218 K/C3", 1.37)):
        for diameter, hours in ((68.16, range(100, 1100, 100)), (68.25, range(5000, 6000, 100))):
            for age in hours:
                name = f"{designation}-{age}"
                life = {"installed_at": moment(0), "removed_at": moment(age * scale), "operating_hours": age * scale}
                place = {"position": name, "designation": designation}
                stays.append(stay(name, **place, **life, **limits, shaft_diameter_mm=diameter))
    stays += [running(f"no-{n}", position=f"no-{n}", installed_at=moment(0)) for n in range(3)]
    imported(client_on_each, *stays)
    fit = client_on_each.get("/v1/mounting-quality").json["items"][2]
    loose = 2 * sum((10 - k) / (20 - k) for k in range(10))
    assert (fit["name"], fit["verdict"], fit["flagged"]) == ("fit", "differ", True)
    assert [one["bin"] for one in fit["bins"]] == ["below_limits", "lower_half", "upper_half", "above_limits"]
    assert [one["stays"] for one in fit["bins"]] == [one["observed"] for one in fit["bins"]] == [20, 0, 20, 0]
    assert [one["expected"] for one in fit["bins"]] == pytest.approx([loose, 0, 40 - loose, 0])
    assert fit["log_rank"]["degrees_of_freedom"] == 1 and fit["trend"]["z"] < 0


def test_bearings_of_one_installer_that_fail_early_are_found_in_an_imported_history(client_on_each: Client) -> None:
    stays = []
    for n in range(40):
        hours = 300 if n < 10 else 20_000 + n
        who = "C. Third" if n < 10 else f"Fitter {n % 3}"
        life = {"installed_at": moment(0), "removed_at": moment(hours), "operating_hours": hours, "installed_by": who}
        stays.append(stay(f"S-{n}", position=f"p{n}", **life))
    imported(client_on_each, *stays)
    answer = client_on_each.get("/v1/early-failures?group_by=installer&within_h=1000").json
    assert answer["named"] == ["C. Third"] and answer["verdict"] == "worse" and answer["family"] == 4
    first = answer["items"][0]
    assert first["detail"].startswith(
        "More of the bearings fitted by C. Third failed within 1000 h than of others of the"
    )
    assert first["keys"] == {"installer": "C. Third"} and first["largest_asset"]["observed"] == 10
    assert sum(item["observed"] for item in answer["items"]) == 10


def test_a_site_sees_its_own_history_alone(app_on_each: Flask, client_of: ClientMaker) -> None:
    imported(client_of(app_on_each, "ALDER"), *lives("lieblein_zelen_ball_bearings"))
    other = client_of(app_on_each, "BIRCH")
    assert items(other, "/v1/life-analysis") == []
    assert sent(other, stay()).status_code == 200
    (item,) = items(other, "/v1/life-analysis")
    assert item["counts"]["stays"] == 1


def test_answers_come_in_the_units_asked_for_hours_being_hours(client: Client) -> None:
    imported(client, *lives("lieblein_zelen_ball_bearings"))
    inch, metric = (items(client, f"/v1/life-analysis?units={units}") for units in ("inch", "metric"))
    assert inch[0]["b10"] == metric[0]["b10"]


def test_pictures_of_several_groups_ask_which(client: Client) -> None:
    svg = {"Accept": "image/svg+xml"}
    imported(client, stay("S-1"), stay("S-2", position="drive"))
    refused = client.get("/v1/life-analysis?group_by=position", headers=svg)
    assert refused.json["code"] == "too_many_groups" and "DRY-2-FAN / tail" in refused.json["detail"]
    one = client.get("/v1/life-analysis?group_by=position&group=DRY-2-FAN / tail&picture=survival", headers=svg)
    assert one.status_code == 200 and "Survival: DRY-2-FAN / tail" in one.text
    assert client.get("/v1/life-analysis?group=nobody", headers=svg).json["code"] == "no_lives"
