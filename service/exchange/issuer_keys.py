"""The public keys of an issuer of tokens, from a file or an address (JSON Web Key Set, RFC 7517), kept for a while.

The address is the operator's own setting; what comes from it is bounded in size and time all the same, no redirect is
followed and no proxy of the environment is asked.
"""

import http.client
import logging
import socket
import threading
import time
from contextlib import closing, suppress
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import jwt

from service.errors import Busy
from service.exchange import strict_json

ALGORITHMS: Final = ("RS256", "ES256", "EdDSA")
KEPT_S: Final = 300.0
STALE_S: Final = 3_600.0
"""How long keys are used that cannot be had anew: an issuer that is away for an hour stops nobody."""
ASKED_AGAIN_S: Final = 30.0
"""How soon the issuer is asked again for a key that was not among its keys, or after it did not answer."""
MOST_BYTES: Final = 262_144
MOST_KEYS: Final = 100
CONNECT_S: Final = 3.0
LONGEST_S: Final = 5.0
LOG: Final = logging.getLogger(__name__)
Keys = list[jwt.PyJWK]


class IssuerAway(Busy):
    """The keys of the issuer cannot be had now."""

    code = "issuer_away"
    retry_after_s = 5


class NoKeys(Exception):
    """What was read is no set of keys."""


class IssuerKeys:
    """The keys of one issuer; ``where``: an address, or the path of a file.

    One thread asks while the others go on with the keys at hand.
    """

    def __init__(self, where: str) -> None:
        self._where = where
        self._keys: Keys = []
        self._had_at: float | None = None
        self._asked_at: float | None = None
        self._asking = threading.Lock()

    def key(self, name: object, algorithm: str) -> jwt.PyJWK | None:
        """Return the key of a name (``kid``) and an algorithm; without a name, the only key of the algorithm.

        Raises
        ------
        IssuerAway
            No keys are at hand and none can be had.
        """
        self._renew(KEPT_S)
        found = self._found(name, algorithm)
        if found is None:  # the issuer may have made a new one
            self._renew(ASKED_AGAIN_S)
            found = self._found(name, algorithm)
        return found

    def _found(self, name: object, algorithm: str) -> jwt.PyJWK | None:
        fitting = [key for key in self._keys if key.algorithm_name == algorithm and name in (None, key.key_id)]
        return fitting[0] if len(fitting) == 1 else None

    def _renew(self, kept_s: float) -> None:
        """Ask for the keys when those at hand are older than so long."""
        if self._age_s(self._had_at) < kept_s:
            return
        empty = self._had_at is None
        if not self._asking.acquire(blocking=empty, timeout=LONGEST_S + CONNECT_S if empty else -1):
            return
        try:
            if self._age_s(self._had_at) < kept_s or self._age_s(self._asked_at) < (0 if empty else ASKED_AGAIN_S):
                return
            self._asked_at = time.monotonic()
            self._keys, self._had_at = keys_at(self._where), time.monotonic()
        except (OSError, http.client.HTTPException, NoKeys, strict_json.NotStrictJSON) as error:
            LOG.warning("the keys of the issuer cannot be read from %s: %s", self._where, error)
        finally:
            self._asking.release()
        if self._age_s(self._had_at) >= STALE_S:
            raise IssuerAway("the keys of the issuer of tokens cannot be had now")

    @staticmethod
    def _age_s(at: float | None) -> float:
        return float("inf") if at is None else time.monotonic() - at


def keys_at(where: str) -> Keys:
    """Return the keys that are read at a place; those of other algorithms are left out.

    Raises
    ------
    NoKeys, strict_json.NotStrictJSON
        What is there is no set of keys.
    OSError, http.client.HTTPException
        It cannot be read.
    """
    data = _fetched(where) if "://" in where else _of_file(where)
    document = strict_json.parsed(data)
    listed = document.get("keys") if isinstance(document, dict) else None
    if not isinstance(listed, list) or len(listed) > MOST_KEYS:
        raise NoKeys(f"it is no object with at most {MOST_KEYS} keys")
    keys = []
    for each in listed:
        if not isinstance(each, dict) or each.get("use", "sig") != "sig" or each.get("kty") not in ("RSA", "EC", "OKP"):
            continue
        try:
            key = jwt.PyJWK(each)
        except (jwt.PyJWTError, ValueError, TypeError):
            continue
        if key.algorithm_name in ALGORITHMS:
            keys.append(key)
    return keys


def _of_file(path: str) -> bytes:
    with Path(path).open("rb") as file:
        return _bounded(file.read(MOST_BYTES + 1))


def _fetched(address: str) -> bytes:
    """Return what an address answers; the connection is cut when time is up, however slowly it trickles."""
    place = urlsplit(address)
    kind = http.client.HTTPSConnection if place.scheme == "https" else http.client.HTTPConnection
    with closing(kind(place.hostname or "", place.port, timeout=CONNECT_S)) as connection:
        connection.connect()
        late = threading.Timer(LONGEST_S, _cut, (connection.sock,))  # the connection itself forgets its socket early
        late.daemon = True
        late.start()
        try:
            target = (place.path or "/") + (f"?{place.query}" if place.query else "")
            connection.request("GET", target, headers={"Accept": "application/json", "User-Agent": "capsaddle"})
            answer = connection.getresponse()
            if answer.status != 200:
                raise NoKeys(f"it answered {answer.status}")
            return _bounded(answer.read(MOST_BYTES + 1))
        finally:
            late.cancel()


def _cut(connected: socket.socket) -> None:
    with suppress(OSError):  # it may be closed
        connected.shutdown(socket.SHUT_RDWR)


def _bounded(data: bytes) -> bytes:
    if len(data) > MOST_BYTES:
        raise NoKeys(f"it is longer than {MOST_BYTES} bytes")
    return data
