"""What a stay carries beside our columns: attributes named by the site, and how the bearing ran.

What is expected here are rules of this service: one type a name, twenty names a site.
"""

import csv
import io
from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, sent, stay
from tests.api.samples.orders import completion, opened, ready_to_complete

ADDRESS = "/v1/stays/attributes"
CSV = "text/csv"


def names(client: Client) -> dict[str, str]:
    return {each["name"]: each["type"] for each in client.get(ADDRESS).json["items"]}


def stays(client: Client) -> dict[str, dict[str, Any]]:
    return {each["external_id"]: each for each in client.get("/v1/stays?limit=500").json["items"]}


def faults(answer: Any) -> list[tuple[int, str, str]]:
    assert (answer.status_code, answer.json["code"]) == (422, "import_refused"), answer.json
    return [(each["row"], each["column"], each["code"]) for each in answer.json["report"]]


def from_csv(client: Client, text: str, query: str = "?create_assets=true") -> Any:
    return client.post(f"/v1/stays/import{query}", data=text.encode(), content_type=CSV)


def test_the_first_use_gives_a_name_its_type_and_another_type_is_refused(client_on_each: Client) -> None:
    client = client_on_each
    done = imported(client, stay("S-1", attributes={"crew_size": 3, "hot_oil": True, "shift": "late"}))
    assert [(note["column"], note["code"]) for note in done["notes"]] == [
        ("attributes.crew_size", "attribute_named"),
        ("attributes.hot_oil", "attribute_named"),
        ("attributes.shift", "attribute_named"),
    ]
    assert names(client) == {"crew_size": "number", "hot_oil": "flag", "shift": "text"}
    again = imported(client, stay("S-1", attributes={"shift": "late", "hot_oil": True, "crew_size": 3.0}))
    assert (again["unchanged"], again["notes"]) == (1, [])
    wrong = [
        running("S-2", installed_at="2023-09-13T00:00:00Z", attributes={"crew_size": "three"}),
        stay("S-3", asset="OTHER", attributes={"crew_size": True, "shift": 2}),
    ]
    assert faults(sent(client, *wrong)) == [
        (1, "attributes.crew_size", "attribute_type_differs"),
        (2, "attributes.crew_size", "attribute_type_differs"),
        (2, "attributes.shift", "attribute_type_differs"),
    ]
    assert list(stays(client)) == ["S-1"]


@pytest.mark.parametrize(
    ("attributes", "code"),
    [
        ("crew 3", "wrong_type"),
        ({"Crew": 3}, "bad_name"),
        ({"crew-size": 3}, "bad_name"),
        ({"a" * 41: 3}, "bad_name"),
        ({"crew": [3]}, "wrong_type"),
        ({"crew": 1e16}, "out_of_range"),
        ({"crew": ""}, "wrong_length"),
        ({"crew": "a" * 201}, "wrong_length"),
        ({"crew": "a\u0000b"}, "bad_character"),
        ({f"n{n}": 1 for n in range(21)}, "wrong_type"),
    ],
)
def test_what_is_no_attribute_is_refused(client: Client, attributes: Any, code: str) -> None:
    assert faults(sent(client, stay(attributes=attributes))) == [(1, "attributes", code)]
    assert names(client) == {}


def test_a_site_has_twenty_names_and_no_more(client: Client) -> None:
    imported(client, stay(attributes={f"n{n}": n for n in range(20)}))
    refused = sent(client, running("S-2", installed_at="2023-09-13T00:00:00Z", attributes={"one_more": 1}))
    assert (refused.status_code, refused.json["code"]) == (422, "too_many_attributes")
    assert client.put(f"{ADDRESS}/one_more", {"type": "flag"}).json["code"] == "too_many_attributes"
    assert len(names(client)) == 20 and len(stays(client)) == 1


def test_names_are_declared_described_changed_while_unused_and_deleted(client_on_each: Client) -> None:
    client = client_on_each
    made = client.put(f"{ADDRESS}/crew_size", {"type": "text"})
    assert (made.status_code, made.json["type"], made.json["description"]) == (200, "text", None)
    assert client.put(f"{ADDRESS}/crew_size", {"type": "number", "description": "people"}).json["type"] == "number"
    imported(client, stay(attributes={"crew_size": 3}))
    for refused in (client.put(f"{ADDRESS}/crew_size", {"type": "text"}), client.delete(f"{ADDRESS}/crew_size")):
        assert (refused.status_code, refused.json["code"]) == (409, "attribute_in_use")
    assert client.put(f"{ADDRESS}/crew_size", {"type": "number"}).json["description"] is None
    client.put(f"{ADDRESS}/size", {"type": "number"})  # the end of another name is not this name
    assert client.delete(f"{ADDRESS}/size").status_code == 204
    assert client.delete(f"{ADDRESS}/size").status_code == 404
    assert client.put(f"{ADDRESS}/Size", {"type": "number"}).status_code == 422
    assert names(client) == {"crew_size": "number"}


def test_a_csv_has_a_column_for_each_name_and_goes_in_again_unchanged(client_on_each: Client) -> None:
    client = client_on_each
    head = "external_id,asset,position,designation,installed_at,end_type,lubricant,temperature_degc"
    text = (
        f"{head},attributes.crew_size,attributes.hot_oil,attributes.article,attributes.shift\n"
        "S-1,F-1,tail,22216 K,2022-03-04T10:00:00Z,running,Grease 2,-5.5,3,true,007,=late\n"
        "S-2,F-2,tail,22216 K,2022-03-04T10:00:00Z,running,,,2.5,false,12,\n"
    )
    assert from_csv(client, text).status_code == 200
    assert names(client) == {"article": "text", "crew_size": "number", "hot_oil": "flag", "shift": "text"}
    known = stays(client)
    assert known["S-1"]["attributes"] == {"article": "007", "crew_size": 3, "hot_oil": True, "shift": "=late"}
    assert known["S-2"]["attributes"] == {"article": "12", "crew_size": 2.5, "hot_oil": False}
    assert (known["S-1"]["temperature_degc"], known["S-2"]["lubricant"]) == (-5.5, None)
    exported = client.get("/v1/stays", headers={"Accept": CSV}).text
    header = exported.splitlines()[0].split(",")
    assert header[-4:] == [f"attributes.{name}" for name in sorted(names(client))]
    assert "'=late" in exported  # a spreadsheet would run the cell
    again = from_csv(client, exported)
    assert (again.status_code, again.json["unchanged"]) == (200, 2), again.json
    for media in ("application/x-ndjson",):
        lines = client.get("/v1/stays", headers={"Accept": media})
        back = client.post("/v1/stays/import", data=lines.data, content_type=media)
        assert (back.status_code, back.json["unchanged"]) == (200, 2), back.json
    template = next(csv.reader(io.StringIO(client.get("/v1/stays/template.csv").text)))
    assert template == [name for name in header if name != "id"]


def test_a_declared_name_decides_how_a_cell_is_read(client: Client) -> None:
    client.put(f"{ADDRESS}/article", {"type": "text"})
    client.put(f"{ADDRESS}/load_share", {"type": "number"})
    head = "external_id;asset;position;designation;installed_at;end_type;attributes.article;attributes.load_share"
    line = "F;tail;22216 K;2022-03-04T10:00:00Z;running"
    assert from_csv(client, f"{head}\nS-1;{line};12;0,5\n").status_code == 200
    assert stays(client)["S-1"]["attributes"] == {"article": "12", "load_share": 0.5}
    refused = from_csv(client, f"{head}\nS-2;{line.replace('tail', 'drive')};12;half\n")
    assert faults(refused) == [(1, "attributes.load_share", "attribute_type_differs")]
    comma = head.replace(";", ",")
    nothing = from_csv(client, comma.replace("attributes.article", "attributes.Article") + "\n")
    assert (nothing.status_code, nothing.json["code"]) == (422, "bad_csv")


@pytest.mark.parametrize(
    ("member", "value", "code"),
    [
        ("speed_rpm", -1, "wrong_type"),
        ("speed_rpm", 100_001, "out_of_range"),
        ("temperature_degc", 501, "out_of_range"),
        ("temperature_degc", -101, "out_of_range"),
        ("temperature_degc", "65", "wrong_type"),
        ("radial_load_n", 1e8 + 1, "out_of_range"),
        ("batch", "b" * 81, "wrong_length"),
        ("lubricant", 2, "wrong_type"),
    ],
)
def test_how_it_ran_has_limits(client: Client, member: str, value: Any, code: str) -> None:
    assert faults(sent(client, stay(**{member: value}))) == [(1, member, code)]


def test_a_removal_says_how_the_bearing_ran_and_what_it_leaves_out_stays(client_on_each: Client) -> None:
    client = client_on_each
    first = running("S-1", batch="B7", lubricant="Grease 2", speed_rpm=1480, attributes={"crew_size": 3, "shift": "a"})
    imported(client, first)
    ended = stay("S-1", speed_rpm=1450.5, radial_load_n=9000, attributes={"shift": "b"})
    assert imported(client, ended)["closed"] == 1
    known = stays(client)["S-1"]
    assert (known["batch"], known["lubricant"], known["speed_rpm"]) == ("B7", "Grease 2", 1450.5)
    assert known["attributes"] == {"crew_size": 3, "shift": "b"}
    imported(client, running("S-2", asset="F-2", batch="B7"))
    assert faults(sent(client, stay("S-2", asset="F-2", batch="B8"))) == [(1, "batch", "differs")]


def test_a_completion_tells_of_both_bearings_and_a_correction_puts_it_right(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    imported(client, running("OLD", installed_at="2019-01-01T00:00:00Z", batch="B1"))
    ready_to_complete(client, order["id"])
    ran = {"speed": {"value": 1480, "unit": "rpm"}, "temperature": {"value": 150, "unit": "degF"}}
    new = {"batch": "B9", "lubricant": "Grease 2", "radial_load": {"value": 9, "unit": "kN"}}
    body = completion(
        removed={"end_type": "failed", **ran, "batch": "B2", "attributes": {"hot_oil": True}},
        installed={"serial": "N-1", **new, "attributes": {"crew_size": 3}},
    )
    done = client.post(f"/v1/work-orders/{order['id']}/completion", body)
    assert done.status_code == 201, done.json
    each = done.json["positions"][0]
    assert each["installed"]["attributes"] == {"crew_size": 3}
    known = {one["id"]: one for one in client.get("/v1/stays").json["items"]}
    old, begun = known[each["ended_stay"]], known[each["begun_stay"]]
    assert (old["batch"], old["speed_rpm"]) == ("B1", 1480)  # what was read on the box stands before what was guessed
    assert old["temperature_degc"] == pytest.approx((150 - 32) * 5 / 9)
    assert old["attributes"] == {"hot_oil": True}
    assert (begun["batch"], begun["lubricant"], begun["radial_load_n"]) == ("B9", "Grease 2", 9000)
    corrected = client.post(
        f"/v1/work-orders/{order['id']}/corrections",
        {
            "corrects": done.json["id"],
            "reason": "read again",
            "corrected_by": "B. Foreman",
            "positions": [
                {"position": each["position"], "installed": {"batch": "B10", "attributes": {"crew_size": 4}}}
            ],
        },
    )
    assert corrected.status_code == 201, corrected.json
    changes = {one["member"]: (one["before"], one["after"]) for one in corrected.json["changes"]}
    assert changes == {"batch": ("B9", "B10"), "attributes": ({"crew_size": 3}, {"crew_size": 4})}
    refused = client.post(
        f"/v1/work-orders/{order['id']}/corrections",
        {
            "corrects": corrected.json["id"],
            "reason": "wrong type",
            "corrected_by": "B. Foreman",
            "positions": [{"position": each["position"], "installed": {"attributes": {"crew_size": "four"}}}],
        },
    )
    assert (refused.status_code, refused.json["code"]) == (422, "attribute_type_differs")
    assert refused.json["errors"][0]["pointer"].endswith("positions/0/installed/attributes/crew_size")


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("installer=A. Fitter", ["S-1"]),
        ("batch=B7", ["S-1", "S-2"]),
        ("lubricant=Grease 2", ["S-2"]),
        ("cause=seal worn", ["S-3"]),
        ("work_order=WO-7", ["S-1"]),
        ("serial_prefix=N-1", ["S-1", "S-3"]),
        ("serial_prefix=N_1", []),  # an underscore is no placeholder
        ("serial_prefix=1", []),
        ("attributes.crew_size=3", ["S-1"]),
        ("attributes.crew_size=3.0", ["S-1"]),
        ("attributes.hot_oil=true", ["S-2"]),
        ("attributes.hot_oil=false", ["S-1"]),
        ("attributes.shift=late", ["S-1", "S-2"]),
        ("attributes.shift=late&attributes.hot_oil=true", ["S-2"]),
        ("attributes.shift=late&batch=B7&serial_prefix=N-1", ["S-1"]),
        ("attributes.shift=lat", []),
    ],
)
def test_stays_are_chosen_by_all_they_carry(client_on_each: Client, query: str, expected: list[str]) -> None:
    client = client_on_each
    imported(
        client,
        stay("S-1", asset="A", batch="B7", installed_by="A. Fitter", work_order="WO-7", serial="N-11",
             attributes={"crew_size": 3, "hot_oil": False, "shift": "late"}),
        stay("S-2", asset="B", batch="B7", lubricant="Grease 2", serial="N-2",
             attributes={"hot_oil": True, "shift": "late"}),
        stay("S-3", asset="C", batch="B8", cause="seal worn", serial="N-12", attributes={"crew_size": 2.5}),
    )  # fmt: skip
    listed = client.get(f"/v1/stays?{query}")
    assert listed.status_code == 200, listed.json
    assert [each["external_id"] for each in listed.json["items"]] == expected
    lines = client.get(f"/v1/stays?{query}", headers={"Accept": CSV}).text.splitlines()
    assert lines[-1] == f"#end,{len(expected)}"


@pytest.mark.parametrize(
    ("query", "status", "code"),
    [
        ("attributes.nothing=3", 422, "unknown_attribute"),
        ("attributes.crew_size=three", 422, "attribute_type_differs"),
        ("attributes.crew_size=nan", 422, "attribute_type_differs"),
        ("attributes.crew_size=", 400, "bad_parameter"),
        ("attributes.Crew=3", 400, "bad_parameter"),
        ("attributes=3", 400, "bad_parameter"),
        ("attributes.crew_size=3&attributes.crew_size=4", 400, "repeated_parameter"),
    ],
)
def test_a_filter_that_no_attribute_answers_is_refused(client: Client, query: str, status: int, code: str) -> None:
    imported(client, stay(attributes={"crew_size": 3}))
    for path, accept in (
        ("/v1/stays", CSV),
        ("/v1/stays", "*/*"),
        ("/v1/replacements", "*/*"),
        ("/v1/life-analysis", "*/*"),
    ):
        answer = client.get(f"{path}?{query}", headers={"Accept": accept})
        assert (answer.status_code, answer.json["code"]) == (status, code), answer.json
