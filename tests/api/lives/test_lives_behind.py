"""The lives behind an answer: from the CSV alone, by other code, the published numbers come out again.

Published: Lieblein & Zelen 1956 (23 ball bearings: shape 2.102, scale 81.9); Kaplan-Meier of Gehan 1965, 6-MP, as
printed in many textbooks (S(6) 0.857, S(7) 0.807, S(10) 0.753, S(13) 0.690, S(16) 0.627, S(22) 0.538, S(23) 0.448).
"""

import csv
import io
import json
from math import log
from typing import Any

import pytest

from tests.api.lives.test_reliability import lives
from tests.api.lives.test_selection import answer, plant
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay

NDJSON = "application/x-ndjson"
QUESTIONS = (
    "life-analysis", "replacement-age", "recurrence", "replacement-ranking", "early-failures", "life-comparison",
    "mounting-quality", "life-regression?covariates=manufacturer,speed", "life-change?at=2018-06-01T00:00:00Z",
    "replacement-forecast",
)  # fmt: skip


def behind(client: Client, question: str) -> list[dict[str, str]]:
    """The lines of the CSV."""
    path, _, query = question.partition("?")
    found = client.get(f"/v1/{path}/lives?{query}", headers={"Accept": "text/csv"})
    assert found.status_code == 200, found.text
    *rows, end = csv.reader(io.StringIO(found.text))
    assert end == ["#end", str(len(rows) - 1)]
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


def weibull(rows: list[dict[str, str]]) -> tuple[float, float]:
    """Shape and scale of greatest likelihood: the profile equation halved to its root, late entry allowed for."""
    lives = [
        (float(r["age_h"]), float(r["entry_age_h"]), float(r["weight"])) for r in rows if r["status"] != "left_out"
    ]
    failures = sum(weight for _, _, weight in lives)
    mean_log = sum(weight * log(age) for age, _, weight in lives) / failures

    def score(shape: float) -> float:
        powers = [(age**shape, log(age)) for age, _, _ in lives] + [
            (-(entry**shape), log(entry)) for _, entry, _ in lives if entry > 0
        ]
        return sum(p * x for p, x in powers) / sum(p for p, _ in powers) - 1 / shape - mean_log

    low, high = 0.05, 50.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if score(middle) < 0 else (low, middle)
    total = sum(age**low - (entry**low if entry > 0 else 0.0) for age, entry, _ in lives)
    return low, (total / failures) ** (1 / low)


def kaplan_meier(rows: list[dict[str, str]]) -> dict[float, float]:
    """The share that survives, at each age at which one failed."""
    lives = [(float(r["age_h"]), float(r["weight"])) for r in rows if r["status"] != "left_out"]
    survive, found = 1.0, {}
    for at in sorted({age for age, weight in lives if weight}):
        failed = sum(weight for age, weight in lives if age == at)
        survive *= 1 - failed / sum(1 for age, _ in lives if age >= at)
        found[at] = survive
    return found


def test_a_weibull_fit_is_computed_again_from_the_csv(client_on_each: Client) -> None:
    imported(client_on_each, *lives("lieblein_zelen_ball_bearings"))
    shape, scale = weibull(behind(client_on_each, "life-analysis"))
    assert (shape, scale) == (pytest.approx(2.102, abs=5e-4), pytest.approx(81.9, abs=0.05))
    (item,) = answer(client_on_each, "/v1/life-analysis")["items"]
    assert item["weibull"]["shape"]["estimate"] == pytest.approx(shape, rel=1e-6)
    assert item["weibull"]["scale"]["estimate"]["value"] == pytest.approx(scale, rel=1e-6)


def test_a_survival_curve_is_computed_again_from_the_csv(client: Client) -> None:
    imported(client, *lives("gehan_6mp"))
    found = kaplan_meier(behind(client, "life-analysis"))
    printed = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
    assert {age: round(share, 3) for age, share in found.items()} == pytest.approx(printed, abs=1e-9)


def test_late_entry_and_shared_out_failures_are_in_the_csv(client: Client) -> None:
    """Some bearings came under observation late, and of some failures nobody recorded the damage."""
    found = []
    for n in range(60):
        age = 500 + 97 * (n % 17)
        late = {"age_at_install_h": 200} if n % 3 == 0 else {}
        damage = {0: {"damage": "wear"}, 1: {"damage": "corrosion"}, 2: {}}[n % 4 % 3]
        found.append(stay(f"S-{n:02d}", asset=f"F-{n:02d}", operating_hours=age + 200, **late, **damage))
    found.append(stay("S-X", asset="F-X", end_type="unknown", operating_hours=100))
    imported(client, *found)
    rows = behind(client, "life-analysis?damage=wear")
    (item,) = answer(client, "/v1/life-analysis?damage=wear")["items"]
    weights = [float(row["weight"]) for row in rows]
    assert any(0 < weight < 1 for weight in weights)
    assert sum(weights) == pytest.approx(item["counts"]["failed"], abs=0.51)
    assert [row["left_out"] for row in rows if row["status"] == "left_out"] == ["end_unknown"]
    assert sum(float(row["entry_age_h"]) > 0 for row in rows) == 20
    shape, scale = weibull(rows)
    assert item["weibull"]["shape"]["estimate"] == pytest.approx(shape, rel=1e-6)
    assert item["weibull"]["scale"]["estimate"]["value"] == pytest.approx(scale, rel=1e-6)


def test_a_group_of_the_csv_is_the_group_of_the_answer(client: Client) -> None:
    imported(client, *plant())
    rows = behind(client, "life-analysis?group_by=manufacturer,attributes.shift")
    for item in answer(client, "/v1/life-analysis?group_by=manufacturer,attributes.shift")["items"]:
        mine = [row for row in rows if row["group"] == item["group"]]
        failed = sum(float(row["weight"]) for row in mine)
        assert (len(mine), failed) == (item["counts"]["stays"], item["counts"]["failed"])


def test_the_ratio_of_a_comparison_is_computed_again_within_class_and_period(client: Client) -> None:
    """Log-rank: at each failure, the share of the group among those at risk in its class and period."""
    imported(client, *plant(30))
    rows = [row for row in behind(client, "life-comparison?group_by=installer") if row["status"] != "left_out"]
    assert {row["period"] for row in rows} == set("12345678")
    items = answer(client, "/v1/life-comparison?group_by=installer")["items"]
    for item in items:
        expected = 0.0
        for one in (row for row in rows if row["status"] == "failed"):
            at_risk = [
                row for row in rows
                if (row["class"], row["period"]) == (one["class"], one["period"])
                and float(row["entry_age_h"]) < float(one["age_h"]) <= float(row["age_h"])
            ]  # fmt: skip
            expected += sum(row["group"] == item["group"] for row in at_risk) / len(at_risk)
        assert item["expected"] == pytest.approx(expected, rel=1e-9)
        assert item["observed"] == sum(r["group"] == item["group"] and r["status"] == "failed" for r in rows)


@pytest.fixture(scope="module")
def expected_facts() -> dict[str, set[str]]:
    return {
        "mounting-quality": {"residual_clearance", "deviations", "fit"},
        "life-regression?covariates=manufacturer,speed": {"manufacturer", "speed"},
    }


def test_every_question_has_its_lives_as_pages_ndjson_and_csv(
    client_on_each: Client, expected_facts: dict[str, set[str]]
) -> None:
    client = client_on_each
    imported(client, *plant())
    for question in QUESTIONS:
        path, _, query = question.partition("?")
        rows = behind(client, question)
        assert len(rows) == len(plant()), question
        pages: list[dict[str, Any]] = []
        following = f"/v1/{path}/lives?limit=23&{query}"
        while following:
            body = answer(client, following)
            pages += body["items"]
            following = body["next"]
        lines = client.get(f"/v1/{path}/lives?{query}", headers={"Accept": NDJSON}).text.splitlines()
        assert json.loads(lines[-1]) == {"end": True, "count": len(pages)}
        assert [line["stay"] for line in pages] == [row["stay"] for row in rows]
        assert [json.loads(line)["stay"] for line in lines[:-1]] == [row["stay"] for row in rows]
        assert [line["stay"] for line in pages] == sorted(line["stay"] for line in pages)
        assert set(pages[0]["facts"]) == expected_facts.get(question, set())
        known = {each["id"] for each in client.get("/v1/stays?limit=500").json["items"]}
        assert {line["stay"] for line in pages} == known


def test_what_a_filter_hides_is_marked_and_what_it_chooses_is_all(client: Client) -> None:
    imported(client, *plant())
    hidden = behind(client, "replacement-ranking?attributes.crew_size=2")
    assert len(hidden) == len(plant())
    assert sum(row["shown"] == "true" for row in hidden) == sum(s["attributes"]["crew_size"] == 2 for s in plant())
    chosen = behind(client, "life-analysis?attributes.crew_size=2")
    assert {row["shown"] for row in chosen} == {"true"} and len(chosen) == 20


def test_lives_of_one_position_and_what_is_refused(client: Client) -> None:
    imported(client, *plant(3), running("S-9", asset="F-9"))
    position = behind(client, "recurrence")[0]["position_id"]
    assert len(behind(client, f"positions/{position}/recurrence")) == 5
    assert client.get("/v1/positions/01900000-0000-7000-8000-000000000000/recurrence/lives").status_code == 404
    refused = client.get("/v1/life-analysis/lives?group_by=damage")
    assert (refused.status_code, refused.json["code"]) == (422, "one_mode_needed")
    assert client.get("/v1/life-analysis/lives", headers={"Accept": "image/svg+xml"}).status_code == 406
    other = answer(client, "/v1/life-analysis/lives?limit=2")["next"]
    assert client.get(other.replace("limit=2", "limit=2&batch=B1")).json["code"] == "bad_cursor"


def test_the_share_that_survives_is_that_of_the_answer(client: Client) -> None:
    imported(client, *plant())
    (item,) = answer(client, "/v1/life-analysis?steps=true")["items"]
    curve = kaplan_meier(behind(client, "life-analysis"))
    steps = {step["age"]["value"]: step["survival"] for step in item["kaplan_meier"]["steps"]}
    assert {age: steps[age] for age in curve} == pytest.approx(curve, rel=1e-9)
