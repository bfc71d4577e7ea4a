"""Which of the media types that are offered the caller wants (RFC 9110, Accept with q-values)."""

from typing import Final

from flask import Response, request
from werkzeug.datastructures import MIMEAccept

from service.api.http.problems import ProblemRaised
from service.exchange.media import JSON

SVG: Final = "image/svg+xml"
VARY: Final = {"Vary": "Accept, Authorization"}


def best_media(offered: tuple[str, ...]) -> str:
    """Return the best match of Accept; the first one offered when nothing is asked for.

    Parameters of a type (``charset=utf-8``) are not looked at: each type is offered in one form.

    Raises
    ------
    ProblemRaised
        406 naming what is offered.
    """
    accepted = request.headers.get("Accept")
    if not accepted or accepted in ("*/*", offered[0]):
        return offered[0]
    asked = MIMEAccept([(media.partition(";")[0].strip(), q) for media, q in request.accept_mimetypes])
    best = asked.best_match(offered)
    if best is None:
        raise ProblemRaised("not_acceptable", f"offered are {', '.join(offered)}")
    return best


def picture_asked_for() -> bool:
    """Return whether the caller wants the picture of a resource rather than its JSON.

    Raises
    ------
    ProblemRaised
        406: neither of them.
    """
    return best_media((JSON, SVG)) == SVG


def picture_answer(svg: str, headers: dict[str, str] | None = None) -> Response:
    """Return a picture; where a browser opens it by itself, it may load nothing and run nothing."""
    sandbox = {"Content-Security-Policy": "default-src 'none'; sandbox"}
    return Response(svg, content_type=f"{SVG}; charset=utf-8", headers={**VARY, **sandbox, **(headers or {})})
