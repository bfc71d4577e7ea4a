"""Events reach their receivers: signed, in order, at least once, and nowhere else."""

import base64
import hmac
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from http.server import BaseHTTPRequestHandler
from typing import Any

import pytest
from flask import Flask

from service.app import create_app
from service.exchange import sending
from service.settings import Settings
from service.store.queries.sites import create_site
from service.webhooks.relay import Relay
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.receivers import Received, Receiver, receiving

OPENED = "internal.capsaddle.work_order.opened"


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with receiving() as found:
        yield found


def connected(url: str, receiver: Receiver, **more: str) -> Flask:
    environment = {
        "CAPSADDLE_DATABASE_URL": url,
        "CAPSADDLE_WEBHOOK_TARGETS": f"http://127.0.0.1:{receiver.port}",
        "CAPSADDLE_WEBHOOK_LOOPBACK": "true",
        "CAPSADDLE_WEBHOOK_DELAYS_S": "0,0,0,0",
        **more,
    }
    app = create_app(Settings.from_environment(environment))
    database = app.extensions["capsaddle"].database
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    create_site(database, "BIRCH", "Birch Landing pulp works", "metric")
    return app


@pytest.fixture
def app_on_each(database_url: str, receiver: Receiver) -> Iterator[Flask]:
    app = connected(database_url, receiver)
    yield app
    app.extensions["capsaddle"].database.dispose()


@pytest.fixture
def app(sqlite_url: str, receiver: Receiver) -> Iterator[Flask]:
    app = connected(sqlite_url, receiver)
    yield app
    app.extensions["capsaddle"].database.dispose()


def relay_of(client: Client, **changed: Any) -> Relay:
    services = client.app.extensions["capsaddle"]
    return Relay(services.database, replace(services.settings, **changed))


def subscribed(client: Client, receiver: Receiver, *types: str) -> dict[str, Any]:
    made = client.post("/v1/subscriptions", {"url": receiver.url, "types": list(types)})
    assert made.status_code == 201, made.json
    body: dict[str, Any] = made.json
    return body


def genuine(received: Received, secret: str) -> bool:
    """What a receiver does by Standard Webhooks 1.0.0: HMAC over id, time and body, compared in constant time."""
    head = f"{received.headers['webhook-id']}.{received.headers['webhook-timestamp']}."
    key = base64.b64decode(secret.removeprefix("whsec_"))
    expected = base64.b64encode(hmac.new(key, head.encode() + received.body, sha256).digest()).decode()
    given = received.headers["webhook-signature"].split(" ")
    fresh = abs(time.time() - int(received.headers["webhook-timestamp"])) < 300
    return fresh and any(hmac.compare_digest(each, f"v1,{expected}") for each in given)


def events_of(receiver: Receiver) -> list[dict[str, Any]]:
    return [json.loads(each.body) for each in receiver.received]


def test_events_of_the_types_asked_for_arrive_signed_and_as_the_feed_has_them(
    client_on_each: Client, receiver: Receiver
) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    secret = subscribed(client, receiver, OPENED)["secret"]
    for number in range(3):
        client.post("/v1/work-orders", order(f"WO-{number}", allow_second=True))
    relay_of(client).run_once()
    feed = client.get(f"/v1/events?type={OPENED}").json["items"]
    assert events_of(receiver) == feed
    assert len(feed) == 3
    assert all(genuine(each, secret) for each in receiver.received)
    assert {each.headers["content-type"] for each in receiver.received} == {
        "application/cloudevents+json; charset=utf-8"
    }
    ids = [each.headers["webhook-id"] for each in receiver.received]
    assert ids == [f"{event['source'].removeprefix('urn:uuid:')}-{event['id']}" for event in feed]
    assert relay_of(client).run_once() == 0, "nothing is sent twice"


def test_a_receiver_that_fails_gets_the_same_event_again(client_on_each: Client, receiver: Receiver) -> None:
    client = client_on_each
    made = subscribed(client, receiver, OPENED)
    client.post("/v1/work-orders", order(asset=fan()))
    receiver.answers = [(500, {}), (302, {"Location": "http://127.0.0.1:1/"})]
    relay_of(client).run_once()
    assert len(receiver.received) == 3
    assert len({(each.headers["webhook-id"], each.body) for each in receiver.received}) == 1
    listed = client.get(f"/v1/subscriptions/{made['id']}/deliveries").json["items"]
    assert [(each["status"], each["attempts"]) for each in listed] == [("delivered", 3)]
    told = client.get(f"/v1/subscriptions/{made['id']}/deliveries/{listed[0]['id']}").json["attempt_list"]
    assert [(each["outcome"], each["status"]) for each in told] == [
        ("answered", 500), ("answered", 302), ("delivered", 204),
    ]  # fmt: skip


def test_an_event_does_not_overtake_an_earlier_one_of_its_subject(client: Client, receiver: Receiver) -> None:
    first = client.post("/v1/work-orders", order("WO-1", asset=fan())).json["id"]
    second = client.post("/v1/work-orders", order("WO-2", allow_second=True)).json["id"]
    subscribed(client, receiver)
    for order_id in (first, second):
        client.post(f"/v1/work-orders/{order_id}/cancellation", {"reason": "not needed"})
    receiver.answers = [(500, {})]
    relay = relay_of(client, webhook_delays_s=(0.0, 0.3, 0.3))
    relay.run_once()
    subjects = [event["subject"].split("/")[0] for event in events_of(receiver)]
    time.sleep(0.4)
    relay.run_once()
    assert subjects[0] == "subscription", "the event that failed was the first one"
    assert len({each.headers["webhook-id"] for each in receiver.received}) == len(receiver.received) - 1


def test_what_is_given_up_is_listed_the_subscription_disabled_and_both_can_be_mended(
    client_on_each: Client, receiver: Receiver
) -> None:
    client = client_on_each
    made = subscribed(client, receiver, OPENED)
    address = f"/v1/subscriptions/{made['id']}"
    client.post("/v1/work-orders", order(asset=fan()))
    receiver.answers = [(500, {})] * 4
    relay_of(client).run_once()
    dead = client.get(f"{address}/deliveries?status=dead").json["items"]
    assert [each["attempts"] for each in dead] == [4]
    read = client.get(address)
    assert read.json["status"] == "disabled"
    assert client.get("/v1/events?type=internal.capsaddle.subscription.disabled").json["items"]
    client.post("/v1/work-orders", order("WO-2", allow_second=True))
    assert relay_of(client).run_once() == 0, "a disabled subscription is left alone"
    again = {"url": receiver.url, "types": [OPENED]}
    assert client.put(address, again, headers={"If-Match": read.headers["ETag"]}).status_code == 200
    assert client.post(f"{address}/deliveries/{dead[0]['id']}/redelivery").status_code == 202
    receiver.received.clear()
    relay_of(client).run_once()
    assert sorted(event["data"]["changed"]["external"]["number"] for event in events_of(receiver)) == ["WO-1", "WO-2"]


def test_gone_ends_the_subscription_at_once(client: Client, receiver: Receiver) -> None:
    made = subscribed(client, receiver, OPENED)
    client.post("/v1/work-orders", order(asset=fan()))
    receiver.answers = [(410, {})]
    relay_of(client).run_once()
    assert len(receiver.received) == 1
    assert client.get(f"/v1/subscriptions/{made['id']}").json["status_reason"] == "the receiver answered 410: gone"


def busy_until_a_date(handler: BaseHTTPRequestHandler) -> None:
    """Ask for two seconds by a date, of a clock that is far behind."""
    handler.send_response_only(503)
    handler.send_header("Date", "Sun, 06 Nov 1994 08:49:37 GMT")
    handler.send_header("Retry-After", "Sun, 06 Nov 1994 08:49:39 GMT")
    handler.send_header("Content-Length", "0")
    handler.end_headers()


@pytest.mark.parametrize("busy", [(503, {"Retry-After": "2"}), busy_until_a_date], ids=["seconds", "date"])
def test_a_receiver_that_asks_for_time_gets_it(client: Client, receiver: Receiver, busy: Any) -> None:
    subscribed(client, receiver, OPENED)
    client.post("/v1/work-orders", order(asset=fan()))
    client.post("/v1/work-orders", order("WO-2", allow_second=True))
    receiver.answers = [busy]
    relay = relay_of(client)
    began = time.monotonic()
    relay.run_once()
    assert len(receiver.received) == 1, "nothing else is sent to a receiver that is busy"
    while len(receiver.received) < 3 and time.monotonic() - began < 10:
        relay.run_once()
        time.sleep(0.05)
    assert time.monotonic() - began >= 2.0
    assert len(receiver.received) == 3


def test_several_relays_deliver_each_event_once(client_on_each: Client, receiver: Receiver) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    subscribed(client, receiver, OPENED)
    for number in range(12):
        client.post("/v1/work-orders", order(f"WO-{number}", allow_second=True))
    relays = [relay_of(client) for _ in range(3)]
    threads = [threading.Thread(target=relay.run) for relay in relays]
    for thread in threads:
        thread.start()
    until = time.monotonic() + 20
    while len(receiver.received) < 12 and time.monotonic() < until:
        time.sleep(0.05)
    time.sleep(0.3)
    for relay in relays:
        relay.stopping.set()
    for thread in threads:
        thread.join()
    numbers = [int(event["id"]) for event in events_of(receiver)]
    assert len(numbers) == 12
    assert numbers == sorted(set(numbers))


def test_while_the_secret_is_replaced_both_sign_and_afterwards_only_the_new_one(
    client: Client, receiver: Receiver
) -> None:
    made = subscribed(client, receiver)
    address = f"/v1/subscriptions/{made['id']}"
    relay_of(client).run_once()
    receiver.received.clear()
    rotated = client.post(f"{address}/secret", {"grace": {"value": 24, "unit": "h"}}).json
    client.post(f"{address}/ping")
    relay_of(client).run_once()
    assert all(genuine(each, made["secret"]) and genuine(each, rotated["secret"]) for each in receiver.received)
    receiver.received.clear()
    last = client.post(f"{address}/secret", {"grace": {"value": 0, "unit": "h"}}).json
    client.post(f"{address}/ping")
    relay_of(client).run_once()
    assert receiver.received
    for each in receiver.received:
        assert [genuine(each, key["secret"]) for key in (made, rotated, last)] == [False, False, True]


def test_a_ping_reaches_the_receiver_and_its_delivery_tells_of_it(client: Client, receiver: Receiver) -> None:
    made = subscribed(client, receiver, OPENED)
    ping = client.post(f"/v1/subscriptions/{made['id']}/ping").json
    relay_of(client).run_once()
    (event,) = events_of(receiver)
    assert (event["type"], event["id"]) == ("internal.capsaddle.subscription.ping", ping["id"])
    assert client.get(f"/v1/subscriptions/{made['id']}/deliveries/{ping['id']}").json["status"] == "delivered"


def test_events_are_replayed_by_their_numbers(client: Client, receiver: Receiver) -> None:
    client.post("/v1/assets", fan())
    made = subscribed(client, receiver, OPENED)
    for number in range(3):
        client.post("/v1/work-orders", order(f"WO-{number}", allow_second=True))
    relay_of(client).run_once()
    first = list(receiver.received)
    numbers = [int(event["id"]) for event in events_of(receiver)]
    replay = client.post(f"/v1/subscriptions/{made['id']}/replay", {"after": numbers[0], "until": numbers[-1]}).json
    assert replay == {"queued": 2, "read_to": numbers[-1], "complete": True}
    receiver.received.clear()
    relay_of(client).run_once()
    assert [(e.headers["webhook-id"], e.body) for e in receiver.received] == [
        (e.headers["webhook-id"], e.body) for e in first[1:]
    ]


def test_a_paused_subscription_waits_and_then_gets_everything(client: Client, receiver: Receiver) -> None:
    made = subscribed(client, receiver, OPENED)
    address = f"/v1/subscriptions/{made['id']}"
    body = {"url": receiver.url, "types": [OPENED]}
    assert client.put(address, {**body, "status": "paused"}).status_code == 428
    paused = client.put(
        address, {**body, "status": "paused"}, headers={"If-Match": client.get(address).headers["ETag"]}
    )
    client.post("/v1/work-orders", order(asset=fan()))
    assert relay_of(client).run_once() == 0
    client.put(address, body, headers={"If-Match": paused.headers["ETag"]})
    relay_of(client).run_once()
    assert len(receiver.received) == 1
    gone = client.delete(address, headers={"If-Match": client.get(address).headers["ETag"]})
    assert (gone.status_code, client.get(address).status_code) == (204, 404)


def test_a_secret_is_shown_once_and_stands_in_no_list_and_no_journal(client: Client, receiver: Receiver) -> None:
    made = subscribed(client, receiver, OPENED)
    address = f"/v1/subscriptions/{made['id']}"
    for path in ("/v1/subscriptions", address, "/v1/events"):
        assert "whsec_" not in client.get(path).text


@pytest.mark.parametrize(
    "url",
    [
        "https://cmms.example/",
        "http://127.0.0.1:1/",
        "http://localhost/",
        "http://169.254.169.254/",
        "http://[::1]:80/",
    ],
)
def test_a_place_that_the_operator_did_not_list_is_refused(client: Client, url: str) -> None:
    refused = client.post("/v1/subscriptions", {"url": url})
    assert (refused.status_code, refused.json["code"]) == (422, "target_not_allowed")


def test_by_default_events_are_sent_nowhere(sqlite_url: str, client_of: ClientMaker, receiver: Receiver) -> None:
    app = connected(sqlite_url, receiver, CAPSADDLE_WEBHOOK_TARGETS="", CAPSADDLE_WEBHOOK_LOOPBACK="false")
    refused = client_of(app).post("/v1/subscriptions", {"url": receiver.url})
    assert refused.json["code"] == "target_not_allowed"


def test_another_site_s_events_do_not_arrive(app: Flask, client_of: ClientMaker, receiver: Receiver) -> None:
    owner, stranger = client_of(app, "ALDER"), client_of(app, "BIRCH")
    subscribed(owner, receiver, OPENED)
    stranger.post("/v1/work-orders", order(asset=fan()))
    relay_of(owner).run_once()
    assert receiver.received == []


def test_a_dry_run_subscribes_nobody(client: Client, receiver: Receiver) -> None:
    dry = client.post("/v1/subscriptions?dry_run=true", {"url": receiver.url})
    assert (dry.status_code, client.get("/v1/subscriptions").json["items"]) == (201, [])


def test_a_receiver_that_trickles_is_cut_off(
    client: Client, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "WHOLE_WITHIN_S", 0.6)

    def trickle(handler: BaseHTTPRequestHandler) -> None:
        try:
            for _ in range(100):
                handler.wfile.write(b"H")
                handler.wfile.flush()
                time.sleep(0.1)
        except OSError:
            pass

    def endless(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.end_headers()
        try:
            while True:
                handler.wfile.write(b"x" * 65_536)
        except OSError:
            pass

    made = subscribed(client, receiver, OPENED)
    client.post("/v1/work-orders", order(asset=fan()))
    receiver.answers = [trickle, endless]
    began = time.monotonic()
    relay_of(client).run_once()
    assert time.monotonic() - began < 5
    (listed,) = client.get(f"/v1/subscriptions/{made['id']}/deliveries").json["items"]
    told = client.get(f"/v1/subscriptions/{made['id']}/deliveries/{listed['id']}").json["attempt_list"]
    assert [each["outcome"] for each in told] == ["timeout", "delivered"]
