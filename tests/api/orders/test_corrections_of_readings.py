"""Taking a reading back: both are kept, the old one counts no more; too tight takes a second person (practice)."""

from typing import Any

import pytest
from flask import Flask

from service.use_cases.checks.verification import verify_revisions
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import inches
from tests.api.samples.orders import FOREMAN, initial, opened, reading, residual, sent


def window(client: Client, order: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = client.get(f"/v1/work-orders/{order['id']}/instructions").json["targets"][0]
    return found


def listed(client: Client, order: dict[str, Any]) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get(f"/v1/work-orders/{order['id']}/readings").json["items"]
    return items


def test_a_reading_taken_back_is_kept_and_makes_a_card_without_it(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    wrong = sent(client, order["id"], initial("tail", 0.0040))["items"][0]
    assert window(client, order)["measured"] is not None
    again = initial("tail", 0.0070, replaces=wrong["id"], reason="misread", note="read in bad light")
    answer = sent(client, order["id"], again)
    assert (answer["items"][0]["verdict"], answer["items"][0]["replaces"]) == ("reject", wrong["id"])
    assert answer["revision"] == 3, "the reading that was taken back had narrowed the card"
    assert window(client, order)["measured"] is None
    assert window(client, order)["residual_clearance"]["provisional"] is True
    rows = listed(client, order)
    assert [(row["counts"], row.get("reason"), row["made_revision"]) for row in rows] == [
        (False, None, 2), (True, "misread", 3),
    ]  # fmt: skip
    assert 3 in {point["hold"] for point in answer["hold_points_open"]}
    verified = verify_revisions(client.app.extensions["capsaddle"].database)
    assert all(each.different is None for each in verified)


def test_the_reading_before_the_one_taken_back_counts_again(client: Client) -> None:
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0040))
    slipped = sent(client, order["id"], initial("tail", 0.0045))["items"][0]
    sent(client, order["id"], initial("tail", 0.0070, replaces=slipped["id"], reason="wrong_row"))
    assert window(client, order)["measured"]["value"]["value"] == pytest.approx(0.0040)


def test_a_reading_of_the_wrong_position_is_taken_back_by_one_of_the_right_one(client: Client) -> None:
    from tests.api.samples.machines import order as order_of
    from tests.api.samples.orders import known_fan

    order = client.post("/v1/work-orders", order_of(asset=known_fan())).json
    wrong = sent(client, order["id"], initial("tail", 0.0040))["items"][0]
    body = {"readings": [initial("drive", 0.0040, replaces=wrong["id"], reason="misread")]}
    refused = client.post(f"/v1/work-orders/{order['id']}/readings", body)
    assert (refused.status_code, refused.json["code"]) == (422, "other_reading")
    sent(client, order["id"], initial("drive", 0.0040, replaces=wrong["id"], reason="wrong_position"))
    targets = client.get(f"/v1/work-orders/{order['id']}/instructions").json["targets"]
    assert {each["position"]: each["measured"] is not None for each in targets} == {"tail": False, "drive": True}


def test_only_who_read_it_or_the_lead_takes_it_back(app: Flask, client_of: ClientMaker) -> None:
    lead, crew = client_of(app), client_of(app, scopes=("read", "write"))
    order = opened(lead)
    read = sent(crew, order["id"], reading("free_gap", "tail", inches(0.2)))["items"][0]
    other = reading("free_gap", "tail", inches(0.21), replaces=read["id"], reason="misread", taken_by=FOREMAN)
    refused = crew.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [other]})
    assert (refused.status_code, refused.json["code"]) == (422, "not_its_reader")
    assert lead.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [other]}).status_code == 201
    twice = lead.post(f"/v1/work-orders/{order['id']}/readings", {"readings": [other]})
    assert (twice.status_code, twice.json["code"]) == (409, "already_replaced")


def test_too_tight_is_taken_back_by_a_second_persons_measurement_only(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    answer = sent(client, order["id"], initial("tail", 0.0040), residual("tail", 0.0015))
    tight = answer["items"][1]
    assert tight["code"] == "too_tight"
    meant = sent(client, order["id"], residual("tail", 0.0025, replaces=tight["id"], reason="typing_slip"))
    assert (meant["items"][0]["verdict"], meant["items"][0]["code"]) == ("recheck", "second_person_needed")
    assert {3, 4} <= {point["hold"] for point in meant["hold_points_open"]}
    by_second = sent(client, order["id"], residual("tail", 0.0025, taken_by=FOREMAN))
    assert by_second["items"][0]["verdict"] == "accept"
    assert 4 not in {point["hold"] for point in by_second["hold_points_open"]}
    assert [row["counts"] for row in listed(client, order)] == [True, False, False, True]


def test_too_tight_stands_when_the_second_measurement_differs(client: Client) -> None:
    order = opened(client)
    tight = sent(client, order["id"], initial("tail", 0.0040), residual("tail", 0.0015))["items"][1]
    sent(client, order["id"], residual("tail", 0.0040, replaces=tight["id"], reason="typing_slip"))
    second = sent(client, order["id"], residual("tail", 0.0025, taken_by=FOREMAN))["items"][0]
    assert (second["verdict"], second["code"]) == ("reject", "initial_clearance_needed")
    assert all(row["counts"] for row in listed(client, order))


def test_seats_that_were_mistyped_give_the_card_its_old_marks_back(client: Client) -> None:
    order = opened(client)
    read = sent(client, order["id"], reading("seat_spacing", None, {"value": 3.008, "unit": "m"}))
    assert read["revision"] == 2
    back = {"replaces": read["items"][0]["id"], "reason": "typing_slip"}
    sent(client, order["id"], reading("seat_spacing", None, {"value": 3.005, "unit": "m"}, **back))
    spacing = client.get(f"/v1/work-orders/{order['id']}/instructions?units=metric").json["placement"]["spacing"]
    assert spacing["seats"]["value"] == pytest.approx(3005.0)
