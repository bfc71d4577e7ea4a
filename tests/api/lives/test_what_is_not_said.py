"""Plants in which nothing is the matter but the record: over HTTP, nothing may be claimed of them.

What is planted is named in each test; an answer to a question about nothing claims something in at most 5 of 100.
"""

import random
from datetime import timedelta
from typing import Any

import pytest

from tests.api.lives.test_verdicts import BEGIN, END, answered, at, plant, verdicts
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay

CLAIMS = {"worse", "better", "differ", "misfit"}
MIDDLE = BEGIN + (END - BEGIN) / 2


def claimed(client: Client, *paths: str) -> list[str]:
    """The questions of which something is claimed."""
    return [path for path in paths if any(one["verdict"] in CLAIMS for one in verdicts(answered(client, path)))]


def test_a_batch_that_is_read_off_broken_bearings_only_blames_no_batch(client: Client) -> None:
    """Nobody writes the batch of a bearing down until it has failed: every batch on record has failed at once."""
    chance, stays = random.Random(5), plant(60)
    for one in stays:
        if one["end_type"] == "failed":
            one["batch"] = f"B{chance.randrange(3)}"
    imported(client, *stays)
    assert claimed(client, "life-comparison?group_by=batch", "early-failures?group_by=batch&within_h=9000") == []
    answer = answered(client, "life-comparison?group_by=batch")
    failed = sum(one["end_type"] == "failed" for one in stays)
    assert {item["group"] for item in answer["items"]} == {"B0", "B1", "B2"}
    assert sum(item["observed"] for item in answer["items"]) == failed
    assert (
        f"{len(stays) - failed} stays of which batch is not on record are compared with none."
        in (answer["assumptions"])
    )
    analysis = answered(client, "life-analysis?group_by=batch")
    assert any("batch is on record of 100% of the bearings that came out and of 0%" in one
               for one in analysis["assumptions"])  # fmt: skip
    lines = client.get("/v1/life-comparison/lives?group_by=batch&limit=500").json["items"]
    assert {line["left_out"] for line in lines if line["group"] == "not stated"} == {"group_not_on_record"}
    assert answered(client, "life-comparison?group_by=lubricant")["verdict"] == "not_separable"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_designation_superseded_at_a_date_is_neither_trend_nor_change(client: Client, seed: int) -> None:
    """From 2015 on another designation is fitted, as good as the one before."""
    stays = plant(60, seed)
    for one in stays:
        if one["installed_at"] >= MIDDLE.isoformat():
            one["designation"] = "22216 K/C4"
    imported(client, *stays)
    day = MIDDLE.strftime("%Y-%m-%dT%H:%M:%SZ")
    assert claimed(client, "recurrence", "recurrence?designation=22216 K/C3", f"recurrence?to={day}",
                   f"life-change?at={day}", "life-comparison?group_by=fitted_year") == []  # fmt: skip


def test_a_limit_of_age_begun_half_way_is_neither_better_nor_worse(client: Client) -> None:
    """From 2015 on bearings are taken out at 9,000 h; how long they would have lasted has not changed."""
    chance, stays = random.Random(7), []
    for n in range(60):
        fitted = chance.random() * 8000
        for k in range(100):
            fails = fitted + max(chance.weibullvariate(15_000, 2), 24)
            middle = (MIDDLE - BEGIN).total_seconds() / 3600
            planned = max(fitted + 9_000, middle + 10 * n)
            end = min(fails, planned)
            name = {"asset": f"A-{n:03d}", "external_id": f"S-{n}-{k}", "installed_at": at(fitted)}
            if BEGIN + timedelta(hours=end) >= END:
                stays.append(running(**name, as_of=END.isoformat()))
                break
            how = {} if fails < planned else {"end_type": "removed_preventive"}
            stays.append(stay(**name, removed_at=at(end), inspected=True, **how))
            fitted = end + 1
    imported(client, *stays)
    day = MIDDLE.strftime("%Y-%m-%dT%H:%M:%SZ")
    assert claimed(client, "recurrence", f"life-change?at={day}", "life-comparison?group_by=fitted_month") == []
    trend = answered(client, "recurrence")["trend"]
    assert trend["verdict"] == "not_separable"
    assert "removals by plan became more frequent: later lives are cut short" in trend["detail"]


def test_what_was_replaced_counts_every_bearing_that_came_out(client: Client) -> None:
    """Thirty in the last year: ten failed, twenty were taken out on condition and nobody looked."""
    stays = plant(40)
    last = [one for one in stays if one["end_type"] == "failed" and one["removed_at"] >= "2019-01-01"]
    for one in last[10:]:
        one |= {"end_type": "removed_condition"}
        one.pop("inspected")
    imported(client, *stays)
    answer = answered(client, "replacement-forecast?months=12")
    (item,) = answer["items"]
    assert item["seen_before"] == {"failures": 10, "replacements": len(last)}
    assert f"{len(last)} were replaced in the 12 months before." in item["detail"]
    assert f"{len(last) - 10} of these ended in a way that the forecast leaves out." in item["detail"]


def test_spares_are_forecast_by_position_and_by_designation(client: Client) -> None:
    stays = plant(20)
    imported(client, *stays)
    by_position = answered(client, "replacement-forecast?group_by=position&months=24")
    assert len(by_position["items"]) == 20 and {item["running"] for item in by_position["items"]} == {1}
    assert by_position["total"] == answered(client, "replacement-forecast?months=24")["total"]
    middle = sum(item["replacements"]["median"] for item in by_position["items"])
    assert (
        0.5 * by_position["total"]["replacements"]["median"]
        < middle
        < 1.5 * by_position["total"]["replacements"]["upper"]
    )
    seen = sum(item["seen_before"]["replacements"] for item in by_position["items"])
    two_years = "2018-01-01T06"
    assert seen == sum(one.get("removed_at", "") > two_years for one in stays)


def test_an_age_beyond_every_age_seen_is_said_to_be(client: Client) -> None:
    """Of 200 bearings two have failed, at 800 and 1,000 h; none is older than 1,100 h."""
    stays: list[dict[str, Any]] = [
        running(f"S-{n}", asset=f"A-{n}", installed_at=at(0), as_of=at(1100)) for n in range(198)
    ]
    stays += [stay(f"T-{n}", asset=f"B-{n}", installed_at=at(0), removed_at=at(800 + 200 * n)) for n in range(2)]
    imported(client, *stays)
    (item,) = answered(client, "life-analysis")["items"]
    assert item["detail"].startswith("10 % fail by ") and ", beyond every age seen" in item["detail"]


def test_condition_monitoring_begun_half_way_is_no_trend(client: Client) -> None:
    """From 2015 on half of the bearings are taken out on condition shortly before they would fail; nobody looks."""
    chance, stays = random.Random(11), plant(80)
    for one in stays:
        if one["end_type"] == "failed" and one["removed_at"] >= MIDDLE.isoformat() and chance.random() < 0.5:
            one["end_type"] = "removed_condition"
            one.pop("inspected")
    imported(client, *stays)
    trend = answered(client, "recurrence")["trend"]
    assert trend["verdict"] == "not_separable", trend["detail"]
    assert "bearings that are left out" in trend["detail"] and "became more frequent" in trend["detail"]
    day = MIDDLE.strftime("%Y-%m-%dT%H:%M:%SZ")
    assert answered(client, f"life-change?at={day}")["verdict"] == "not_separable"


def test_a_filter_asks_what_followed_in_the_whole_record(client: Client) -> None:
    """Of a maker that was given up, the last bearings of each position are its longest: they are not compared."""
    stays = plant(60)
    for one in stays:
        one["manufacturer"] = "Maker A" if one["installed_at"] < MIDDLE.isoformat() else "Maker B"
    imported(client, *stays)
    assert claimed(client, "recurrence?manufacturer=Maker A", "recurrence?manufacturer=Maker B") == []
    chosen = answered(client, "recurrence?manufacturer=Maker A")
    ended = [one for one in stays if one["manufacturer"] == "Maker A"]
    positions = {(one["asset"], one["position"]) for one in ended}
    assert chosen["positions"] == len(positions)
    assert chosen["trend"]["lives"] <= len(ended) - len(positions)
    counts = answered(client, f"life-change?at={MIDDLE.strftime('%Y-%m-%dT%H:%M:%SZ')}&manufacturer=Maker A")["counts"]
    assert counts["stays"] == len(ended) == counts["failed"] + counts["censored"]


def test_a_sentence_about_one_mode_of_damage_names_it(client: Client) -> None:
    """Before 2015 all damage was called corrosion; since then half of it is called wear: no bearing got worse."""
    chance, stays = random.Random(2), plant(80)
    for one in stays:
        if one["end_type"] == "failed":
            wear = one["removed_at"] >= MIDDLE.isoformat() and chance.random() < 0.5
            one["damage"] = "wear" if wear else "corrosion"
    imported(client, *stays)
    day = MIDDLE.strftime("%Y-%m-%dT%H:%M:%SZ")
    for path in ("recurrence", f"life-change?at={day}", "replacement-ranking", "life-comparison?group_by=installer",
                 "life-comparison?group_by=fitted_year", "life-regression?covariates=installer",
                 "mounting-quality"):  # fmt: skip
        joined = "&" if "?" in path else "?"
        answer = answered(client, f"{path}{joined}damage=wear")
        said = [one["detail"] for one in verdicts(answer) if "detail" in one]
        assert said and all(one.startswith("Of failures by wear, as recorded: ") for one in said), (path, said)
        assert "Of failures by" not in str(answered(client, path))


def test_a_crew_that_is_its_machines_is_not_blamed_in_one_line(client: Client) -> None:
    """The bearings of one machine last a quarter as long, and a crew of its own fits them."""
    stays = plant(60, life_of=lambda facts: 0.25 if facts["position"] // 2 == 3 else 1.0)
    for one in stays:
        if one["asset"] == "A-003":
            one["installed_by"] = "crew X"
    imported(client, *stays)
    answer = answered(client, "life-comparison?group_by=installer")
    assert answer["named"] == ["crew X"]
    assert answer["detail"].endswith("crew X. It cannot be told from its machines: nobody else served them.")
    by_machine = answered(client, "replacement-ranking?by=asset")
    assert "position" not in by_machine["detail"] and by_machine["items"][0]["group"] == "A-003"
