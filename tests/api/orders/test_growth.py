"""What one order may hold is bounded, and the same entry again does not make it grow. The numbers: common practice."""

from typing import Any

import pytest

from service.use_cases.orders import held, revise
from tests.api.samples.books import entered, reduction_row, reductions
from tests.api.samples.checked import Client
from tests.api.samples.orders import initial, opened, reading, residual, sent


def revision_of(client: Client, order: dict[str, Any]) -> int:
    return int(client.get(f"/v1/work-orders/{order['id']}").json["revision"])


def revised_events(client: Client) -> int:
    told = client.get("/v1/events?after=0&limit=500").json["items"]
    return sum(each["type"].endswith("instructions.revised") for each in told)


def test_the_same_reading_again_makes_no_revision(client_on_each: Client) -> None:
    order = opened(client_on_each)
    for _ in range(5):
        answer = sent(client_on_each, order["id"], initial("tail", 0.0040, 0.0040))
        assert (answer["items"][0]["verdict"], answer["revision"]) == ("accept", 2)
    kept = client_on_each.get(f"/v1/work-orders/{order['id']}/readings").json["items"]
    assert [each["made_revision"] for each in kept] == [2, None, None, None, None]
    assert revised_events(client_on_each) == 1
    assert sent(client_on_each, order["id"], initial("tail", 0.0041, 0.0041))["revision"] == 3


def test_the_same_reading_again_brings_a_chart_that_was_corrected_since(client: Client) -> None:
    """The mechanic must hear of it while the nut can still be turned."""
    order = opened(client)
    assert sent(client, order["id"], initial("tail", 0.0040, 0.0040))["revision"] == 2
    entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.040, 0.050)))
    assert sent(client, order["id"], initial("tail", 0.0040, 0.0040))["revision"] == 3


def test_after_the_same_reading_an_older_card_is_still_too_old(client: Client) -> None:
    """A residual clearance held against the card from before the measurement is read again (rule I6)."""
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0041, 0.0041))
    sent(client, order["id"], initial("tail", 0.0040, 0.0040))
    assert sent(client, order["id"], initial("tail", 0.0040, 0.0040))["revision"] == 3
    old = {**residual("tail", 0.0024, 0.0024), "revision": 2}
    judged = sent(client, order["id"], old)["items"][0]
    assert (judged["verdict"], judged["code"]) == ("recheck", "revision_superseded")
    now = sent(client, order["id"], residual("tail", 0.0024, 0.0024))["items"][0]
    assert now["code"] != "revision_superseded"


def test_an_order_takes_so_many_entries_and_can_still_be_ended(
    client_on_each: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(held, "MOST_ENTRIES", 3)
    order = opened(client_on_each)
    path = f"/v1/work-orders/{order['id']}"
    sent(client_on_each, order["id"], *[reading("class_read", "tail", "C3")] * 2)
    two = {"readings": [reading("class_read", "tail", "C3")] * 2}
    refused = client_on_each.post(f"{path}/readings", two)
    assert (refused.status_code, refused.json["code"]) == (409, "too_many_entries")
    assert refused.json["errors"] == [] or refused.json["errors"][0]["pointer"].startswith("#/readings/1")
    assert len(client_on_each.get(f"{path}/readings").json["items"]) == 2, "nothing of it was stored"
    sent(client_on_each, order["id"], reading("class_read", "tail", "C3"))
    deviation = {"step": "isolate", "reason": "agreed", "approved_by": "B. Foreman"}
    assert client_on_each.post(f"{path}/deviations", deviation).json["code"] == "too_many_entries"
    found = {"position": "tail", "grease": {"amount": "some", "state": "dark", "water": False}}
    assert [client_on_each.post(f"{path}/as-found", found).status_code for _ in range(4)] == [201, 201, 201, 409]
    assert client_on_each.post(f"{path}/cancellation", {"reason": "begun anew"}).status_code == 200


def test_an_order_takes_so_many_revisions(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(revise, "MOST_REVISIONS", 3)
    order = opened(client)
    for thousandths in (40, 41):
        sent(client, order["id"], initial("tail", thousandths / 10_000, thousandths / 10_000))
    path = f"/v1/work-orders/{order['id']}/readings"
    refused = client.post(path, {"readings": [initial("tail", 0.0042, 0.0042)]})
    assert (refused.status_code, refused.json["code"]) == (409, "too_many_revisions")
    again = sent(client, order["id"], initial("tail", 0.0041, 0.0041))
    assert again["revision"] == revision_of(client, order) == 3, "what changes nothing is still taken"


def test_limits_are_stated(client: Client) -> None:
    limits = client.get("/v1/capabilities").json["limits"]
    assert limits["entries_of_an_order"] == held.MOST_ENTRIES == 1_000
    assert limits["revisions_of_an_order"] == revise.MOST_REVISIONS == 200
    assert limits["stay_import_rows"] == 250_000
    assert limits["requests_per_minute"] == 12_000
    for each in ("stay_import_bytes", "work_order_batch_bytes", "clearance_batch_bytes"):
        assert limits[each] == 8 * 1024 * 1024, "what docker/nginx.conf lets through"
