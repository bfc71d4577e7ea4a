"""CAPSADDLE_APPROVAL=keys: a deviation comes with another key than the readings that it is about."""

from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask

from service.app import create_app
from service.settings import Settings
from service.store.queries.sites import create_site
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.orders import initial, opened, sent

REASON = "the shaft goes to the grinder at the next stop"


@pytest.fixture
def strict_app(database_url: str) -> Iterator[Flask]:
    """The application where keys must differ."""
    app = create_app(Settings(database_url=database_url, approval="keys"))
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow board mill", "inch")
    yield app
    app.extensions["capsaddle"].database.dispose()


def deviation(client: Client, order_id: str, step: str, position: str | None = "tail", by: str = "B. Foreman") -> Any:
    body = {"step": step, "reason": REASON, "approved_by": by} | ({"position": position} if position else {})
    return client.post(f"/v1/work-orders/{order_id}/deviations", body)


def test_the_key_of_the_readings_approves_nothing_about_them(strict_app: Flask, client_of: ClientMaker) -> None:
    one, other = client_of(strict_app), client_of(strict_app)
    assert one.get("/v1/capabilities").json["approval"] == "keys"
    order = opened(one)
    sent(one, order["id"], initial("tail", 0.0060, 0.0060))
    refused = deviation(one, order["id"], "initial")
    assert (refused.status_code, refused.json["code"]) == (422, "same_key")
    named = deviation(other, order["id"], "initial", by="A. Fitter")
    assert (named.status_code, named.json["code"]) == (422, "same_person"), "names are still compared"
    assert deviation(other, order["id"], "initial").status_code == 201


def test_a_step_without_readings_is_held_against_all_readings_of_the_order(
    strict_app: Flask, client_of: ClientMaker
) -> None:
    one, other = client_of(strict_app), client_of(strict_app)
    order = opened(one)
    assert deviation(one, order["id"], "isolate", None).status_code == 201, "nobody has read anything yet"
    sent(one, order["id"], initial("tail", 0.0040, 0.0040))
    refused = deviation(one, order["id"], "isolate", None)
    assert (refused.status_code, refused.json["code"]) == (422, "same_key")
    assert deviation(other, order["id"], "isolate", None).status_code == 201


def test_where_names_are_enough_one_key_may_do_both(client_on_each: Client) -> None:
    order = opened(client_on_each)
    sent(client_on_each, order["id"], initial("tail", 0.0060, 0.0060))
    assert deviation(client_on_each, order["id"], "initial").status_code == 201


@pytest.mark.parametrize("written", ["\u0410. Fitter", "A. F1tter", "\uff21. FITTER", "A. Fitt\u0435r"])
def test_the_reader_does_not_approve_in_letters_that_look_alike(client: Client, written: str) -> None:
    """Names that look alike are one name (UTS #39); F1tter is none: a 1 looks like an l, not like an i."""
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0060, 0.0060))
    answer = deviation(client, order["id"], "initial", by=written)
    assert answer.status_code == (201 if "1" in written else 422)
