"""One attempt to deliver: POST to an address that was checked, no redirects, no proxies, bounded in time and size."""

import http.client
import re
import socket
import ssl
import threading
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Final

from service.exchange.targets import AllowList, Resolver, Target, TargetNotAllowed

ANSWER_WITHIN_S: Final = 15.0
WHOLE_WITHIN_S: Final = 20.0
MOST_ANSWER_BYTES: Final = 65_536
LONGEST_RETRY_AFTER_S: Final = 3600.0
LONGEST_DATE: Final = 40
_SECONDS: Final = re.compile(r"\d{1,6}").fullmatch


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of an attempt. The body of the answer is not kept: it is nobody's business here.

    Parameters
    ----------
    word : str
        ``delivered``, ``answered`` (with another status), ``timeout``, ``not_reached``, ``not_resolved``,
        ``not_allowed``, ``tls``, ``not_http``
    status : int or None
        Status of the answer
    retry_after_s : float or None
        What the receiver asked for, [s]
    duration_ms : int
        How long the attempt took, [ms]
    """

    word: str
    status: int | None = None
    retry_after_s: float | None = None
    duration_ms: int = 0

    @property
    def delivered(self) -> bool:
        """Return whether the receiver took it."""
        return self.word == "delivered"

    @property
    def gone(self) -> bool:
        """Return whether the receiver says that there is nobody any more."""
        return self.status == 410

    @property
    def nobody_answers(self) -> bool:
        """Return whether the whole receiver is out of order or busy, not only this event refused."""
        return self.status is None or self.status in (429, 502, 503, 504)


def posted(
    url: str, body: bytes, headers: dict[str, str], allowed: AllowList, resolve: Resolver | None = None
) -> Outcome:
    """Return what came of sending the body once."""
    began = time.monotonic()
    word, status, retry_after_s = _attempt(url, body, headers, allowed, resolve)
    return Outcome(word, status, retry_after_s, round((time.monotonic() - began) * 1000))


def _attempt(
    url: str, body: bytes, headers: dict[str, str], allowed: AllowList, resolve: Resolver | None
) -> tuple[str, int | None, float | None]:
    try:
        target = allowed.target(url)
        addresses = allowed.addresses(target, resolve)
    except TargetNotAllowed:
        return "not_allowed", None, None
    except OSError:
        return "not_resolved", None, None
    try:
        return _sent(target, addresses[0], body, headers)
    except TimeoutError:
        return "timeout", None, None
    except ssl.SSLError:
        return "tls", None, None
    except (OSError, EOFError):
        return "not_reached", None, None
    except (http.client.HTTPException, ValueError):
        return "not_http", None, None


def _sent(target: Target, address: str, body: bytes, headers: dict[str, str]) -> tuple[str, int, float | None]:
    """Send to the address that was checked, under the name of the host; the connection is cut when time is up."""
    connection = _Connection(target, address)
    with closing(connection):
        late = threading.Timer(WHOLE_WITHIN_S, connection.cut)
        late.daemon = True
        late.start()
        try:
            connection.connect()
            connection.request("POST", target.path, body, {"User-Agent": "capsaddle", **headers})
            answer = connection.getresponse()
            answer.read(MOST_ANSWER_BYTES)
        except (OSError, http.client.HTTPException):
            if connection.was_cut:
                raise TimeoutError from None
            raise
        finally:
            late.cancel()
    word = "delivered" if 200 <= answer.status < 300 else "answered"
    return word, answer.status, retry_after_s(answer.headers.get("Retry-After"), answer.headers.get("Date"))


def retry_after_s(value: str | None, date: str | None = None) -> float | None:
    """Return the wait that a receiver asked for, [s]; None when it cannot be read.

    Parameters
    ----------
    value : str or None
        Retry-After: whole seconds, or a date (RFC 9110, 10.2.3)
    date : str or None
        Date of the same answer: the receiver's clock, which its date goes by; ours when it sent none
    """
    if value is None:
        return None
    if _SECONDS(value.strip()):
        return min(float(value), LONGEST_RETRY_AFTER_S)
    until, now = _moment(value), _moment(date or "") or datetime.now(UTC)
    return None if until is None else min(max((until - now).total_seconds(), 0.0), LONGEST_RETRY_AFTER_S)


def _moment(value: str) -> datetime | None:
    """Return the time of an HTTP date in any of its three forms (RFC 9110, 5.6.7), which are all in UTC."""
    if len(value) > LONGEST_DATE:
        return None
    try:
        moment = parsedate_to_datetime(value)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment


class _Connection(http.client.HTTPConnection):
    """A connection to one address; TLS and Host name the host itself."""

    def __init__(self, target: Target, address: str) -> None:
        super().__init__(target.host, target.port, timeout=ANSWER_WITHIN_S)
        self.default_port = {"https": 443, "http": 80}[target.scheme]
        self.was_cut = False
        self._target, self._address = target, address

    def connect(self) -> None:
        """Connect to the address, never to what the name resolves to by now."""
        self.sock = socket.create_connection((self._address, self._target.port), ANSWER_WITHIN_S)
        if self._target.scheme == "https":
            context = ssl.create_default_context()
            secured = context.wrap_socket(self.sock, server_hostname=self._target.host, do_handshake_on_connect=False)
            self.sock = secured
            secured.do_handshake()

    def cut(self) -> None:
        """End the connection whatever it is doing."""
        self.was_cut = True
        if self.sock is not None:
            with suppress(OSError):
                self.sock.shutdown(socket.SHUT_RDWR)
