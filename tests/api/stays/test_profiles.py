"""Import profiles: messy sheets come out as they were meant, or are refused for exactly the rows that are wrong."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan
from tests.api.stays.messy_sheets import SHEETS, Row, semicolons_and_decimal_commas
from tests.system.servers import run_command

CSV = "text/csv"
HEADER = "external_id;asset;position;designation;installed_at;removed_at;end_type;operating_hours"
LINE = "S-{n};DRY-2-FAN;tail;22216 K/C3;20{n:02d}-03-04T10:00:00Z;20{n:02d}-09-12T06:30:00Z;failed;{hours}"


def entered(client: Client, profile: dict[str, Any]) -> dict[str, Any]:
    answer = client.post("/v1/import-profiles", profile)
    assert answer.status_code == 201, answer.json
    body: dict[str, Any] = answer.json
    return body


def sent(client: Client, data: bytes, query: str) -> Any:
    return client.post(f"/v1/stays/import?{query}", data=data, content_type=CSV)


def check(item: dict[str, Any], row: Row) -> None:
    """Fail unless a stay is the row that the sheet was made of; times to the second, hours and lengths exactly."""
    assert (item["asset"], item["position"]) == (row.asset, row.position)
    assert item["designation"] == "22216 K/C3"
    assert item["installed_at"] == row.installed_at.strftime("%Y-%m-%dT%H:%M:%S.000000Z")
    assert item["removed_at"] == row.removed_at.strftime("%Y-%m-%dT%H:%M:%S.000000Z")
    assert item["operating_hours"] == row.tenths_h / 10
    assert item["end_type"] == row.end_type
    assert item["residual_clearance_mm"] == pytest.approx(row.left_nm / 1e6, rel=1e-12)


@pytest.mark.parametrize("name", SHEETS)
def test_a_messy_sheet_comes_out_as_it_was_meant(client_on_each: Client, name: str) -> None:
    client, sheet = client_on_each, SHEETS[name](450)
    entered(client, sheet.profile)
    done = sent(client, sheet.data, f"profile={sheet.profile['name']}&create_assets=true")
    assert (done.status_code, done.json.get("created")) == (200, 450), done.json
    items = client.get("/v1/stays?limit=500").json["items"]
    by_place = {(i["asset"], i["position"], i["installed_at"]): i for i in items}
    for row in sheet.rows:
        check(by_place[row.asset, row.position, row.installed_at.strftime("%Y-%m-%dT%H:%M:%S.000000Z")], row)
    again = sent(client, sheet.data, f"profile={sheet.profile['name']}")
    assert (again.json["created"], again.json["unchanged"]) == (0, 450)


def test_a_sheet_is_refused_for_exactly_the_rows_that_are_wrong(client_on_each: Client) -> None:
    client, sheet = client_on_each, semicolons_and_decimal_commas(30, broken=True)
    entered(client, sheet.profile)
    refused = sent(client, sheet.data, "profile=semicolons&create_assets=true&dry_run=true")
    assert (refused.status_code, refused.json["code"]) == (422, "import_refused")
    assert [(f["row"], f["code"]) for f in refused.json["report"]] == sheet.faults
    assert refused.json["report"][0]["sent_as"] == "Stunden"
    assert sum(each["count"] for each in refused.json["counts"]) == refused.json["fault_count"] == len(sheet.faults)


def test_faults_of_all_kinds_come_in_one_pass(client: Client) -> None:
    client.post("/v1/assets", fan())
    lines = [
        LINE.format(n=1, hours="100"),
        LINE.format(n=2, hours="x"),
        LINE.format(n=1, hours="100"),
        LINE.format(n=3, hours="100").replace("tail", "tial"),
        LINE.format(n=4, hours="100").replace("DRY-2", "DRY-9"),
        LINE.format(n=5, hours="99999"),
        "too;few",
        LINE.format(n=6, hours="100").replace("22216 K/C3", "LAGER UNBEKANNT"),
    ]
    refused = sent(client, "\n".join([HEADER, *lines]).encode(), "dry_run=true")
    report = {f["row"]: f for f in refused.json["report"]}
    assert {row: fault["code"] for row, fault in report.items()} == {
        2: "wrong_type", 3: "repeated_row", 4: "unknown_position", 5: "unknown_asset", 6: "more_hours_than_calendar",
        7: "wrong_width", 8: "unknown_designation",
    }  # fmt: skip
    assert "row 1 once more" in report[3]["message"], "a repeated row names the other"
    assert "nearest that is known is tail" in report[4]["message"]
    assert {(c["code"], c["column"], c["count"]) for c in refused.json["counts"]} >= {("wrong_width", "", 1)}


def test_a_designation_that_nobody_reads_is_taken_only_when_asked_for(client: Client) -> None:
    line = LINE.format(n=1, hours="100").replace("22216 K/C3", "LAGER UNBEKANNT")
    data = f"{HEADER}\n{line}\n".encode()
    assert sent(client, data, "create_assets=true").json["report"][0]["code"] == "unknown_designation"
    done = sent(client, data, "create_assets=true&accept_unknown=true")
    assert [note["code"] for note in done.json["notes"]] == ["unknown_designation"]
    assert client.get("/v1/stays").json["items"][0]["designation"] == "LAGER UNBEKANNT"


@pytest.mark.parametrize(
    ("hours", "read"),
    [
        # 1.234 may be 1234 or 1.234: nothing in the column says which
        (("1.234", "2234,5"), None),
        (("1.234",), None),
        (("1,234",), None),
        # a mark with other than three digits behind it, or a nought before it, parts decimals and nothing else
        (("1.234", "2234.5"), (1.234, 2234.5)),
        (("0.125", "3.5"), (0.125, 3.5)),
        (("1,234", "2234,5"), (1.234, 2234.5)),
        (("1234", "2234,5"), (1234.0, 2234.5)),
    ],
)
def test_a_mark_that_may_be_two_things_is_refused(
    client: Client, hours: tuple[str, ...], read: tuple[float, ...] | None
) -> None:
    lines = [LINE.format(n=n, hours=each) for n, each in enumerate(hours, start=1)]
    answer = sent(client, "\n".join([HEADER, *lines]).encode(), "create_assets=true")
    if read is None:
        assert answer.json["report"][0]["code"] == "ambiguous_mark", answer.json
        assert client.get("/v1/stays").json["items"] == []
    else:
        assert answer.status_code == 200, answer.json
        assert tuple(i["operating_hours"] for i in client.get("/v1/stays").json["items"]) == read


@pytest.mark.parametrize(
    ("marks", "text", "read"),
    [
        ({"decimal_mark": ",", "thousands_mark": "."}, "1.234", 1234.0),
        ({"decimal_mark": ".", "thousands_mark": ","}, "1.234", 1.234),
        ({"decimal_mark": ","}, "1.234", "ambiguous_mark"),
        ({"decimal_mark": ",", "thousands_mark": "."}, "12.34", "wrong_type"),
        ({"decimal_mark": ",", "thousands_mark": "."}, "1.234.567,5", "out of the calendar"),
        ({"decimal_mark": ",", "thousands_mark": " "}, "1\u00a0234,5", 1234.5),
    ],
)
def test_a_profile_says_what_a_mark_is(client: Client, marks: dict[str, str], text: str, read: Any) -> None:
    entered(client, {"name": "marks", **marks})
    data = f"{HEADER}\n{LINE.format(n=1, hours=text)}\n".encode()
    answer = sent(client, data, "create_assets=true&profile=marks")
    if isinstance(read, float):
        assert client.get("/v1/stays").json["items"][0]["operating_hours"] == read
    else:
        code = "more_hours_than_calendar" if read == "out of the calendar" else read
        assert answer.json["report"][0]["code"] == code, answer.json


@pytest.mark.parametrize(("unit", "text"), [("in", "0.0025"), ("thou", "2.5"), ("um", "63.5"), ("mm", "0.0635")])
def test_a_column_of_lengths_says_its_unit_in_its_name(client: Client, unit: str, text: str) -> None:
    """0.0025 in = 63.5 um exactly (1 in = 25.4 mm)."""
    header = HEADER.replace("operating_hours", f"residual_clearance_{unit}").replace(";", ",")
    line = LINE.format(n=1, hours=text).replace(";", ",")
    assert sent(client, f"{header}\n{line}\n".encode(), "create_assets=true").status_code == 200
    assert client.get("/v1/stays").json["items"][0]["residual_clearance_mm"] == 0.0635


REFUSED: dict[str, tuple[dict[str, Any], str, str]] = {
    "a column that is none": ({"columns": {"Colour": "colour"}}, "#/columns/Colour", "unknown_column"),
    "one column twice": ({"columns": {"A": "asset", "B": "asset"}}, "#/columns/B", "stands_twice"),
    "one length twice": (
        {"columns": {"A": "residual_clearance_in", "B": "residual_clearance_mm"}}, "#/columns/B", "stands_twice",
    ),
    "fixed and read": ({"columns": {"A": "asset"}, "fixed": {"asset": "X"}}, "#/fixed/asset", "stands_twice"),
    "one mark for two things": ({"decimal_mark": ",", "thousands_mark": ","}, "#/thousands_mark", "ambiguous_mark"),
    "a pattern without a year": ({"dates": {"patterns": ["%d.%m. %H:%M"]}}, "#/dates/patterns/0", "bad_pattern"),
    "a zone that is none": ({"dates": {"zone": "Nowhere/Else"}}, "#/dates/zone", "unknown_zone"),
    "two ids": ({"columns": {"A": "external_id"}, "identity": ["B"]}, "#/identity", "stands_twice"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_profile_that_contradicts_itself_is_refused(client: Client, name: str) -> None:
    document, pointer, code = REFUSED[name]
    refused = client.post("/v1/import-profiles", {"name": "sheet", **document})
    assert (refused.status_code, refused.json["code"]) == (422, "import_profile_refused")
    assert [(e["pointer"], e["code"]) for e in refused.json["errors"]] == [(pointer, code)]


def test_the_same_name_again_is_the_next_version(client_on_each: Client, client_of: ClientMaker) -> None:
    client = client_on_each
    first = entered(client, {"name": "sheet", "decimal_mark": "."})
    second = entered(client, {"name": "sheet", "decimal_mark": ","})
    assert (first["version"], second["version"]) == (1, 2)
    assert client.get(f"/v1/import-profiles/{first['id']}").json == {**first, "in_force": False}
    listed = client.get("/v1/import-profiles?name=sheet").json["items"]
    assert [(each["version"], each["in_force"]) for each in listed] == [(1, False), (2, True)]
    assert client.post("/v1/import-profiles?dry_run=true", {"name": "sheet"}).json["version"] == 3
    assert len(client.get("/v1/import-profiles").json["items"]) == 2
    stranger = client_of(client.app, "BIRCH")
    assert stranger.get(f"/v1/import-profiles/{first['id']}").status_code == 404


def test_an_unknown_profile_names_the_nearest_and_a_profile_reads_csv_only(client: Client) -> None:
    entered(client, {"name": "workshop-sheet"})
    refused = client.post("/v1/stays/import?profile=workshop-shet", data=b"a\n1\n", content_type=CSV)
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_import_profile")
    assert "workshop-sheet" in refused.json["detail"]
    refused = client.post("/v1/stays/import?profile=workshop-sheet", {"items": []})
    assert refused.json["code"] == "profile_not_for_this"


def test_the_command_line_proposes_a_profile_and_imports_by_it(sqlite_url: str, tmp_path: Path) -> None:
    """What the rows show is proposed; what they leave open is asked: the zone, and the words of the workshop."""
    sheet = semicolons_and_decimal_commas(400)
    file, settled = tmp_path / "list.csv", tmp_path / "list.json"
    file.write_bytes(sheet.data)
    tried = run_command(sqlite_url, "profiles", "try", str(file), "--name", "semicolons")
    assert tried.returncode == 0, tried.stderr
    profile = json.loads(tried.stdout)
    assert (profile["decimal_mark"], profile.get("thousands_mark")) == (",", ".")
    assert profile["dates"] == {"patterns": ["%d.%m.%Y %H:%M"]}
    assert profile["columns"]["Eingebaut"] == "installed_at"
    assert "dates.zone" in tried.stderr and "'defekt'" in tried.stderr
    settled.write_text(json.dumps(sheet.profile), encoding="utf-8")
    run_command(sqlite_url, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "metric")
    saved = run_command(sqlite_url, "profiles", "save", str(settled), "--site", "MILL-A")
    assert "version 1" in saved.stdout, saved.stderr
    for profile_named in (str(settled), "semicolons"):
        said = ("--site", "MILL-A", "--create-assets", "--profile", profile_named)
        done = run_command(sqlite_url, "import", str(file), *said)
        assert done.returncode == 0, done.stderr
    assert "0 of 400 stays are new, 400 were on record" in done.stdout
