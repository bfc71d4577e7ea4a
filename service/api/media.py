"""Which of the media types that are offered the caller wants (RFC 9110, Accept with q-values)."""

from flask import request

from service.api.problems import ProblemRaised


def best_media(offered: tuple[str, ...]) -> str:
    """Return the best match of Accept; the first one offered when nothing is asked for.

    Raises
    ------
    ProblemRaised
        406 naming what is offered.
    """
    if not request.headers.get("Accept"):
        return offered[0]
    best = request.accept_mimetypes.best_match(offered)
    if best is None:
        raise ProblemRaised("not_acceptable", f"offered are {', '.join(offered)}")
    return best
