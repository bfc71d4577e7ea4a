"""What hostile, broken or merely careless clients send; each of these went wrong once."""

import base64
import io
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any

import pytest
from marshmallow import fields as ma_fields
from marshmallow.validate import Length

from service.api.http.fields import Array, OneOf
from service.api.http.operations import DECLARED
from service.exchange import strict_json
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan
from tests.api.samples.orders import completion, initial, opened, residual, sent

TARGETS = "/v1/clearance-targets"
BEARING: dict[str, Any] = {"bearing": {"designation": "22216 K/C3"}}


@pytest.mark.parametrize(
    "body",
    [
        b'{"\\ud800": 1}',
        b'{"bearing": {"designation": "22216 K\\uDFFF"}}',
        b'{"bearing": {"designation": "22216 K"}, "seat": "\\uD83D x"}',
    ],
)
def test_half_of_a_character_is_refused_wherever_it_stands(client: Client, body: bytes) -> None:
    """RFC 7493, 2.1: object member names and string values must not hold surrogates."""
    answer = client.post(TARGETS, data=body)
    assert (answer.status_code, answer.json["code"]) == (400, "bad_json")
    assert "surrogate" in answer.json["detail"]


def test_a_whole_character_written_as_two_escapes_is_read(client: Client) -> None:
    """RFC 8259, 7: U+1F600 as the pair D83D DE00."""
    body = json.dumps({**fan("PAIR"), "name": "Fan \U0001f600"}).encode()
    assert b"\\ud83d" in body
    assert client.post("/v1/assets", data=body).json["name"] == "Fan \U0001f600"


@pytest.mark.parametrize("coding", ["gzip", "deflate", "br", "identity, gzip"])
def test_a_body_that_says_it_is_compressed_is_refused(client: Client, coding: str) -> None:
    """RFC 9110, 8.4: a content coding that the server does not take is 415, Accept-Encoding says which it takes."""
    answer = client.post(TARGETS, BEARING, headers={"Content-Encoding": coding})
    assert (answer.status_code, answer.json["code"]) == (415, "unsupported_media_type")
    assert answer.headers["Accept-Encoding"] == "identity"


def test_a_body_may_say_that_it_is_not_compressed(client: Client) -> None:
    assert client.post(TARGETS, BEARING, headers={"Content-Encoding": "identity"}).status_code == 200


@pytest.mark.parametrize(
    ("charset", "status"), [("utf-8", 200), ("UTF-8", 200), ('"utf-8"', 200), ("utf-16", 415), ("windows-1252", 415)]
)
def test_a_body_in_another_charset_is_refused(client: Client, charset: str, status: int) -> None:
    answer = client.post(TARGETS, BEARING, content_type=f"application/json; charset={charset}")
    assert answer.status_code == status


@pytest.mark.parametrize(
    "accept",
    ["application/json; charset=utf-8", "application/json;charset=UTF-8, */*;q=0.1", "text/html, application/json;v=1"],
)
def test_parameters_of_an_accepted_type_are_not_a_reason_to_refuse(client: Client, accept: str) -> None:
    """Common clients send Accept with a charset; RFC 9110, 12.5.1."""
    answer = client.post(TARGETS, BEARING, headers={"Accept": accept})
    assert (answer.status_code, answer.mimetype) == (200, "application/json")


@pytest.mark.parametrize("path", ["/v1//assets", "/v1/assets//", "/v1/assets/"])
def test_a_doubled_slash_leads_nowhere(client: Client, path: str) -> None:
    """No redirect: it would be HTML and lead to whatever host the request names."""
    answer = client._client.get(path, base_url="http://elsewhere.example/", headers={"Authorization": "Bearer x"})
    assert (answer.status_code, answer.mimetype) == (404, "application/problem+json")
    assert "Location" not in answer.headers


def cut_short(client: Client, path: str, data: bytes, said: int, content_type: str) -> Any:
    """Send a body that ends before its Content-Length, as a server hands it over when the sender has left."""
    environ = {
        "wsgi.input": io.BytesIO(data),
        "wsgi.input_terminated": True,
        "CONTENT_LENGTH": str(said),
        "CONTENT_TYPE": content_type,
        "HTTP_AUTHORIZATION": f"Bearer {client.key}",
    }
    return client._client.post(path, environ_overrides=environ)


def test_a_body_that_ends_before_its_length_is_refused_although_it_can_be_read(client: Client) -> None:
    """A line less of CSV or NDJSON is well-formed still: only the length tells (RFC 9112, 8: incomplete messages)."""
    client.post("/v1/assets", fan())
    line = b'{"external_id":"%d","asset":"DRY-2-FAN","position":"%s","designation":"22216 K",' + (
        b'"installed_at":"2020-01-01T00:00:00Z","end_type":"running"}\n'
    )
    whole = line % (1, b"tail") + line % (2, b"drive")
    first = line % (1, b"tail")
    answer = cut_short(client, "/v1/stays/import", first, len(whole), "application/x-ndjson")
    assert (answer.status_code, answer.json["code"]) == (400, "bad_request")
    assert client.get("/v1/stays").json["items"] == []
    assert cut_short(client, "/v1/stays/import", whole, len(whole), "application/x-ndjson").status_code == 200
    assert len(client.get("/v1/stays").json["items"]) == 2


@pytest.mark.parametrize("text", [{}, [], 1, None])
def test_the_text_of_a_quantity_is_ignored_but_it_is_a_text(client: Client, text: Any) -> None:
    quantity = {"value": 0.004, "unit": "in", "text": text}
    answer = client.post(TARGETS, {**BEARING, "measured_clearance": quantity})
    assert (answer.status_code, answer.json["errors"][0]["code"]) == (422, "wrong_type")


@pytest.mark.parametrize(
    "time",
    ["2026-W02-3T06:30:00Z", "20260107T063000Z", "2026-01-07T06Z", "2026-01-07T06:30:00,5Z", "2026-01-07T06:30:00+0100",
     "2026-01-07T06:30:00+01:00:30", "2026-01-07 06:30:00Z", "2026-01-07T06:30:00Z\n", "٢026-01-07T06:30:00Z"],
)  # fmt: skip
def test_other_times_of_iso_8601_than_those_of_rfc_3339_are_refused(client: Client, time: str) -> None:
    """RFC 3339, 5.6: the profile has extended format, seconds, a point, and an offset of hours and minutes."""
    client.post("/v1/assets", fan())
    order = {"external": {"system": "a", "number": "1"}, "asset": "DRY-2-FAN", "positions": ["tail"]}
    answer = client.post("/v1/work-orders", {**order, "opened_at": time})
    assert (answer.status_code, answer.json["errors"][0]["code"]) == (422, "bad_time")


@pytest.mark.parametrize("time", ["2026-01-07t06:30:00z", "2026-01-07T06:30:00.123456789-00:00"])
def test_times_of_rfc_3339_are_read(client: Client, time: str) -> None:
    client.post("/v1/assets", fan())
    order = {"external": {"system": "a", "number": "1"}, "asset": "DRY-2-FAN", "positions": ["tail"]}
    answer = client.post("/v1/work-orders", {**order, "opened_at": time})
    assert answer.json["opened_at"].startswith("2026-01-07T06:30:00")


AHEAD = (datetime.now(UTC) + timedelta(days=3)).isoformat()


@pytest.mark.parametrize(
    ("time", "code"),
    [pytest.param(AHEAD, "in_the_future", id="in three days"), ("1066-10-14T12:00:00Z", "bad_time")],
)
def test_nothing_was_read_found_or_done_in_the_future_or_long_ago(client: Client, time: str, code: str) -> None:
    """A stay that begins in 2099 shuts its position for all later ones; common practice, no source, for the limits."""
    at = f"/v1/work-orders/{opened(client)['id']}"
    done = {**completion(removed={"end_type": "failed"}), "completed_at": time}
    read = {"readings": [initial("tail", 0.0040, 0.0040, taken_at=time)]}
    found = {"position": "tail", "rings": [], "taken_at": time}
    for path, body in (("completion", done), ("readings", read), ("as-found", found)):
        answer = client.post(f"{at}/{path}", body)
        assert (answer.status_code, answer.json["errors"][0]["code"]) == (422, code), path


def test_a_clock_that_is_a_little_fast_is_no_reason_to_refuse(client: Client) -> None:
    at = f"/v1/work-orders/{opened(client)['id']}"
    soon = (datetime.now(UTC) + timedelta(hours=13)).isoformat()
    read = {"readings": [initial("tail", 0.0040, 0.0040, taken_at=soon)]}
    assert client.post(f"{at}/readings", read).status_code == 201


@pytest.mark.parametrize("name", ["A.Fitter", "Fitter A", "Ａ. Fitter", "A. Fit​ter", "-"])
def test_who_did_the_work_cannot_approve_it_under_a_name_set_otherwise(client: Client, name: str) -> None:
    order = opened(client)
    sent(client, order["id"], initial("tail", 0.0040, 0.0040), residual("tail", 0.0005, 0.0005))
    deviation = {"step": "residual-free", "position": "tail", "reason": "in a hurry", "approved_by": name}
    refused = client.post(f"/v1/work-orders/{order['id']}/deviations", deviation)
    assert (refused.status_code, refused.json["code"]) == (422, "same_person")


@pytest.mark.parametrize("digits", ["1" * 20, "-" + "9" * 19, "1" * 5000])
def test_whole_numbers_that_could_not_be_answered_are_refused(client: Client, digits: str) -> None:
    """RFC 8259, 6. A field map repeats what it read: it must not be something that cannot be written."""
    for path in (TARGETS, "/v1/inbound/b2mml-job-order"):
        answer = client.post(path, data=b'{"n": ' + digits.encode() + b"}")
        assert (answer.status_code, answer.json["code"]) == (400, "bad_json")


def test_the_longest_whole_numbers_that_are_read_can_be_written() -> None:
    for digits in ("9" * 19, "-" + "9" * 18):
        assert strict_json.written(strict_json.parsed(digits.encode())) == digits


def test_a_name_with_nul_in_the_path_names_nothing(client_on_each: Client) -> None:
    for path in ("/v1/inbound/%00", "/v1/tables/%00/recall", "/v1/work-orders/%00/readings"):
        assert client_on_each.post(path, {}).status_code == 404, path


def test_a_cursor_that_was_made_up_with_right_check_bytes_is_refused(client_on_each: Client) -> None:
    """The check bytes rest on nothing secret: the feed of events says the site."""
    client_on_each.post("/v1/assets", fan())
    site = client_on_each.get("/v1/events").json["items"][0]["source"].removeprefix("urn:uuid:")
    for made_up in (b"\0", b"x", b"", b"' OR 1=1", b"0190000-00000-7000-8000-000000000000"):
        check = sha256(made_up + repr(("/v1/assets", site, [])).encode()).digest()[:6]
        cursor = base64.urlsafe_b64encode(made_up + check).decode().rstrip("=")
        refused = client_on_each.get(f"/v1/assets?cursor={cursor}")
        assert (refused.status_code, refused.json["code"]) == (400, "bad_cursor")


def arrays(field: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Yield the arrays in a field of a request, with their paths."""
    if isinstance(field, ma_fields.Nested):
        yield from arrays_of(field.schema, path)
    elif isinstance(field, ma_fields.List):
        yield path, field
        yield from arrays(field.inner, path + "/0")
    elif isinstance(field, OneOf):
        for _, shape in field.shapes:
            yield from arrays(shape, path)


def arrays_of(schema: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Yield the arrays in a schema of a request, with their paths."""
    for name, field in schema.fields.items():
        yield from arrays(field, f"{path}/{name}")


def test_every_array_of_a_request_is_measured_before_its_elements_are_read(client: Client) -> None:
    """A body of 1 MiB with 100,000 wrong elements took 35 s, and one worker with it."""
    found = [each for name, one in DECLARED.operations.items() if one.body for each in arrays_of(one.body, name)]
    assert len(found) > 20
    for path, array in found:
        limits = [limit for limit in array.validators if isinstance(limit, Length)]
        assert isinstance(array, Array) and limits and limits[0].max is not None, path


def test_an_array_that_is_too_long_is_one_fault(client: Client) -> None:
    body = {"tag": "X", "name": "X", "shafts": [{"a": 1}] * 21}
    refused = client.post("/v1/assets", body)
    assert [fault["pointer"] for fault in refused.json["errors"]] == ["#/shafts"]
