"""Charts as CSV: the same document as JSON, the unit in the name of the column."""

from typing import Any
from urllib.parse import urlencode

import pytest

from tests.api.samples.books import PROVENANCE, entered, housing, mm, reduction_row, reductions, torque_row, torques
from tests.api.samples.checked import Client

SAID = {**PROVENANCE, "kind": "reduction", "name": "spherical roller bearings"}
REDUCTIONS = (
    "bearing_type,bore_over_mm,bore_incl_mm,min_um,max_mm,smallest_residual_c3_mm\r\n"
    "spherical_roller,65,80,42,0.052,0.044\r\n"
)


def posted(client: Client, text: str | bytes, **said: str) -> Any:
    data = text.encode() if isinstance(text, str) else text
    return client.call("POST", f"/v1/charts?{urlencode({**SAID, **said})}", data=data, content_type="text/csv")


def same_but_for_identity(one: dict[str, Any], other: dict[str, Any]) -> bool:
    own = ("id", "version", "created_at", "in_force")
    return {k: v for k, v in one.items() if k not in own} == {k: v for k, v in other.items() if k not in own}


def test_csv_and_json_are_the_same_chart(client_on_each: Client) -> None:
    from_csv = posted(client_on_each, REDUCTIONS)
    assert from_csv.status_code == 201, from_csv.text
    from_json = entered(client_on_each, "/v1/charts", reductions())
    assert same_but_for_identity(from_csv.json, from_json)
    assert from_json["version"] == 2


def test_cap_torques_and_housings_come_as_csv_too(client: Client) -> None:
    text = (
        "size,dimensions,seat_design,housing_name,torque_n_m,thread,grade,count\n"
        "516,metric,narrow_seat,,150,M16,8.8,2\n,,,block 7,140,,,\n"
    )
    made = posted(client, text, kind="cap_bolt_torque", name="cap bolts")
    narrow = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}
    bolt = {"thread": "M16", "grade": "8.8", "count": 2}
    rows = torques(torque_row(150, narrow, bolt=bolt), torque_row(140, {"name": "block 7"}))
    assert same_but_for_identity(made.json, entered(client, "/v1/charts", rows))
    text = (
        "name,seat_width_mm,seat_bore_mm,ring_count,ring_width_mm,thread,grade,count,torque_n_m\n"
        "block 7,60,140,2,13.5,M16,8.8,2,150\n"
    )
    made = posted(client, text, kind="housing", name="blocks of line 3")
    row = {member: value for member, value in housing().items() if member != "provenance"}
    chart = {"kind": "housing", "name": "blocks of line 3", "provenance": PROVENANCE, "rows": [row]}
    assert same_but_for_identity(made.json, entered(client, "/v1/charts", chart))


def test_a_byte_order_mark_and_blank_lines_do_no_harm(client: Client) -> None:
    assert posted(client, b"\xef\xbb\xbf" + REDUCTIONS.encode() + b"\r\n\r\n").status_code == 201


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("\n", "the first line"),
        ("bore_over,bore_incl_mm\n1,2\n", "'bore_over'"),
        ("bore_over_mm;bore_incl_mm\n65;80\n", "'bore_over_mm;bore_incl_mm'"),
        ("min_mm,min_in\n0.04,0.0016\n", "another column"),
        ("bearing_type,bore_over_mm\nspherical_roller,65\nself_aligning_ball,80\n", "one bearing_type"),
        (b"bearing_type\n\xff\xfe\n", "UTF-8"),
        ('bearing_type\n"unclosed\n', "CSV"),
    ],
)
def test_csv_that_cannot_be_read_says_why(client: Client, text: str | bytes, said: str) -> None:
    refused = posted(client, text)
    assert (refused.status_code, refused.json["code"]) == (422, "bad_csv")
    assert said in refused.json["detail"]


@pytest.mark.parametrize("cell", ["0,042", "4.2e-2", "NaN", "42 um", "'0.042", "=1+1"])
def test_a_cell_that_is_not_a_plain_number_is_refused(client: Client, cell: str) -> None:
    refused = posted(client, f'bearing_type,bore_over_mm,min_mm\nspherical_roller,65,"{cell}"\n')
    assert refused.json["code"] == "bad_csv"
    assert refused.json["errors"][0]["pointer"] == "#/rows/0"
    assert "min_mm" in refused.json["detail"]


def test_a_line_of_another_length_is_refused(client: Client) -> None:
    refused = posted(client, REDUCTIONS + "spherical_roller,80\r\n")
    assert (refused.json["code"], refused.json["errors"][0]["pointer"]) == ("bad_csv", "#/rows/1")


def test_the_faults_of_csv_are_those_of_json(client: Client) -> None:
    unusual = REDUCTIONS.replace("42,0.052", "420,0.52")
    refused = posted(client, unusual)
    assert (
        refused.json["errors"]
        == client.post(
            "/v1/charts", reductions(reduction_row(65, 80, 0.42, 0.52, smallest_residual={"C3": mm(0.044)}))
        ).json["errors"]
    )
    accepted = unusual.replace("\r\n", ",accept_unusual,reason\r\n", 1).replace("0.044", "0.044,true,printed so")
    assert posted(client, accepted).json["accepted_rows"] == [1]


def test_what_is_said_of_csv_is_asked_for_and_has_no_place_beside_json(client: Client) -> None:
    lacking = client.call("POST", "/v1/charts?kind=reduction", data=REDUCTIONS.encode(), content_type="text/csv")
    assert {fault["pointer"] for fault in lacking.json["errors"]} == {
        "#/name",
        *(f"#/provenance/{member}" for member in PROVENANCE),
    }
    beside = client.post("/v1/charts?page=12", reductions())
    assert (beside.status_code, beside.json["errors"][0]["parameter"]) == (400, "page")


def test_other_media_types_are_refused_and_both_are_named(client: Client) -> None:
    refused = client.call("POST", "/v1/charts", data=b"x", content_type="application/xml")
    assert (refused.status_code, refused.headers["Accept-Post"]) == (415, "application/json, text/csv")
