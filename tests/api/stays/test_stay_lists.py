"""Lists of stays and replacements: filters, pages, streams of CSV and NDJSON that show when they were cut."""

import csv
import io
import json
from typing import Any

import pytest
from flask import Flask

from service.use_cases.stays import lists
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay
from tests.api.samples.machines import fan

NDJSON = "application/x-ndjson"


@pytest.fixture
def filled(client_on_each: Client) -> Client:
    """Two machines: the tail of the fan had three bearings, its drive one, the pump one."""
    client = client_on_each
    client.post("/v1/assets", fan(role="free"))
    imported(
        client,
        stay("T-1", installed_at="2020-01-01T00:00:00Z", removed_at="2021-01-01T00:00:00Z", damage="wear.abrasive"),
        stay("T-2", installed_at="2021-01-01T00:00:00Z", removed_at="2022-06-01T00:00:00Z", damage="wear",
             manufacturer="Maker A"),
        running("T-3", installed_at="2022-06-02T00:00:00Z", designation="22216 K/C4"),
        running("D-1", position="drive", installed_at="2020-01-01T00:00:00Z"),
        stay("P-1", asset="PMP-1", position="tail", installed_at="2020-05-01T00:00:00Z", end_type="removed_preventive",
             removed_at="2020-11-01T00:00:00Z", damage="corrosion.frictional.fretting"),
    )  # fmt: skip
    return client


def ids(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.json
    return [item["external_id"] for item in answer.json["items"]]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", ["T-1", "T-2", "T-3", "D-1", "P-1"]),
        ("?asset=DRY-2-FAN", ["T-1", "T-2", "T-3", "D-1"]),
        ("?asset=DRY-2-FAN&position=drive", ["D-1"]),
        ("?position=tail", ["T-1", "T-2", "T-3", "P-1"]),
        ("?asset=NOBODY", []),
        ("?designation=22216 K/C4", ["T-3"]),
        ("?manufacturer=Maker A", ["T-2"]),
        ("?housing=516 inch", ["T-1", "T-2", "T-3", "D-1"]),
        ("?role=free", ["T-1", "T-2", "T-3", "D-1"]),
        ("?role=locating", []),
        ("?end_type=running", ["T-3", "D-1"]),
        ("?damage=wear", ["T-1", "T-2"]),
        ("?damage=wear.abrasive", ["T-1"]),
        ("?damage=5.2.2", ["T-1"]),
        ("?damage=fretting", ["P-1"]),
        ("?damage=corrosion", ["P-1"]),
        ("?from=2020-05-01T00:00:00Z&to=2021-01-01T00:00:00Z", ["P-1"]),
        ("?from=2021-01-01T01:00:00%2B01:00", ["T-2", "T-3"]),
        ("?end_type=failed&position=tail&damage=wear", ["T-1", "T-2"]),
    ],
)
def test_stays_are_chosen_by_everything_that_is_asked(filled: Client, query: str, expected: list[str]) -> None:
    assert ids(filled.get(f"/v1/stays{query}")) == expected


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", ["T-1", "T-2"]),
        ("?asset=PMP-1", []),
        ("?designation=22216 K/C4", []),
        ("?damage=wear.abrasive", ["T-1"]),
        ("?from=2022-01-01T00:00:00Z", ["T-2"]),
        ("?to=2022-01-01T00:00:00Z", ["T-1"]),
    ],
)
def test_a_replacement_is_a_bearing_removed_and_the_next_one_fitted(
    filled: Client, query: str, expected: list[str]
) -> None:
    assert ids(filled.get(f"/v1/replacements{query}")) == expected


def test_a_replacement_names_both_bearings(filled: Client) -> None:
    _, last = filled.get("/v1/replacements").json["items"]
    shown = [last[n] for n in ("external_id", "fitted_external_id", "designation", "fitted_designation")]
    assert shown == ["T-2", "T-3", "22216 K/C3", "22216 K/C4"]
    assert (last["removed_at"], last["replaced_at"]) == ("2022-06-01T00:00:00.000000Z", "2022-06-02T00:00:00.000000Z")


@pytest.mark.parametrize("path", ["/v1/stays", "/v1/replacements"])
def test_pages_hold_every_row_once(filled: Client, path: str) -> None:
    whole = ids(filled.get(path))
    found: list[str] = []
    url: str | None = f"{path}?limit=1"
    while url is not None:
        page = filled.get(url)
        found += ids(page)
        url = page.json["next"]
    assert found == whole
    foreign = filled.get(f"{path}?limit=1").json["next"].replace("limit=1", "limit=1&position=tail")
    assert filled.get(foreign).json["code"] == "bad_cursor"


@pytest.mark.parametrize("batch", [1, 2, 5, 100])
@pytest.mark.parametrize("path", ["/v1/stays", "/v1/replacements"])
def test_streams_hold_the_rows_of_the_pages_and_say_how_many(
    filled: Client, monkeypatch: pytest.MonkeyPatch, batch: int, path: str
) -> None:
    monkeypatch.setattr(lists, "BATCH", batch)
    items = filled.get(path).json["items"]
    *lines, end = [json.loads(line) for line in filled.get(path, headers={"Accept": NDJSON}).text.splitlines()]
    assert lines == items
    assert end == {"end": True, "count": len(items)}
    rows = list(csv.reader(io.StringIO(filled.get(path, headers={"Accept": "text/csv"}).text)))
    for item in items:
        assert item.pop("attributes") == {}  # in CSV a column for each name of the site, and this one has none
    assert rows[0] == list(items[0])
    assert rows[-1] == ["#end", str(len(items))]
    words = [{k: "" if v is None else str(v) for k, v in item.items()} for item in items]
    assert [dict(zip(rows[0], row, strict=True)) for row in rows[1:-1]] == words


def test_streams_take_the_filters_of_the_pages_and_no_pages(filled: Client) -> None:
    accept = {"Accept": "text/csv"}
    assert filled.get("/v1/stays?position=drive", headers=accept).text.splitlines()[-1] == "#end,1"
    for page in ("limit=5", "cursor=abc"):
        assert filled.get(f"/v1/stays?{page}", headers=accept).json["code"] == "bad_parameter"
    refused = filled.get("/v1/stays", headers={"Accept": "application/pdf"})
    assert (refused.status_code, refused.json["code"]) == (406, "not_acceptable")


def test_units_do_not_touch_flat_records(filled: Client) -> None:
    assert filled.get("/v1/stays?units=inch").json["code"] == "unknown_parameter"


def test_what_a_spreadsheet_would_run_is_guarded_and_comes_back_as_it_was(
    app: Flask, client_of: ClientMaker, client: Client
) -> None:
    hostile = {"cause": "=cmd|' /C calc'!A0", "serial": "-7", "manufacturer": "'quoted", "work_order": "@SUM(A1)"}
    imported(client, stay(**hostile))
    exported = client.get("/v1/stays", headers={"Accept": "text/csv"}).text
    cells = next(csv.reader(io.StringIO(exported.splitlines()[1])))
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    other = client_of(app, "BIRCH")
    path = "/v1/stays/import?create_assets=true"
    assert other.post(path, data=exported.encode(), content_type="text/csv").json["created"] == 1
    (item,) = other.get("/v1/stays").json["items"]
    assert {name: item[name] for name in hostile} == hostile


@pytest.mark.parametrize("media", ["text/csv", NDJSON])
def test_an_export_comes_in_again_as_unchanged_and_into_another_site_as_new(
    filled: Client, media: str, app_on_each: Flask, client_of: ClientMaker
) -> None:
    exported = filled.get("/v1/stays", headers={"Accept": media}).text.encode()
    path = "/v1/stays/import?create_assets=true"
    again = filled.post(path, data=exported, content_type=media)
    assert (again.json["created"], again.json["unchanged"]) == (0, 5)
    other = client_of(app_on_each, "BIRCH")
    assert other.post(path, data=exported, content_type=media).json["created"] == 5
    drop = ("id",)
    both = [
        [{k: v for k, v in item.items() if k not in drop} for item in one.get("/v1/stays").json["items"]]
        for one in (filled, other)
    ]
    assert both[0] == both[1]
    lines = exported.splitlines(keepends=True)
    cut = b"".join([*lines[:-2], lines[-1]])
    assert other.post(path, data=cut, content_type=media).json["code"] == "cut_short"


def test_a_caller_who_stops_reading_holds_no_connection(filled: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lists, "BATCH", 1)
    pool = filled.app.extensions["capsaddle"].database.engine.pool
    response = filled._client.get(
        "/v1/stays", headers={"Authorization": f"Bearer {filled.key}", "Accept": NDJSON}, buffered=False
    )
    parts = response.iter_encoded()
    next(parts)
    assert pool.checkedout() == 0
    response.close()
    assert pool.checkedout() == 0


def test_one_stay_is_read_by_its_id(client_on_each: Client) -> None:
    imported(client_on_each, stay("S-1"))
    (item,) = client_on_each.get("/v1/stays").json["items"]
    assert client_on_each.get(f"/v1/stays/{item['id']}").json == item
    refused = client_on_each.get("/v1/stays/S-1")
    assert (refused.status_code, "is no id" in refused.json["detail"]) == (404, True)
