"""A browser at the desk, without a browser: cookies are kept, forms are filled in as they stand."""

import re
from collections.abc import Sequence

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from service.store.queries.keys import create_key

TOKEN = re.compile(r'name="form_token" value="([^"]+)"')
COOKIE = "desk"


def form_token(page: TestResponse) -> str:
    """The token of the first form of a page."""
    found = TOKEN.search(page.text)
    assert found is not None, page.text[:400]
    return found[1]


def pasted(browser: FlaskClient, key: str, *, came_for: str = "", **more: str) -> TestResponse:
    """The answer to a key that is pasted into the form."""
    token = form_token(browser.get("/desk/sign-in"))
    return browser.post("/desk/sign-in", data={"form_token": token, "came_for": came_for, "key": key, **more})


def signed_in(app: Flask, site: str = "ALDER", scopes: Sequence[str] = ("read",)) -> FlaskClient:
    """A browser that is signed in with a new key of a site."""
    browser = app.test_client()
    key = create_key(app.extensions["capsaddle"].database, site, scopes)
    assert pasted(browser, key).status_code == 303
    return browser


def token_of(browser: FlaskClient) -> str | None:
    """The token that the browser holds."""
    held = browser.get_cookie(COOKIE, path="/desk")
    return None if held is None else held.value
