"""The rows of each answer about lives as CSV: the numbers of the JSON, one row an item."""

import csv
import io
from typing import Any

import pytest

from tests.api.lives.test_selection import answer, plant
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported

QUESTIONS = (
    "life-analysis?group_by=manufacturer", "replacement-age?preventive_cost=1&failure_cost=8", "recurrence",
    "replacement-ranking", "early-failures?group_by=installer", "life-comparison?group_by=installer",
    "mounting-quality", "reading-quality", "life-regression?covariates=manufacturer,speed",
    "life-change?at=2018-06-01T00:00:00Z", "replacement-forecast",
)  # fmt: skip


def table(client: Client, question: str) -> list[dict[str, str]]:
    found = client.get(f"/v1/{question}", headers={"Accept": "text/csv"})
    assert found.status_code == 200, found.text
    assert found.content_type == "text/csv; charset=utf-8; header=present"
    *rows, end = csv.reader(io.StringIO(found.text))
    assert end == ["#end", str(len(rows) - 1)]
    assert len(rows[0]) == len(set(rows[0]))
    return [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


@pytest.fixture
def filled(client: Client) -> Client:
    imported(client, *plant())
    return client


def test_every_answer_has_its_rows(filled: Client) -> None:
    for question in QUESTIONS:
        body = answer(filled, f"/v1/{question}")
        rows = table(filled, question)
        listed: Any = body.get("items", body.get("mean_cumulative_number", [body]))
        assert len(rows) == len(listed) > 0, question
    refused = filled.get("/v1/life-comparison", headers={"Accept": "image/svg+xml"})
    assert refused.status_code == 406 and "text/csv" in refused.json["detail"]
    assert filled.get("/v1/life-comparison", headers={"Accept": "text/csv;q=0.5, application/json"}).json["items"]


def test_the_numbers_are_those_of_the_json(filled: Client) -> None:
    items = answer(filled, "/v1/life-analysis?group_by=manufacturer")["items"]
    for item, row in zip(items, table(filled, "life-analysis?group_by=manufacturer"), strict=True):
        assert row["group"] == item["group"]
        assert float(row["weibull.shape.estimate"]) == item["weibull"]["shape"]["estimate"]
        assert float(row["weibull.scale.estimate_h"]) == item["weibull"]["scale"]["estimate"]["value"]
        assert int(row["counts.failed"]) == item["counts"]["failed"]
    ranked = answer(filled, "/v1/replacement-ranking?top=3")["items"]
    for item, row in zip(ranked, table(filled, "replacement-ranking?top=3"), strict=True):
        assert (row["group"], float(row["adjusted_p"])) == (item["group"], item["adjusted_p"])
        assert row["flagged"] == ("true" if item["flagged"] else "false")


def test_a_name_that_a_spreadsheet_would_run_is_guarded(client: Client) -> None:
    imported(client, *({**one, "manufacturer": "=1+1"} for one in plant(2)))
    (row,) = table(client, "life-analysis?group_by=manufacturer")
    assert row["group"] == "'=1+1"


def test_columns_that_no_question_asks_for_are_not_read(filled: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    from service.store.queries import histories

    asked: list[set[str]] = []
    read = histories.stay_batches

    def watched(tx: Any, chosen: Any, columns: Any) -> Any:
        asked.append(set(columns))
        return read(tx, chosen, columns)

    monkeypatch.setattr(histories, "stay_batches", watched)
    new = {"lubricant", "batch", "cause", "serial", "speed_rpm", "temperature_degc", "radial_load_n", "id"}
    answer(filled, "/v1/life-analysis")
    answer(filled, "/v1/replacement-ranking")
    assert [one & new for one in asked] == [set(), set()]
    answer(filled, "/v1/life-analysis?group_by=batch,attributes.shift")
    assert asked[-1] & {*new, "attributes.shift"} == {"batch", "attributes.shift"}
