"""The site's charts and housings go before the built-in tables, in calculations and in plans; the version is named."""

from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask

from service import record
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.store.database import Database
from service.store.models import Revision
from service.store.queries import books, work_orders
from tests.api.conftest import ClientMaker
from tests.api.samples.books import entered, housing, mm, n_m, reduction_row, reductions, torque_row, torques
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, inches, order

INCH_516 = {"size": "516", "dimensions": "inch"}
BEARING = {"designation": "22216 K/C3"}
REQUEST = {"bearing": BEARING, "seat": "adapter_sleeve", "blade_set": "metric"}


def targets(client: Client, **more: Any) -> Any:
    answer = client.post("/v1/clearance-targets?units=metric", {**REQUEST, **more})
    assert answer.status_code == 200, answer.text
    return answer.json


def titles(answer: Any, kind: str = "site_chart") -> list[str]:
    return [source["title"] for source in answer["sources"] if source["kind"] == kind]


def test_a_chart_goes_before_the_built_in_practice_and_its_version_is_named(client_on_each: Client) -> None:
    client = client_on_each
    before = targets(client)
    assert titles(before) == []
    entered(client, "/v1/charts", reductions())
    first = targets(client)
    assert (first["reduction"]["min"]["value"], first["reduction"]["max"]["value"]) == (0.042, 0.052)
    assert first["residual_clearance"]["floor"]["value"] == 0.044
    assert titles(first) == ["Book of the maker, 7, page 31, version 1"]
    assert first["reduction"]["source"] == next(s["id"] for s in first["sources"] if s["kind"] == "site_chart")
    entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.041, 0.051)))
    second = targets(client)
    assert second["reduction"]["min"]["value"] == 0.041
    assert titles(second) == ["Book of the maker, 7, page 31, version 2"]


def test_a_chart_holds_for_its_bores_and_its_site_alone(app: Flask, client_of: ClientMaker, client: Client) -> None:
    larger = {"designation": "22218 K/C3"}  # bore 90 mm, the chart ends at 80 mm
    before = targets(client), targets(client, bearing=larger)
    stranger = client_of(app, "BIRCH")
    entered(client, "/v1/charts", reductions())
    assert targets(client) != before[0]
    assert targets(client, bearing=larger) == before[1]
    assert targets(stranger)["reduction"] == before[0]["reduction"]


def test_displacement_and_nut_turn_come_from_the_site_s_charts(client: Client) -> None:
    seat = {"bore_over": mm(65), "bore_incl": mm(80), "taper": "1:12", "on_sleeve": True}
    common = {member: value for member, value in reductions().items() if member not in ("rows", "kind")}
    degrees = {"min": {"value": 130, "unit": "deg"}, "max": {"value": 150, "unit": "deg"}}
    moved = {**common, "kind": "axial_displacement", "rows": [{**seat, "min": mm(0.72), "max": mm(0.88)}]}
    entered(client, "/v1/charts", moved)
    entered(client, "/v1/charts", {**common, "kind": "nut_turn", "rows": [{**seat, **degrees}]})
    answer = targets(client, sleeve_thread="metric")
    limits = answer["axial_displacement"]
    assert (limits["min"]["value"], limits["max"]["value"]) == (0.72, 0.88)
    assert (answer["nut_turn"]["min"]["value"], answer["nut_turn"]["max"]["value"]) == (130, 150)
    on_shaft = targets(client, seat="tapered_journal")
    assert titles(on_shaft) == [], "the rows are for a sleeve"


def test_two_books_that_differ_are_both_named(client: Client) -> None:
    entered(client, "/v1/charts", reductions(name="one maker"))
    other = reductions(reduction_row(65, 80, 0.039, 0.049), name="another maker")
    entered(client, "/v1/charts", {**other, "provenance": {**other["provenance"], "title": "Other book"}})
    answer = targets(client)
    assert answer["reduction"]["min"]["value"] == 0.039, "the one entered last goes first"
    warning = next(w for w in answer["warnings"] if w["code"] == "charts_differ")
    assert "Book of the maker" in warning["detail"] and "Other book" in warning["detail"]
    assert "0.042 mm" in warning["detail"] and "0.039 mm" in warning["detail"]


def test_the_charts_are_read_in_one_query(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each)
    for number in range(5):
        entered(client, "/v1/charts", reductions(name=f"book {number}"))
    statements: list[str] = []
    engine = app_on_each.extensions["capsaddle"].database.engine
    sa.event.listen(engine, "before_cursor_execute", lambda *of: statements.append(of[2]))
    targets(client)
    assert len([statement for statement in statements if "charts" in statement]) == 1


def test_a_torque_of_the_site_goes_before_the_table_and_needs_no_confirming(client_on_each: Client) -> None:
    client = client_on_each
    asked = {"housing": INCH_516}
    before = client.post("/v1/cap-bolt-torques?units=metric", asked).json
    assert before["confidence"] == "single_publication"
    bolt = {"thread": "1/2-13 UNC", "grade": "SAE J429 5", "count": 4}
    entered(client, "/v1/charts", torques(torque_row(125, INCH_516, bolt=bolt)))
    after = client.post("/v1/cap-bolt-torques?units=metric", asked).json
    assert (after["confidence"], after["torque"]["value"]) == ("site_chart", 125)
    assert titles(after) == ["Book of the maker, 7, page 31, version 1"]
    assert [m["field"] for m in after["missing"] if m["field"] == "torque"] == []


def test_a_row_for_one_seat_design_goes_before_a_row_for_both(client: Client) -> None:
    metric = {"size": "516", "dimensions": "metric"}
    narrow = {**metric, "seat_design": "narrow_seat"}
    rows = [torque_row(80, metric), torque_row(90, narrow)]
    sure = {"accept_unusual": True, "reason": "printed so"}
    entered(client, "/v1/charts", torques(*({**row, **sure} for row in rows)))
    assert client.post("/v1/cap-bolt-torques?units=metric", {"housing": narrow}).json["torque"]["value"] == 90
    wide = {**metric, "seat_design": "wide_seat"}
    assert client.post("/v1/cap-bolt-torques?units=metric", {"housing": wide}).json["torque"]["value"] == 80


def test_a_housing_of_the_site_is_known_by_its_name(client_on_each: Client) -> None:
    client = client_on_each
    unknown = client.post("/v1/cap-bolt-torques", {"housing": {"name": "block 7"}})
    assert (unknown.status_code, unknown.json["code"]) == (422, "unknown_housing")
    assert unknown.json["errors"][0]["pointer"] == "#/housing/name"
    entered(client, "/v1/housings", housing())
    torque = client.post("/v1/cap-bolt-torques?units=metric", {"housing": {"name": "block 7"}}).json
    assert (torque["torque"]["value"], torque["confidence"], torque["bolt"]["thread"]) == (150, "site_chart", "M16")
    supports = [
        {"name": name, "at": mm(at), "bearing": BEARING, "housing": {"name": "block 7"}, "locknut_side": "minus"}
        for name, at in (("tail", 0), ("drive", 3000))
    ]
    drives = [{"at": mm(3400), "kind": "coupling"}]
    arranged = client.post("/v1/bearing-arrangements?units=metric", {"supports": supports, "drives": drives}).json
    locating, free = (next(s for s in arranged["supports"] if s["role"] == role) for role in ("locating", "free"))
    assert locating["locating_rings"] == {
        "count": 2,
        "width": {"value": 13.5, "unit": "mm", "text": "13.500 mm (0.5315 in)"},
    }
    assert free["travel"]["total"]["value"] == 27, "seat 60 mm wide, bearing 22216 33 mm (ISO 15)"
    assert titles(arranged) == ["Book of the maker, 7, page 31, version 1"]


def test_a_chart_of_housings_names_many(client: Client) -> None:
    rows = [{k: v for k, v in housing(f"block {n}").items() if k != "provenance"} for n in (1, 2)]
    chart = {"kind": "housing", "name": "line 3", "provenance": housing()["provenance"], "rows": rows}
    entered(client, "/v1/charts", chart)
    assert client.post("/v1/cap-bolt-torques", {"housing": {"name": "block 2"}}).json["confidence"] == "site_chart"
    entered(client, "/v1/housings", housing("block 2", cap_bolts={"thread": "M16", "torque": n_m(140)}))
    later = client.post("/v1/cap-bolt-torques?units=metric", {"housing": {"name": "block 2"}}).json
    assert (later["torque"]["value"], later["bolt"]["grade"]) == (140, None), "the book entered last goes first"
    assert "charts_differ" in {warning["code"] for warning in later["warnings"]}


def test_a_machine_may_name_the_site_s_housings_and_no_others(client_on_each: Client) -> None:
    client = client_on_each
    machine = fan(housing={"name": "block 7"})
    refused = client.post("/v1/assets", machine)
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_housing")
    assert refused.json["errors"][0]["pointer"] == "#/shafts/0/positions/0/housing/name"
    in_full = client.post("/v1/work-orders", order(asset=machine))
    assert in_full.json["errors"][0]["pointer"] == "#/asset/shafts/0/positions/0/housing/name"
    entered(client, "/v1/housings", housing())
    made = client.post("/v1/assets", machine)
    assert made.status_code == 201
    assert client.put(made.headers["Location"], machine, headers={"If-Match": "*"}).status_code == 200
    opened = client.post("/v1/work-orders", order())
    assert opened.status_code == 201
    assert "Book of the maker, 7, page 31, version 1" in titles(opened.json["instructions"])


def test_a_plan_goes_by_the_books_and_its_torque_is_confirmed(client_on_each: Client) -> None:
    client = client_on_each
    built_in = client.post("/v1/work-orders", order("WO-1", asset=fan())).json["instructions"]
    assert {bolting["confidence"] for bolting in built_in["bolting"]} == {"single_publication"}
    entered(client, "/v1/charts", torques(torque_row(125, INCH_516)))
    entered(client, "/v1/charts", reductions())
    by_books = client.post("/v1/work-orders", order("WO-2")).json["instructions"]
    assert {bolting["confidence"] for bolting in by_books["bolting"]} == {"site_chart"}
    assert by_books["targets"][0]["reduction"]["max"]["text"] == "0.0020 in (0.052 mm)"
    again = client.post("/v1/work-orders", order("WO-1", asset=fan()))
    assert (again.status_code, again.json["instructions"]) == (200, built_in), "a revision stays as it was issued"


def stored_inputs(database: Database, order_id: str) -> tuple[dict[str, Any], dict[str, Any]]:
    with database.reading() as connection:
        row = connection.execute(
            sa.select(Revision.inputs, Revision.record).where(Revision.work_order_id == order_id)
        ).one()
    return record.decoded(row.inputs), record.decoded(row.record)


def test_a_revision_keeps_which_books_it_was_made_with_and_can_be_computed_again(
    app_on_each: Flask, client_of: ClientMaker
) -> None:
    client = client_of(app_on_each)
    used = entered(client, "/v1/charts", reductions())
    unused = entered(client, "/v1/charts", reductions(reduction_row(200, 225, 0.11, 0.14), name="large"))
    block = entered(client, "/v1/housings", housing())
    opened = client.post("/v1/work-orders", order(asset=fan(housing={"name": "block 7"}))).json
    entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.039, 0.049)))
    entered(client, "/v1/housings", housing(seat_width=mm(64)))
    database: Database = app_on_each.extensions["capsaddle"].database
    inputs, issued = stored_inputs(database, opened["id"])
    kept = {(book["id"], book["version"]): book["used"] for book in inputs["books"]}
    assert kept == {(used["id"], 1): True, (unused["id"], 1): False, (block["id"], 1): True}
    site_id = site_of(database, "ALDER")
    with database.read(site_id) as tx:
        again = plan(job_of_inputs(inputs, books=books.books_of(tx, inputs["books"])))
        now = plan(job_of_inputs(inputs, books=books.books_in_force(tx)))
        revision = work_orders.revision(tx, opened["id"])
    assert revision is not None and record.sha256(again) == revision.sha256 == record.sha256(issued)
    assert record.sha256(now) != revision.sha256


def site_of(database: Database, code: str) -> str:
    from service.store.queries.sites import site_by_code

    return site_by_code(database, code).id


@pytest.mark.parametrize("reading_in", [0.0038, 0.0040, 0.0047])
def test_judged_readings_go_by_the_chart(client: Client, reading_in: float) -> None:
    entered(client, "/v1/charts", reductions())
    answer = targets(client, measured_clearance=inches(reading_in))
    assert answer["measured"]["verdict"] == "accept"
    least, most = answer["residual_clearance"]["min"]["value"], answer["residual_clearance"]["max"]["value"]
    measured_mm = reading_in * 25.4
    assert least == pytest.approx(max(measured_mm - 0.052, 0.044), abs=1e-9)
    assert most == pytest.approx(measured_mm - 0.042, abs=1e-9)


def test_a_chart_corrected_after_the_opening_reaches_the_next_revision(client_on_each: Client) -> None:
    """The mechanic measures after the book was corrected: the narrowed targets go by the corrected book."""
    client = client_on_each
    entered(client, "/v1/charts", reductions())
    opened = client.post("/v1/work-orders", order(asset=fan())).json
    entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.041, 0.051)))
    reading = {
        "position": "tail",
        "kind": "initial_clearance",
        "method": "blades",
        "values": [{"value": inches(0.0040), "row": row} for row in (1, 2)],
        "taken_at": "2020-11-25T08:00:00Z",
        "taken_by": "the millwright",
    }
    answer = client.post(f"/v1/work-orders/{opened['id']}/readings", {"readings": [reading]})
    assert answer.json["revision"] == 2
    plan_now = client.get(f"/v1/work-orders/{opened['id']}/instructions?units=metric").json
    target = next(t for t in plan_now["targets"] if t["position"] == "tail")
    assert (target["reduction"]["min"]["value"], target["reduction"]["max"]["value"]) == (0.041, 0.051)
    assert titles(plan_now) == ["Book of the maker, 7, page 31, version 2"]
    revised = [e for e in client.get("/v1/events").json["items"] if e["type"].endswith("instructions.revised")]
    assert len(revised) == 1
    assert [book["version"] for book in revised[0]["data"]["changed"]["books_changed"]] == [2]
