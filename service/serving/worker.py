"""gunicorn's worker, which refuses what it cannot read as the service refuses everything: with a problem document.

What was sent is neither answered nor logged: it may hold a key. The connection is closed, since nobody knows where the
next request on it would begin.

It leaves without a reset. From the moment that the server is told to stop, each answer says ``Connection: close``; once
no connection is taken any more, those that are waiting are taken still; and one that is kept open stays so for longer
than the proxy keeps its own, so that the proxy closes it and no request crosses its end (RFC 9112, 9.6).
"""

import socket
import time
from contextlib import suppress
from typing import Any, Final
from uuid import uuid4

from gunicorn.http import errors
from gunicorn.workers.gthread import ThreadWorker

from service.api.http import problems
from service.exchange.strict_json import written

KEPT_OPEN_S: Final = 11.0
"""After the server was told to stop; docker/nginx.conf keeps idle connections for 10 s."""
PASSED_OVER_S: Final = 5.0
PASSED_OVER_BYTES: Final = 9 * 1_048_576
"""Of a body that was refused before it was read; the proxy takes 8 MiB. Closing over it would take the answer away."""
DRAIN_S: Final = 1.0
QUIET_S: Final = 0.1
DRAIN_BYTES: Final = 1_048_576
_LINE: Final = "the request line is not METHOD /PATH HTTP/1.1 with single spaces, ended by CR LF"
_FIELD: Final = (
    "a header field is not NAME: VALUE in characters that a header takes, stands twice, or contradicts another "
    "(Content-Length beside Transfer-Encoding)"
)
_BODY: Final = (errors.InvalidChunkSize, errors.ChunkMissingTerminator, errors.InvalidChunkExtension)
"""Found while an unread body is passed over, after the answer: the application reads no chunks."""
_OURS: Final = (errors.InvalidResponseHeader, errors.InvalidResponseHeaderName)
REFUSALS: Final[tuple[tuple[type[Exception], str, str], ...]] = (
    (errors.LimitRequestLine, "uri_too_long", "the request line is longer than {line} bytes"),
    (
        errors.LimitRequestHeaders,
        "headers_too_large",
        "a header field is longer than {field} bytes, or there are more than {fields} of them",
    ),
    (
        errors.UnsupportedTransferCoding,
        "unknown_transfer_coding",
        "Transfer-Encoding is not one that is taken here; send the body as it is, with its Content-Length",
    ),
    (errors.ExpectationFailed, "expectation_failed", "Expect takes 100-continue and nothing else"),
    (errors.InvalidHTTPVersion, "bad_request", "the version is not one that is spoken here: HTTP/1.1 or HTTP/1.0"),
    (errors.InvalidHeader, "bad_request", _FIELD),
    (errors.InvalidHeaderName, "bad_request", _FIELD),
    (errors.ObsoleteFolding, "bad_request", "a header field goes on in a second line; write it in one"),
    (errors.ParseException, "bad_request", _LINE),
)
"""What gunicorn raises, the code it is answered with, and the sentence; the first that fits."""


class Worker(ThreadWorker):  # type: ignore[misc]
    """gunicorn's worker of threads with our refusals, and our way to leave."""

    _stopped_at: float | None = None

    def notify(self) -> None:
        """Tell the master that the worker lives, as it does each second; note when the server was told to stop."""
        super().notify()
        if self._stopped_at is None and self.app.stopping():
            self._stopped_at = time.monotonic()

    def handle_request(self, req: Any, conn: Any) -> bool:
        """Answer; the last answers of a connection say that it closes."""
        if self.app.stopping():
            req.force_close()
        return bool(super().handle_request(req, conn))

    def _keepalive_after(self, conn: Any, keepalive: bool) -> bool:
        """Pass over what was not read of a body, to its end: gunicorn's own bound lies below that of the proxy."""
        if not keepalive:
            return False
        until = time.monotonic() + PASSED_OVER_S
        return bool(conn.parser.finish_body(deadline=until, max_bytes=PASSED_OVER_BYTES))

    def set_accept_enabled(self, enabled: bool) -> None:
        """Take connections or not; before no more are taken for good, take those that are waiting, and listen no more.

        A listener that nobody looks at would let clients connect, send and wait until it is gone.
        """
        for_good = not enabled and not self.alive
        if for_good:
            for listener in self.sockets:
                self._take_waiting(listener)
        super().set_accept_enabled(enabled)
        if for_good:
            for listener in self.sockets:
                listener.close()

    def _take_waiting(self, listener: Any) -> None:
        listener.setblocking(False)
        before = -1
        while before != self.nr_conns and self.nr_conns < self.worker_connections:
            before = self.nr_conns
            self.accept(listener)

    def _cap_keepalive(self, deadline: float) -> None:
        """Close connections that are kept open, by a time later than gunicorn's two seconds."""
        since_s = time.monotonic() if self._stopped_at is None else self._stopped_at
        super()._cap_keepalive(max(deadline, since_s + KEPT_OPEN_S))

    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: Exception) -> None:
        """Refuse what could not be read; anything else is a fault on our side."""
        code, detail = self._refusal(exc)
        status, title = problems.CATALOGUE[code]
        request_id = uuid4().hex
        told = {"event": "refused", "request_id": request_id, "status": status, "error": type(exc).__name__}
        if code == "internal":
            self.log.exception(told)
        else:
            self.log.warning(told)
        if isinstance(exc, _BODY):
            return
        base = (self.app.settings.public_url or "").rstrip("/")
        document = {
            "type": f"{base}/docs/problems#{code}",
            "title": title,
            "status": status,
            "code": code,
            "detail": detail,
            "request_id": request_id,
            "errors": [],
        }
        with suppress(OSError):  # nobody may be there any more
            client.settimeout(DRAIN_S)
            client.sendall(_message(document))
            _read_away(client)

    def _refusal(self, exc: Exception) -> tuple[str, str]:
        """Return the code and the sentence for an error."""
        for kind, code, sentence in REFUSALS:
            if isinstance(exc, kind) and not isinstance(exc, _OURS):
                limits = {"line": self.cfg.limit_request_line, "field": self.cfg.limit_request_field_size}
                return code, sentence.format(**limits, fields=self.cfg.limit_request_fields)
        return "internal", "the fault is on our side; quote the request id when you report it"


def _message(document: dict[str, Any]) -> bytes:
    body = written(document).encode()
    head = (
        f"HTTP/1.1 {document['status']} {document['code'].replace('_', ' ').capitalize()}",
        f"Content-Type: {problems.MEDIA_TYPE}",
        f"Content-Length: {len(body)}",
        f"X-Request-ID: {document['request_id']}",
        "X-Content-Type-Options: nosniff",
        "Cache-Control: no-store",
        "Connection: close",
    )
    return "\r\n".join((*head, "", "")).encode() + body


def _read_away(client: socket.socket) -> None:
    """Read for a moment what is still coming: closing over it would take the answer from the sender."""
    client.shutdown(socket.SHUT_WR)
    until, left = time.monotonic() + DRAIN_S, DRAIN_BYTES
    while left > 0 and (wait_s := until - time.monotonic()) > 0:
        client.settimeout(min(wait_s, QUIET_S))
        part = client.recv(65_536)
        if not part:
            return
        left -= len(part)
