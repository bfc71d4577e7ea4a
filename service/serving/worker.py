"""gunicorn's worker, which refuses what it cannot read as the service refuses everything: with a problem document.

What was sent is neither answered nor logged: it may hold a key. The connection is closed, since nobody knows where the
next request on it would begin.
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
    """gunicorn's worker of threads with our refusals."""

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
