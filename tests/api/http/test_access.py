"""Who may do what: every route with a wrong scope, without a key, and with the key of another site."""

import re
import time
from typing import Any

import pytest
from flask import Flask

from service.api.books.charts.views import EXAMPLE as CHART
from service.api.books.housings.views import EXAMPLE as HOUSING
from service.api.http.operations import DECLARED, Operation
from service.api.maps.views import EXAMPLE as FIELD_MAP
from service.store.queries.keys import revoke_key
from tests.api.conftest import ALL_SCOPES, ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order

OPERATIONS = sorted(DECLARED.operations.values(), key=lambda o: (o.rule, o.method))
NAMES = [f"{o.method} {o.rule}" for o in OPERATIONS]
UNKNOWN = "01900000-0000-7000-8000-000000000000"


def path_of(operation: Operation, **ids: str) -> str:
    known = {"number": "1", **ids}
    return re.sub(r"<(\w+)>", lambda match: known.get(match[1], UNKNOWN), operation.rule)


@pytest.mark.parametrize("operation", OPERATIONS, ids=NAMES)
def test_without_a_key_nothing_is_done(app: Flask, client_of: ClientMaker, operation: Operation) -> None:
    client = client_of(app, None)
    refused = client.call(operation.method, path_of(operation), {} if operation.body else None)
    assert (refused.status_code, refused.json["code"]) == (401, "no_key")
    assert refused.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("operation", OPERATIONS, ids=NAMES)
def test_the_other_scopes_do_not_imply_the_one_that_is_asked_for(
    app: Flask, client_of: ClientMaker, operation: Operation
) -> None:
    others = tuple(scope for scope in ALL_SCOPES if scope != operation.scope)
    refused = client_of(app, scopes=others).call(operation.method, path_of(operation), {} if operation.body else None)
    assert (refused.status_code, refused.json["code"]) == (403, "scope_missing")
    assert operation.scope in refused.json["detail"]


def example_of(client: Client, operation: Operation) -> Any:
    """The documented example of a body, so that nothing but the object can be what is wrong."""
    if operation.body is None:
        return None
    template = operation.rule.replace("<", "{").replace(">", "}")
    documented = client.contract.document["paths"][template][operation.method.lower()]
    return documented["requestBody"]["content"]["application/json"].get("example") or fan()


A_PICTURE = ("POST", "/v1/work-orders/<order_id>/photos")
"""Takes a file: its own tests send one."""
NAMED_BY_THE_SITE = ("PUT", "/v1/stays/attributes/<name>")
"""Makes what it names: a name of one's own is never that of another site."""
WITH_IDS = [o for o in OPERATIONS if "<" in o.rule and (o.method, o.rule) not in (NAMED_BY_THE_SITE, A_PICTURE)]


@pytest.mark.parametrize("operation", WITH_IDS, ids=[f"{o.method} {o.rule}" for o in WITH_IDS])
def test_another_site_s_objects_are_not_there(app: Flask, client_of: ClientMaker, operation: Operation) -> None:
    owner = client_of(app, "ALDER")
    owned = {
        "asset_id": (asset := owner.post("/v1/assets", fan()).json)["id"],
        "position_id": asset["shafts"][0]["positions"][0]["id"],
        "order_id": owner.post("/v1/work-orders", order()).json["id"],
        "chart_id": owner.post("/v1/charts", CHART).json["id"],
        "housing_id": owner.post("/v1/housings", HOUSING).json["id"],
        "map_id": owner.post("/v1/field-maps", FIELD_MAP).json["id"],
        "map_name": FIELD_MAP["name"],
    }
    subscription = owner.post("/v1/subscriptions", {"url": "https://cmms.example/hook"}).json
    ping = owner.post(f"/v1/subscriptions/{subscription['id']}/ping").json
    owned |= {"subscription_id": subscription["id"], "delivery_id": ping["id"]}
    stranger = client_of(app, "BIRCH")
    body = example_of(owner, operation)
    own_missing = owner.call(operation.method, path_of(operation), body)
    refused = stranger.call(operation.method, path_of(operation, **owned), body)
    assert (refused.status_code, refused.json["code"]) == (404, "not_found")
    assert "ETag" not in refused.headers
    same = {name: refused.json[name] for name in ("type", "title", "status", "code", "detail", "errors")}
    same["detail"] = same["detail"].replace(FIELD_MAP["name"], UNKNOWN)  # it repeats the name that was asked for
    assert same == {name: own_missing.json[name] for name in same}, "a missing and a hidden object look alike"


def test_another_site_s_machine_named_in_a_body_is_unknown(app: Flask, client_of: ClientMaker) -> None:
    client_of(app, "ALDER").post("/v1/assets", fan())
    stranger = client_of(app, "BIRCH")
    refused = stranger.post("/v1/work-orders", order())
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_asset")
    assert stranger.get("/v1/assets?tag=DRY-2-FAN").json["items"] == []
    assert stranger.get("/v1/work-orders").json["items"] == []


def test_a_key_is_refused_when_any_part_of_it_is_wrong(app: Flask, client_of: ClientMaker) -> None:
    good = client_of(app).key
    assert good is not None
    prefix, key_id, secret, check = good.split("_")
    for bad in (
        good[:-1],
        good + "x",
        f"{prefix}_{key_id}_{secret[::-1]}_{check}",
        f"other_{key_id}_{secret}_{check}",
        "x",
    ):
        client = client_of(app, None)
        client.key = bad
        refused = client.get("/v1/assets")
        assert (refused.status_code, refused.json["code"]) == (401, "bad_key")


def test_a_revoked_key_is_refused_within_two_seconds(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each)
    assert client.get("/v1/assets").status_code == 200
    assert client.key is not None
    revoke_key(app_on_each.extensions["capsaddle"].database, "ALDER", client.key.split("_")[1])
    limit = time.monotonic() + 2.5
    while client.get("/v1/assets").status_code == 200:
        assert time.monotonic() < limit, "the key still works after 2 seconds"
        time.sleep(0.1)
    assert client.get("/v1/assets").json["code"] == "bad_key"


def test_a_route_that_declares_no_scope_is_denied(sqlite_url: str, client_of: ClientMaker) -> None:
    from tests.api.conftest import application

    app = application(sqlite_url)
    app.add_url_rule("/v1/undeclared", "undeclared", lambda: "open", methods=["GET"])
    refused = app.test_client().get("/v1/undeclared")
    assert refused.status_code == 403
    assert refused.json["code"] == "scope_missing"


@pytest.mark.parametrize("method", ["PATCH", "DELETE", "OPTIONS", "TRACE", "GET"])
def test_other_methods_are_405_with_allow(client: Client, method: str) -> None:
    refused = client._client.open("/v1/clearance-targets", method=method)
    assert refused.status_code == 405
    assert refused.json["code"] == "method_not_allowed"
    assert refused.headers["Allow"] == "POST"


@pytest.mark.parametrize("method", ["GET", "HEAD", "PATCH", "DELETE", "OPTIONS"])
def test_a_place_beside_ids_allows_what_it_has_and_nothing_of_theirs(client: Client, method: str) -> None:
    refused = client._client.open("/v1/work-orders/batch", method=method)
    assert (refused.status_code, refused.headers["Allow"]) == (405, "POST")
    beside = client._client.open("/v1/work-orders/batches", method="DELETE")
    assert (beside.status_code, beside.headers["Allow"]) == (405, "GET, HEAD")


READ_AS_AN_ID = ("/v1/stays/import", "/v1/field-maps/preview")
"""Posted to; a GET there asks for an object of that name, which there is none of: 404 in place of 405."""


def test_no_path_is_one_of_two_templates(app: Flask) -> None:
    """What a path allows is then what its own template has."""
    urls = app.url_map.bind("plant.example")
    for rule in app.url_map.iter_rules():
        if "<" not in rule.rule and rule.rule.startswith("/v1/"):
            own = {m for other in app.url_map.iter_rules() if other.rule == rule.rule for m in other.methods or ()}
            own |= {"GET", "HEAD"} if rule.rule in READ_AS_AN_ID else set()
            assert set(urls.allowed_methods(rule.rule)) == own, rule.rule


def test_an_unknown_path_is_a_problem(client: Client) -> None:
    missing = client.get("/v1/nothing-here")
    assert (missing.status_code, missing.json["code"]) == (404, "not_found")


@pytest.mark.parametrize("operation", [o for o in OPERATIONS if o.method == "GET"], ids=lambda o: o.rule)
def test_unknown_and_repeated_query_parameters_are_400(client: Client, operation: Operation) -> None:
    path = path_of(operation)
    asked = "&at=2026-01-01T00:00:00Z" if operation.rule.startswith("/v1/life-change") else ""
    typo = client.get(f"{path}?typo=1{asked}")
    assert (typo.status_code, typo.json["code"], typo.json["errors"][0]["parameter"]) == (
        400,
        "unknown_parameter",
        "typo",
    )
    known = operation.query.fields
    name = next(one for one in ("units", "limit", "separator") if one in known)
    twice = client.get(f"{path}?{name}=inch&{name}=inch")
    assert (twice.status_code, twice.json["code"]) == (400, "repeated_parameter")
    wrong = client.get(f"{path}?{name}=cubits")
    assert (wrong.status_code, wrong.json["code"]) == (400, "bad_parameter")


@pytest.mark.parametrize(
    "operation", [o for o in OPERATIONS if o.body is not None], ids=lambda o: f"{o.method} {o.rule}"
)
def test_a_body_of_another_media_type_is_415(client: Client, operation: Operation) -> None:
    for content_type in ("text/plain", "application/xml", ""):
        refused = client.call(operation.method, path_of(operation), data=b"{}", content_type=content_type)
        assert (refused.status_code, refused.json["code"]) == (415, "unsupported_media_type")


def test_a_body_over_the_limit_is_413(client: Client) -> None:
    refused = client.post("/v1/assets", data=b" " * 1_100_000)
    assert (refused.status_code, refused.json["code"]) == (413, "too_large")


def test_request_ids_are_taken_when_harmless(client: Client) -> None:
    assert client.get("/health/live", headers={"X-Request-ID": "abc-1.2_3"}).headers["X-Request-ID"] == "abc-1.2_3"
    minted = client.get("/health/live", headers={"X-Request-ID": "two words"}).headers["X-Request-ID"]
    assert re.fullmatch(r"[0-9a-f]{32}", minted)
