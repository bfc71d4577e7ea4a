"""Parts as CSV and job packs; invented machines."""

import csv
import io
from typing import Any

import pytest
from flask import Flask

from service.store.queries.sites import change_settings
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import known_fan
from tests.unit.render.card_readers import pdf_pages


def opened(client: Client, number: str, **more: Any) -> dict[str, Any]:
    made = client.post("/v1/work-orders", order(number, **{"asset": known_fan(), **more}))
    assert made.status_code == 201, made.text
    body: dict[str, Any] = made.json
    return body


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def other_fan() -> dict[str, Any]:
    machine = known_fan()
    machine["tag"] = "DRY-3-FAN"
    return machine


def test_parts_come_as_csv_in_the_units_asked_for(client: Client) -> None:
    made = opened(client, "WO-1")
    answer = client.get(f"/v1/work-orders/{made['id']}/parts.csv?units=metric")
    assert answer.content_type.startswith("text/csv")
    found = {row["kind"]: row for row in rows(answer.text)}
    assert found["bearing"]["name"] == "bearing 22216 K/C3, 80 x 140 x 33 mm"  # ISO 15, series 22
    assert (found["bearing"]["count"], found["bearing"]["mass_unit"]) == ("2", "kg")
    assert found["lock"]["count"] == "3"
    assert found["grease"]["amount_unit"] == "g"
    inch = {row["kind"]: row for row in rows(client.get(f"/v1/work-orders/{made['id']}/parts.csv?units=inch").text)}
    assert inch["bearing"]["mass_unit"] == "lb"


def test_no_cell_of_a_name_is_a_formula(client: Client) -> None:
    """OWASP, "CSV Injection": a cell that begins with = + - @ is not text."""
    machine = known_fan()
    machine["tag"] = "=cmd|' /C calc'!A0"
    for position in machine["shafts"][0]["positions"]:
        position |= {"sleeve": "=1+1", "grease": "@SUM(1)"}
    machine["shafts"][0]["positions"][0]["name"] = "-2+3"
    made = opened(client, "WO-1", asset=machine, positions=["-2+3", "drive"])
    answer = client.get(f"/v1/work-orders/{made['id']}/parts.csv")
    for row in csv.reader(io.StringIO(answer.text)):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def test_a_pack_sums_parts_and_puts_the_work_in_order(client_on_each: Client) -> None:
    client = client_on_each
    one = opened(client, "WO-1")
    two = opened(client, "WO-2", asset=other_fan(), positions=["tail"])
    pack = client.post("/v1/job-packs", {"orders": [one["id"], two["id"]]})
    assert pack.status_code == 200, pack.text
    [bearing] = [each for each in pack.json["parts"] if each["kind"] == "bearing"]
    assert bearing["count"] == 3
    assert bearing["positions"] == ["DRY-2-FAN drive", "DRY-2-FAN tail", "DRY-3-FAN tail"]
    assert bearing["orders"] == ["WO-1", "WO-2"]
    [lock] = [each for each in pack.json["parts"] if each["kind"] == "lock"]
    assert lock["count"] == 4  # one for each bearing, one spare for the whole pack
    assert [line["orders"] for line in pack.json["sequence"]] == [["WO-1"], ["WO-2"]]
    assert [line["place"] for line in pack.json["sequence"]] == [1, 2]
    hours = [each["hours"]["value"] for each in pack.json["orders"]]
    assert pack.json["hours"]["total"]["value"] == pytest.approx(sum(hours))
    said = [each["said"] for each in pack.json["tools"]]
    assert len(said) == len(set(said))


def test_orders_on_one_shaft_share_its_lift_and_what_is_done_once(client: Client) -> None:
    """The held end, next to the coupling (A2), goes first."""
    free = opened(client, "WO-1", positions=["tail"])
    held = opened(client, "WO-2", asset="DRY-2-FAN", positions=["drive"])
    pack = client.post("/v1/job-packs", {"orders": [free["id"], held["id"]]}).json
    [line] = pack["sequence"]
    assert line["shared_lift"] is True
    assert (line["held"], line["positions"], line["orders"]) == ("drive", ["drive", "tail"], ["WO-2", "WO-1"])
    alone = sum(each["hours"]["value"] for each in pack["orders"])
    once = {"safe_and_clear", "align_and_guards", "run_in", "recheck_and_hand_back"}
    phases = free["instructions"]["planning"]["hours"]["phases"]
    saved = sum(each["hours"]["value"] for each in phases if each["phase"] in once)
    assert abs(line["hours"]["value"] - (alone - saved)) < 0.01


def test_a_pack_comes_as_parts_and_as_text_too(client: Client) -> None:
    one = opened(client, "WO-1")
    sheet = client.post("/v1/job-packs", {"orders": [one["id"]]}, headers={"Accept": "text/csv"})
    assert {row["orders"] for row in rows(sheet.text)} == {"WO-1"}
    text = client.post("/v1/job-packs", {"orders": [one["id"]]}, headers={"Accept": "text/plain"}).text
    for word in ("ORDER OF WORK", "not released", "PARTS", "TOOLS", "HOURS"):
        assert word in text
    refused = client.post("/v1/job-packs", {"orders": [one["id"]]}, headers={"Accept": "image/png"})
    assert refused.status_code == 406


def test_a_pack_is_printed_with_the_sheets_of_each_order_in_the_order_of_work(client: Client) -> None:
    """The held end, next to the coupling (A2), goes first; its sheets too."""
    free = opened(client, "WO-1", positions=["tail"])
    held = opened(client, "WO-2", asset="DRY-2-FAN", positions=["drive"])
    asked = {"orders": [free["id"], held["id"]]}
    printed = client.post("/v1/job-packs?paper=a4", asked, headers={"Accept": "application/pdf"})
    assert (printed.status_code, printed.content_type) == (200, "application/pdf")
    pages = pdf_pages(printed.data)
    front = " ".join(pages[0].split())
    for word in ("JOB PACK", "2 orders", "Order of work", "Parts", "Tools", "Hours", "not released"):
        assert word in front
    alone = [client.get(f"/v1/work-orders/{each['id']}/instructions?paper=a4", headers={"Accept": "application/pdf"})
             for each in (held, free)]  # fmt: skip
    sheets = [page for answer in alone for page in pdf_pages(answer.data)]
    assert pages[-len(sheets):] == sheets  # fmt: skip
    full = client.post("/v1/job-packs?level=full", asked, headers={"Accept": "application/pdf"})
    assert len(pdf_pages(full.data)) > len(pages)


def test_a_pack_refuses_what_it_cannot_plan(client: Client, metric_client: Client) -> None:
    mine = opened(client, "WO-1")
    theirs = metric_client.post("/v1/work-orders", order(asset=fan())).json
    unknown = client.post("/v1/job-packs", {"orders": [mine["id"], theirs["id"]]})
    assert (unknown.status_code, unknown.json["code"]) == (422, "unknown_work_order")
    assert unknown.json["errors"][0]["pointer"] == "#/orders/1"
    twice = client.post("/v1/job-packs", {"orders": [mine["id"], mine["id"]]})
    assert (twice.status_code, twice.json["code"]) == (422, "order_named_twice")
    assert client.post("/v1/job-packs", {"orders": []}).status_code == 422
    assert client.post("/v1/job-packs", {"orders": [mine["id"]] * 51}).status_code == 422
    client.post(f"/v1/work-orders/{mine['id']}/cancellation", {"reason": "not needed"})
    closed = client.post("/v1/job-packs", {"orders": [mine["id"]]})
    assert (closed.status_code, closed.json["code"]) == (409, "work_order_not_open")


def test_the_hours_of_a_site_stand_in_orders_opened_from_then_on(app: Flask, client: Client) -> None:
    before = opened(client, "WO-1")
    change_settings(app.extensions["capsaddle"].database, "ALDER", planning_hours={"small": {"strip": 3.5}})
    after = opened(client, "WO-2", asset=other_fan())
    hours = [each["instructions"]["planning"]["hours"]["total"]["value"] for each in (before, after)]
    assert hours[1] - hours[0] == 2.0  # 3.5 in place of 1.5
    assert (
        client.get(f"/v1/work-orders/{before['id']}").json["instructions"]["planning"]["hours"]["total"]
        == (before["instructions"]["planning"]["hours"]["total"])
    )
