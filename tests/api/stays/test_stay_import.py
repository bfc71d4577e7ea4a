"""Stays from elsewhere: all or nothing, idempotent, and a report that says row by row what is wrong."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from flask import Flask

from service.errors import Conflict
from service.history.stays import Stay
from service.store.queries.sites import site_by_code
from service.store.queries.stay_import import end_stays
from service.store.transaction import Tx
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, sent, stay
from tests.api.samples.machines import fan
from tests.api.samples.orders import completion, opened, ready_to_complete

CSV = "text/csv"
HEADER = "external_id,asset,position,designation,installed_at,removed_at,end_type,damage,residual_clearance_mm"
LINE = "S-1,DRY-2-FAN,tail,22216 K/C3,2022-03-04T10:00:00Z,2023-09-12T06:30:00Z,failed,wear.abrasive,0.0635"


def csv(client: Client, text: str, query: str = "", *, encoding: str = "utf-8") -> Any:
    return client.post(f"/v1/stays/import{query}", data=text.encode(encoding), content_type=CSV)


def report(answer: Any) -> list[tuple[int, str, str]]:
    assert (answer.status_code, answer.json["code"]) == (422, "import_refused"), answer.json
    assert answer.json["fault_count"] == len(answer.json["report"])
    return [(fault["row"], fault["column"], fault["code"]) for fault in answer.json["report"]]


def listed(client: Client) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get("/v1/stays?limit=500").json["items"]
    return items


def test_stays_are_imported_and_listed_as_they_were_sent(client_on_each: Client) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    whole = {
        "manufacturer": "Maker A",
        "serial": "7",
        "operating_hours": 9000.5,
        "age_at_install_h": 12.25,
        "observed_from": "2022-04-01T00:00:00+02:00",
        "inspected": True,
        "damage": "wear.abrasive|corrosion.moisture",
        "cause": "seal worn",
        "initial_clearance_mm": 0.1016,
        "residual_clearance_mm": 0.0635,
        "window_min_mm": 0.056,
        "window_max_mm": 0.0801,
        "downtime_h": 6,
        "work_order": "WO-OLD-7",
        "installed_by": "A. Fitter",
        "shaft_diameter_mm": 68.2498,
        "shaft_min_mm": 68.1609,
        "shaft_max_mm": 68.2625,
        "lubricant": "Grease 2",
        "batch": "B-77/3",
        "speed_rpm": 1480,
        "temperature_degc": -5.5,
        "radial_load_n": 9000.5,
        "attributes": {"crew_size": 3, "hot_oil": True, "shift": "late"},
    }
    answer = sent(client, stay(**whole), query="")
    assert (answer.status_code, answer.json["created"], answer.json["unchanged"]) == (200, 1, 0)
    (item,) = listed(client)
    assert {name: item[name] for name in whole} == {**whole, "observed_from": "2022-03-31T22:00:00.000000Z"}
    assert (item["installed_at"], item["as_of"]) == ("2022-03-04T10:00:00.000000Z", None)


def test_the_same_file_twice_changes_nothing_and_other_content_is_refused(client_on_each: Client) -> None:
    client = client_on_each
    first = [stay("S-1"), running("S-2", installed_at="2023-09-12T06:30:00Z")]
    assert imported(client, *first)["created"] == 2
    again = imported(client, *first)
    assert (again["created"], again["unchanged"]) == (0, 2)
    changed = sent(client, first[0], {**first[1], "serial": "8"}, stay("S-3", asset="NEW-1"))
    assert report(changed) == [(2, "serial", "differs")]
    assert changed.json["report"][0]["value"] == "8"
    assert len(listed(client)) == 2
    assert client.get("/v1/assets?tag=NEW-1").json["items"] == []


def test_a_dry_run_says_the_same_and_stores_nothing(client_on_each: Client) -> None:
    client = client_on_each
    dry = sent(client, stay(), query="?create_assets=true&dry_run=true")
    assert (dry.status_code, dry.json["created"], dry.json["assets_created"]) == (200, 1, ["DRY-2-FAN"])
    assert dry.headers["Dry-Run"] == "true"
    assert listed(client) == []
    assert client.get("/v1/assets").json["items"] == []


def test_assets_are_created_only_when_asked_for(client: Client) -> None:
    assert report(sent(client, stay(), query="")) == [(1, "asset", "unknown_asset")]
    done = imported(client, stay())
    assert (done["assets_created"], done["positions_created"]) == (["DRY-2-FAN"], 1)
    (asset,) = client.get("/v1/assets").json["items"]
    (position,) = asset["shafts"][0]["positions"]
    assert (position["name"], position["bearing"]) == ("tail", {"designation": "22216 K/C3"})
    assert report(sent(client, stay("S-2", position="drive"), query="")) == [(1, "position", "unknown_position")]
    assert imported(client, stay("S-2", position="drive"))["positions_created"] == 1
    (asset,) = client.get("/v1/assets").json["items"]
    assert [each["name"] for each in asset["shafts"][0]["positions"]] == ["tail", "drive"]


def test_nobody_guesses_to_which_of_two_shafts_a_position_belongs(client: Client) -> None:
    machine = fan()
    machine["shafts"].append({"name": "second", "positions": [{"name": "other"}]})
    client.post("/v1/assets", machine)
    assert report(sent(client, stay(position="new"))) == [(1, "position", "unknown_position")]


@pytest.mark.parametrize(
    ("members", "column", "code"),
    [
        ({"installed_at": "2022-03-04T10:00:00"}, "installed_at", "time_without_offset"),
        ({"installed_at": "4 March 2022"}, "installed_at", "bad_time"),
        ({"installed_at": "2199-03-04T10:00:00Z", "removed_at": "2199-03-05T10:00:00Z"}, "installed_at",
         "in_the_future"),
        ({"removed_at": "2022-03-04T10:00:00Z"}, "removed_at", "removed_before_installed"),
        ({"removed_at": None}, "removed_at", "end_type_differs"),
        ({"end_type": "exploded"}, "end_type", "unknown_end_type"),
        ({"designation": None}, "designation", "required"),
        ({"external_id": None}, "external_id", "required"),
        ({"damage": "bad luck"}, "damage", "unknown_damage"),
        ({"operating_hours": -1}, "operating_hours", "wrong_type"),
        ({"operating_hours": True}, "operating_hours", "wrong_type"),
        ({"operating_hours": "9000"}, "operating_hours", "wrong_type"),
        ({"operating_hours": 90_000}, "operating_hours", "more_hours_than_calendar"),
        ({"residual_clearance_mm": 63.5}, "residual_clearance_mm", "out_of_range"),
        ({"residual_clearance_mm": 0.0635000001}, "residual_clearance_mm", "out_of_range"),
        ({"shaft_diameter_mm": 2501}, "shaft_diameter_mm", "out_of_range"),
        ({"shaft_min_mm": 68.3, "shaft_max_mm": 68.2}, "shaft_min_mm", "limits_reversed"),
        ({"installed_by": "x" * 81}, "installed_by", "wrong_length"),
        ({"window_min_mm": 0.08, "window_max_mm": 0.05}, "window_min_mm", "window_reversed"),
        ({"inspected": "yes"}, "inspected", "wrong_type"),
        ({"serial": "a\x00b"}, "serial", "bad_character"),
        ({"cause": "x" * 501}, "cause", "wrong_length"),
    ],
)  # fmt: skip
def test_what_may_not_stand_is_named_with_row_column_and_code(
    client: Client, members: dict[str, Any], column: str, code: str
) -> None:
    refused = sent(client, stay("S-0", position="drive"), {**stay("S-1"), **members})
    assert (2, column, code) in report(refused)
    fault = next(f for f in refused.json["report"] if f["column"] == column and f["code"] == code)
    sent_value = members.get(column)
    assert fault["value"] == (sent_value[:200] if isinstance(sent_value, str) else sent_value)
    assert listed(client) == []


def test_stays_of_one_position_do_not_overlap_in_the_file_or_with_what_is_on_record(client_on_each: Client) -> None:
    client = client_on_each
    two = [stay("S-1"), stay("S-2", installed_at="2023-01-01T00:00:00Z", removed_at="2024-01-01T00:00:00Z")]
    assert report(sent(client, *two)) == [(2, "installed_at", "stays_overlap")]
    imported(client, two[0])
    refused = sent(client, two[1])
    assert report(refused) == [(1, "installed_at", "stays_overlap")]
    assert "S-1" in refused.json["report"][0]["message"]
    earlier = stay("S-0", installed_at="2021-01-01T00:00:00Z", removed_at="2022-06-01T00:00:00Z")
    assert report(sent(client, earlier)) == [(1, "installed_at", "stays_overlap")]


def test_a_gap_is_a_note_and_stands(client: Client) -> None:
    later = stay("S-2", installed_at="2023-10-12T06:30:00Z", removed_at="2024-01-01T00:00:00Z")
    done = imported(client, stay("S-1"), later)
    assert done["created"] == 2
    assert [(note["row"], note["code"]) for note in done["notes"]] == [(2, "gap_before")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("separator", [",", ";"])
def test_csv_comes_with_or_without_byte_order_mark_comma_or_semicolon(
    client: Client, encoding: str, separator: str
) -> None:
    text = f"{HEADER}\r\n{LINE}\r\n".replace(",", separator)
    done = csv(client, text, "?create_assets=true", encoding=encoding)
    assert (done.status_code, done.json["created"]) == (200, 1), done.json
    assert listed(client)[0]["residual_clearance_mm"] == 0.0635


def test_a_decimal_comma_is_read_where_semicolons_stand_between_the_cells(client: Client) -> None:
    text = f"{HEADER}\n{LINE}\n".replace(",", ";").replace("0.0635", "0,0635")
    assert csv(client, text, "?create_assets=true").status_code == 200
    assert listed(client)[0]["residual_clearance_mm"] == 0.0635


def test_times_of_the_site_s_clocks_are_read_in_the_zone_that_is_stated(client: Client) -> None:
    """Stockholm, 2022: clocks went from 02:00 to 03:00 on 27 March and back at 03:00 on 30 October (EU summer time)."""
    text = f"{HEADER}\n" + LINE.replace("2022-03-04T10:00:00Z", "2022-07-01 08:00").replace(
        "2023-09-12T06:30:00Z", "2023-01-15"
    )
    assert csv(client, text, "?create_assets=true&zone=Europe/Stockholm").status_code == 200
    assert [listed(client)[0][name] for name in ("installed_at", "removed_at")] == [
        "2022-07-01T06:00:00.000000Z",
        "2023-01-14T23:00:00.000000Z",
    ]
    for doubtful in ("2022-10-30 02:30", "2022-03-27 02:30"):
        refused = csv(client, text.replace("2022-07-01 08:00", doubtful), "?zone=Europe/Stockholm")
        assert report(refused) == [(1, "installed_at", "ambiguous_time")]
    for no_zone in ("Nowhere/Else", "../etc/passwd", "/etc/passwd"):
        assert csv(client, text, f"?zone={no_zone}").json["code"] == "unknown_zone"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (" ", "bad_csv"),
        ("asset,nonsense\nA,1\n", "bad_csv"),
        (HEADER.replace("end_type,", "") + "\n", "bad_csv"),
        (HEADER + ",asset\n", "bad_csv"),
        (HEADER + "\nS-1,too,few\n", "import_refused"),
        (HEADER + "\n" + LINE + '\n"open', "bad_csv"),
        (HEADER + "\n", "no_rows"),
        (HEADER + "\n" + LINE + "\n#end,2,,,,,,,\n", "cut_short"),
    ],
)
def test_a_file_that_is_no_such_csv_is_refused_as_a_whole(client: Client, text: str, code: str) -> None:
    refused = csv(client, text, "?create_assets=true")
    assert (refused.status_code, refused.json["code"]) == (422, code), refused.json


@pytest.mark.parametrize("body", [b"[]", b'{"items": 1}', b'{"items": [1]}', b'{"items": [{"colour": 1}]}', b"{"])
def test_json_of_another_shape_is_refused(client: Client, body: bytes) -> None:
    assert client.post("/v1/stays/import", data=body).json["code"] == "bad_lines"


def test_ndjson_comes_line_by_line_and_says_when_it_was_cut(client: Client) -> None:
    lines = [json.dumps(stay("S-1")), json.dumps(running("S-2", installed_at="2023-09-12T06:30:00Z"))]

    def post(text: str) -> Any:
        path = "/v1/stays/import?create_assets=true"
        return client.post(path, data=text.encode(), content_type="application/x-ndjson")

    assert post("\n".join([*lines, '{"end": true, "count": 3}'])).json["code"] == "cut_short"
    assert post("\n".join([*lines, '{"end": true, "count": 2}', ""])).json["created"] == 2
    assert post("{").json["code"] == "bad_lines"


def test_the_report_is_cut_at_a_thousand_and_says_how_many_there_are(client: Client) -> None:
    rows = [stay(f"S-{n}", end_type="exploded") for n in range(1_200)]
    refused = sent(client, *rows)
    assert (refused.json["fault_count"], len(refused.json["report"])) == (1_200, 1_000)


def test_one_import_is_one_event_of_the_journal(app: Flask, client: Client) -> None:
    imported(client, stay("S-1"), running("S-2", installed_at="2023-09-12T06:30:00Z"))
    of_import = [data for kind, data in _journal(app) if kind == "stays.imported"]
    assert [(data["rows"], data["created"]) for data in of_import] == [(2, 2)]
    imported(client, stay("S-1"))
    assert len([kind for kind, _ in _journal(app) if kind == "stays.imported"]) == 1


def _journal(app: Flask) -> list[tuple[str, dict[str, Any]]]:
    import sqlalchemy as sa

    from service.store.models import JournalEntry

    with app.extensions["capsaddle"].database.reading() as connection:
        columns = sa.select(JournalEntry.event_type, JournalEntry.data).order_by(JournalEntry.seq)
        return [(kind, json.loads(data)) for kind, data in connection.execute(columns)]


def test_the_template_has_the_columns_and_comes_back_empty(client: Client) -> None:
    template = client.get("/v1/stays/template.csv")
    assert template.text.startswith("external_id,asset,position,designation,")
    assert csv(client, template.text).json["code"] == "no_rows"
    assert client.get("/v1/stays/template.csv?separator=;").text.count(";") == template.text.count(",")


REMOVED = {"removed_at": "2024-05-01T10:00:00Z", "end_type": "failed", "operating_hours": 9000.5, "inspected": True,
           "damage": "wear.abrasive", "cause": "seal worn", "downtime_h": 6}  # fmt: skip


def test_a_running_stay_that_comes_again_with_its_removal_ends(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each, "ALDER")
    seen = running("S-1", as_of="2023-01-01T00:00:00Z", operating_hours=5000)
    imported(client, seen)
    closing = stay("S-1", **REMOVED)
    followed = running("S-2", installed_at="2024-05-01T18:00:00Z")
    counts = {"rows": 2, "created": 1, "closed": 1, "unchanged": 0}
    dry = sent(client, closing, followed, query="?dry_run=true")
    assert dry.status_code == 200 and {name: dry.json[name] for name in counts} == counts
    (note,) = dry.json["notes"]
    assert (note["row"], note["column"], note["value"], note["code"]) == (
        1, "removed_at", REMOVED["removed_at"], "closed",
    )  # fmt: skip
    (item,) = listed(client)
    assert item["end_type"] == "running" and "stay.ended" not in [kind for kind, _ in _journal(app_on_each)]
    done = sent(client, closing, followed, query="")
    assert (done.status_code, done.json) == (200, dry.json)
    first, second = listed(client)
    assert first["id"] == item["id"] and second["end_type"] == "running"
    assert {name: first[name] for name in REMOVED} == {**REMOVED, "removed_at": "2024-05-01T10:00:00.000000Z"}
    assert first["as_of"] is None
    again = imported(client, closing, followed)
    assert (again["created"], again["closed"], again["unchanged"], again["notes"]) == (0, 0, 2, [])


def test_the_journal_and_the_feed_tell_of_an_imported_removal_as_of_any_other(
    app_on_each: Flask, client_of: ClientMaker
) -> None:
    client = client_of(app_on_each, "ALDER")
    imported(client, running("S-1"), running("S-2", position="drive"))
    imported(client, stay("S-1", **REMOVED))
    (first, _) = listed(client)
    (ended,) = [e for e in client.get("/v1/events").json["items"] if e["type"].endswith(".stay.ended")]
    assert ended["subject"] == f"stay/{first['id']}"
    (data,) = [data for kind, data in _journal(app_on_each) if kind == "stay.ended"]
    assert data == {"position": "tail", "asset": "DRY-2-FAN"}
    last = [data for kind, data in _journal(app_on_each) if kind == "stays.imported"][-1]
    assert (last["created"], last["closed"], last["unchanged"]) == (0, 1, 0)


@pytest.mark.parametrize(
    ("members", "column", "code"),
    [
        ({"serial": "8"}, "serial", "differs"),
        ({"installed_at": "2022-03-05T10:00:00Z"}, "installed_at", "differs"),
        ({"position": "drive"}, "position", "differs"),
        ({"residual_clearance_mm": 0.05}, "residual_clearance_mm", "differs"),
        ({"removed_at": "2022-03-01T10:00:00Z"}, "removed_at", "removed_before_installed"),
        ({"removed_at": "2199-03-01T10:00:00Z"}, "removed_at", "in_the_future"),
        ({"removed_at": "2022-12-31T23:00:00Z"}, "removed_at", "removed_before_as_of"),
        ({"operating_hours": 4999}, "operating_hours", "younger_than_before"),
        ({"operating_hours": 90_000}, "operating_hours", "more_hours_than_calendar"),
        ({"end_type": "running"}, "removed_at", "end_type_differs"),
        ({"damage": "bad luck"}, "damage", "unknown_damage"),
    ],
)
def test_a_removal_that_may_not_stand_ends_nothing(
    client_on_each: Client, members: dict[str, Any], column: str, code: str
) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    imported(client, running("S-1", as_of="2023-01-01T00:00:00Z", operating_hours=5000), running("S-2", asset="B-1"))
    refused = sent(client, stay("S-2", asset="B-1", **REMOVED), stay("S-1", **{**REMOVED, **members}))
    assert (2, column, code) in report(refused)
    assert [item["end_type"] for item in listed(client)] == ["running", "running"]


def test_what_follows_must_not_begin_before_the_removal(client_on_each: Client) -> None:
    client = client_on_each
    imported(client, running("S-1"))
    early = running("S-2", installed_at="2024-05-01T09:00:00Z")
    assert report(sent(client, stay("S-1", **REMOVED), early)) == [(2, "installed_at", "stays_overlap")]
    assert report(sent(client, running("S-1"), early)) == [(2, "installed_at", "stays_overlap")]
    assert len(listed(client)) == 1


def test_a_stay_that_an_order_began_ends_by_its_own_id(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    client.post(f"/v1/work-orders/{order['id']}/completion", completion())
    (item,) = listed(client)
    given = {name: value for name, value in item.items() if value is not None}
    done = sent(client, {**given, "removed_at": "2024-05-01T10:00:00Z", "end_type": "failed"}, query="")
    assert (done.status_code, done.json["closed"]) == (200, 1), done.json
    (ended,) = listed(client)
    assert (ended["end_type"], ended["installed_by"]) == ("failed", "A. Fitter")


def test_of_two_removals_of_one_stay_the_later_request_is_told(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each, "ALDER")
    imported(client, stay("S-1"))
    (item,) = listed(client)
    database = app_on_each.extensions["capsaddle"].database
    fitted, removed = datetime(2022, 3, 4, tzinfo=UTC), datetime(2024, 5, 1, tzinfo=UTC)
    sent_again = Stay(position="tail", designation="x", installed_at=fitted, removed_at=removed, end_type="failed")

    def work(tx: Tx) -> Any:
        return end_stays(tx, {item["id"]: sent_again})

    with pytest.raises(Conflict) as told:
        database.write(site_id=site_by_code(database, "ALDER").id, actor="test", request_id="test", work=work)
    assert told.value.code == "stay_ended_meanwhile"
    assert listed(client) == [item]


@pytest.mark.parametrize("accept", [CSV, "application/x-ndjson"])
def test_what_is_exported_goes_in_elsewhere_as_it_is(app_on_each: Flask, client_of: ClientMaker, accept: str) -> None:
    fit = {"shaft_diameter_mm": 68.2498, "shaft_min_mm": 68.1609, "shaft_max_mm": 68.2625}
    first, second = client_of(app_on_each, "ALDER"), client_of(app_on_each, "BIRCH")
    given = (stay("S-1", installed_by="=Å. Fitter", **fit), running("S-2", position="drive", installed_by="B. Other"))
    imported(first, *given)
    exported = first.get("/v1/stays", headers={"Accept": accept})
    again = first.post("/v1/stays/import", data=exported.data, content_type=accept)
    assert (again.status_code, again.json["unchanged"]) == (200, 2), again.json
    there = second.post("/v1/stays/import?create_assets=true", data=exported.data, content_type=accept)
    assert (there.status_code, there.json["created"]) == (200, 2), there.json
    left = [{name: value for name, value in item.items() if name != "id"} for item in listed(first)]
    assert [{name: value for name, value in item.items() if name != "id"} for item in listed(second)] == left
    assert [item["installed_by"] for item in left] == ["=Å. Fitter", "B. Other"]


def test_an_import_of_another_site_s_external_ids_is_its_own(app_on_each: Flask, client_of: ClientMaker) -> None:
    imported(client_of(app_on_each, "ALDER"), stay())
    assert imported(client_of(app_on_each, "BIRCH"), stay(serial="other"))["created"] == 1


def test_other_media_types_are_refused(client: Client) -> None:
    refused = client.post("/v1/stays/import", data=b"{}", content_type="text/plain")
    assert (refused.status_code, refused.json["code"]) == (415, "unsupported_media_type")
