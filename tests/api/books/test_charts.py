"""/v1/charts and /v1/housings: entering, versions, and what is refused row by row."""

import threading
from typing import Any

import pytest
from flask import Flask

from service.use_cases.checks.journal import verify_journals
from tests.api.conftest import ClientMaker
from tests.api.samples.books import (
    PROVENANCE,
    entered,
    housing,
    mm,
    n_m,
    reduction_row,
    reductions,
    torque_row,
    torques,
)
from tests.api.samples.checked import Client

INCH_516 = {"size": "516", "dimensions": "inch"}


def faults(answer: Any) -> list[tuple[str, str]]:
    return [(fault["pointer"], fault["code"]) for fault in answer.json["errors"]]


def test_a_chart_is_entered_and_read_back(client_on_each: Client) -> None:
    made = client_on_each.post("/v1/charts", reductions())
    assert (made.status_code, made.json["version"], made.json["in_force"]) == (201, 1, True)
    assert made.headers["Location"] == f"/v1/charts/{made.json['id']}"
    assert client_on_each.get(made.headers["Location"]).json == made.json
    assert made.json["provenance"] == PROVENANCE
    row = made.json["rows"][0]
    assert row["bore_incl"]["text"] == "3.1496 in (80.000 mm)"
    assert row["smallest_residual"]["C3"]["text"] == "0.0017 in (0.044 mm)"


def test_the_same_name_again_makes_the_next_version_and_leaves_the_first_as_it_was(client_on_each: Client) -> None:
    client = client_on_each
    first = entered(client, "/v1/charts", reductions())
    second = entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.041, 0.051)))
    other = entered(client, "/v1/charts", reductions(name="another book"))
    assert [chart["version"] for chart in (first, second, other)] == [1, 2, 1]
    assert client.get(f"/v1/charts/{first['id']}").json == {**first, "in_force": False}
    listed = client.get("/v1/charts?kind=reduction&name=spherical+roller+bearings").json["items"]
    assert [(chart["version"], chart["in_force"]) for chart in listed] == [(1, False), (2, True)]
    in_force = client.get("/v1/charts?in_force=true").json["items"]
    assert [chart["id"] for chart in in_force] == [second["id"], other["id"]]
    assert [chart["id"] for chart in client.get("/v1/charts?in_force=false").json["items"]] == [first["id"]]


def test_pages_hold_every_version_once(client: Client) -> None:
    made = [entered(client, "/v1/charts", reductions(name=f"book {n % 2}"))["id"] for n in range(5)]
    seen, url = [], "/v1/charts?limit=2"
    while url:
        page = client.get(url).json
        seen += [chart["id"] for chart in page["items"]]
        url = page["next"]
    assert seen == made


def test_entering_is_journalled_with_the_hash_of_each_version(app_on_each: Flask, client_of: ClientMaker) -> None:
    import sqlalchemy as sa

    from service.store.models import JournalEntry

    client = client_of(app_on_each)
    first = entered(client, "/v1/charts", reductions())
    second = entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.041, 0.051)))
    block = entered(client, "/v1/housings", housing())
    database = app_on_each.extensions["capsaddle"].database
    with database.reading() as connection:
        columns = (JournalEntry.event_type, JournalEntry.before_hash, JournalEntry.after_hash)
        rows = connection.execute(sa.select(*columns).order_by(JournalEntry.seq)).all()
    assert [tuple(row) for row in rows if row.event_type.endswith(".entered")] == [
        ("chart.entered", None, first["sha256"]),
        ("chart.entered", first["sha256"], second["sha256"]),
        ("housing.entered", None, block["sha256"]),
    ]
    assert all(chain.broken_seq is None for chain in verify_journals(database, "ALDER"))


def test_a_dry_run_checks_and_stores_nothing(client: Client) -> None:
    tried = client.post("/v1/charts?dry_run=true", reductions())
    assert (tried.status_code, tried.headers["Dry-Run"]) == (201, "true")
    assert client.get("/v1/charts").json["items"] == []
    refused = client.post("/v1/charts?dry_run=true", reductions(reduction_row(80, 65, 0.04, 0.05)))
    assert refused.json["code"] == "chart_refused"


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([reduction_row(80, 65, 0.04, 0.05)], [("#/rows/0", "backwards")]),
        ([reduction_row(65, 80, 0.05, 0.04)], [("#/rows/0", "backwards")]),
        (
            [
                reduction_row(65, 80, 0.04, 0.05),
                reduction_row(80, 100, 0.045, 0.06),
                reduction_row(90, 120, 0.05, 0.07),
            ],
            [("#/rows/2", "overlap")],
        ),
        (
            [reduction_row(65, 80, 0.04, 0.05), reduction_row(100, 120, 0.05, 0.07)],
            [("#/rows/1", "gap")],
        ),
        (
            [reduction_row(65, 80, 0.04, 0.05), reduction_row(80, 100, 0.03, 0.05)],
            [("#/rows/1", "falling")],
        ),
        (
            [reduction_row(50, 65, 0.03, 0.04), reduction_row(65, 80, 0.40, 0.50), reduction_row(80, 100, 0.045, 0.06)],
            [("#/rows/1", "unusual"), ("#/rows/1", "unusual")],
        ),
        ([reduction_row(65, 80, 0.04, 0.05, accept_unusual=True)], [("#/rows/0", "no_reason")]),
    ],
)
def test_a_chart_is_refused_row_by_row(
    client: Client, rows: list[dict[str, Any]], expected: list[tuple[str, str]]
) -> None:
    refused = client.post("/v1/charts", reductions(*rows))
    assert (refused.status_code, refused.json["code"]) == (422, "chart_refused")
    assert faults(refused) == expected
    assert client.get("/v1/charts").json["items"] == []


def test_a_row_that_spans_many_bores_is_held_against_each_of_them(client: Client) -> None:
    """0.07 mm suits a bore of 120 mm (common practice, no source), and would wreck one of 30 mm."""
    refused = client.post("/v1/charts", reductions(reduction_row(24, 120, 0.06, 0.07)))
    assert faults(refused) == [("#/rows/0", "unusual"), ("#/rows/0", "unusual")]
    assert "at bore 30 mm" in refused.json["detail"]


def test_inches_entered_as_millimetres_are_seen(client: Client) -> None:
    slip = reduction_row(65, 80, 0.0016, 0.0020)  # 0.0016 in is 0.041 mm
    assert faults(client.post("/v1/charts", reductions(slip))) == [("#/rows/0", "unusual")] * 2
    right = {**slip, "min": {"value": 0.0016, "unit": "in"}, "max": {"value": 0.0020, "unit": "in"}}
    assert client.post("/v1/charts", reductions(right)).status_code == 201


def test_unusual_rows_stand_with_a_reason_that_is_kept_and_no_others(client_on_each: Client) -> None:
    unusual = [reduction_row(65, 80, 0.1, 0.12), reduction_row(90, 100, 0.05, 0.06), reduction_row(100, 120, 0.2, 0.2)]
    refused = client_on_each.post("/v1/charts", reductions(*unusual))
    assert {pointer for pointer, _ in faults(refused)} == {"#/rows/0", "#/rows/1", "#/rows/2"}
    accepted = [{**row, "accept_unusual": True, "reason": "printed so, asked the maker"} for row in unusual[:2]]
    half = client_on_each.post("/v1/charts", reductions(*accepted, unusual[2]))
    assert {pointer for pointer, _ in faults(half)} == {"#/rows/2"}
    made = entered(client_on_each, "/v1/charts", reductions(*accepted))
    assert made["accepted_rows"] == [1, 2]
    assert made["rows"][0]["reason"] == "printed so, asked the maker"


def test_what_cannot_be_is_not_accepted_with_any_reason(client: Client) -> None:
    sure = {"accept_unusual": True, "reason": "sure"}
    overlapping = [reduction_row(65, 80, 0.04, 0.05, **sure), reduction_row(70, 100, 0.045, 0.06, **sure)]
    assert faults(client.post("/v1/charts", reductions(*overlapping))) == [("#/rows/1", "overlap")]


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"kind": "everything"}, "#/kind", "unknown_choice"),
        ({"bearing_type": None}, "#/bearing_type", "null"),
        ({"rows": []}, "#/rows", "invalid"),
        ({"rows": [{"torque": n_m(100)}]}, "#/rows/0/bore_over", "required"),
        ({"rows": [reduction_row(65, 80, 0.04, 0.05) | {"min": 0.04}]}, "#/rows/0/min", "bare_number"),
        ({"rows": [reduction_row(65, 80, 0.04, 0.05) | {"min": n_m(3)}]}, "#/rows/0/min", "wrong_dimension"),
        ({"provenance": {"title": "no more than a title"}}, "#/provenance/checked_by", "required"),
        ({"kind": "cap_bolt_torque", "rows": [torque_row(100, INCH_516)]}, "#/bearing_type", "unknown_member"),
        ({"kind": "initial_clearance", "rows": []}, "#/rows", "invalid"),
    ],
)
def test_a_chart_that_cannot_be_read_names_the_place(
    client: Client, change: dict[str, Any], pointer: str, code: str
) -> None:
    refused = client.post("/v1/charts", {**reductions(), **change})
    assert refused.status_code == 422
    assert (pointer, code) in faults(refused)


def test_an_initial_clearance_chart_says_its_bore_form(client: Client) -> None:
    row = {**reduction_row(65, 80, 0.095, 0.120), "clearance_class": "C3"}  # ISO 5753-1, tapered bore, C3
    chart = {**reductions(row), "kind": "initial_clearance"}
    assert faults(client.post("/v1/charts", chart)) == [("#/bore_form", "required")]
    assert client.post("/v1/charts", {**chart, "bore_form": "tapered"}).status_code == 201
    reduction = client.post("/v1/charts", {**reductions(), "bore_form": "cylindrical"})
    assert faults(reduction) == [("#", "not_tapered")]


@pytest.mark.parametrize(
    ("row", "code"),
    [
        (torque_row(1500, INCH_516), "unusual"),  # the table has 110 lbf.ft, 149 N.m: a slip of the decimal point
        (torque_row(110, {"size": "999", "dimensions": "inch"}), "unknown_housing"),
        (torque_row(110, INCH_516, bolt={"thread": "M7.5"}), "unknown_thread"),
        (torque_row(110, INCH_516, bolt={"thread": "M16", "grade": "SAE J429 5"}), "grade_not_for_thread"),
    ],
)
def test_a_cap_torque_is_checked_before_it_is_stored(client: Client, row: dict[str, Any], code: str) -> None:
    assert faults(client.post("/v1/charts", torques(row))) == [("#/rows/0", code)]


def test_one_housing_has_one_row(client: Client) -> None:
    twice = torques(torque_row(150, INCH_516), torque_row(160, INCH_516))
    assert faults(client.post("/v1/charts", twice)) == [("#/rows/1", "overlap")]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"seat_width": {"value": 60, "unit": "in"}}, "unusual"),
        ({"locating_rings": {"count": 2, "width": mm(30)}}, "rings_too_wide"),
        ({"cap_bolts": {"thread": "M7.5"}}, "unknown_thread"),
    ],
)
def test_a_housing_that_cannot_be_is_refused(client: Client, change: dict[str, Any], code: str) -> None:
    refused = client.post("/v1/housings", housing(**change))
    assert (refused.status_code, refused.json["code"]) == (422, "housing_refused")
    assert faults(refused) == [("#", code)]


def test_a_housing_is_versioned_like_a_chart(client_on_each: Client) -> None:
    first = entered(client_on_each, "/v1/housings", housing())
    second = entered(client_on_each, "/v1/housings", housing(seat_width=mm(62)))
    assert (second["version"], second["seat_width"]["text"]) == (2, "2.4409 in (62.000 mm)")
    assert client_on_each.get(f"/v1/housings/{first['id']}").json == {**first, "in_force": False}
    assert [h["id"] for h in client_on_each.get("/v1/housings?in_force=true").json["items"]] == [second["id"]]


def test_each_site_has_its_own_books(app: Flask, client_of: ClientMaker, client: Client) -> None:
    entered(client, "/v1/charts", reductions())
    stranger = client_of(app, "BIRCH")
    assert stranger.get("/v1/charts").json["items"] == []
    assert entered(stranger, "/v1/charts", reductions())["version"] == 1


def test_of_many_that_enter_the_same_chart_each_makes_a_version_or_is_told(client_on_each: Client) -> None:
    answers: list[Any] = []

    def enter() -> None:
        answers.append(client_on_each.post("/v1/charts", reductions()))

    threads = [threading.Thread(target=enter) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    made = sorted(answer.json["version"] for answer in answers if answer.status_code == 201)
    assert made == list(range(1, len(made) + 1)) and made
    assert {answer.json["code"] for answer in answers if answer.status_code != 201} <= {"version_exists", "busy"}
