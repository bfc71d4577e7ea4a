"""Links to the card of one work order: signed on behalf of an API key, so that neither key nor site stands in them.

A token is ``base64url(key id, order id, time of expiry, what it may do, signature)``. It is checked without
asking the database for anything but the key; it dies with the key, and opens one order only. What signs is not in
the database.
"""

import hmac
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final
from uuid import UUID

from service.moments import rfc3339
from service.store.queries.keys import Caller, Keyring
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import hold_order

SIGNATURE_BYTES: Final = 16
_TIME_BYTES: Final = 5
_LENGTH: Final = 16 + 16 + _TIME_BYTES + 1 + SIGNATURE_BYTES
SCOPE: Final = "write"
"""What the key must carry when the link is made, and each time it is used."""
APPROVE: Final = "approve"
"""What it must carry besides for a link on which a second person may approve a deviation."""


@dataclass(frozen=True, slots=True)
class CardLink:
    """A link that holds: for which order, on whose behalf, until when, and whether deviations are approved on it."""

    caller: Caller
    order_id: str
    expires_at: datetime
    approves: bool = False


class LinkRefused(Exception):
    """The link was altered or made up, or it is past its time."""

    def __init__(self, *, expired: bool) -> None:
        self.expired = expired
        super().__init__("the link is past its time" if expired else "the link is not one of ours")


def make_link(tx: Tx, order_id: str, *, expires_at: datetime, approves: bool = False) -> Event:
    """Return the event of a new link to the card of an open order.

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        ``work_order_not_open``
    """
    order = hold_order(tx, order_id).order
    data = {"expires_at": rfc3339(expires_at), "approves": approves}
    return Event("card_link.made", "work_order", order.id, None, None, data)


def token_of(keyring: Keyring, caller: Caller, order_id: str, expires_at: datetime, *, approves: bool = False) -> str:
    """Return the token of a link, signed on behalf of the caller's key."""
    signer = keyring.signer(caller.key_id)
    if signer is None:
        raise LinkRefused(expired=True)  # the key was revoked while it was being used
    seconds = int(expires_at.timestamp())
    payload = UUID(caller.key_id).bytes + UUID(order_id).bytes + seconds.to_bytes(_TIME_BYTES) + bytes([approves])
    return urlsafe_b64encode(payload + _signature(signer[1][0], payload)).decode().rstrip("=")


def link_of(keyring: Keyring, token: str) -> CardLink:
    """Return what a token stands for.

    Raises
    ------
    LinkRefused
        Altered, made up, past its time, or made by a key that is not in force or may not write any more.
    """
    data = _decoded(token)
    payload, signature = data[:-SIGNATURE_BYTES], data[-SIGNATURE_BYTES:]
    signer = keyring.signer(str(UUID(bytes=payload[:16])))
    if signer is None:
        raise LinkRefused(expired=False)
    caller, secrets = signer
    genuine = any(hmac.compare_digest(signature, _signature(each, payload)) for each in secrets)
    if not genuine or SCOPE not in caller.scopes:
        raise LinkRefused(expired=False)
    try:
        expires_at = datetime.fromtimestamp(int.from_bytes(payload[32:-1]), UTC)
    except (ValueError, OverflowError, OSError):  # five bytes reach beyond the year 9999
        raise LinkRefused(expired=False) from None
    if expires_at <= datetime.now(UTC):
        raise LinkRefused(expired=True)
    approves = bool(payload[-1]) and APPROVE in caller.scopes
    return CardLink(caller, str(UUID(bytes=payload[16:32])), expires_at, approves)


def _decoded(token: str) -> bytes:
    try:
        data = urlsafe_b64decode(token.encode("ascii") + b"=" * (-len(token) % 4))
    except ValueError:
        raise LinkRefused(expired=False) from None
    if len(data) != _LENGTH or urlsafe_b64encode(data).decode().rstrip("=") != token:
        raise LinkRefused(expired=False)
    return data


def _signature(secret: bytes, payload: bytes) -> bytes:
    return hmac.digest(secret, b"card link 2\n" + payload, "sha256")[:SIGNATURE_BYTES]
