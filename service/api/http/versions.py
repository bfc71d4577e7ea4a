"""ETags ``"<version>.<media>.<units>"`` and the preconditions that rest on them (RFC 9110).

werkzeug writes the tags and reads the header fields. What it does with them stays ours: its ``make_conditional``
compares a representation that is made already, while a 304 here saves making one, and it looks at Range and
If-Modified-Since, which are not offered; its comparison of If-Match is of whole tags, while a change rests on the
version alone, in whatever media type and units it was read.
"""

from flask import request
from werkzeug.http import quote_etag, unquote_etag

from service.api.http.problems import ProblemRaised


def etag(version: int, units: str, media: str = "json") -> str:
    """Return the strong tag of one representation of a version."""
    return quote_etag(f"{version}.{media}.{units}")


def not_modified(tag: str) -> bool:
    """Return whether If-None-Match names the tag, compared weakly: the caller holds this representation."""
    return request.if_none_match.contains_weak(unquote_etag(tag)[0] or "")


def required_version(current: int, units: str) -> int:
    """Return the version that If-Match names: the one that the change may be based on.

    Only the version part is compared, and ``W/`` before one of our own tags is accepted: some proxies add it.

    Raises
    ------
    ProblemRaised
        428 without If-Match; 412 with the current ETag when no tag names the current version.
    """
    if "If-Match" not in request.headers:
        raise ProblemRaised(
            "precondition_required",
            "send If-Match with the ETag that the change is based on",
            headers={"ETag": etag(current, units)},
        )
    given = request.if_match
    if given.star_tag or current in {_version(tag) for tag in given.as_set(include_weak=True)}:
        return current
    raise ProblemRaised(
        "stale_version",
        f"the record is at version {current}; read it again and repeat the change",
        headers={"ETag": etag(current, units)},
        faults=[{"header": "If-Match", "code": "stale_version", "detail": "does not name the current version"}],
    )


def _version(tag: str | None) -> int | None:
    number = (tag or "").split(".")[0]  # werkzeug reads an empty tag as None
    return int(number) if number.isascii() and number.isdigit() and len(number) <= 18 else None
