"""/v1/assets: registering, reading, changing and deleting machines."""

import threading
from typing import Any

from flask import Flask

from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import bare, fan, order


def test_a_machine_is_registered_and_read_back(client_on_each: Client) -> None:
    made = client_on_each.post("/v1/assets", fan())
    assert made.status_code == 201
    assert made.headers["Location"] == f"/v1/assets/{made.json['id']}"
    read = client_on_each.get(made.headers["Location"])
    assert read.json == made.json
    assert read.headers["ETag"] == '"1.json.inch"' == made.headers["ETag"]
    position = read.json["shafts"][0]["positions"][1]
    assert position["at"] == {"value": 3000 / 25.4, "unit": "in", "text": "118.11 in (3000 mm)"}
    assert position["bearing"] == {"designation": "22216 K/C3"}


def test_designations_are_stored_as_we_write_them(client: Client) -> None:
    made = client.post("/v1/assets", fan(bearing={"designation": "22216-k-c3"}))
    assert made.json["shafts"][0]["positions"][0]["bearing"] == {"designation": "22216 K/C3"}


def test_a_tag_is_unique_within_its_site_only(app: Flask, client_of: ClientMaker, client: Client) -> None:
    assert client.post("/v1/assets", fan()).status_code == 201
    again = client.post("/v1/assets", fan())
    assert (again.status_code, again.json["code"]) == (409, "asset_tag_taken")
    assert client_of(app, "BIRCH").post("/v1/assets", fan()).status_code == 201


def test_names_are_unique(client: Client) -> None:
    machine = bare()
    machine["shafts"][0]["positions"][1]["name"] = "one"
    refused = client.post("/v1/assets", machine)
    assert (refused.status_code, refused.json["code"]) == (422, "name_not_unique")
    assert refused.json["errors"][0]["pointer"] == "#/shafts/0/positions/1/name"
    assert client.get("/v1/assets").json["items"] == []


def test_an_unknown_designation_names_its_place(client: Client) -> None:
    machine = fan()
    machine["shafts"][0]["positions"][1]["bearing"] = {"designation": "no such thing"}
    refused = client.post("/v1/assets", machine)
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_designation")
    assert refused.json["errors"][0]["pointer"] == "#/shafts/0/positions/1/bearing/designation"


def test_two_locating_bearings_can_be_registered(client: Client) -> None:
    assert client.post("/v1/assets", fan(role="locating")).status_code == 201


def test_putting_needs_the_current_version(client_on_each: Client) -> None:
    client = client_on_each
    made = client.post("/v1/assets", fan())
    where, machine = made.headers["Location"], fan()
    machine["name"] = "Dryer 2 fan, rebuilt"
    needed = client.put(where, machine)
    assert (needed.status_code, needed.json["code"]) == (428, "precondition_required")
    changed = client.put(where, machine, headers={"If-Match": made.headers["ETag"]})
    assert (changed.status_code, changed.json["name"], changed.json["version"]) == (200, machine["name"], 2)
    stale = client.put(where, machine, headers={"If-Match": made.headers["ETag"]})
    assert (stale.status_code, stale.json["code"]) == (412, "stale_version")
    assert stale.headers["ETag"] == '"2.json.inch"'
    for named in ('""', "", '"1.json.metric", "3.json.metric"', "none", ","):  # RFC 9110, 13.1.1: no tag is current
        assert client.put(where, machine, headers={"If-Match": named}).status_code == 412
    assert client.put(where, machine, headers={"If-Match": '"1.json.metric", W/"2.json.metric"'}).status_code == 200
    assert client.put(where, machine, headers={"If-Match": "*"}).json["version"] == 4


def test_a_position_is_renamed_by_its_id(client: Client) -> None:
    made = client.post("/v1/assets", fan())
    machine = fan()
    kept = made.json["shafts"][0]["positions"][0]["id"]
    machine["shafts"][0]["positions"][0] |= {"id": kept, "name": "outboard"}
    changed = client.put(made.headers["Location"], machine, headers={"If-Match": "*"})
    assert [p["name"] for p in changed.json["shafts"][0]["positions"]] == ["outboard", "drive"]
    assert changed.json["shafts"][0]["positions"][0]["id"] == kept


def test_a_position_with_a_work_order_cannot_be_dropped(client: Client) -> None:
    made = client.post("/v1/assets", fan())
    client.post("/v1/work-orders", order(positions=["tail"]))
    machine = fan()
    del machine["shafts"][0]["positions"][0]
    refused = client.put(made.headers["Location"], machine, headers={"If-Match": "*"})
    assert (refused.status_code, refused.json["code"]) == (409, "position_has_history")
    kept = client.delete(made.headers["Location"], headers={"If-Match": "*"})
    assert (kept.status_code, kept.json["code"]) == (409, "asset_in_use")


def test_a_machine_without_history_is_deleted(client_on_each: Client) -> None:
    made = client_on_each.post("/v1/assets", bare())
    assert client_on_each.delete(made.headers["Location"], headers={"If-Match": '"1.json.inch"'}).status_code == 204
    assert client_on_each.get(made.headers["Location"]).status_code == 404


def test_the_holder_of_the_current_version_gets_304(client: Client) -> None:
    made = client.post("/v1/assets", fan())
    where = made.headers["Location"]
    assert client.get(where, headers={"If-None-Match": made.headers["ETag"]}).status_code == 304
    assert client.get(f"{where}?units=metric", headers={"If-None-Match": made.headers["ETag"]}).status_code == 200


def test_of_twenty_changes_to_one_version_one_is_made(client_on_each: Client) -> None:
    client = client_on_each
    made = client.post("/v1/assets", fan())
    statuses: list[int] = []

    def change(n: int) -> None:
        machine = {**fan(), "name": f"change {n}"}
        own = Client(client.app, client.contract, client.key)
        answer = own.put(made.headers["Location"], machine, headers={"If-Match": made.headers["ETag"]})
        statuses.append(answer.status_code)

    threads = [threading.Thread(target=change, args=(n,)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200] + [412] * 19
    assert client.get(made.headers["Location"]).json["version"] == 2


def test_pages_show_every_machine_once_while_others_are_added(client_on_each: Client) -> None:
    client = client_on_each
    before = [client.post("/v1/assets", bare(f"B-{n}")).json["tag"] for n in range(7)]
    seen: list[str] = []
    url: str | None = "/v1/assets?limit=3"
    while url is not None:
        page = client.get(url)
        seen += [item["tag"] for item in page.json["items"]]
        client.post("/v1/assets", bare(f"LATER-{len(seen)}"))
        url = page.json["next"]
        assert (url is None) == ("Link" not in page.headers)
        if url is not None and len(seen) > 30:
            raise AssertionError("the list does not end")
        if len(seen) >= len(before) + 3:
            break
    assert [tag for tag in seen if tag in before] == before


def test_a_cursor_is_bound_to_its_list(client: Client) -> None:
    for n in range(3):
        client.post("/v1/assets", bare(f"B-{n}"))
    url = client.get("/v1/assets?limit=1").json["next"]
    cursor = url.partition("cursor=")[2]
    for path in (
        f"/v1/work-orders?limit=1&cursor={cursor}",
        f"/v1/assets?limit=1&tag=B-1&cursor={cursor}",
        f"/v1/assets?limit=1&cursor={'A' + cursor[1:] if cursor[0] != 'A' else 'B' + cursor[1:]}",
        "/v1/assets?limit=1&cursor=x",
    ):
        refused = client.get(path)
        assert (refused.status_code, refused.json["code"]) == (400, "bad_cursor"), path
    assert client.get("/v1/assets?tag=B-1").json["items"][0]["tag"] == "B-1"


def test_a_dry_run_answers_and_stores_nothing(client_on_each: Client) -> None:
    tried = client_on_each.post("/v1/assets?dry_run=true", fan(), headers={"Idempotency-Key": "one"})
    assert (tried.status_code, tried.headers["Dry-Run"]) == (201, "true")
    assert client_on_each.get("/v1/assets").json["items"] == []
    assert client_on_each.post("/v1/assets", fan(), headers={"Idempotency-Key": "one"}).status_code == 201


def test_a_repeated_request_with_its_key_is_answered_from_what_was_kept(client_on_each: Client) -> None:
    client = client_on_each
    first = client.post("/v1/assets", fan(), headers={"Idempotency-Key": '"abc-1"'})
    again = client.post("/v1/assets", fan(), headers={"Idempotency-Key": "abc-1"})
    assert (again.status_code, again.json) == (201, first.json)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert (again.headers["Location"], again.headers["ETag"]) == (first.headers["Location"], first.headers["ETag"])
    other = client.post("/v1/assets", bare(), headers={"Idempotency-Key": "abc-1"})
    assert (other.status_code, other.json["code"]) == (422, "idempotency_key_reused")
    assert client.post("/v1/assets", bare(), headers={"Idempotency-Key": "not\tprintable"}).status_code == 400


def test_read_only_members_are_refused(client: Client) -> None:
    for member, value in (("id", "x"), ("version", 1), ("created_at", "2026-01-01T00:00:00Z"), ("site_id", "x")):
        machine: dict[str, Any] = {**bare(), member: value}
        refused = client.post("/v1/assets", machine)
        assert refused.status_code == 422
        assert refused.json["errors"][0] | {"detail": ""} == {
            "pointer": f"#/{member}",
            "code": "unknown_member",
            "detail": "",
        }


def test_machines_are_found_by_a_part_of_tag_or_name(client_on_each: Client) -> None:
    client = client_on_each
    for tag, name in (("DRY-2-FAN", "Dryer 2 exhaust fan"), ("PUMP_7", "White water pump"), ("PUMPS", "A store")):
        assert client.post("/v1/assets", {**fan(tag), "name": name}).status_code == 201
    found = {text: [a["tag"] for a in client.get(f"/v1/assets?named={text}").json["items"]] for text in
             ("exhaust", "pump", "PUMP_", "nothing")}  # fmt: skip
    assert found == {"exhaust": ["DRY-2-FAN"], "pump": ["PUMP_7", "PUMPS"], "PUMP_": ["PUMP_7"], "nothing": []}
