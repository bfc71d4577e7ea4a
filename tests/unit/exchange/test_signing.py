"""Signatures of webhooks against the published example."""

import base64
import re

from service.exchange.signing import PREFIX, new_secret, signature_headers

EXAMPLE = {
    "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "message_id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
    "timestamp_s": 1614265330,
    "body": b'{"test": 2432232314}',
    "signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
}
"""The example that implementations of Standard Webhooks 1.0.0 test themselves by (from memory, and it agrees)"""


def headers(*keys: str, body: bytes = EXAMPLE["body"]) -> dict[str, str]:  # type: ignore[assignment]
    return signature_headers(
        keys, message_id=str(EXAMPLE["message_id"]), timestamp_s=int(str(EXAMPLE["timestamp_s"])), body=body
    )


def test_the_signature_is_the_published_one() -> None:
    assert headers(str(EXAMPLE["secret"])) == {
        "webhook-id": EXAMPLE["message_id"],
        "webhook-timestamp": "1614265330",
        "webhook-signature": EXAMPLE["signature"],
    }


def test_while_a_secret_is_replaced_both_sign() -> None:
    one, other = new_secret(), str(EXAMPLE["secret"])
    signatures = headers(one, other)["webhook-signature"].split(" ")
    assert signatures == [headers(one)["webhook-signature"], EXAMPLE["signature"]]


def test_another_body_has_another_signature() -> None:
    assert headers(str(EXAMPLE["secret"]), body=b'{"test": 2432232315}')["webhook-signature"] != EXAMPLE["signature"]


def test_a_secret_is_32_random_bytes() -> None:
    made = {new_secret() for _ in range(100)}
    assert len(made) == 100
    assert all(re.fullmatch(r"whsec_[A-Za-z0-9+/]+=*", each) for each in made)
    assert {len(base64.b64decode(each.removeprefix(PREFIX))) for each in made} == {32}
