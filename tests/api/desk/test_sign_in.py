"""Signing in to the desk: a session behind a cookie, ended by time, by hand, by its key; forms of our own alone."""

import re
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest
import sqlalchemy as sa
from flask import Flask

from service.app import create_app
from service.settings import Settings
from service.store import models
from service.store.database import Database
from service.store.queries.keys import Keyring, create_key, revoke_key
from service.store.queries.sites import site_by_code
from service.store.unit_of_work import Tx, Written
from service.use_cases.checks.retention import tidy
from service.use_cases.desk import sessions
from tests.api.desk.doors import form_token, pasted, signed_in, token_of

PAGES = (
    *("/desk", "/desk/machines", "/desk/orders", "/desk/failing"),
    *("/desk/lives", "/desk/replacements", "/desk/mounting", "/desk/books"),
)


def database_of(app: Flask) -> Database:
    database: Database = app.extensions["capsaddle"].database
    return database


def key_of(app: Flask, site: str = "ALDER", *scopes: str) -> str:
    return create_key(database_of(app), site, scopes or ("read",))


def id_of(key: str) -> str:
    return key.split("_")[1]


def aged(app: Flask, **columns: datetime) -> None:
    """Let the one session be as old as is said."""
    database = database_of(app)
    site_id = site_by_code(database, "ALDER").id

    def work(tx: Tx) -> Written:
        tx.connection.execute(sa.update(models.DeskSession).values(**columns))
        return Written(200, "")

    database.write(site_id=site_id, actor="tester", request_id="r", work=work)


def rows(app: Flask) -> list[dict[str, object]]:
    with database_of(app).reading() as connection:
        return [dict(row._mapping) for row in connection.execute(sa.select(models.DeskSession.__table__))]


@pytest.mark.parametrize("path", PAGES)
def test_nobody_sees_a_page_without_a_session(app: Flask, path: str) -> None:
    answer = app.test_client().get(path)
    assert answer.status_code == 401 and 'name="key"' in answer.text
    assert "ALDER" not in answer.text and "Alder" not in answer.text


def test_a_key_that_may_read_opens_the_desk_and_is_not_kept(app_on_each: Flask) -> None:
    key = key_of(app_on_each)
    browser = app_on_each.test_client()
    answer = pasted(browser, f"  {key}\n")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/desk")
    said = answer.headers["Set-Cookie"]
    assert "HttpOnly" in said and "SameSite=Lax" in said and "Max-Age=43200" in said and "Path=/desk" in said
    token = token_of(browser)
    assert token is not None and key not in token and id_of(key) not in token
    assert browser.get("/desk").status_code == 200
    (row,) = rows(app_on_each)
    assert row["secret_sha256"] == sha256(token.encode()).hexdigest() and token not in repr(row)
    assert row["expires_at"] - row["created_at"] == timedelta(hours=12)  # type: ignore[operator]


@pytest.mark.parametrize("url", ["https://bearings.example", None])
def test_by_tls_the_cookie_is_bound_to_host_and_tls(sqlite_url: str, url: str | None) -> None:
    """RFC 6265bis, 4.1.3.2: the prefix __Host- asks for Secure, Path=/ and no Domain."""
    app = create_app(Settings(database_url=sqlite_url, public_url=url))
    from service.store.queries.sites import create_site

    create_site(database_of(app), "ALDER", "Alder Hollow board mill", "inch")
    browser = app.test_client()
    scheme = {"base_url": "https://bearings.example"} if url is None else {}
    page = browser.get("/desk/sign-in", **scheme)  # type: ignore[arg-type]
    cookie = page.headers["Set-Cookie"].split(";")[0]
    data = {"form_token": form_token(page), "came_for": "", "key": key_of(app)}
    answer = browser.post("/desk/sign-in", data=data, headers={"Cookie": cookie}, **scheme)  # type: ignore[arg-type]
    held = next(each for each in answer.headers.getlist("Set-Cookie") if each.startswith("__Host-desk="))
    assert "Secure" in held and "Path=/;" in held and "Domain" not in held and "HttpOnly" in held
    database_of(app).dispose()


@pytest.mark.parametrize("key", ["", "nonsense", "capsaddle_0_0_0", "x" * 5000])
def test_what_is_no_key_opens_nothing(app: Flask, key: str) -> None:
    browser = app.test_client()
    answer = pasted(browser, key)
    assert answer.status_code in (401, 413) and token_of(browser) is None and rows(app) == []


def test_a_key_that_may_not_read_opens_nothing_and_says_why(app: Flask) -> None:
    browser = app.test_client()
    answer = pasted(browser, key_of(app, "ALDER", "write"))
    assert answer.status_code == 403 and "write" in answer.text and rows(app) == []


def test_a_session_is_known_to_every_worker(app: Flask, sqlite_url: str) -> None:
    browser = signed_in(app)
    other = create_app(Settings(database_url=sqlite_url)).test_client()
    other.set_cookie("desk", token_of(browser) or "", path="/desk")
    assert other.get("/desk").status_code == 200
    other.application.extensions["capsaddle"].database.dispose()


def test_revoking_the_key_ends_its_session_at_the_next_page(app_on_each: Flask) -> None:
    key = key_of(app_on_each)
    browser = app_on_each.test_client()
    pasted(browser, key)
    assert browser.get("/desk").status_code == 200
    revoke_key(database_of(app_on_each), "ALDER", id_of(key))
    app_on_each.extensions["capsaddle"].keyring.forget(site_by_code(database_of(app_on_each), "ALDER").id)
    answer = browser.get("/desk")
    assert answer.status_code == 401 and "session is over" in answer.text
    assert token_of(browser) is None


def test_a_session_ends_after_twelve_hours_and_leads_back_to_its_page(app: Flask) -> None:
    browser = signed_in(app)
    now = datetime.now(UTC)
    aged(app, created_at=now - timedelta(hours=13), expires_at=now - timedelta(seconds=1))
    answer = browser.get("/desk/lives?designation=22216+K%2FC3")
    assert answer.status_code == 401
    came_for = re.search(r'name="came_for" value="([^"]*)"', answer.text)
    assert came_for is not None and came_for[1] == "/desk/lives?designation=22216+K%2FC3"
    again = pasted(browser, key_of(app), came_for=came_for[1])
    assert again.headers["Location"] == "/desk/lives?designation=22216+K%2FC3"
    assert tidy(database_of(app)).sessions == 1 and len(rows(app)) == 1


@pytest.mark.parametrize(
    "address",
    ["https://evil.example/", "//evil.example", "/desk@evil.example", "/deskevil", "/desk\\..\\x", "/v1/assets",
     "/desk/sign-out", "javascript:alert(1)", "/desk/\r\nX: y", "/desk/" + "a" * 3000],
)  # fmt: skip
def test_signing_in_leads_nowhere_else(app: Flask, address: str) -> None:
    answer = pasted(app.test_client(), key_of(app), came_for=address)
    assert answer.status_code == 303 and answer.headers["Location"] == "/desk"


def test_the_secret_is_replaced_each_hour_and_the_old_one_ends_the_session(app_on_each: Flask) -> None:
    browser, thief = signed_in(app_on_each), app_on_each.test_client()
    first = token_of(browser) or ""
    long_ago = datetime.now(UTC) - timedelta(minutes=61)
    aged(app_on_each, created_at=long_ago, rotated_at=long_ago)
    assert browser.get("/desk/orders").status_code == 200
    second = token_of(browser)
    assert second != first
    thief.set_cookie("desk", first, path="/desk")
    assert thief.get("/desk/orders").status_code == 200, "requests that were under way go on"
    aged(app_on_each, rotated_at=datetime.now(UTC) - timedelta(minutes=2))
    thief.set_cookie("desk", first, path="/desk")
    assert thief.get("/desk/orders").status_code == 401
    assert browser.get("/desk/orders").status_code == 401, "one of two held a copy: neither goes on"
    assert rows(app_on_each) == []


def test_signing_out_ends_the_session_for_copies_too(app: Flask) -> None:
    browser, copy = signed_in(app), app.test_client()
    copy.set_cookie("desk", token_of(browser) or "", path="/desk")
    answer = browser.post("/desk/sign-out", data={"form_token": form_token(browser.get("/desk"))})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/desk/sign-in")
    assert copy.get("/desk").status_code == 401 and rows(app) == []


@pytest.mark.parametrize("sent", [{"other": "x"}, {"form_token": ""}, {"form_token": "0" * 64}])
def test_a_stolen_form_is_refused(app: Flask, sent: dict[str, str]) -> None:
    browser = signed_in(app)
    answer = browser.post("/desk/sign-out", data=sent)
    assert answer.status_code == 403 and browser.get("/desk").status_code == 200


@pytest.mark.parametrize("media", ["application/json", "text/plain", "multipart/form-data; boundary=x", ""])
def test_what_is_no_form_is_refused(app: Flask, media: str) -> None:
    browser = signed_in(app)
    token = form_token(browser.get("/desk"))
    answer = browser.post("/desk/sign-out", data=f"form_token={token}", content_type=media)
    assert answer.status_code == 415 and browser.get("/desk").status_code == 200


def test_the_token_of_another_session_does_not_serve(app: Flask) -> None:
    one, other = signed_in(app), signed_in(app)
    token = form_token(other.get("/desk"))
    assert one.post("/desk/sign-out", data={"form_token": token}).status_code == 403


def test_a_form_that_another_site_sends_is_refused_though_its_token_is_known(app: Flask) -> None:
    """Sec-Fetch-Site (W3C Fetch Metadata): browsers say where a request came from."""
    browser = signed_in(app)
    token = form_token(browser.get("/desk"))
    answer = browser.post("/desk/sign-out", data={"form_token": token}, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403 and browser.get("/desk").status_code == 200


def test_nobody_is_signed_in_by_a_form_of_another_site(app: Flask) -> None:
    """Else somebody could be made to look at the desk of the attacker's site and take it for his own."""
    key = key_of(app)
    without_cookie = app.test_client()
    answer = without_cookie.post("/desk/sign-in", data={"form_token": "x", "key": key})
    assert answer.status_code == 403 and token_of(without_cookie) is None
    assert pasted(app.test_client(), key, form_token="other").status_code == 403


def test_pages_carry_a_policy_that_lets_nothing_in(app: Flask) -> None:
    for browser in (app.test_client(), signed_in(app)):
        headers = browser.get("/desk").headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "script-src" not in policy and "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy and "form-action 'self'" in policy
        assert headers["Cache-Control"] == "no-store" and headers["X-Content-Type-Options"] == "nosniff"


def test_made_up_tokens_open_nothing(app: Flask) -> None:
    browser = signed_in(app)
    token = token_of(browser) or ""
    flipped = ("B" if token[40] != "B" else "C").join((token[:40], token[41:]))
    for made_up in (flipped, token[:-4], token + "AAAA", "A" * 64, "", "\u00e9" * 64, "=" * 64, ";" * 64):
        thief = app.test_client()
        answer = thief.get("/desk", headers={"Cookie": f"desk={made_up}".encode().decode("latin-1")})
        assert answer.status_code == 401, made_up


def test_the_card_and_the_api_take_no_session(app: Flask) -> None:
    """A session opens pages alone: whoever has it can write nothing and hand it to no program."""
    browser = signed_in(app, scopes=("read", "write"))
    assert browser.get("/v1/assets").status_code == 401


def opening(app: Flask) -> str:
    caller = Keyring(database_of(app)).caller(key_of(app))
    assert caller is not None
    return sessions.offer_opening(database_of(app), caller)


def test_the_address_of_the_demo_opens_once(app_on_each: Flask) -> None:
    path = f"/desk/once/{opening(app_on_each)}"
    first, second = app_on_each.test_client(), app_on_each.test_client()
    assert first.get(path).status_code == 303 and first.get("/desk").status_code == 200
    assert second.get(path).status_code == 410 and second.get("/desk").status_code == 401


@pytest.mark.parametrize(
    "elsewhere",
    [{"environ_base": {"REMOTE_ADDR": "192.0.2.7"}}, {"headers": {"X-Forwarded-For": "127.0.0.1"}}],
)
def test_the_address_of_the_demo_opens_from_this_machine_alone(
    app: Flask, elsewhere: dict[str, dict[str, str]]
) -> None:
    path = f"/desk/once/{opening(app)}"
    assert app.test_client().get(path, **elsewhere).status_code == 410  # type: ignore[arg-type]
    assert app.test_client().get(path).status_code == 303, "it was not used up from there"


def test_an_opening_is_no_session_and_a_session_no_opening(app: Flask) -> None:
    token = opening(app)
    thief = app.test_client()
    thief.set_cookie("desk", token, path="/desk")
    assert thief.get("/desk").status_code == 401
    browser = signed_in(app)
    assert app.test_client().get(f"/desk/once/{token_of(browser)}").status_code == 410
