"""The card of a link counts with the key that made it: whoever holds a link cannot send what the key could not."""

import re
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from flask import Flask

from service.app import create_app
from service.serving import allowance
from service.settings import Settings
from service.store.queries.sites import create_site
from tests.api.cards.typed import INITIAL, link_to, typed_initial
from tests.api.conftest import ClientMaker
from tests.api.samples.orders import opened

LIMIT = 20


@pytest.fixture
def limited(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[Flask]:
    """An application whose keys may send so many requests a minute, in a minute that does not end."""
    monkeypatch.setattr(allowance, "time", SimpleNamespace(time=lambda: 1_000_000_020.0))
    app = create_app(Settings(database_url=sqlite_url, rate_limit=LIMIT))
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow board mill", "inch")
    yield app
    app.extensions["capsaddle"].database.dispose()


def test_a_card_counts_with_its_key_and_says_so_on_a_page(limited: Flask, client_of: ClientMaker) -> None:
    client, phone = client_of(limited), limited.test_client()
    order = opened(client)
    path = link_to(client, order["id"])
    page = phone.get(path)
    assert page.status_code == 200 and page.headers["RateLimit-Policy"] == f'"default";q={LIMIT};w=60'
    form = typed_initial(phone, path)
    sent = phone.post(path + INITIAL, data=form)
    assert sent.status_code == 303
    left = int(re.findall(r"r=(\d+)", sent.headers["RateLimit"])[0])
    assert [phone.get(path).status_code for _ in range(left)] == [200] * left
    stopped = phone.get(path)
    assert stopped.status_code == 429 and int(stopped.headers["Retry-After"]) > 0
    assert stopped.content_type.startswith("text/html") and "Nothing was stored" in stopped.text
    assert phone.post(path + INITIAL, data=form | {"one": "0.0041"}).status_code == 429
    assert client.get(f"/v1/work-orders/{order['id']}").status_code == 429, "the key and its links are one"
    other = client_of(limited)
    kept = other.get(f"/v1/work-orders/{order['id']}/readings").json["items"]
    assert len(kept) == 1
