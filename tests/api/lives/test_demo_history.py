"""The demo plant has two faults planted in its history; the questions must find both, and nothing beside them."""

from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask

from service.demo import history as demo_history
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.histories import sent


@pytest.fixture
def plant(app: Flask, client_of: ClientMaker) -> Iterator[Client]:
    client = client_of(app, "BIRCH")
    answer = sent(client, *demo_history.history())
    assert answer.status_code == 200, answer.json
    yield client


def test_the_demo_has_some_hundred_stays_and_is_the_same_each_time(plant: Client) -> None:
    assert demo_history.history() == demo_history.history()
    assert 250 <= len(demo_history.history()) <= 500
    assert sent(plant, *demo_history.history()).json["created"] == 0


def test_the_bad_position_is_ranked_first_and_alone(plant: Client) -> None:
    answer = plant.get("/v1/replacement-ranking?top=100").json
    first = answer["items"][0]
    assert (answer["verdict"], answer["spread"]["verdict"]) == ("worse", "differ")
    assert (first["asset"], first["position"]) == demo_history.BAD_POSITION
    assert first["shrunk_ratio"]["lower"] > 1.5 and first["probability_above"] > 0.99
    assert [item["flagged"] for item in answer["items"]] == [True] + [False] * (answer["family"] - 1)
    assert answer["items"][1]["shrunk_ratio"]["lower"] < 1.0


def test_life_depends_on_the_residual_clearance_that_was_left(plant: Client) -> None:
    window, deviations, fit = plant.get("/v1/mounting-quality").json["items"]
    assert (window["name"], window["verdict"]) == ("residual_clearance", "differ")
    below = window["bins"][0]
    assert below["bin"] == "below_window" and below["observed"] > 2 * below["expected"]
    assert deviations["verdict"] == fit["verdict"] == "too_few"


def test_early_failures_are_those_with_too_little_clearance(plant: Client) -> None:
    answer = plant.get("/v1/early-failures?group_by=window&within_h=4000").json
    assert answer["named"] == ["below_window"]
    by_maker = plant.get("/v1/early-failures?group_by=manufacturer&within_h=4000").json
    assert (by_maker["named"], by_maker["verdict"]) == ([], "no_evidence")


@pytest.mark.parametrize(
    "path",
    ["recurrence", "life-comparison?group_by=manufacturer", "life-comparison?group_by=manufacturer,fitted_month",
     "life-comparison?group_by=fitted_quarter", "life-change?at=2020-01-01T00:00:00Z"],
)  # fmt: skip
def test_nothing_is_claimed_of_what_was_not_planted(plant: Client, path: str) -> None:
    """Makers, batches, dates and a trend have nothing to do with the lives of the plan."""
    answer = plant.get(f"/v1/{path}").json
    found = answer.get("trend", answer)
    assert found["verdict"] == "no_evidence" and found["p_value"] > 0.01
    assert "probability" in found["detail"], "what would have been seen is said"


def test_the_shape_and_scale_that_were_planted_lie_within_their_limits(plant: Client) -> None:
    """Of the bearings mounted inside their window, elsewhere than in the bad position; count=failed as in the plan."""
    answer = plant.get("/v1/life-analysis?group_by=position,designation&steps=false").json
    bad = next(i for i in answer["items"] if i["group"].startswith("FAN-17 / drive"))
    assert bad["b10"] is not None and bad["counts"]["failed"] >= 8


def series(client: Client, path: str) -> Any:
    return client.get(path, headers={"Accept": "image/svg+xml"})


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/v1/life-analysis", "Probability plot: 22216 K/C3"),
        ("/v1/life-analysis?interval=log_normal", "Dashed: 95% limits"),
        ("/v1/life-analysis?group_by=damage&picture=incidence", "Shares that fail by each mode of damage"),
        ("/v1/replacement-forecast", "Replacements in the next 12 months"),
        ("/v1/recurrence", "No trend seen"),
        ("/v1/life-analysis?picture=survival", "share that survives"),
        ("/v1/recurrence?asset=FAN-17&event=failure", "failures a position"),
        ("/v1/replacement-ranking", "flagged: FAN-17 / drive"),
    ],
)
def test_each_picture_says_what_it_shows(plant: Client, path: str, words: str) -> None:
    picture = series(plant, path)
    assert (picture.status_code, picture.content_type) == (200, "image/svg+xml; charset=utf-8")
    assert words in picture.text and "<desc" in picture.text and "nan" not in picture.text
