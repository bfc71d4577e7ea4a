"""Refusals with a way out: what was sent, why it is refused, and what to do instead, in words.

Each case names what its answer must say, written from the request alone: the member or parameter, the value, and a
way out (a name that is known, a limit, another call). RFC 9457 leaves the words open; common practice, no source.
"""

import json
from dataclasses import dataclass, field
from typing import Any

import pytest

from service.api.http.problems import CATALOGUE
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import opened

JSON, CSV = "application/json", "text/csv"
NO_ID = "01900000-0000-7000-8000-000000000000"
TARGET = {"bearing": {"designation": "22216 K/C3"}, "blade_set": "inch"}
ROW = b"\nS,A,p,22216 K,2020-01-01T00:00:00Z,running\n"
HEADER = "external_id,asset,position,designation,installed_at,end_type"


@dataclass(frozen=True)
class Case:
    """A bad request: what is sent, the code it gets, and what its sentences must say."""

    method: str
    path: str
    code: str
    says: tuple[str, ...]
    body: Any = None
    data: bytes | None = None
    content_type: str = JSON
    headers: dict[str, str] = field(default_factory=dict)
    key: str | None = None


def post(path: str, code: str, *says: str, body: Any = None, **more: Any) -> Case:
    return Case("POST", path, code, says, body, **more)


def get(path: str, code: str, *says: str, **more: Any) -> Case:
    return Case("GET", path, code, says, **more)


CASES = {
    "a path that is misspelt": get(
        "/v1/work-order", "not_found", "/v1/work-order", "nearest that is known is /v1/work-orders"
    ),
    "a path below an id": get(
        f"/v1/work-orders/{NO_ID}/instruction", "not_found", "/v1/work-orders/{order_id}/instructions"
    ),
    "a path of nowhere": get("/api/v2/bananas", "not_found", "/api/v2/bananas", "/openapi.json"),
    "a slash at the end": get("/v1/assets/", "not_found", "slash at the end", "/v1/assets"),
    "an order by its number": get("/v1/work-orders/WO-1", "not_found", "'WO-1'", "UUID", "/v1/work-orders?number="),
    "an asset by its tag": get("/v1/assets/DRY-2-FAN", "not_found", "'DRY-2-FAN'", "UUID", "/v1/assets?tag="),
    "an id of nobody": get(f"/v1/assets/{NO_ID}", "not_found", "asset", "GET /v1/assets lists them"),
    "a map that is misspelt": post(
        "/v1/inbound/b2mml-job-orders",
        "not_found",
        "b2mml-job-orders",
        "nearest that is known is b2mml-job-order",
        body={},
    ),
    "another method": Case("DELETE", "/v1/capabilities", "method_not_allowed", ("DELETE", "/v1/capabilities", "GET")),
    "a body that is too large": post(
        "/v1/field-maps", "too_large", "300010 bytes", "262144", data=b'{"name": "' + b"x" * 300_000
    ),
    "an empty body": post("/v1/clearance-targets", "bad_json", "empty", "JSON object", data=b"  "),
    "no JSON": post("/v1/clearance-targets", "bad_json", "line 1, column", data=b"{'a': 1}"),
    "not UTF-8": post("/v1/clearance-targets", "bad_json", "UTF-8", "0xe4 at byte 7", data=b'{"a": "\xe4"}'),
    "another media type": post(
        "/v1/clearance-targets", "unsupported_media_type", "text/plain", JSON, data=b"{}", content_type="text/plain"
    ),
    "no key": get("/v1/assets", "no_key", "Authorization: Bearer", key=""),
    "a key that was cut": get("/v1/assets", "bad_key", "damaged", "characters", key="cut"),
    "a key with another character": get("/v1/assets", "bad_key", "damaged", "checksum", key="changed"),
    "something else for a key": get("/v1/assets", "bad_key", "damaged", "begins with capsaddle_", key="other"),
    "a key that nobody made": get("/v1/assets", "bad_key", "unknown, expired or revoked", key="unknown"),
    "a parameter that is misspelt": get("/v1/assets?tga=X", "unknown_parameter", "tga", "nearest that is known is tag"),
    "a parameter twice": get("/v1/assets?tag=X&tag=Y", "repeated_parameter", "tag", "more than once"),
    "a limit out of range": get("/v1/assets?limit=9999", "bad_parameter", "limit", "9999", "1 to 500"),
    "units that are none": get("/v1/capabilities?units=imperial", "bad_parameter", "units", "imperial", "metric, inch"),
    "a cursor of elsewhere": get("/v1/assets?cursor=abc", "bad_cursor", "cursor", "begin again without it"),
    "a member that is misspelt": post(
        "/v1/clearance-targets", "invalid", "nearest that is known is blade_set", body={**TARGET, "blade_sett": "inch"}
    ),
    "a member of nothing": post(
        "/v1/work-orders",
        "invalid",
        "external/colour",
        "known are system, number",
        body=order() | {"external": {"system": "a", "number": "1", "colour": "red"}},
    ),
    "a member that is missing": post(
        "/v1/work-orders",
        "invalid",
        "positions",
        "required",
        body={"external": {"system": "a", "number": "1"}, "asset": "X"},
    ),
    "a text that is too long": post(
        "/v1/work-orders", "invalid", "external/number", "81 characters", "1 to 80", body=order("x" * 81)
    ),
    "a word that is none": post(
        "/v1/work-orders", "invalid", "kind", "'exchange'", "replacement", body=order(kind="exchange")
    ),
    "a bare number": post(
        "/v1/clearance-targets", "invalid", "measured_clearance", "unit", body={**TARGET, "measured_clearance": 4}
    ),
    "a unit that is none": post(
        "/v1/clearance-targets",
        "invalid",
        "measured_clearance",
        "'micron'",
        "mm",
        body={**TARGET, "measured_clearance": {"value": 4, "unit": "micron"}},
    ),
    "a designation that is none": post(
        "/v1/clearance-targets",
        "unknown_designation",
        "bearing/designation",
        "LAGER",
        "22216",
        body={"bearing": {"designation": "LAGER"}},
    ),
    "an asset that is misspelt": post(
        "/v1/work-orders",
        "unknown_asset",
        "DRY-2-FAM",
        "nearest that is known is DRY-2-FAN",
        body=order("WO-9", asset="DRY-2-FAM"),
    ),
    "a position that is misspelt": post(
        "/v1/work-orders", "unknown_position", "'tial'", "drive, tail", body=order("WO-9", positions=("tial",))
    ),
    "damage that is misspelt": get(
        "/v1/stays?damage=wear.abrasiv",
        "bad_parameter",
        "damage",
        "wear.abrasiv",
        "nearest that is known is wear.abrasive",
    ),
    "a zone that is none": post(
        "/v1/stays/import?zone=Stockholm",
        "unknown_zone",
        "'Stockholm'",
        "Europe/Stockholm",
        data=HEADER.encode() + ROW,
        content_type=CSV,
    ),
    "a column that is misspelt": post(
        "/v1/stays/import",
        "bad_csv",
        "'bearing_position'",
        "nearest that is known is position",
        "import profile",
        data=HEADER.replace("position", "bearing_position").encode() + ROW,
        content_type=CSV,
    ),
    "a sheet in another encoding": post(
        "/v1/stays/import",
        "bad_csv",
        "not UTF-8",
        "byte",
        "profile",
        data=HEADER.encode() + b"\nS,M\xfchle,p,22216 K,2020-01-01T00:00:00Z,running\n",
        content_type=CSV,
    ),
    "no row": post("/v1/stays/import", "no_rows", "no stay", data=HEADER.encode() + b"\n", content_type=CSV),
    "no If-Match": Case("PUT", "{asset}", "precondition_required", ("If-Match", "ETag"), fan()),
    "an If-Match of before": Case(
        "PUT", "{asset}", "stale_version", ("version",), fan(), headers={"If-Match": '"9.json.inch"'}
    ),
    "a tag that is taken": post("/v1/assets", "asset_tag_taken", "DRY-2-FAN", body=fan()),
    "an order that is another": post(
        "/v1/work-orders", "work_order_differs", "WO-1", body=order("WO-1", positions=("drive",))
    ),
    "a second order on a position": post(
        "/v1/work-orders", "position_has_open_order", "tail", "allow_second", body=order("WO-2", positions=("tail",))
    ),
    "an order with holds that are open": post(
        "{order}/completion",
        "hold_points_open",
        "open",
        body={
            "completed_at": "2020-01-07T15:30:00Z",
            "completed_by": "A. Fitter",
            "positions": [{"position": "tail", "outcome": "replaced", "installed": {"designation": "22216 K/C3"}}],
        },
    ),
    "a map that cannot stand": post(
        "/v1/field-maps",
        "invalid",
        "inbound/targets",
        "external",
        body={
            "name": "a",
            "inbound": {"targets": {"externl/number": "a"}},
            "samples": [{"name": "a", "message": {}, "request": {}}],
        },
    ),
    "an idempotency key that is none": post(
        "/v1/assets",
        "bad_idempotency_key",
        "Idempotency-Key",
        "255",
        body=fan("NEW"),
        headers={"Idempotency-Key": "x" * 300},
    ),
}


@pytest.fixture
def plant(client: Client) -> dict[str, str]:
    """The fan with an open order on its tail bearing; addresses by what a case calls them."""
    made = opened(client)
    return {"{asset}": f"/v1/assets/{made['asset_id']}", "{order}": f"/v1/work-orders/{made['id']}"}


def key_of(client: Client, kind: str) -> str | None:
    """Return a key that is damaged in one way, or that has the shape of ours and is nobody's."""
    whole = str(client.key)
    changed = whole[:50] + ("A" if whole[50] != "A" else "B") + whole[51:]
    if kind != "unknown":
        return {"": None, "cut": whole[:-4], "changed": changed, "other": "sk-1234567890"}[kind]
    from zlib import crc32

    body = changed.rpartition("_")[0]
    return f"{body}_{crc32(body.encode()):08x}"


@pytest.mark.parametrize("name", CASES)
def test_a_refusal_names_what_was_sent_and_a_way_out(client: Client, plant: dict[str, str], name: str) -> None:
    case, asked = CASES[name], client
    path = case.path
    for called, address in plant.items():
        path = path.replace(called, address)
    if case.key is not None:
        asked = Client(client.app, client.contract, key_of(client, case.key))
    sent = {"data": case.data, "content_type": case.content_type} if case.data is not None else {}
    answer = asked.call(case.method, path, case.body, headers=case.headers, **sent)
    assert answer.json["code"] == case.code, answer.json
    said = json.dumps([answer.json["detail"], answer.json["errors"]])
    assert [words for words in case.says if json.dumps(words)[1:-1] not in said] == [], said


def test_every_code_of_a_wrong_request_is_tried_here() -> None:
    """Those that say how a request as such was wrong; what its matter is refused for is tried elsewhere."""
    elsewhere = {
        "bad_request": "tests/system/test_refusals.py",
        "uri_too_long": "tests/system/test_refusals.py",
        "headers_too_large": "tests/system/test_refusals.py",
        "expectation_failed": "tests/system/test_refusals.py",
        "length_required": "tests/api/http/test_hostile_requests.py",
        "not_acceptable": "tests/api/orders/test_cards.py",
        "scope_missing": "tests/api/http/test_access.py",
        "rate_limited": "tests/system/test_operations.py",
        "too_many_at_once": "tests/system/test_fair_share.py",
        "too_many_lines": "tests/api/calculations",
        "bad_token": "tests/system/test_tokens.py",
        "key_needed": "tests/system/test_tokens.py",
        "not_the_person": "tests/api/http/test_signing.py",
        "too_many_from_address": "tests/system/test_deployment.py",
    }
    as_such = {code for code, (status, _) in CATALOGUE.items() if status < 500 and status not in (409, 422)}
    missing = as_such - {case.code for case in CASES.values()} - set(elsewhere)
    assert not missing, f"CASES of {__file__} lacks an entry for each of {sorted(missing)}"
