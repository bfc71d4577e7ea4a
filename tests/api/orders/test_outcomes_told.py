"""What an outcome tells of how bearings run: kept with the stays it ends and begins, and put right with them."""

from typing import Any

from tests.api.orders.test_outcomes import (
    FAILED,
    LOOKED_AT,
    REFIT,
    at,
    complete,
    correct,
    first_bearing,
    ready_again,
    stays,
)
from tests.api.samples.checked import Client
from tests.api.samples.orders import completion, opened, ready_to_complete

SPEED = {"value": 980, "unit": "rpm"}
FITTED: dict[str, Any] = {"serial": "N-1", "batch": "B-7", "lubricant": "Grease 2", "attributes": {"crew_size": 3}}
TOLD = ("batch", "lubricant", "speed_rpm", "attributes")


def first_fitted(client: Client) -> None:
    order = opened(client, "WO-1")
    ready_to_complete(client, order["id"])
    assert complete(client, order, completion(installed=FITTED)).status_code == 201


def test_a_bearing_that_goes_back_in_is_of_the_batch_it_was(client: Client) -> None:
    """How it runs from now on nobody told: only what the bearing itself is goes with it."""
    first_fitted(client)
    removed = {**LOOKED_AT, "lubricant": "Grease 5", "speed": SPEED, "batch": "B-9"}
    done = complete(client, ready_again(client, refitted=True), at(2021, **REFIT | {"removed": removed}))
    assert done.status_code == 201, done.json
    before, after = stays(client)
    assert [before[name] for name in TOLD] == ["B-7", "Grease 5", 980.0, {"crew_size": 3}]
    assert [after[name] for name in TOLD] == ["B-7", None, None, {}]


def test_a_stay_that_runs_on_is_told_of_as_before_the_wrong_outcome(client_on_each: Client) -> None:
    client = client_on_each
    first_fitted(client)
    (was,) = stays(client)
    order = ready_again(client, refitted=False)
    removed = {**FAILED, "lubricant": "Grease 5", "speed": SPEED, "attributes": {"crew_size": 5, "hot_oil": True}}
    installed = {"serial": "N-2", "batch": "B-8", "attributes": {"crew_size": 2}}
    done = complete(client, order, at(2021, removed=removed, installed=installed)).json
    ended = next(stay for stay in stays(client) if stay["end_type"] == "failed")
    assert [ended[name] for name in TOLD] == ["B-7", "Grease 5", 980.0, {"crew_size": 5, "hot_oil": True}]
    assert correct(client, order, done, {"position": "tail", "outcome": "inspected_only"}).status_code == 201
    assert stays(client) == [was]
    (struck,) = client.get(f"/v1/work-orders/{order['id']}/completion").json["set_aside_stays"]
    assert (struck["stay"]["batch"], struck["stay"]["attributes"]) == ("B-8", {"crew_size": 2})


def test_an_outcome_put_right_tells_of_the_bearings_and_names_their_attributes(client: Client) -> None:
    first_bearing(client)
    order = ready_again(client, refitted=False)
    done = complete(client, order, at(2021, outcome="not_done")).json
    wrong = {"outcome": "replaced", "removed": FAILED, "installed": {"serial": "N-2", "attributes": {"crew_size": 2}}}
    assert correct(client, order, done, {"position": "tail", **wrong}).status_code == 201
    assert [stay["attributes"] for stay in stays(client)] == [{}, {"crew_size": 2}]
    assert [each["name"] for each in client.get("/v1/stays/attributes").json["items"]] == ["crew_size"]


def test_what_is_told_of_a_bearing_never_on_record_is_kept_with_it(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    removed = {**FAILED, "lubricant": "Grease 5", "speed": SPEED, "attributes": {"crew_size": 3}}
    done = complete(client, order, completion(removed=removed))
    assert done.status_code == 201, done.json
    (kept,) = done.json["set_aside_stays"]
    told = kept["stay"]["removed"]
    assert (told["lubricant"], told["attributes"]) == ("Grease 5", {"crew_size": 3})
    assert (told["speed"]["value"], told["speed"]["unit"]) == (980, "rpm")
