"""Persons by token: a real issuer (OpenID Connect, of a package) signs in over sockets, a real server takes its tokens.

What the issuer of the package does not make - other algorithms, forgeries - is made with keys of our own by the library
of the issuer, another one than the service checks with. Codes and members: RFC 7519, RFC 6750, RFC 9068.
"""

import hmac
import json
import os
import subprocess
import sys
import threading
import time
from base64 import urlsafe_b64encode
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import load_pem_private_key
from flask import Flask
from joserfc import jwt as signer
from joserfc.jwk import ECKey, KeySet, OKPKey, RSAKey

from service.app import create_app
from service.settings import Settings
from service.store.database import Database
from service.store.queries import keys, sites
from tests.api.samples.machines import fan, order
from tests.system.servers import Server, free_port, serving

pytestmark = pytest.mark.filterwarnings(
    "ignore:EdDSA is deprecated"
)  # the library that signs; issuers still name it so
CLIENT = "the-mill"
FITTER = {"sub": "f-1", "name": "A. Fitter", "site": "MILL-A", "groups": ["mechanic", "everybody"]}
LEAD = {"sub": "l-7", "name": "B. Foreman", "site": "MILL-A", "groups": ["lead"]}
ROLES = "mechanic=read+write, lead=read+write+approve"


@contextmanager
def issuer(*persons: dict[str, Any], max_age_s: int = 3600) -> Iterator[str]:
    """The issuer as a process of its own; its address, which is its name too."""
    port = free_port()
    command = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "--port", str(port)]
    command += ["--token-max-age", str(max_age_s)]
    for each in persons:
        command += ["--user-claims", json.dumps(each)]
    given = os.environ | {"AUTHLIB_INSECURE_TRANSPORT": "1"}
    process = subprocess.Popen(command, env=given, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}"
    try:
        until = time.monotonic() + 30
        while True:
            try:
                if requests.get(f"{address}/jwks", timeout=2).ok:
                    break
            except requests.RequestException:
                assert process.poll() is None and time.monotonic() < until, "the issuer did not start"
                time.sleep(0.1)
        yield address
    finally:
        process.terminate()
        process.wait(20)


def signed_in(address: str, subject: str) -> str:
    """The token that the issuer gives a person who signs in (authorization code flow, OpenID Connect Core 3.1)."""
    asked = {
        "client_id": CLIENT,
        "redirect_uri": "http://127.0.0.1/back",
        "response_type": "code",
        "scope": "openid profile",
    }
    form = {"sub": subject}
    back = requests.post(f"{address}/oauth2/authorize", params=asked, data=form, allow_redirects=False, timeout=10)
    code = parse_qs(urlsplit(back.headers["Location"]).query)["code"][0]
    wanted = {"grant_type": "authorization_code", "code": code, "redirect_uri": asked["redirect_uri"]}
    given = requests.post(f"{address}/oauth2/token", data=wanted, auth=(CLIENT, "any"), timeout=10)
    return str(given.json()["id_token"])


def mill(url: str) -> str:
    """A site, and a key of it."""
    database = Database(Settings(database_url=url))
    sites.create_site(database, "MILL-A", "Mill A", "inch")
    made = keys.create_key(database, "MILL-A", ("read", "write", "approve"))
    database.dispose()
    return made


def settings(address: str, where: str | None = None, **more: str) -> dict[str, str]:
    return {
        "TOKEN_ISSUER": address,
        "TOKEN_AUDIENCE": CLIENT,
        "TOKEN_KEYS": where or f"{address}/jwks",
        "TOKEN_SCOPES_CLAIM": "groups",
        "TOKEN_ROLES": ROLES,
        **more,
    }


class Answer(NamedTuple):
    """What was answered, by a server or by the application in this process."""

    status: int
    json: Any
    headers: Mapping[str, str]


Where = Server | Flask


def call(where: Where, token: str, method: str = "GET", path: str = "/v1/capabilities", body: Any = None) -> Answer:
    headers = {"Authorization": f"Bearer {token}"}
    if isinstance(where, Flask):
        inside = where.test_client().open(path, method=method, json=body, headers=headers)
        return Answer(inside.status_code, inside.json, inside.headers)
    outside = requests.request(method, where.base_url + path, json=body, headers=headers, timeout=20)
    return Answer(outside.status_code, outside.json(), outside.headers)


@contextmanager
def application(url: str, **given: str) -> Iterator[Flask]:
    """The application in this process, with settings by their names without prefix."""
    app = create_app(
        Settings.from_environment(
            {f"CAPSADDLE_{name}": value for name, value in given.items()} | {"CAPSADDLE_DATABASE_URL": url}
        )
    )
    yield app
    app.extensions["capsaddle"].database.dispose()


def refused(answer: Answer, said: str) -> None:
    assert (answer.status, answer.json["code"]) == (401, "bad_token"), answer.json
    assert said in answer.json["detail"], answer.json["detail"]
    challenge = answer.headers["WWW-Authenticate"]
    assert 'error="invalid_token"' in challenge and said in challenge


def test_persons_of_an_issuer_take_readings_and_approve_in_their_own_names(database_url: str) -> None:
    mill(database_url)
    with issuer(FITTER, LEAD) as address, serving(database_url, APPROVAL="keys", **settings(address)) as server:
        fitter, lead = signed_in(address, "f-1"), signed_in(address, "l-7")
        may = call(server, fitter).json
        assert (may["site"], may["scopes"], may["person"]) == ("MILL-A", ["read", "write"], "A. Fitter")
        assert call(server, fitter, "POST", "/v1/assets", fan()).status == 201
        opened = call(server, fitter, "POST", "/v1/work-orders", order("WO-1")).json
        path = f"/v1/work-orders/{opened['id']}"
        rows = [{"value": {"value": 0.0040, "unit": "in"}, "row": row} for row in (1, 2)]
        one = {"position": "tail", "kind": "initial_clearance", "values": rows, "taken_at": "2026-01-07T09:10:00Z"}
        assert call(server, fitter, "POST", f"{path}/readings", {"readings": [one]}).status == 201
        other = {"readings": [{**one, "taken_by": "B. Foreman"}]}
        foreign = call(server, fitter, "POST", f"{path}/readings", other)
        assert (foreign.status, foreign.json["code"]) == (403, "not_the_person")
        assert foreign.json["errors"][0]["pointer"] == "#/readings/0/taken_by"
        (kept,) = call(server, lead, path=f"{path}/readings").json["items"]
        assert kept["taken_by"] == "A. Fitter"
        deviation = {"step": "initial", "position": "tail", "reason": "measured on the bench"}
        denied = call(server, fitter, "POST", f"{path}/deviations", deviation)
        assert (denied.status, denied.json["code"]) == (403, "scope_missing")
        approved = call(server, lead, "POST", f"{path}/deviations", deviation)
        assert (approved.status, approved.json.get("approved_by")) == (201, "B. Foreman"), approved.json
        told = call(server, lead, path="/v1/events?after=0&limit=500").json["items"]
        by = {each["type"].rpartition("capsaddle.")[2]: each["data"]["by_key"] for each in told}
        assert by["reading.recorded"] == "person:f-1" and by["deviation.approved"] == "person:l-7"
        link = call(server, fitter, "POST", f"{path}/card-links", {})
        assert (link.status, link.json["code"]) == (403, "key_needed")


def test_what_the_issuer_made_for_others_or_long_ago_is_refused(sqlite_url: str) -> None:
    key = mill(sqlite_url)
    stranger = {**FITTER, "sub": "x", "site": "MILL-X"}
    nameless = {name: value for name, value in FITTER.items() if name != "name"} | {"sub": "n"}
    with issuer(FITTER, stranger, nameless) as address, issuer(FITTER, max_age_s=-120) as late:
        fitter = signed_in(address, "f-1")
        with application(sqlite_url, **settings(address)) as app:
            refused(call(app, signed_in(address, "x")), "names no site")
            refused(call(app, signed_in(address, "n")), "claim name")
            refused(call(app, signed_in(late, "f-1")), "signature")  # its tokens name no key; the only one is tried
            head, body, signature = fitter.split(".")
            changed = urlsafe_b64encode(b'{"alg":"none"}').decode().rstrip("=")
            refused(call(app, f"{changed}.{body}."), "signed with 'none'")
            refused(call(app, f"{head}.{body}.{'A' * len(signature)}"), "signature")
            assert call(app, fitter).status == 200
            assert call(app, key).status == 200, "keys are taken beside tokens"
            assert call(app, "capsaddle_x_y_z").json["code"] == "bad_key"
            assert call(app, "no-token").json["code"] == "bad_key"
        with application(sqlite_url, **settings(address, TOKEN_AUDIENCE="another")) as app:
            refused(call(app, fitter), "another audience")
        with application(sqlite_url, **settings(address, TOKEN_ISSUER="https://else.example")) as app:
            refused(call(app, fitter), "another issuer")
        with application(sqlite_url, **settings(late)) as app:
            refused(call(app, signed_in(late, "f-1")), "past its time")
        with application(sqlite_url, **settings(late, TOKEN_LEEWAY_S="300")) as app:
            assert call(app, signed_in(late, "f-1")).status == 200, "120 s late, 300 s are forgiven"
        with application(sqlite_url) as app:
            assert call(app, fitter).json["code"] == "bad_key", "no issuer is set"


# Tokens of our own, by the library of the issuer

KEYS = {
    "RS256": RSAKey.generate_key(2048, {"kid": "r"}, auto_kid=False),
    "ES256": ECKey.generate_key("P-256", {"kid": "e"}, auto_kid=False),
    "EdDSA": OKPKey.generate_key("Ed25519", {"kid": "d"}, auto_kid=False),
}
ISSUER = "https://issuer.example"


def claims(**other: Any) -> dict[str, Any]:
    now = int(time.time())
    stated = {**FITTER, "iss": ISSUER, "aud": CLIENT, "iat": now, "exp": now + 600, **other}
    return {name: value for name, value in stated.items() if value is not None}


def token(algorithm: str = "RS256", key: Any = None, head: dict[str, Any] | None = None, **other: Any) -> str:
    key = key or KEYS[algorithm]
    stated = {"alg": algorithm, "kid": key.kid} | (head or {})
    stated = {name: value for name, value in stated.items() if value is not None}
    return signer.encode(stated, claims(**other), key, algorithms=[algorithm])


def published(*more: Any) -> bytes:
    found = KeySet([*KEYS.values(), *more]).as_dict(private=False)
    return json.dumps(found).encode()


@pytest.fixture(scope="module")
def file_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    """The application; its issuer's keys stand in a file."""
    from tests.databases import SqliteFiles

    folder = tmp_path_factory.mktemp("tokens")
    url = SqliteFiles(folder).clone(folder)
    mill(url)
    file = folder / "keys.json"
    file.write_bytes(published())
    with application(url, **settings(ISSUER, str(file))) as app:
        yield app


@pytest.mark.parametrize("algorithm", sorted(KEYS))
def test_three_algorithms_are_taken(file_app: Flask, algorithm: str) -> None:
    assert call(file_app, token(algorithm)).status == 200
    assert call(file_app, token(algorithm, head={"typ": "at+jwt"})).status == 200  # RFC 9068, 2.1
    assert call(file_app, token(algorithm, head={"kid": None})).status == 200, "the only key of its kind"


def other_key() -> Any:
    return RSAKey.generate_key(2048, {"kid": "r"}, auto_kid=False)


def handmade(head: dict[str, Any], sign: Callable[[bytes], bytes]) -> str:
    """What no library makes (RFC 7515, 3.1)."""
    parts = [urlsafe_b64encode(json.dumps(each).encode()).rstrip(b"=") for each in (head, claims())]
    signature = urlsafe_b64encode(sign(b".".join(parts))).rstrip(b"=")
    return b".".join((*parts, signature)).decode()


def confused() -> str:
    """HS256 with the public key as its secret: the oldest of the attacks (RFC 8725, 2.1)."""
    secret = KEYS["RS256"].as_pem(private=False)
    return handmade({"alg": "HS256", "kid": "r"}, lambda data: hmac.digest(secret, data, "sha256"))


def critical() -> str:
    """A header that says that whoever does not know ``exp`` must refuse the token (RFC 7515, 4.1.11)."""
    key = load_pem_private_key(KEYS["RS256"].as_pem(private=True), None)
    assert isinstance(key, RSAPrivateKey)
    head = {"alg": "RS256", "kid": "r", "crit": ["exp"], "exp": 1}
    return handmade(head, lambda data: key.sign(data, PKCS1v15(), SHA256()))


NOW = int(time.time())
REFUSED = {
    "expired": (lambda: token(exp=NOW - 120), "past its time"),
    "no end": (lambda: token(exp=None), "lacks the claim exp"),
    "no subject": (lambda: token(sub=None), "lacks the claim sub"),
    "no audience": (lambda: token(aud=None), "lacks the claim aud"),
    "not yet": (lambda: token(nbf=NOW + 900), "not come yet"),
    "made in the future": (lambda: token(iat=NOW + 900), "not come yet"),
    "wrong audience": (lambda: token(aud=["a", "b"]), "another audience"),
    "wrong issuer": (lambda: token(iss="https://other.example"), "another issuer"),
    "unknown key": (lambda: token(key=other_key(), head={"kid": "z"}), "no such key"),
    "a key that only has the name": (lambda: token(key=other_key()), "signature"),
    "another algorithm": (lambda: token(head={"alg": "RS512"}, algorithm="RS512", key=KEYS["RS256"]), "'RS512'"),
    "public key as secret": (confused, "'HS256'"),
    "key of another algorithm": (lambda: token("RS256", head={"kid": "e"}), "no such key"),
    "another type": (lambda: token(head={"typ": "logout+jwt"}), "of the type"),
    "critical extension": (critical, "cannot be read"),
    "no time": (lambda: token(exp="soon"), ""),
    "a time beyond all": (lambda: token(exp=10**30), ""),
    "no site": (lambda: token(site=None), "claim site"),
    "two sites": (lambda: token(site=["MILL-A", "MILL-B"]), "claim site"),
    "name of dots": (lambda: token(name="..."), "claim name"),
    "name of lines": (lambda: token(name="A\nFitter"), "claim name"),
    "long name": (lambda: token(name="A" * 81), "claim name"),
}


@pytest.mark.parametrize("what", sorted(REFUSED))
def test_a_token_that_does_not_hold_is_refused_with_its_reason(file_app: Flask, what: str) -> None:
    made, said = REFUSED[what]
    refused(call(file_app, made()), said)


JUNK = {
    "no object": b"[]",
    "a text": b'"RS256"',
    "not UTF-8": b"\xff\xfe",
    "nested": b'{"alg":"RS256","kid":"r","x":' + b"[" * 2_700 + b"]" * 2_700 + b"}",
    "nested and open": b'{"alg":"RS256","x":' + b"[" * 5_400,
    "list of algorithms": b'{"alg":["RS256"],"kid":"r"}',
    "no algorithm": b'{"kid":"r"}',
    "name of a key that is none": b'{"alg":"RS256","kid":{"r":1}}',
    "digits": b'{"alg":"RS256","x":' + b"9" * 5_000 + b"}",
    "no number": b'{"alg":"RS256","kid":NaN}',
    "nothing": b"",
}


@pytest.mark.parametrize("what", sorted(JUNK))
def test_a_head_that_is_none_is_refused_and_breaks_nothing(file_app: Flask, what: str) -> None:
    _, body, signature = token().split(".")
    head = urlsafe_b64encode(JUNK[what]).rstrip(b"=").decode()
    answer = call(file_app, f"{head}.{body}.{signature}")
    assert (answer.status, answer.json["code"]) == (401, "bad_token" if head else "bad_key"), answer.json


def test_clocks_may_differ_by_the_minute_that_is_set(file_app: Flask) -> None:
    now = int(time.time())
    assert call(file_app, token(exp=now - 30)).status == 200
    assert call(file_app, token(nbf=now + 30, iat=now + 30)).status == 200


def test_roles_decide_and_a_role_that_is_not_named_gives_nothing(file_app: Flask) -> None:
    assert call(file_app, token(groups="lead")).json["scopes"] == ["approve", "read", "write"]
    for given in (["admin", "read"], "capsaddle:admin", 7, None, {"lead": True}):
        answer = call(file_app, token(groups=given))
        assert (answer.status, answer.json["code"]) == (403, "scope_missing"), given


class Keys(BaseHTTPRequestHandler):
    """An address of keys that does what ``way`` says."""

    way: tuple[str, bytes] = ("answer", b"")
    asked = 0

    def do_GET(self) -> None:
        type(self).asked += 1
        what, body = self.way
        if what == "redirect":
            self.send_response(302)
            self.send_header("Location", "/elsewhere")
            self.end_headers()
            return
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        try:
            if what == "trickle":
                for byte in body:
                    self.wfile.write(bytes([byte]))
                    time.sleep(0.5)
            else:
                self.wfile.write(body)
        except OSError:
            pass

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@contextmanager
def keys_of(way: str, body: bytes) -> Iterator[str]:
    Keys.way, Keys.asked = (way, body), 0
    served = HTTPServer(("127.0.0.1", 0), Keys)
    thread = threading.Thread(target=served.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{served.server_port}/keys"
    served.shutdown()
    served.server_close()


@pytest.mark.parametrize(
    ("way", "body"),
    [
        ("trickle", published()),
        ("redirect", b""),
        ("answer", b" " * 300_000 + published()),
        ("answer", b"[]"),
        ("answer", b'{"keys":[' + b"{}," * 200 + b"{}]}"),
        ("answer", b"<html>"),
    ],
    ids=["trickles", "redirects", "too long", "no object", "too many", "no json"],
)
def test_an_address_of_keys_is_bounded_in_size_and_time(sqlite_url: str, way: str, body: bytes) -> None:
    """503 within the time that is set for it, and never the keys of another place."""
    mill(sqlite_url)
    with keys_of(way, body) as where, application(sqlite_url, **settings(ISSUER, where)) as app:
        begun = time.monotonic()
        answer = call(app, token())
        assert (answer.status, answer.json["code"]) == (503, "issuer_away"), answer.json
        assert int(answer.headers["Retry-After"]) > 0
        assert time.monotonic() - begun < 9
        assert app.test_client().get("/health/ready").status_code == 200


def test_keys_are_kept_and_asked_for_again_when_one_is_not_among_them(sqlite_url: str) -> None:
    """Guesses of key names do not make the service ask the issuer each time."""
    mill(sqlite_url)
    with keys_of("answer", published()) as where, application(sqlite_url, **settings(ISSUER, where)) as app:
        assert all(call(app, token()).status == 200 for _ in range(20))
        assert Keys.asked == 1
        for number in range(20):
            refused(call(app, token(head={"kid": f"guess-{number}"})), "no such key")
        assert Keys.asked == 1, "asked again after half a minute at the soonest"


def test_a_file_of_keys_that_is_not_there_is_an_issuer_that_is_away(sqlite_url: str, tmp_path: Path) -> None:
    mill(sqlite_url)
    with application(sqlite_url, **settings(ISSUER, str(tmp_path / "none.json"))) as app:
        assert call(app, token()).json["code"] == "issuer_away"
