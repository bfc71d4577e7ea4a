"""Signatures of Standard Webhooks 1.0.0: HMAC-SHA256 over id, time and the exact bytes of the body."""

import base64
import hmac
import secrets
from collections.abc import Iterable
from hashlib import sha256
from typing import Final

PREFIX: Final = "whsec_"
SECRET_BYTES: Final = 32
TOLERANCE_S: Final = 300
"""How far the time of an attempt may lie from the receiver's clock, [s]"""


def new_secret() -> str:
    """Return a new secret of 32 random bytes, as it is shown once."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def signature_headers(keys: Iterable[str], *, message_id: str, timestamp_s: int, body: bytes) -> dict[str, str]:
    """Return the headers of one attempt, signed with every secret that is good now.

    Parameters
    ----------
    keys : iterable of str
        Secrets, the newest first; two while one takes the place of the other
    message_id : str
        The same in every attempt
    timestamp_s : int
        Time of this attempt since 1970, [s]
    body : bytes
        As it is sent

    Source
    ------
    Standard Webhooks 1.0.0, "Signature scheme". Checked against the reference implementation, see tests.
    """
    signed = f"{message_id}.{timestamp_s}.".encode() + body
    made = (hmac.new(base64.b64decode(key.removeprefix(PREFIX)), signed, sha256).digest() for key in keys)
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp_s),
        "webhook-signature": " ".join(f"v1,{base64.b64encode(digest).decode()}" for digest in made),
    }
