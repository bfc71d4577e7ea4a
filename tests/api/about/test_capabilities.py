"""What the service says of itself is what it does; every write has a dry run that stores nothing."""

from typing import Any

import sqlalchemy as sa

from service.api.http.operations import DECLARED
from service.store import models
from tests.api.conftest import ClientMaker
from tests.api.http.test_access import OPERATIONS, example_of, path_of
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order

WRITES = [o for o in OPERATIONS if o.writes]


def test_limits_are_the_ones_that_are_held(client: Client) -> None:
    limits = client.get("/v1/capabilities").json["limits"]
    assert client.post("/v1/assets", data=b" " * (limits["body_bytes"] + 1)).status_code == 413
    assert client.get(f"/v1/assets?limit={limits['page_items']}").status_code == 200
    assert client.get(f"/v1/assets?limit={limits['page_items'] + 1}").status_code == 400
    assert client.get(f"/v1/events?wait={limits['events_wait_s'] + 1}").status_code == 400
    nested = b"[" * (limits["json_depth"] + 1) + b"]" * (limits["json_depth"] + 1)
    assert client.post("/v1/assets", data=nested).json["code"] == "bad_json"
    for count, said in ((limits["json_values"], "wrong_type"), (limits["json_values"] + 1, "bad_json")):
        refused = client.post("/v1/assets", data=b"[" + b",".join([b"1"] * count) + b"]").json
        assert said in (refused["code"], *(error["code"] for error in refused.get("errors", ()))), refused
    for name, path in (("work_order", "/v1/work-orders/batch"), ("clearance", "/v1/clearance-targets/batch")):
        lines = b"1\n" * (limits[f"{name}_batch_lines"] + 1)
        refused = client.post(path, data=lines, content_type="application/x-ndjson")
        assert refused.json["code"] == "too_many_lines"
    too_large = b'{"a": "' + b"x" * limits["field_map_bytes"] + b'"}'
    assert client.post("/v1/inbound/b2mml-job-order", data=too_large).status_code == 413


def test_a_key_reads_what_it_may_do(client: Client, client_of: ClientMaker) -> None:
    reader = client_of(client.app, "BIRCH", ("read",)).get("/v1/capabilities").json
    assert (reader["site"], reader["units"], reader["scopes"]) == ("BIRCH", "metric", ["read"])


def test_every_write_takes_a_dry_run() -> None:
    assert [o.rule for o in WRITES if "dry_run" not in o.query.fields] == []
    assert len(WRITES) == sum(1 for o in DECLARED.operations.values() if o.scope != "read" and o.method != "GET")


def counts(client: Client) -> dict[str, int]:
    database = client.app.extensions["capsaddle"].database
    with database.reading() as connection:
        return {
            name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for name, table in models.Base.metadata.tables.items()
        }


def ids_of(client: Client) -> dict[str, str]:
    from service.api.books.charts.views import EXAMPLE as CHART
    from service.api.books.housings.views import EXAMPLE as HOUSING
    from service.api.maps.views import EXAMPLE as FIELD_MAP

    subscription = client.post("/v1/subscriptions", {"url": "https://cmms.example/hook"}).json
    ping = client.post(f"/v1/subscriptions/{subscription['id']}/ping").json
    bare = {"tag": "SPARE", "name": "A machine", "shafts": [{"name": "main", "positions": [{"name": "one"}]}]}
    client.post("/v1/assets", fan())
    return {
        "asset_id": client.post("/v1/assets", bare).json["id"],
        "order_id": client.post("/v1/work-orders", order(positions=("tail",))).json["id"],
        "chart_id": client.post("/v1/charts", CHART).json["id"],
        "housing_id": client.post("/v1/housings", HOUSING).json["id"],
        "map_id": client.post("/v1/field-maps", FIELD_MAP).json["id"],
        "map_name": FIELD_MAP["name"],
        "subscription_id": subscription["id"],
        "delivery_id": ping["id"],
    }


def test_a_dry_run_of_every_write_stores_nothing(client: Client) -> None:
    """Goes through all of them with their documented examples; most of them would have stored something."""
    ids = ids_of(client)
    before = counts(client)
    answered: dict[str, Any] = {}
    for operation in WRITES:
        endpoint = next(name for name, each in DECLARED.operations.items() if each is operation).split(".")[1]
        path = f"{path_of(operation, **ids)}?dry_run=true"
        options: dict[str, Any] = {"headers": {"If-Match": "*"}}
        if operation.ndjson:
            options |= {"data": b"{}\n", "content_type": "application/x-ndjson"}
            answer = client.call(operation.method, path, **options)
        else:
            answer = client.call(operation.method, path, example_of(client, operation), **options)
        answered[endpoint] = answer.status_code
        assert counts(client) == before, (endpoint, answer.status_code)
        if answer.status_code < 300:
            assert answer.headers["Dry-Run"] == "true", endpoint
    succeeded = [name for name, status in answered.items() if status < 300]
    assert len(succeeded) >= len(answered) / 2, answered
